// @ts-check
/** One face of the board, drawn from the ready scene: mask, copper, bare metal, holes, print, parts. No state of its own. */
import { BOARD, maskColours } from './palette.js';
import { chipFrame, drawNames, drawPart } from './chips.js';
import { ink, pathsOf, ringPath } from './paths.js';
import { layPhoto } from './photo.js';
import { matrix, toScreen } from './view.js';

/** @typedef {import('./index.js').Scene} Scene */
/** @typedef {import('./view.js').View} View */
/** @typedef {CanvasRenderingContext2D|OffscreenCanvasRenderingContext2D} Ctx */

/**
 * @typedef {{scene: Scene, outline: Path2D, copper: Map<string, import('./paths.js').Drawn>, silk: Map<string, import('./paths.js').Drawn>,
 *   mask: Map<string, import('./paths.js').Drawn>, holes: Path2D, slots: [number, Path2D][], colours: ReturnType<typeof maskColours>,
 *   photos: Map<string, HTMLImageElement>}} Ready
 */

/** @param {Scene} scene @returns {Ready} */
export function ready(scene) {
  const outline = new Path2D();
  for (const ring of scene.outline) outline.addPath(ringPath(ring));
  if (!scene.outline.length) {
    const [x0, y0, x1, y1] = scene.bounds_mm;
    outline.rect(x0, y0, x1 - x0, y1 - y0);
  }
  const holes = new Path2D();
  /** @type {Map<number, Path2D>} */
  const slots = new Map();
  for (const [x, y, x2, y2, d] of scene.holes) {
    if (Math.hypot(x2 - x, y2 - y) < 1e-6) {
      holes.moveTo(x + d / 2, y);
      holes.arc(x, y, d / 2, 0, 2 * Math.PI);
    } else {
      const p = slots.get(d) ?? new Path2D();
      p.moveTo(x, y);
      p.lineTo(x2, y2);
      slots.set(d, p);
    }
  }
  const each = (/** @type {Record<string, any>} */ o) => new Map(Object.entries(o).map(([k, s]) => [k, pathsOf(s)]));
  return {
    scene, outline, holes, slots: [...slots], silk: each(scene.silk), mask: each(scene.mask),
    copper: new Map(scene.layers.map((l) => [l.key, pathsOf(l)])), colours: maskColours(scene.mask_colour), photos: new Map(),
  };
}

/** @type {HTMLCanvasElement|null} */
let scratch = null;

/** @param {number} w @param {number} h */
function scratchContext(w, h) {
  scratch ??= document.createElement('canvas');
  if (scratch.width !== w || scratch.height !== h) {
    scratch.width = w;
    scratch.height = h;
  }
  const ctx = scratch.getContext('2d', { willReadFrequently: true });
  if (!ctx) throw new Error('no canvas');
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.globalCompositeOperation = 'source-over';
  ctx.clearRect(0, 0, w, h);
  return ctx;
}

/**
 * @param {Ctx} ctx whose canvas is view.w * ratio by view.h * ratio @param {Ready} r @param {View} view
 * @param {number} ratio @param {(ref: string) => string} stateOf
 */
export function paintFace(ctx, r, view, ratio, stateOf) {
  const m = matrix(view, ratio);
  const face = view.face;
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.clearRect(0, 0, ctx.canvas.width, ctx.canvas.height);
  ctx.setTransform(...m);
  const bare = !r.mask.has(face);
  const colours = bare ? { mask: BOARD.laminate, copper: BOARD.copper, edge: '#7d6a3f' } : r.colours;
  ctx.save();
  ctx.shadowColor = 'rgba(0,0,0,0.38)';
  ctx.shadowBlur = 18 * ratio;
  ctx.shadowOffsetY = 6 * ratio;
  ctx.fillStyle = colours.mask;
  ctx.fill(r.outline, 'evenodd');
  ctx.restore();
  const photo = r.photos.get(face);
  if (photo) {
    layPhoto(ctx, r, face, photo, stateOf);
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    drawNames(ctx, view, r.scene.parts.filter((p) => p.side === face), stateOf, false);
    pinNumbers(ctx, r, view, stateOf);
    return;
  }
  ctx.save();
  ctx.clip(r.outline, 'evenodd');
  const copper = r.copper.get(face);
  if (copper) ink(ctx, copper, colours.copper);
  if (!bare) openings(ctx, r, m, face);
  ctx.restore();
  ctx.strokeStyle = colours.edge;
  ctx.lineWidth = 0.5;
  ctx.stroke(r.outline);
  const silk = r.silk.get(face);
  if (silk) ink(ctx, silk, BOARD.silk);
  ctx.fillStyle = BOARD.hole;
  ctx.fill(r.holes);
  ctx.strokeStyle = BOARD.hole;
  ctx.lineCap = 'round';
  for (const [d, p] of r.slots) {
    ctx.lineWidth = d;
    ctx.stroke(p);
  }
  if (face === 's') solderDomes(ctx, r, view, stateOf);
  paintParts(ctx, r, view, ratio, stateOf, m);
}

