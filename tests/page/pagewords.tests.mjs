import { findingInPageWords, inPageWords } from '../../src/coppermend/page/shared/pagewords.js';
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
];

export const tests = {
  'page words: no command and no switch is left in a refusal of the rework'() {
    for (const text of REFUSED) yes(!/coppermend|CASE|--[a-z]/.test(inPageWords(text)), inPageWords(text));
  },
  'page words: a command goes whole, nothing of it is left behind the page\'s own words'() {
    same(inPageWords(REFUSED[7]), 'Read ohms from one net to the other: note ohms between the two nets on the bench.');
    same(inPageWords('Then note CASE ohms U1.3 U2.4 0.12 4wire. It is asked again.'), 'Then note ohms between the two nets on the bench. It is asked again.');
  },
  'page words: names stay, plain words stay as they are'() {
    yes(inPageWords(REFUSED[0]).includes('U13'), 'the part is named');
    yes(inPageWords(REFUSED[6]).includes('round BT1 '), 'the part is named');
    same(inPageWords('The board has no part U999.'), 'The board has no part U999.');
    same(findingInPageWords({ code: 'X', words: 'a', remedy: 'coppermend next' }), { code: 'X', words: 'a', remedy: 'the next step on the bench' });
  },
};
