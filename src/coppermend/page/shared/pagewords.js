// @ts-check
/** Words of the bench server that name commands, said as what the page does instead. Pure. */

import { ELSEWHERE } from './commandwords.js';

/** @type {[RegExp, string|((m: string) => string)][]} those of the rework, the longest command first; then those of all other work */
const SAID = [
  [/Note each pair as the answer shows it: ohms A B \S+ sense P Q; '?coppermend short locate CASE'? says/g, 'Note each drop in the plan of the short (tab "A short, with a supply"); leaf By ohms says'],
  [/note CASE clean .*?(?=\. The two nets)/g, 'press "Bridge cleared: note it"'],
  [/ ?To look at the place that is left by the copper alone, name the nets: --between \S+ \S+\.?/g, ''],
  [/'?(?:coppermend )?short locate CASE --between (\S+) (\S+?)'?(?=[.,;]?(?:\s|$))/g, 'leaf By ohms, nets $1 and $2'],
  [/note CASE state PART soldered\|socketed\|out/g, 'tap it on the board and choose on its card'],
  [/note CASE state (\S+) socketed/g, 'tap $1 on the board and choose on its card'],
  [/note CASE (?:remove|fit) ([A-Za-z0-9_-]+)/g, 'tap $1 on the board, its card notes it'],
  [/ ?Write it like: (?:note|map fix) CASE[^;]*$/g, ''],
  [/Name one of these with --entry: /g, 'One of these: '],
  [/ ?\(coppermend board build lists them\)/g, ''],
  [/: --size 250x200 \(coppermend heat preheat\)/g, ': width and height'],
  [/\(--size 250x200; on the page: (width and height)\)/g, '($1)'],
  [/ ?\((?:--[a-z-]+(?: [\d.]+)?,? ?)+\)/g, ''],
  [/Name the broken sites with --broken SITE, or tracks to cut with --cut/g, 'Name a track to cut in "Plan a wire yourself"'],
  [/area add CASE --part (\S+) --kind (\w+) --severity \d/g, 'round part $1, kind $2'],
  [/coppermend note CASE state (\S+) soldered/g, 'tap $1 on the board and press "Fitted" on its card'],
  [/coppermend note CASE patch POINT POINT/g, 'note it on the leaf Breaks and wires, "Fitted: note it"'],
  [/ ?\(note CASE undo NUMBER\)/g, ''],
  [/note CASE undo (\d+)/g, 'take no. $1 back'],
  [/note CASE undo/g, 'take it back'],
  [/note CASE cut (\S+)/g, 'note the cut at $1'],
  [/note CASE ohms [^;]*?(?=;|\. |\.$|$)/g, 'note ohms between the two nets on the bench'],
  [/coppermend area add CASE --part ([A-Za-z0-9_-]+)/g, 'mark the work area round $1 on the bench'],
  [/coppermend area add CASE(?: --polygon '[^']*')?/g, 'draw the work area on the board'],
  [/coppermend intake note CASE consent/g, 'page Arrival, the owner\'s word'],
  [/coppermend care (?:show|list) CASE(?: \w+)?/g, 'page Rework, "Clean and protect"'],
  [/'?coppermend short supply CASE'?/g, 'page Rework, "A short, with a supply"'],
  [/'?(?:coppermend )?short locate(?: CASE)?'?/g, 'leaf By ohms'],
  [/coppermend removal plan(?: CASE PART)?/g, 'page Rework, "Take a part out"'],
  [/coppermend wire (?:plan --cut|plan|prove)(?: CASE)?/g, 'leaf Breaks and wires'],
  [/'?coppermend alloy (?:mix|plan)'?|'?coppermend heat (?:preheat|fit)'?/g, 'page Solder and heat'],
  [/'?coppermend board (?:graph|nets)(?: PACKAGE --net N --json)?'?/g, 'the board\'s map (search for the net, tap a place)'],
  [/'?coppermend case show(?: CASE)?'?/g, 'leaf Story'],
  [/coppermend photo CASE FILE/g, 'choose a photo at the step'],
  [/coppermend next/g, 'the next step on the bench'],
  [/wire plan CASE --net (\S+)/g, 'leaf Breaks and wires, net $1'],
  [/, or name the broken sites with --broken, or tracks to cut with --cut/g, ', or name a track to cut in "Plan a wire yourself"'],
  [/ To plan it all the same: (?:--broken \S+\s*)+/g, ''],
  [/--allow PART/g, '"may cross these parts"'],
  [/--side/g, '"ends on"'],
  [/--keep-out/g, '"keep free"'],
  [/--cut X,Y\/side/g, 'as X,Y/side'],
  [/--words ('[^']*')/g, 'for example $1'],
  [/[;,]? or name the nets with --between NET NET/g, ''],
  [/--part (\S+) or --polygon '[^']*'/g, 'part $1, or draw it on the board'],
  [/--polygon '[^']*'/g, 'its corners on the board'],
  ...ELSEWHERE,
];

/** What no words of the page hold: a command, a case's place in it, an option. */
const COMMAND = /coppermend [a-z]|\bCASE\b|(?:^|[\s("'])--[a-z]/;

/** @param {string} words */
export const inPageWords = (words) => (COMMAND.test(words) ? SAID.reduce((text, [told, here]) => text.replace(told, /** @type {any} */ (here)), words) : words);

/** An answer of the server, read: every text in it that names a command is said in the page's words. @param {string} text JSON @returns {any} */
export const readAnswer = (text) => (COMMAND.test(text) ? JSON.parse(text, (_, value) => (typeof value === 'string' ? inPageWords(value) : value)) : JSON.parse(text));

/** A finding in the page's words. @template {{words: string, remedy: string}} T @param {T} finding @returns {T} */
export const findingInPageWords = (finding) => ({ ...finding, words: inPageWords(finding.words), remedy: inPageWords(finding.remedy ?? '') });
