// @ts-check
/** Parts as they look from above: chips with notch, legs and type, sockets, rows of pins, small parts. */
import { BOARD } from './palette.js';
import { ringPath } from './paths.js';
import { toScreen } from './view.js';

/** @typedef {import('./index.js').Part} Part */
/** @typedef {import('./view.js').View} View */
/** @typedef {CanvasRenderingContext2D|OffscreenCanvasRenderingContext2D} Ctx */

/**
 * A dual in-line part's frame: middle, unit vector towards the notch, unit vector to the right of it, half length and half width of
 * the body (mm), half distance of the rows. Pure. @param {Part} part
 */
export function chipFrame(part) {
  const n = part.pins.length, half = n / 2;
  const at = new Map(part.pins.map((p) => [Number(p[0]), [p[1], p[2]]]));
  const p1 = at.get(1), pn = at.get(n), ph = at.get(half), pq = at.get(half + 1);
  if (!p1 || !pn || !ph || !pq) return null;
  const top = [(p1[0] + pn[0]) / 2, (p1[1] + pn[1]) / 2], low = [(ph[0] + pq[0]) / 2, (ph[1] + pq[1]) / 2];
  const long = Math.hypot(top[0] - low[0], top[1] - low[1]) || 1;
  const up = [(top[0] - low[0]) / long, (top[1] - low[1]) / long];
  const row = Math.hypot(p1[0] - pn[0], p1[1] - pn[1]) / 2;
  return {
    middle: [(top[0] + low[0]) / 2, (top[1] + low[1]) / 2], up, right: [up[1], -up[0]],
    halfLong: long / 2 + 1.35, halfWide: Math.max(row - 0.75, row * 0.62), row,
  };
}

/** @param {{middle: number[], up: number[], right: number[]}} f @param {number} along @param {number} aside */
const spot = (f, along, aside) => [f.middle[0] + f.up[0] * along + f.right[0] * aside, f.middle[1] + f.up[1] * along + f.right[1] * aside];

/** @param {ReturnType<typeof chipFrame>} f @param {number} l @param {number} w */
function box(f, l, w) {
  if (!f) return [];
  return [...spot(f, l, -w), ...spot(f, l, w), ...spot(f, -l, w), ...spot(f, -l, -w)];
}

/** @param {Ctx} ctx in board mm @param {Part} part @param {string} state */
export function drawPart(ctx, part, state) {
  if (state === 'not fitted') return outlineOnly(ctx, part);
  if (part.body === 'chip') return drawChip(ctx, part, state);
  if (part.body === 'row') return drawRow(ctx, part);
  if (part.body === 'small') return drawSmall(ctx, part);
  return drawOther(ctx, part);
}

/** @param {Ctx} ctx @param {Part} part */
function outlineOnly(ctx, part) {
  if (!part.outline.length) return;
  ctx.strokeStyle = BOARD.ghost;
  ctx.lineWidth = 0.2;
  ctx.setLineDash([0.8, 0.8]);
  ctx.stroke(ringPath(part.outline));
  ctx.setLineDash([]);
}

/** @param {Ctx} ctx @param {Part} part @param {string} state */
function drawChip(ctx, part, state) {
  const f = chipFrame(part);
  if (!f) return drawOther(ctx, part);
  const inSocket = state === 'socketed' || state === 'out';
  if (inSocket) drawSocket(ctx, part, f, state === 'out');
  if (state === 'out') return;
  // legs: from the body to the hole
  ctx.strokeStyle = BOARD.tin;
  ctx.lineCap = 'butt';
  ctx.lineWidth = 0.55;
  ctx.beginPath();
  for (const [, x, y] of part.pins) {
    const aside = (x - f.middle[0]) * f.right[0] + (y - f.middle[1]) * f.right[1];
    const along = (x - f.middle[0]) * f.up[0] + (y - f.middle[1]) * f.up[1];
    const s = Math.sign(aside);
    const from = spot(f, along, s * (f.halfWide - 0.1)), to = spot(f, along, s * f.row);
    ctx.moveTo(from[0], from[1]);
    ctx.lineTo(to[0], to[1]);
  }
  ctx.stroke();
  const body = ringPath(box(f, f.halfLong, f.halfWide));
  ctx.fillStyle = BOARD.chip;
  ctx.fill(body);
  ctx.strokeStyle = BOARD.chipEdge;
  ctx.lineWidth = 0.18;
  ctx.stroke(body);
  // the notch: a half moon bitten out of the end
  const end = spot(f, f.halfLong, 0), r = Math.min(1.1, f.halfWide * 0.4);
  const a = Math.atan2(f.right[1], f.right[0]);
  ctx.beginPath();
  ctx.arc(end[0], end[1], r, a, a + Math.PI, crossesDown(f));
  ctx.closePath();
  ctx.fillStyle = inSocket ? BOARD.socketEdge : '#0f0e10';
  ctx.fill();
  // pin 1
  const p1 = part.pins.find((p) => p[0] === '1');
  if (p1) {
    const aside = Math.sign((p1[1] - f.middle[0]) * f.right[0] + (p1[2] - f.middle[1]) * f.right[1]);
    const dot = spot(f, f.halfLong - 1.3, aside * (f.halfWide - 0.95));
    ctx.beginPath();
    ctx.arc(dot[0], dot[1], 0.38, 0, 7);
    ctx.fillStyle = BOARD.chipFaint;
    ctx.fill();
  }
}

