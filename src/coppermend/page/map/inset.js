// @ts-check
/** The close look at one tip: the part round it, drawn the way the board lies, with the tip's mark. */
import { drawTip } from './overlay.js';
import { faceColours, paintBoard, paintWords } from './paint.js';
import { drawRim, drawWindowRim } from './rim.js';
import { matrix, seen, turnOver } from './view.js';

/**
 * The view of an inset: as the map lies (turned over when the tip is on the other face), near enough to count pins. Pure.
 * @param {import('./view.js').View} map @param {{x_mm: number, y_mm: number, side: string}} tip @param {number} w @param {number} h @param {number} span mm across the shorter edge
 */
export function insetView(map, tip, w, h, span = 17) {
  const lying = tip.side === map.face ? map : turnOver(map, 'upright');
  return { ...lying, w, h, x: tip.x_mm, y: tip.y_mm, scale: Math.min(w, h) / span };
}

/**
 * @param {HTMLCanvasElement} canvas @param {import('./map.js').BoardMap} map @param {'a'|'b'} which @param {any} tip
 */
export function drawInset(canvas, map, which, tip, span = 17) {
  const w = canvas.clientWidth, h = canvas.clientHeight;
  const ctx = canvas.getContext('2d', { willReadFrequently: true });
  if (!ctx || !map.ready || !w || !h) return;
  const ratio = map.ratio;
  canvas.width = Math.round(w * ratio);
  canvas.height = Math.round(h * ratio);
  const view = insetView(map.view, tip, w, h, span);
  const stateOf = (/** @type {string} */ ref) => map.stateOf(ref);
  drawRim(ctx, view, ratio, map.ready, faceColours(map.ready, view.face).mask);
  if (map.ready.scene.photos.includes(view.face)) map.photos.get(view.face)?.lay(ctx, view, ratio);
  paintBoard(ctx, map.ready, view.face, matrix(view, ratio), seen(view), view.scale * ratio, stateOf);
  paintWords(ctx, map.ready, view, ratio, stateOf);
  drawWindowRim(ctx, view, ratio);
  drawTip(ctx, view, ratio, which, tip, 0.86);
  label(ctx, ratio, tip.part || tip.kind);
}

/** The part's name in the corner. @param {CanvasRenderingContext2D} ctx @param {number} ratio @param {string} words */
function label(ctx, ratio, words) {
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.font = '700 14px system-ui, "DejaVu Sans", sans-serif';
  ctx.textAlign = 'left';
  ctx.textBaseline = 'middle';
  const w = ctx.measureText(words).width + 12;
  ctx.fillStyle = 'rgba(20,17,14,0.78)';
  ctx.beginPath();
  ctx.roundRect(5, 5, w, 21, 6);
  ctx.fill();
  ctx.fillStyle = '#fbf3e2';
  ctx.fillText(words, 11, 16);
}
