// @ts-check
/**
 * Which side is up, told by the edge: the component side has one plain line round the board, the solder side a row of teeth. The same pattern
 * runs along the top of the window, so that it is seen when no edge of the board is.
 */
import { matrix } from './view.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {import('./paint.js').Ctx} Ctx */

/** Edge patterns in px: dash of the broad line under the thin one; pure, tested to differ. @type {Record<'c'|'s', {dash: number[], width: number}>} */
export const RIM_STYLE = { c: { dash: [], width: 4 }, s: { dash: [9, 7], width: 9 } };
const COLOUR = '#e9d9ae', DARK = 'rgba(20,15,10,0.55)';

/** Shadow, rim and bare colour of the board. @param {Ctx} ctx @param {View} view @param {number} ratio @param {import('./paint.js').Ready} r @param {string} fill */
export function drawRim(ctx, view, ratio, r, fill) {
  const style = RIM_STYLE[view.face], mm = 1 / view.scale;
  ctx.setTransform(...matrix(view, ratio));
  ctx.lineJoin = 'miter';
  ctx.lineCap = 'butt';
  ctx.strokeStyle = DARK;
  ctx.lineWidth = (2 * style.width + 5) * mm;
  ctx.stroke(r.outline);
  ctx.strokeStyle = COLOUR;
  ctx.lineWidth = 2 * style.width * mm;
  ctx.setLineDash(style.dash.map((d) => d * mm));
  ctx.stroke(r.outline);
  ctx.setLineDash([]);
  ctx.lineWidth = 4 * mm;
  ctx.stroke(r.outline);
  ctx.fillStyle = fill;
  ctx.fill(r.outline, 'evenodd');
}

/** The same pattern along the window's upper edge. @param {Ctx} ctx @param {View} view @param {number} ratio */
export function drawWindowRim(ctx, view, ratio) {
  const style = RIM_STYLE[view.face];
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.fillStyle = DARK;
  ctx.fillRect(0, 0, view.w, style.width * 0.7 + 1);
  ctx.beginPath();
  ctx.moveTo(0, style.width * 0.35);
  ctx.lineTo(view.w, style.width * 0.35);
  ctx.strokeStyle = COLOUR;
  ctx.lineCap = 'butt';
  ctx.lineWidth = style.width * 0.7;
  ctx.setLineDash(style.dash);
  ctx.stroke();
  ctx.setLineDash([]);
}