/** Where the mask is open: laminate with tinned metal on it. @param {Ctx} ctx @param {Ready} r @param {number[]} m @param {string} face */
function openings(ctx, r, m, face) {
  const mask = r.mask.get(face), copper = r.copper.get(face);
  if (!mask) return;
  const s = scratchContext(ctx.canvas.width, ctx.canvas.height);
  s.setTransform(m[0], m[1], m[2], m[3], m[4], m[5]);
  ink(s, mask, BOARD.laminate);
  s.globalCompositeOperation = 'source-atop';
  if (copper) ink(s, copper, BOARD.tin);
  ctx.save();
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.drawImage(s.canvas, 0, 0);
  ctx.restore();
}

/** Soldered legs on the solder side: a bright point in the middle of each joint. @param {Ctx} ctx @param {Ready} r @param {View} view @param {(ref: string) => string} stateOf */
function solderDomes(ctx, r, view, stateOf) {
  if (view.scale < 2.2) return;
  ctx.fillStyle = BOARD.tinShade;
  ctx.beginPath();
  const tips = new Path2D();
  for (const part of r.scene.parts) {
    const state = stateOf(part.ref);
    if (state === 'not fitted' || (state === 'out' && part.state !== 'socketed')) continue;
    for (const [, x, y, , hole] of part.pins) {
      if (!hole) continue;
      ctx.moveTo(x + 0.48, y);
      ctx.arc(x, y, 0.48, 0, 7);
      tips.moveTo(x + 0.2, y);
      tips.arc(x, y, 0.2, 0, 7);
    }
  }
  ctx.fill();
  ctx.fillStyle = '#f2f2ec';
  ctx.fill(tips);
}

/** @param {Ctx} ctx @param {Ready} r @param {View} view @param {number} ratio @param {(ref: string) => string} stateOf @param {[number, number, number, number, number, number]} m */
function paintParts(ctx, r, view, ratio, stateOf, m) {
  const mine = r.scene.parts.filter((p) => p.side === view.face);
  const behind = r.scene.parts.filter((p) => p.side !== view.face && (p.body === 'chip' || p.pins.length > 3));
  ctx.setTransform(...m);
  ctx.strokeStyle = BOARD.ghost;
  ctx.lineWidth = 0.22;
  for (const p of behind) {
    if (!p.outline.length) continue;
    ctx.setLineDash([1.1, 0.8]);
    ctx.stroke(ringPath(p.outline));
    ctx.setLineDash([]);
    if (p.notch) {
      ctx.beginPath();
      ctx.arc(p.notch[0], p.notch[1], 1, 0, 7);
      ctx.stroke();
    }
  }
  for (const p of mine) drawPart(ctx, p, stateOf(p.ref));
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  if (!hasPrint(r, view.face)) drawNames(ctx, view, behind, stateOf, true);
  drawNames(ctx, view, mine, stateOf, false);
  pinNumbers(ctx, r, view, stateOf);
}

/** Does this face bear print of its own? Then it names the parts itself. @param {Ready} r @param {string} face */
function hasPrint(r, face) {
  const silk = r.scene.silk[face];
  return Boolean(silk && silk.strokes.length > 20);
}

/** Pin numbers when near: at a chip on the body beside the pin, elsewhere above it. @param {Ctx} ctx @param {Ready} r @param {View} view @param {(ref: string) => string} stateOf */
function pinNumbers(ctx, r, view, stateOf) {
  if (view.scale < 6) return;
  const px = Math.min(14, Math.max(9, view.scale * 1.15));
  ctx.font = `600 ${px}px ui-monospace, "DejaVu Sans Mono", monospace`;
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  for (const part of r.scene.parts) {
    if (stateOf(part.ref) === 'not fitted') continue;
    const frame = part.body === 'chip' ? chipFrame(part) : null;
    for (const [no, x, y] of part.pins) {
      let tx = x, ty = y;
      if (frame) {
        const aside = Math.sign((x - frame.middle[0]) * frame.right[0] + (y - frame.middle[1]) * frame.right[1]);
        tx -= frame.right[0] * aside * 1.9;
        ty -= frame.right[1] * aside * 1.9;
      }
      const [sx, sy] = toScreen(view, tx, ty);
      if (sx < -20 || sy < -20 || sx > view.w + 20 || sy > view.h + 20) continue;
      const oy = frame ? sy : sy - view.scale * 1.25;
      ctx.lineWidth = 3;
      ctx.strokeStyle = 'rgba(15,13,10,0.8)';
      ctx.strokeText(no, sx, oy);
      ctx.fillStyle = no === '1' ? '#ffd277' : '#fff8e4';
      ctx.fillText(no, sx, oy);
    }
  }
}
