// @ts-check
/** Words of the bench server that name commands, said as what the page does instead. Pure. */

/** @type {[RegExp, string][]} the longest command first */
const SAID = [
  [/coppermend note CASE state (\S+) soldered/g, 'tap $1 on the board and press "Fitted" on its card'],
  [/coppermend note CASE patch POINT POINT/g, 'note it on the leaf Breaks and wires, "Fitted: note it"'],
  [/note CASE cut (\S+)/g, 'note the cut at $1'],
  [/note CASE ohms [^;]*?(?=;|\. |\.$|$)/g, 'note ohms between the two nets on the bench'],
  [/coppermend area add CASE --part ([A-Za-z0-9_-]+)/g, 'mark the work area round $1 on the bench'],
  [/coppermend area add CASE(?: --polygon '[^']*')?/g, 'draw the work area on the board'],
  [/coppermend intake note CASE consent/g, 'page Arrival, the owner\'s word'],
  [/coppermend care (?:show|list) CASE(?: \w+)?/g, 'page Rework, "Clean and protect"'],
  [/'?coppermend short supply CASE'?/g, 'page Rework, "A short, with a supply"'],
  [/'?coppermend short locate(?: CASE)?'?/g, 'leaf By ohms'],
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
];

/** @param {string} words */
export const inPageWords = (words) => SAID.reduce((text, [told, here]) => text.replace(told, here), words);

/** A finding in the page's words. @template {{words: string, remedy: string}} T @param {T} finding @returns {T} */
export const findingInPageWords = (finding) => ({ ...finding, words: inPageWords(finding.words), remedy: inPageWords(finding.remedy ?? '') });
