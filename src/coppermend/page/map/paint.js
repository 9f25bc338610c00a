// @ts-check
/** One face of the board, drawn from the ready scene: mask, copper, bare metal, holes, print, parts. No state of its own. */
import { BOARD, maskColours } from './palette.js';
import { chipFrame, drawNames, drawPart } from './chips.js';
import { Chunks } from './chunks.js';
import { ink, ringPath } from './paths.js';
import { paintOverPhoto } from './photo.js';
import { seen, toScreen } from './view.js';

/** @typedef {import('./scenefile.js').Scene} Scene */
/** @typedef {import('./view.js').View} View */
/** @typedef {CanvasRenderingContext2D|OffscreenCanvasRenderingContext2D} Ctx */
/** @typedef {[number, number, number, number, number, number]} Matrix */

/**
 * @typedef {{scene: Scene, outline: Path2D, rings: number[][], copper: Map<string, Chunks>, silk: Map<string, Chunks>, mask: Map<string, Chunks>,
 *   holes: Chunks, colours: ReturnType<typeof maskColours>, boxes: Map<string, number[]>}} Ready
 */

/** The scene made ready for drawing; squares get their paths when they are first drawn. @param {Scene} scene @returns {Ready} */
export function ready(scene) {
  const outline = new Path2D();
  const [x0, y0, x1, y1] = scene.bounds_mm;
  const rings = scene.outline.length ? scene.outline : [[x0, y0, x1, y0, x1, y1, x0, y1]];
  for (const ring of rings) outline.addPath(ringPath(ring));
  const each = (/** @type {Record<string, any>} */ o) => new Map(Object.entries(o).map(([k, s]) => [k, new Chunks(s)]));
  return {
    scene, outline, rings, silk: each(scene.silk), mask: each(scene.mask), holes: new Chunks(scene.holes),
    copper: new Map(scene.layers.map((l) => [l.key, new Chunks(l)])), colours: maskColours(scene.mask_colour),
    boxes: new Map(scene.parts.map((p) => [p.ref, partBox(p)])),
  };
}

/** What a part's drawing covers, mm. Pure. @param {import('./index.js').Part} part */
export function partBox(part) {
  const flat = [...part.outline, ...part.pins.flatMap((p) => [p[1], p[2]])];
  const xs = flat.filter((_, i) => i % 2 === 0), ys = flat.filter((_, i) => i % 2 === 1);
  return [Math.min(...xs) - 4, Math.min(...ys) - 4, Math.max(...xs) + 4, Math.max(...ys) + 4];
}

/** @param {number[]} a @param {number[]} b */
const meet = (a, b) => a[0] <= b[2] && a[2] >= b[0] && a[1] <= b[3] && a[3] >= b[1];

/** Does the board's edge run through the box? A tile wholly on the board needs no clipping. Pure. @param {number[][]} rings @param {number[]} box */
export function edgeMeets(rings, box) {
  for (const ring of rings)
    for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
      const [ax, ay, bx, by] = [ring[j], ring[j + 1], ring[i], ring[i + 1]];
      if (meet([Math.min(ax, bx), Math.min(ay, by), Math.max(ax, bx), Math.max(ay, by)], box)) return true;
    }
  return false;
}

/** Colours of the face: a face without mask data is bare laminate. @param {Ready} r @param {string} face */
export function faceColours(r, face) {
  return r.mask.has(face) ? r.colours : { mask: BOARD.laminate, copper: BOARD.copper, edge: '#7d6a3f' };
}

/** @type {HTMLCanvasElement|OffscreenCanvas|null} */
let scratch = null;

/** @param {number} w @param {number} h @returns {Ctx} */
function scratchContext(w, h) {
  scratch ??= typeof document === 'undefined' ? new OffscreenCanvas(w, h) : document.createElement('canvas');
  if (scratch.width !== w || scratch.height !== h) {
    scratch.width = w;
    scratch.height = h;
  }
  const ctx = /** @type {Ctx|null} */ (scratch.getContext('2d', { willReadFrequently: true }));
  if (!ctx) throw new Error('no canvas');
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.globalCompositeOperation = 'source-over';
  ctx.clearRect(0, 0, w, h);
  return ctx;
}

/** @param {Ctx} ctx @param {Chunks|undefined} chunks @param {number[]} box @param {string} colour @param {number} pixels per mm */
function inkNear(ctx, chunks, box, colour, pixels) {
  if (!chunks) return 0;
  const near = chunks.meeting(box);
  for (const cell of near) ink(ctx, chunks.pathsOf(cell), colour, 0, pixels);
  return near.length;
}

/**
 * One face of the board as far as a box shows it: mask, copper, bare metal, holes, print, parts; no words (they are laid upright by the page).
 * On a face whose map is a photo only what lies over the photo.
 * @param {Ctx} ctx @param {Ready} r @param {string} face @param {Matrix} m mm to px @param {number[]} box mm @param {number} pixels per mm @param {(ref: string) => string} stateOf
 */
