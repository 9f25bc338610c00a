// @ts-check
/** A thermal picture under the map of suspects: the picture as it lies on the board, what its colours mean, and the same in a list. */
import { h, s } from '../shared/dom.js';
import { clock } from '../shared/words.js';

/** @typedef {{entry: string, ref: number, observed_at: string, side: string, against: string, cold: string[], hot: string[], even: string[]}} Row */
/** @typedef {Row & {box_mm: number[], low_c: number, high_c: number, parts: {part: string, verdict: string, words: string, celsius?: number}[]}} Shot */

const SIDES = /** @type {Record<string, string>} */ ({ c: 'component', s: 'solder' });
const ORDER = ['hot', 'cold', 'even'];

/** What the picture's verdicts add up to. Pure. @param {Row} row */
export function verdictWords(row) {
  const few = (/** @type {string} */ word, /** @type {string[]} */ parts) => (parts.length ? `${word}: ${parts.join(', ')}` : '');
  const odd = [few('hot', row.hot), few('cold', row.cold)].filter(Boolean).join('; ');
  return `${odd || 'nothing hot, nothing cold'}; ${row.even.length} even`;
}

/** The parts of a picture, the odd ones first, then by name. Pure. @template {{part: string, verdict: string}} T @param {T[]} parts */
export function oddFirst(parts) {
  const rank = (/** @type {string} */ verdict) => (ORDER.includes(verdict) ? ORDER.indexOf(verdict) : ORDER.length);
  return [...parts].sort((a, b) => rank(a.verdict) - rank(b.verdict) || a.part.localeCompare(b.part, 'en', { numeric: true }));
}

/** The picture in mm of the board, y turned down. @param {Shot} shot @param {string} url */
export function layer(shot, url) {
  const [x0, y0, x1, y1] = shot.box_mm;
  return s('image', { class: 'thermal', id: 'thermal-picture', href: url, x: x0, y: -y1, width: x1 - x0, height: y1 - y0, preserveAspectRatio: 'none', 'aria-hidden': 'true' });
}

/** Which pictures there are, which one is shown, what its colours mean. @param {Row[]} rows @param {Shot|null} shot @param {boolean} turned @param {(entry: string) => void} show */
export function chooser(rows, shot, turned, show) {
  if (!rows.length) return null;
  const button = (/** @type {Row} */ row) => h('button.key.slim', { type: 'button', id: `thermal-${row.ref}`, 'aria-pressed': String(shot?.entry === row.entry), onclick: () => show(shot?.entry === row.entry ? '' : row.entry) }, `${clock(row.observed_at)}, ${SIDES[row.side]} side`);
  const back = shot && (shot.side === 's') !== turned;
  return h('div', { id: 'thermal' },
    h('div.row.thermal-row', { role: 'group', 'aria-label': 'Thermal pictures' }, h('b', null, 'Thermal picture'), rows.map(button)),
    shot ? [h('div.thermal-scale', { role: 'img', 'aria-label': `Colours from ${shot.low_c} °C, dark, to ${shot.high_c} °C, light` }, h('span', null, `${shot.low_c} °C`), h('i', null), h('span', null, `${shot.high_c} °C`)),
      h('p', { id: 'thermal-words' }, `${verdictWords(shot)}.`, back ? ` It was taken of the ${SIDES[shot.side]} side; you look at the other one.` : '')] : null);
}

/** The same in a list: every part of the picture with its temperature and verdict. @param {Shot|null} shot */
export function thermalTable(shot) {
  if (!shot) return null;
  const rows = oddFirst(shot.parts).map((one) => h('tr', null, h('th', { scope: 'row' }, one.part), h('td', null, typeof one.celsius === 'number' ? `${one.celsius.toFixed(1)} °C` : ''),
    h('td', null, one.verdict === 'hot' || one.verdict === 'cold' ? h('b', null, one.verdict) : one.verdict), h('td', null, one.words)));
  return [h('h2', null, `Thermal picture of ${clock(shot.observed_at)}, ${SIDES[shot.side]} side`),
    h('div.suspect-wide', { tabindex: 0, role: 'region', 'aria-label': 'Parts of the thermal picture' }, h('table.table', { id: 'thermal-parts' },
      h('thead', null, h('tr', null, ['Part', 'Temperature', 'Verdict', 'Why'].map((t) => h('th', { scope: 'col' }, t)))), h('tbody', null, rows)))];
}
