import { findingInPageWords, inPageWords, readAnswer } from '../../src/coppermend/page/shared/pagewords.js';
import { same, yes } from './check.mjs';

/** Refusals of the rework as the server words them, read in src/coppermend (REM-004, WIR-006, WIR-016, CAR-004, REM-002, WIR-014, SHO-001). */
const REFUSED = [
  'If it is still there, say so first: coppermend note CASE state U13 soldered.',
  'Narrow it down first (coppermend next), or name the broken sites with --broken, or tracks to cut with --cut.',
  'Take that reading first (coppermend next). To plan it all the same: --broken run@s:1,2>3,4 --broken run@s:3,4>5,6.',
  "Say it in a few words: --words 'lithium cell, no acid'.",
  "Name a part with pins, or mark the area by hand: coppermend area add CASE --polygon 'x,y x,y x,y'.",
  'Nearest thing to do: allow one of these places (--allow PART), take the other side (--side), or take the part out and lay the wire there.',
  'Treat every ground and supply pin as one that sinks heat, and mark the area after the work: coppermend area add CASE --part BT1.',
  'Read ohms from one net to the other: note CASE ohms U1.3 U2.4 0.12 4wire; or name the nets with --between NET NET.',
  'Read J1.1/joint-c to J1.2/joint-c again: open, and the short is gone; ohms, and the place is worked out anew. To look at the place that is left by the copper alone, name the nets: --between A B.',
  'When it is cleared: note CASE clean via 2.8 mm from U29 pin 7 towards top left as seen on the component side U43.5. The two nets are read again then.',
  'The next ohms reading narrows it: short locate CASE --between D3 D5.',
  'Lift one end of wire no. 7, then note CASE undo 7: J3.1/joint-c to J2.1/joint-c must be open before the wire goes on again.',
  'See that it is meant, or take it off and its entry back (note CASE undo NUMBER).',
  'If a point was mistyped: note CASE undo.',
  'Give either its mass per pin (--old-mg 12), or the joint\'s measures (--hole-mm, --land-mm), or a board and a part.',
  'Give its size instead: --size 250x200 (coppermend heat preheat).',
  'Name the broken sites with --broken SITE, or tracks to cut with --cut.',
  'For example: area add CASE --part U1 --kind rework --severity 2',
];

/** Words of the server outside the rework, read in src/coppermend (bring-up, the map of the case, starts, chips, waves, thermal pictures, arrival), and what the page says. */
const ELSEWHERE = [
  ['Give --clock 4MHz and --clocks 4.', 'Give the clock, such as 4MHz, and the clocks of a cycle, such as 4.'],
  ['Or correct the map at that place: coppermend map fix CASE joined A B, or apart A where A is not on the map\'s net.', 'Or correct the map at that place: leaf Map and times, "Correct the map at one place".'],
  ['Start it 5 times, off in between, and count how often it starts as it should (coppermend starts).', 'Start it 5 times, off in between, and count how often it starts as it should.'],
  ['Name it: starts CASE 3/5 --when \'freeze spray\' --part U5.', 'Name it.'],
  ['Name a chip: look CASE --at U1.3 --seen \'green\'.', 'Name a chip.'],
  ['Plug it in and look with \'coppermend meter list\'.', 'Plug it in and look with the page Meter.'],
  ['Read the print and the label again and try it once more; take back what was wrong: note CASE undo NUMBER.', 'Read the print and the label again and try it once more; take back what was wrong.'],
  ['Tap four places or more: --tap PIN=X,Y (good ones: U1.1; a part\'s name means its middle), or --whole when the board fills the picture.', 'Tap four places or more (good ones: U1.1; a part\'s name means its middle), or say that the board fills the picture.'],
  ['Measure each rail to ground first (coppermend supply show CASE lists them), or name one with --rail.', 'Measure each rail to ground first (page Arrival lists them), or choose one.'],
  ['Note each with \'note CASE gate ITEM ...\', or pass it over on purpose: note CASE gate override REASON.', 'Note each at the gate on leaf Story, or pass it over on purpose there.'],
  ['Say the unit: --unit C, K, dK or cK.', 'Say the unit, such as C, K, dK or cK.'],
  ['A ROM\'s read-out goes to coppermend rom check.', 'A ROM\'s read-out goes to the tab ROM.'],
];

export const tests = {
  'page words: what the rest of the bench says names no command either'() {
    for (const [told, here] of ELSEWHERE) same(inPageWords(told), here);
  },
  'page words: every text of an answer is read so, names and numbers stay'() {
    const told = { step: { words: 'Clean it, note that (note CASE clean POINT), read again.', notes: ['coppermend next'], left: 2 }, title: 'A CASE of its own', ids: ['run@s:1,2>3,4'] };
    same(readAnswer(JSON.stringify(told)), { step: { words: 'Clean it, note that, read again.', notes: ['the next step on the bench'], left: 2 }, title: 'A CASE of its own', ids: ['run@s:1,2>3,4'] });
    same(readAnswer('{"a": [1, "plain"]}'), { a: [1, 'plain'] });
  },
  'page words: no command and no switch is left in a refusal of the rework'() {
    for (const text of REFUSED) yes(!/coppermend|CASE|--[a-z]/.test(inPageWords(text)), inPageWords(text));
  },
  'page words: a command goes whole, nothing of it is left behind the page\'s own words'() {
    same(inPageWords(REFUSED[7]), 'Read ohms from one net to the other: note ohms between the two nets on the bench.');
    same(inPageWords('Then note CASE ohms U1.3 U2.4 0.12 4wire. It is asked again.'), 'Then note ohms between the two nets on the bench. It is asked again.');
  },
  'page words: places with a decimal point and names of nets go whole into the page\'s words'() {
    same(inPageWords(REFUSED[9]), 'When it is cleared: press "Bridge cleared: note it". The two nets are read again then.');
    same(inPageWords(REFUSED[10]), 'The next ohms reading narrows it: leaf By ohms, nets D3 and D5.');
    same(inPageWords(REFUSED[11]), 'Lift one end of wire no. 7, then take no. 7 back: J3.1/joint-c to J2.1/joint-c must be open before the wire goes on again.');
  },
  'page words: names stay, plain words stay as they are'() {
    yes(inPageWords(REFUSED[0]).includes('U13'), 'the part is named');
    yes(inPageWords(REFUSED[6]).includes('round BT1 '), 'the part is named');
    same(inPageWords('The board has no part U999.'), 'The board has no part U999.');
    same(findingInPageWords({ code: 'X', words: 'a', remedy: 'coppermend next' }), { code: 'X', words: 'a', remedy: 'the next step on the bench' });
  },
};