export function paintBoard(ctx, r, face, m, box, pixels, stateOf) {
  ctx.setTransform(...m);
  const parts = r.scene.parts.filter((p) => meet(/** @type {number[]} */ (r.boxes.get(p.ref)), box));
  if (r.scene.photos.includes(face)) return paintOverPhoto(ctx, r.scene, parts, face, stateOf);
  const colours = faceColours(r, face), edged = edgeMeets(r.rings, box);
  ctx.save();
  if (edged) ctx.clip(r.outline, 'evenodd');
  ctx.fillStyle = colours.mask;
  if (edged || ctx.isPointInPath(r.outline, m[4] + m[0] * (box[0] + box[2]) / 2, m[5] + m[3] * (box[1] + box[3]) / 2, 'evenodd')) ctx.fillRect(box[0], box[1], box[2] - box[0], box[3] - box[1]);
  const copper = r.copper.get(face);
  inkNear(ctx, copper, box, colours.copper, pixels);
  if (r.mask.has(face)) openings(ctx, r, m, face, box, pixels);
  ctx.restore();
  if (edged) {
    ctx.strokeStyle = colours.edge;
    ctx.lineWidth = 0.5;
    ctx.stroke(r.outline);
  }
  inkNear(ctx, r.silk.get(face), box, BOARD.silk, pixels);
  inkNear(ctx, r.holes, box, BOARD.hole, pixels);
  if (face === 's') solderDomes(ctx, parts, pixels, stateOf);
  paintParts(ctx, parts, face, stateOf);
}

/** Where the mask is open: laminate with tinned metal on it. @param {Ctx} ctx @param {Ready} r @param {Matrix} m @param {string} face @param {number[]} box @param {number} pixels */
function openings(ctx, r, m, face, box, pixels) {
  const mask = r.mask.get(face), copper = r.copper.get(face);
  if (!mask) return;
  const s = scratchContext(ctx.canvas.width, ctx.canvas.height);
  s.setTransform(...m);
  if (!inkNear(s, mask, box, BOARD.laminate, pixels)) return;
  s.globalCompositeOperation = 'source-atop';
  inkNear(s, copper, box, BOARD.tin, pixels);
  ctx.save();
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.drawImage(s.canvas, 0, 0);
  ctx.restore();
}

/** Soldered legs on the solder side: a bright point in the middle of each joint. @param {Ctx} ctx @param {import('./index.js').Part[]} parts @param {number} pixels @param {(ref: string) => string} stateOf */
function solderDomes(ctx, parts, pixels, stateOf) {
  if (pixels < 2.2) return;
  ctx.fillStyle = BOARD.tinShade;
  ctx.beginPath();
  const tips = new Path2D();
  for (const part of parts) {
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

/** @param {Ctx} ctx @param {import('./index.js').Part[]} parts @param {string} face @param {(ref: string) => string} stateOf */
function paintParts(ctx, parts, face, stateOf) {
  ctx.strokeStyle = BOARD.ghost;
  ctx.lineWidth = 0.22;
  for (const p of parts) {
    if (p.side === face || !p.outline.length || !isLarge(p)) continue;
    ctx.setLineDash([1.1, 0.8]);
    ctx.stroke(ringPath(p.outline));
    ctx.setLineDash([]);
    if (p.notch) {
      ctx.beginPath();
      ctx.arc(p.notch[0], p.notch[1], 1, 0, 7);
      ctx.stroke();
    }
  }
  for (const p of parts) if (p.side === face) drawPart(ctx, p, stateOf(p.ref));
}

/** Parts that show through from the other side, as an outline. @param {import('./index.js').Part} p */
const isLarge = (p) => p.body === 'chip' || p.pins.length > 3;

/** Names and pin numbers over the board, upright whichever way it lies. @param {Ctx} ctx @param {Ready} r @param {View} view @param {number} ratio @param {(ref: string) => string} stateOf */
export function paintWords(ctx, r, view, ratio, stateOf) {
  const box = seen(view), photo = r.scene.photos.includes(view.face);
  const parts = r.scene.parts.filter((p) => meet(/** @type {number[]} */ (r.boxes.get(p.ref)), box));
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  if (!photo && !hasPrint(r, view.face)) drawNames(ctx, view, parts.filter((p) => p.side !== view.face && isLarge(p)), stateOf, true);
  drawNames(ctx, view, parts.filter((p) => p.side === view.face), stateOf, false);
  pinNumbers(ctx, parts, view, stateOf);
}

/** Does this face bear print of its own? Then it names the parts itself. @param {Ready} r @param {string} face */
function hasPrint(r, face) {
  const silk = r.silk.get(face);
  return Boolean(silk && silk.packed.strokes.length > 140);
}

/** Pin numbers when near: at a chip on the body beside the pin, elsewhere above it. @param {Ctx} ctx @param {import('./index.js').Part[]} parts @param {View} view @param {(ref: string) => string} stateOf */
function pinNumbers(ctx, parts, view, stateOf) {
  if (view.scale < 6) return;
  const px = Math.min(14, Math.max(9, view.scale * 1.15));
  ctx.font = `600 ${px}px ui-monospace, "DejaVu Sans Mono", monospace`;
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  for (const part of parts) {
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
