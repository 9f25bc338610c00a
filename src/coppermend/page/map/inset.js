// @ts-check
/** The close look at one tip: the part round it, drawn the way the board lies, with the tip's mark. */
import { drawNearTip } from './neartip.js';
import { faceColours, paintBoard, paintWords } from './paint.js';
import { drawRim, drawWindowRim } from './rim.js';
import { matrix, seen, turnOver } from './view.js';

/** Pin numbers are drawn from 6 px per mm on: a small canvas shows less of the board instead of a board without numbers. */
const LEAST_SCALE = 7.2;

/**
 * The view of an inset: as the map lies (turned over when the tip is on the other face), near enough to count pins. Pure.
 * @param {import('./view.js').View} map @param {{x_mm: number, y_mm: number, side: string}} tip @param {number} w @param {number} h @param {number} span mm across the shorter edge, at most
 */
export function insetView(map, tip, w, h, span = 17) {
  const lying = tip.side === map.face ? map : turnOver(map, 'upright');
  return { ...lying, w, h, x: tip.x_mm, y: tip.y_mm, scale: Math.max(Math.min(w, h) / span, span <= 17 ? LEAST_SCALE : 0) };
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
  drawNearTip(ctx, view, ratio, which, tip);
}
