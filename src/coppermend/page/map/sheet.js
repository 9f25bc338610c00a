// @ts-check
/**
 * A bitmap of the board, somewhat larger than the window, that is moved and scaled while the hand moves and drawn sharp when it rests.
 */
import { toScreen } from './view.js';

/** @typedef {import('./view.js').View} View */

const MARGIN = 0.3;

/** Where a bitmap drawn for `old` goes in `now` (CSS px): x, y, factor; null when the board was turned in between. Pure. @param {View} old @param {View} now */
export function placeOf(old, now) {
  if (old.face !== now.face || old.turn.some((t, i) => t !== now.turn[i])) return null;
  const factor = now.scale / old.scale;
  const [mx, my] = toScreen(now, old.x, old.y);
  return { x: mx - (old.w / 2) * factor, y: my - (old.h / 2) * factor, factor };
}

/** Does the bitmap still cover the window? Pure. @param {{x: number, y: number, factor: number}} place @param {View} old @param {View} now */
export function covers(place, old, now) {
  return place.x <= 0 && place.y <= 0 && place.x + old.w * place.factor >= now.w && place.y + old.h * place.factor >= now.h;
}

export class Sheet {
  /** @param {(ctx: CanvasRenderingContext2D, view: View, ratio: number) => void} paint @param {number} margin share of the window added on each side */
  constructor(paint, margin = MARGIN) {
    this.paint = paint;
    this.margin = margin;
    this.canvas = document.createElement('canvas');
    const ctx = this.canvas.getContext('2d', { willReadFrequently: true });
    if (!ctx) throw new Error('no canvas');
    this.ctx = ctx;
    /** @type {View|null} */
    this.view = null;
    this.stale = true;
    this.ratio = 1;
  }

  /** Draw it sharp for this view. @param {View} view @param {number} ratio */
  refresh(view, ratio) {
    const wide = { ...view, w: Math.ceil(view.w * (1 + 2 * this.margin)), h: Math.ceil(view.h * (1 + 2 * this.margin)) };
    const pw = Math.round(wide.w * ratio), ph = Math.round(wide.h * ratio);
    if (this.canvas.width !== pw || this.canvas.height !== ph) {
      this.canvas.width = pw;
      this.canvas.height = ph;
    }
    this.view = wide;
    this.ratio = ratio;
    this.ctx.setTransform(1, 0, 0, 1, 0, 0);
    this.ctx.clearRect(0, 0, pw, ph);
    this.paint(this.ctx, wide, ratio);
    this.stale = false;
  }

  /** Is it what a sharp drawing of `view` would be? @param {View} view @param {number} ratio */
  sharp(view, ratio) {
    if (this.stale || !this.view || this.ratio !== ratio) return false;
    const place = placeOf(this.view, view);
    return place !== null && Math.abs(place.factor - 1) < 1e-9 && covers(place, this.view, view);
  }

  /** Lay it under `view`; false when it does not fit the way the board lies now. @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio */
  lay(ctx, view, ratio) {
    if (!this.view) return false;
    const place = placeOf(this.view, view);
    if (!place) return false;
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    const snap = Math.abs(place.factor - 1) < 1e-9;
    const x = snap ? Math.round(place.x * ratio) / ratio : place.x, y = snap ? Math.round(place.y * ratio) / ratio : place.y;
    ctx.imageSmoothingEnabled = !snap;
    ctx.drawImage(this.canvas, x, y, this.view.w * place.factor, this.view.h * place.factor);
    return true;
  }
}
