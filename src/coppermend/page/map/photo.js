// @ts-check
/** A photo as the map of one side: the flattened picture under the pins and the edges of the parts. */
import { ringPath } from './paths.js';

/** @typedef {import('./paint.js').Ready} Ready */
/** @typedef {import('./paint.js').Ctx} Ctx */

/** Parts whose places nobody said lie beside the photo, not on it. Pure. @param {import('./index.js').Scene} scene @param {string} ref */
export function isPlaced(scene, ref) {
  return !(scene.made_up ?? []).includes(ref);
}

/**
 * The photo covers the scene's box; it is seen from the component side, y up, and the view turns it over with the board.
 * @param {Ctx} ctx set to mm @param {Ready} r @param {string} face @param {HTMLImageElement} photo @param {(ref: string) => string} stateOf
 */
export function layPhoto(ctx, r, face, photo, stateOf) {
  const [x0, y0, x1, y1] = r.scene.bounds_mm;
  ctx.save();
  ctx.clip(r.outline, 'evenodd');
  ctx.translate(x0, y1);
  ctx.scale(1, -1);
  ctx.imageSmoothingEnabled = true;
  ctx.drawImage(photo, 0, 0, x1 - x0, y1 - y0);
  ctx.restore();
  const rings = new Path2D();
  for (const part of r.scene.parts) {
    for (const [, x, y] of part.pins) {
      rings.moveTo(x + 0.62, y);
      rings.arc(x, y, 0.62, 0, 7);
    }
    if (part.side === face && part.outline.length) edge(ctx, ringPath(part.outline), isPlaced(r.scene, part.ref), stateOf(part.ref));
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
