// @ts-check
/** The tip's mark in a close look: it stands outside the part and leaves the place, its neighbours and the pin numbers to be seen. */
import { MARK } from './palette.js';
import { toScreen } from './view.js';

/** @typedef {import('./view.js').View} View */

/**
 * From which side the mark points at the place, as a unit vector on the screen: from outside the part; from above where there are no rows. Pure.
 * @param {View} view @param {{row?: {out: number[]}|null}} tip @returns {[number, number]}
 */
export function markFrom(view, tip) {
  if (!tip.row) return [0, -1];
  const [a, b, c, d] = view.turn, [x, y] = tip.row.out;
  const sx = a * x + b * y, sy = c * x + d * y, l = Math.hypot(sx, sy) || 1;
  return [sx / l, sy / l];
}

/**
 * A: a triangle whose point is at the place; B: a ring round the place, its letter outside. The pin's number, large, on the part's side.
 * @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio @param {'a'|'b'} which @param {any} tip
 */
export function drawNearTip(ctx, view, ratio, which, tip) {
  const [x, y] = toScreen(view, tip.x_mm, tip.y_mm), [ux, uy] = markFrom(view, tip);
  const at = (/** @type {number} */ far, /** @type {number} */ aside = 0) => /** @type {[number, number]} */ ([x + ux * far - uy * aside, y + uy * far + ux * aside]);
  const colour = which === 'a' ? MARK.a : MARK.b, ring = Math.max(6, view.scale * 0.95);
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.lineJoin = 'round';
  ctx.setLineDash([]);
  ctx.beginPath();
  if (which === 'a') {
    ctx.moveTo(...at(ring * 0.6));
    ctx.lineTo(...at(ring * 0.6 + 24, -13));
    ctx.lineTo(...at(ring * 0.6 + 24, 13));
    ctx.closePath();
    outlined(ctx, colour, 4);
    ctx.fillStyle = colour;
    ctx.fill();
    letter(ctx, 'A', at(ring * 0.6 + 16), MARK.dark, 13);
  } else {
    ctx.arc(x, y, ring, 0, 7);
    outlined(ctx, colour, 6);
    ctx.beginPath();
    ctx.arc(...at(ring + 14), 10, 0, 7);
    outlined(ctx, colour, 4);
    ctx.fillStyle = colour;
    ctx.fill();
    letter(ctx, 'B', at(ring + 14), MARK.dark, 13);
  }
  if (tip.pin) number(ctx, String(tip.pin), at(-(ring + 12)));
}

/** @param {CanvasRenderingContext2D} ctx @param {string} colour @param {number} wide */
function outlined(ctx, colour, wide) {
  ctx.lineWidth = wide;
  ctx.strokeStyle = MARK.dark;
  ctx.stroke();
  ctx.lineWidth = wide / 2;
  ctx.strokeStyle = colour;
  ctx.stroke();
}

/** @param {CanvasRenderingContext2D} ctx @param {string} words @param {[number, number]} at */
function number(ctx, words, [x, y]) {
  ctx.font = '700 14px ui-monospace, "DejaVu Sans Mono", monospace';
  const w = ctx.measureText(words).width + 6;
  ctx.fillStyle = 'rgba(20,17,14,0.86)';
  ctx.beginPath();
  ctx.roundRect(x - w / 2, y - 9, w, 18, 4);
  ctx.fill();
  letter(ctx, words, [x, y], '#fff8e4', 14, '700 14px ui-monospace, "DejaVu Sans Mono", monospace');
}

/** @param {CanvasRenderingContext2D} ctx @param {string} text @param {[number, number]} at @param {string} colour @param {number} px @param {string} [font] */
function letter(ctx, text, [x, y], colour, px, font = `800 ${px}px system-ui, "DejaVu Sans", sans-serif`) {
  ctx.font = font;
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  ctx.fillStyle = colour;
  ctx.fillText(text, x, y + px * 0.06);
}
