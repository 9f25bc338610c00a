// @ts-check
/** The row of a chip's pin in words, as the board lies under the eye: the words of a close look say what it shows. Pure. */
import { insetView } from './inset.js';
import { newView } from './view.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {{name?: string, kind?: string, touch?: string, where: string, side: string, row?: {up: number[], out: number[], rank: string}|null, way?: number[]|null, by?: {pin: string, far: string}|null}} Tip */

/** Which way a direction on the board points on the screen: the nearest of the four. @param {View} view @param {number[]} way unit vector, board coordinates @returns {'up'|'down'|'left'|'right'} */
export function pointing(view, [x, y]) {
  const [a, b, c, d] = view.turn;
  const sx = a * x + b * y, sy = c * x + d * y;
  if (Math.abs(sx) > Math.abs(sy)) return sx > 0 ? 'right' : 'left';
  return sy > 0 ? 'down' : 'up';
}

const ROWS = { up: 'upper', down: 'lower', left: 'left', right: 'right' };

/**
 * Where a pin is, as the close look beside it shows it ("notch down: left row, 3rd from it"); of other places the server's words,
 * which do not depend on how the board lies. @param {Tip} tip @param {View} map how the map lies
 */
export function lyingWhere(tip, map) {
  if (!tip.row) return tip.where;
  const view = insetView(map, /** @type {any} */ (tip), 100, 100);
  const notch = pointing(view, tip.row.up), row = pointing(view, tip.row.out);
  return `notch ${notch}: ${ROWS[row]} row, ${tip.row.rank}`;
}

/**
 * Where a pin is at its part on pages that draw the board as it lies at first, turned over like a page for its solder side: in the words of the round's slip.
 * @param {Tip} tip @example uprightWhere({...tip, side: 's'}) // 'notch right: upper row, 3rd from it'
 */
export const uprightWhere = (tip) => lyingWhere(tip, newView());

/** Which of eight ways a step on the board goes on the screen, as a preposition; a way within 24 degrees of a quarter counts as straight, as the server counts it. @param {View} view @param {number[]} way unit vector, board coordinates */
export function beside(view, [x, y]) {
  const [a, b, c, d] = view.turn;
  const sx = a * x + b * y, sy = c * x + d * y;
  const level = Math.abs(sx) < 0.4 ? '' : sx > 0 ? 'right of' : 'left of';
  const upright = Math.abs(sy) < 0.4 ? '' : sy > 0 ? 'below' : 'above';
  return [upright, level].filter(Boolean).join(' ');
}

/**
 * A place in as few words as can be read from far, as the board lies: what it is called, what of it is touched, and where it is at its part.
 * @param {Tip} tip @param {View} map how the map lies @returns {{name: string, thing: string, place: string}}
 * @example lyingPlace(tip, view) // {name: 'U51 pin 14', thing: 'leg', place: 'notch down: right row, 3rd from it'}
 */
export function lyingPlace(tip, map) {
  const view = insetView(map, /** @type {any} */ (tip), 100, 100), name = tip.name ?? '', thing = THINGS[tip.touch ?? ''] ?? '';
  if (tip.row) return { name, thing, place: lyingWhere(tip, map) };
  if (tip.by && tip.way) return { name: `${tip.kind} ${tip.by.far} mm ${beside(view, tip.way)} ${tip.by.pin}`, thing: '', place: '' };
  if (tip.way) return { name, thing, place: `${ROWS[pointing(view, tip.way)]} end` };
  return { name, thing, place: tip.where };
}

/** What of a pin is touched, as short as it can be read from far. @type {Record<string, string>} */
const THINGS = { 'touch the leg': 'leg', 'touch the solder joint': 'joint', 'touch the bare hole': 'bare hole', 'touch inside the empty socket': 'contact' };
