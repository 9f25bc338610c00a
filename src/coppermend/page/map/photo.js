// @ts-check
/** A flattened photo of one side: laid under the board, or as its map under the pins and the edges of the parts. */
import { ringPath } from './paths.js';
import { matrix, seen } from './view.js';

/** @typedef {import('./paint.js').Ctx} Ctx */

/** Parts whose places nobody said lie beside the photo, not on it. Pure. @param {import('./index.js').Scene} scene @param {string} ref */
export function isPlaced(scene, ref) {
  return !(scene.made_up ?? []).includes(ref);
}

/**
 * A photo in sizes, each half of the one before, so that a small view draws a small picture. Seen from the component side, y up; what lies off
 * the board is cut away.
 */
export class PhotoSheet {
  /** @param {CanvasImageSource & {width: number, height: number}} image that covers the box @param {number[]} box mm @param {Path2D|null} outline */
  constructor(image, box, outline) {
    this.box = box;
    /** @type {HTMLCanvasElement[]} */
    this.sizes = [];
    let from = /** @type {CanvasImageSource} */ (image), w = image.width, h = image.height;
    for (let k = 0; k === 0 || Math.max(w, h) > 500; k++) {
      const c = document.createElement('canvas');
      if (k) [w, h] = [Math.ceil(w / 2), Math.ceil(h / 2)];
      [c.width, c.height] = [w, h];
      const ctx = c.getContext('2d', { willReadFrequently: true });
      if (!ctx) break;
      if (!k && outline) {
        const sx = w / (box[2] - box[0]), sy = h / (box[3] - box[1]);
        ctx.setTransform(sx, 0, 0, -sy, -box[0] * sx, box[3] * sy);
        ctx.clip(outline, 'evenodd');
        ctx.setTransform(1, 0, 0, 1, 0, 0);
      }
      ctx.imageSmoothingQuality = 'medium';
      ctx.drawImage(from, 0, 0, w, h);
      this.sizes.push(c);
      from = c;
    }
  }

  /** The picture for a scale: the smallest that is not coarser. Pure. @param {number} scale device px per mm */
  sizeFor(scale) {
    const full = this.sizes[0].width / (this.box[2] - this.box[0]);
    const k = Math.max(0, Math.min(this.sizes.length - 1, Math.floor(Math.log2(full / scale))));
    return this.sizes[k];
  }

  /** @param {CanvasRenderingContext2D} ctx @param {import('./view.js').View} view @param {number} ratio */
  lay(ctx, view, ratio) {
    const [x0, , x1, y1] = this.box, y0 = this.box[1];
    const pic = this.sizeFor(view.scale * ratio);
    ctx.setTransform(...matrix(view, ratio));
    ctx.transform((x1 - x0) / pic.width, 0, 0, -(y1 - y0) / pic.height, x0, y1);
    ctx.imageSmoothingEnabled = true;
    // only what the window shows: a whole large picture would be walked through for each frame
    const [sx0, sy0, sx1, sy1] = seen(view), kx = pic.width / (x1 - x0), ky = pic.height / (y1 - y0);
    const u0 = Math.max(0, Math.floor((sx0 - x0) * kx) - 1), u1 = Math.min(pic.width, Math.ceil((sx1 - x0) * kx) + 1);
    const v0 = Math.max(0, Math.floor((y1 - sy1) * ky) - 1), v1 = Math.min(pic.height, Math.ceil((y1 - sy0) * ky) + 1);
    if (u1 > u0 && v1 > v0) ctx.drawImage(pic, u0, v0, u1 - u0, v1 - v0, u0, v0, u1 - u0, v1 - v0);
  }
}

/** On a photo that serves as map: a ring at every pin and the edges of the parts. @param {Ctx} ctx set to mm @param {import('./index.js').Scene} scene @param {import('./index.js').Part[]} parts @param {string} face @param {(ref: string) => string} stateOf */
export function paintOverPhoto(ctx, scene, parts, face, stateOf) {
  const rings = new Path2D();
  for (const part of parts) {
    for (const [, x, y] of part.pins) {
      rings.moveTo(x + 0.62, y);
      rings.arc(x, y, 0.62, 0, 7);
    }
    if (part.side === face && part.outline.length) edge(ctx, ringPath(part.outline), isPlaced(scene, part.ref), stateOf(part.ref));
  }
  for (const [width, colour] of [[0.34, 'rgba(12,10,8,0.8)'], [0.16, '#ffe2a0']]) {
    ctx.lineWidth = /** @type {number} */ (width);
    ctx.strokeStyle = /** @type {string} */ (colour);
    ctx.stroke(rings);
  }
}

/** The edge of a part: dashed where its place is made up or nothing sits there. @param {Ctx} ctx @param {Path2D} ring @param {boolean} placed @param {string} state */
function edge(ctx, ring, placed, state) {
  ctx.setLineDash(placed && state !== 'not fitted' && state !== 'out' ? [] : [1.1, 0.8]);
  for (const [width, colour] of [[0.5, 'rgba(12,10,8,0.7)'], [0.22, '#fff8e4']]) {
    ctx.lineWidth = /** @type {number} */ (width);
    ctx.strokeStyle = /** @type {string} */ (colour);
    ctx.stroke(ring);
  }
  ctx.setLineDash([]);
}