/** The half moon must open into the body: from right to left through "down". @param {{up: number[], right: number[]}} f */
function crossesDown(f) {
  // going from `right` by +90 degrees reaches `up` when (right, up) is right-handed; then we must go the other way
  return f.right[0] * f.up[1] - f.right[1] * f.up[0] > 0;
}

/** @param {Ctx} ctx @param {Part} part @param {NonNullable<ReturnType<typeof chipFrame>>} f @param {boolean} empty */
function drawSocket(ctx, part, f, empty) {
  const frame = new Path2D();
  frame.addPath(ringPath(box(f, f.halfLong + 0.5, f.row + 1.2)));
  frame.addPath(ringPath(box(f, f.halfLong - 1.2, Math.max(f.row - 1.9, 0.5))));
  ctx.fillStyle = BOARD.socket;
  ctx.fill(frame, 'evenodd');
  ctx.strokeStyle = BOARD.socketEdge;
  ctx.lineWidth = 0.16;
  ctx.stroke(frame);
  if (!empty) return;
  for (const [, x, y] of part.pins) {
    ctx.fillStyle = BOARD.hole;
    ctx.beginPath();
    ctx.arc(x, y, 0.62, 0, 7);
    ctx.fill();
    ctx.strokeStyle = BOARD.tin;
    ctx.lineWidth = 0.18;
    ctx.stroke();
  }
}

/** @param {Ctx} ctx @param {Part} part */
function drawRow(ctx, part) {
  const xs = part.pins.map((p) => p[1]), ys = part.pins.map((p) => p[2]);
  const m = 1.2;
  const b = [Math.min(...xs) - m, Math.min(...ys) - m, Math.max(...xs) + m, Math.max(...ys) + m];
  ctx.fillStyle = 'rgba(33,30,30,0.88)';
  ctx.fillRect(b[0], b[1], b[2] - b[0], b[3] - b[1]);
  for (const [no, x, y] of part.pins) {
    ctx.fillStyle = BOARD.tin;
    ctx.fillRect(x - 0.35, y - 0.35, 0.7, 0.7);
    if (no === '1') {
      ctx.strokeStyle = BOARD.silk;
      ctx.lineWidth = 0.18;
      ctx.strokeRect(x - 0.85, y - 0.85, 1.7, 1.7);
    }
  }
}

/** What a two-legged part looks like, by the letters of its reference designator: body colour, width in mm, kind of body. */
const SMALL = {
  R: ['#cdb088', 1.75, 'bands'], C: ['#b9702f', 1.9, 'bead'], D: ['#8f4a32', 1.6, 'stripe'], L: ['#56663f', 1.8, 'bands'],
  F: ['#d9d6c6', 1.8, 'plain'], FB: ['#3b3b3e', 2, 'plain'], BT: ['#4f7f9a', 8, 'can'], Y: ['#b9bcc0', 3.4, 'can'], X: ['#b9bcc0', 3.4, 'can'], LK: ['#cfd0c6', 0.6, 'plain'],
};

/** @param {Ctx} ctx @param {Part} part */
function drawSmall(ctx, part) {
  if (part.pins.length < 2) return drawOther(ctx, part);
  const [[, x0, y0], [, x1, y1]] = part.pins;
  const long = Math.hypot(x1 - x0, y1 - y0) || 1, ux = (x1 - x0) / long, uy = (y1 - y0) / long;
  const at = (/** @type {number} */ k) => /** @type {[number, number]} */ ([x0 + ux * k, y0 + uy * k]);
  const stroke = (/** @type {number} */ from, /** @type {number} */ to, /** @type {number} */ wide, /** @type {string} */ colour, /** @type {CanvasLineCap} */ cap = 'butt') => {
    ctx.strokeStyle = colour;
    ctx.lineCap = cap;
    ctx.lineWidth = wide;
    ctx.beginPath();
    ctx.moveTo(...at(from));
    ctx.lineTo(...at(to));
    ctx.stroke();
  };
  stroke(0, long, 0.5, BOARD.tinShade);
  const letters = part.ref.replace(/\d.*$/, '');
  if (/RADIAL|ELECTRO/i.test(part.package)) return drawCan(ctx, part, at(long / 2));
  const [body, wide, kind] = /** @type {[string, number, string]} */ (SMALL[/** @type {keyof SMALL} */ (letters)] ?? ['#6b6258', 1.8, 'plain']);
  const inset = Math.min(long * 0.2, 2.2);
  const from = inset + wide * 0.25, to = long - inset - wide * 0.25;
  stroke(from, to, wide + 0.3, 'rgba(0,0,0,0.35)', kind === 'can' ? 'butt' : 'round');
  stroke(from, to, wide, body, kind === 'can' ? 'butt' : 'round');
  if (kind === 'bands') for (const [k, c] of /** @type {[number, string][]} */ ([[0.18, '#6a3d1c'], [0.42, '#2c2a28'], [0.64, '#a5522a'], [0.9, '#b99a45']])) stroke(from + (to - from) * k - 0.17, from + (to - from) * k + 0.17, wide, c);
  if (kind === 'stripe') stroke(to - 0.7, to - 0.1, wide, '#e9e4d4');
  if (kind === 'can') {
    stroke(from, from + 1.2, wide, '#d7d9d6');
    stroke(to - 1.2, to, wide, '#8d8f8c');
  }
}

