// @ts-check
/** What a number rests on, one tap away from it. */
import { h } from './dom.js';
import { inPageWords } from './pagewords.js';

/** The lines of these figures, in the order of their names: each line of the server begins with its figure's name and a colon. Pure. @param {string[]|undefined} lines @param {...string} names @returns {string[]} */
export const linesOf = (lines, ...names) => names.flatMap((name) => (lines ?? []).filter((line) => line.startsWith(`${name}: `)));

/** @param {string} what the number in a few words ("K/W", "the order") @param {(string|false|null|undefined)[]} lines @returns {HTMLElement|null} */
export function rests(what, lines) {
  const said = lines.filter(Boolean);
  return said.length ? h('details.rests', null, h('summary', null, `What ${what} on`), h('ul', null, said.map((line) => h('li', null, inPageWords(String(line)).replaceAll('degC', '°C'))))) : null;
}
