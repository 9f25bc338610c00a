// @ts-check
/** The row of a chip's pin in words, as the board lies under the eye: the words of a close look say what it shows. Pure. */
import { insetView } from './inset.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {{where: string, side: string, row?: {up: number[], out: number[], rank: string}|null}} Tip */

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