/** A standing can: its top with the stripe of the minus side. @param {Ctx} ctx @param {Part} part @param {number[]} middle */
function drawCan(ctx, part, middle) {
  const xs = part.outline.filter((_, i) => i % 2 === 0);
  const r = Math.max(2.4, Math.min(6, (Math.max(...xs) - Math.min(...xs)) / 2 - 0.2 || 3));
  ctx.beginPath();
  ctx.arc(middle[0], middle[1], r, 0, 7);
  ctx.fillStyle = '#3d4653';
  ctx.fill();
  ctx.beginPath();
  ctx.arc(middle[0], middle[1], r * 0.8, 0, 7);
  ctx.fillStyle = '#a9adb0';
  ctx.fill();
  ctx.strokeStyle = '#7d8287';
  ctx.lineWidth = 0.25;
  ctx.beginPath();
  ctx.moveTo(middle[0] - r * 0.5, middle[1]);
  ctx.lineTo(middle[0] + r * 0.5, middle[1]);
  ctx.moveTo(middle[0], middle[1] - r * 0.5);
  ctx.lineTo(middle[0], middle[1] + r * 0.5);
  ctx.stroke();
}

/** @param {Ctx} ctx @param {Part} part */
function drawOther(ctx, part) {
  if (!part.outline.length) return;
  ctx.fillStyle = 'rgba(33,30,30,0.38)';
  ctx.strokeStyle = BOARD.silk;
  ctx.lineWidth = 0.18;
  const p = ringPath(part.outline);
  ctx.fill(p);
  ctx.stroke(p);
}

/** The middle of a part and the direction of its longer side (mm). Pure. @param {Part} part */
export function partAxis(part) {
  const f = part.body === 'chip' ? chipFrame(part) : null;
  if (f) return { x: f.middle[0], y: f.middle[1], ux: f.up[0], uy: f.up[1], long: 2 * f.halfLong, wide: 2 * f.halfWide };
  const flat = part.outline.length ? part.outline : part.pins.flatMap((p) => [p[1], p[2]]);
  const xs = flat.filter((_, i) => i % 2 === 0), ys = flat.filter((_, i) => i % 2 === 1);
  const w = Math.max(...xs) - Math.min(...xs), h = Math.max(...ys) - Math.min(...ys);
  const x = (Math.max(...xs) + Math.min(...xs)) / 2, y = (Math.max(...ys) + Math.min(...ys)) / 2;
  return w >= h ? { x, y, ux: 1, uy: 0, long: w, wide: h } : { x, y, ux: 0, uy: 1, long: h, wide: w };
}

/**
 * Reference and type on the parts, always readable: drawn in screen space, along the longer side, never upside down.
 * @param {Ctx} ctx with the identity times ratio @param {View} view @param {Part[]} parts @param {(ref: string) => string} stateOf @param {boolean} ghost
 */
export function drawNames(ctx, view, parts, stateOf, ghost) {
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  for (const part of parts) {
    const a = partAxis(part);
    const [sx, sy] = toScreen(view, a.x, a.y);
    if (sx < -200 || sy < -200 || sx > view.w + 200 || sy > view.h + 200) continue;
    const [ex, ey] = toScreen(view, a.x + a.ux, a.y + a.uy);
    let angle = Math.atan2(ey - sy, ex - sx);
    if (angle > Math.PI / 2 + 0.01 || angle <= -Math.PI / 2 + 0.01) angle += Math.PI;
    const chip = part.body === 'chip';
    const px = Math.min((chip ? Math.min(a.wide * 0.42, 3.4) : Math.min(a.wide * 0.5, 1.5)) * view.scale, 30);
    if (px < 5.5 || (!chip && part.body !== 'row' && part.body !== 'other')) continue;
    const empty = stateOf(part.ref) === 'out';
    ctx.save();
    ctx.translate(sx, sy);
    ctx.rotate(angle);
    ctx.font = `600 ${px}px ui-monospace, "DejaVu Sans Mono", monospace`;
    ctx.fillStyle = ghost ? BOARD.ghost : BOARD.chipText;
    const type = chip && part.value && !ghost ? part.value : '';
    const shift = type ? px * 0.55 : 0;
    ctx.fillText(part.ref + (empty ? ' (out)' : ''), 0, -shift);
    if (type) {
      ctx.font = `${px * 0.72}px ui-monospace, "DejaVu Sans Mono", monospace`;
      ctx.fillStyle = BOARD.chipFaint;
      ctx.fillText(type, 0, shift, a.long * view.scale * 0.94);
    }
    ctx.restore();
  }
}
