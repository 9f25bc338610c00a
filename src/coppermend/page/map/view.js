// @ts-check
/**
 * How the board lies under the eye: which face, turned how, how near. Pure functions; no canvas, no DOM.
 *
 * Board coordinates: mm, y up, as seen from the component side. Screen: CSS pixels, y down.
 * screen = middle + scale * M * (point - centre), with M = [a, b, c, d] (rows a b / c d), a turn or a mirrored turn by any angle.
 *
 * @typedef {[number, number, number, number]} Turn
 * @typedef {{face: 'c'|'s', turn: Turn, scale: number, x: number, y: number, w: number, h: number}} View
 */

/** The board as it lies component side up, top edge away from the person. @type {Turn} */
export const UPRIGHT = [1, 0, 0, -1];

/** @returns {View} */
export function newView(w = 100, h = 100) {
  return { face: 'c', turn: UPRIGHT, scale: 1, x: 0, y: 0, w, h };
}

/** @param {View} v @param {number} x @param {number} y @returns {[number, number]} */
export function toScreen(v, x, y) {
  const [a, b, c, d] = v.turn;
  const dx = x - v.x, dy = y - v.y;
  return [v.w / 2 + v.scale * (a * dx + b * dy), v.h / 2 + v.scale * (c * dx + d * dy)];
}

/** @param {View} v @param {number} sx @param {number} sy @returns {[number, number]} */
export function toBoard(v, sx, sy) {
  const [a, b, c, d] = v.turn;
  const ex = (sx - v.w / 2) / v.scale, ey = (sy - v.h / 2) / v.scale;
  // M is orthogonal: its inverse is its transpose
  return [v.x + a * ex + c * ey, v.y + b * ex + d * ey];
}

/** Canvas matrix for this view at a device pixel ratio. @param {View} v @returns {[number, number, number, number, number, number]} */
export function matrix(v, ratio = 1) {
  const [a, b, c, d] = v.turn;
  const s = v.scale * ratio;
  const e = (v.w / 2) * ratio - s * (a * v.x + b * v.y);
  const f = (v.h / 2) * ratio - s * (c * v.x + d * v.y);
  return [a * s, c * s, b * s, d * s, e, f];
}

/**
 * Turn the board over as a hand does: about the upright axis (like a page) or about the level axis (like a lid).
 * What lay in the middle stays in the middle. @param {View} v @param {'upright'|'level'} axis @returns {View}
 */
export function turnOver(v, axis = 'upright') {
  const [a, b, c, d] = v.turn;
  const turn = /** @type {Turn} */ (axis === 'upright' ? [-a, -b, c, d] : [a, b, -c, -d]).map(clean);
  return { ...v, face: v.face === 'c' ? 's' : 'c', turn: /** @type {Turn} */ (turn) };
}

/** A quarter turn clockwise as seen. @param {View} v @returns {View} */
export function rotate(v) {
  const [a, b, c, d] = v.turn;
  return { ...v, turn: /** @type {Turn} */ ([-c, -d, a, b].map(clean)) };
}

/** Within this many degrees of a quarter a board counts as lying straight. */
export const STRAIGHT_DEG = 1.5;

/** Turned by any angle, clockwise as seen; the place at (sx, sy) stays there. @param {View} v @param {number} degrees @returns {View} */
export function spin(v, degrees, sx = v.w / 2, sy = v.h / 2) {
  const [a, b, c, d] = v.turn, r = (degrees * Math.PI) / 180, k = Math.cos(r), s = Math.sin(r);
  const [x, y] = toBoard(v, sx, sy);
  const next = { ...v, turn: /** @type {Turn} */ ([k * a - s * c, k * b - s * d, s * a + k * c, s * b + k * d].map(tidy)) };
  const [nx, ny] = toBoard(next, sx, sy);
  return { ...next, x: v.x + x - nx, y: v.y + y - ny };
}

/** Rounding left by many small turns is taken away: the matrix stays orthogonal to 1e-9. @param {number} n */
const tidy = (n) => (Math.abs(n - Math.round(n)) < 1e-9 ? clean(Math.round(n)) : n);

/** By how many degrees the board lies off the nearest quarter, clockwise positive, -45 to 45. @param {View} v */
export function askew(v) {
  const [, b, , d] = v.turn;
  const up = (Math.atan2(b, -d) * 180) / Math.PI; // 0: the top edge points up
  return up - 90 * Math.round(up / 90);
}

/** Does it lie along a quarter exactly? @param {View} v */
export const isStraight = (v) => v.turn.every((t) => t === 0 || t === 1 || t === -1);

/** Laid straight when it nearly is, or always. @param {View} v @param {boolean} [always] @returns {View} */
export function straighten(v, always = false) {
  const off = askew(v);
  if (!always && Math.abs(off) > STRAIGHT_DEG) return v;
  const next = spin(v, -off);
  return { ...next, turn: /** @type {Turn} */ (next.turn.map((n) => clean(Math.round(n)))) };
}

/** @param {number} n */
const clean = (n) => (n === 0 ? 0 : n);

/** Where the board's top edge points on the screen: up, right, down or left, the nearest of the four. @param {View} v */
export function topEdge(v) {
  const [, b, , d] = v.turn;
  if (Math.abs(d) >= Math.abs(b)) return d < 0 ? 'up' : 'down';
  return b > 0 ? 'right' : 'left';
}

/** "Component side, top edge away from you", with the angle where it lies askew. @param {View} v */
export function lieWords(v) {
  const at = { up: 'top edge away from you', down: 'top edge towards you', left: 'top edge at your left', right: 'top edge at your right' };
  const off = Math.round(askew(v));
  return `${v.face === 'c' ? 'Component side' : 'Solder side'}, ${at[topEdge(v)]}${off ? `, turned ${Math.abs(off)}° ${off > 0 ? 'clockwise' : 'anticlockwise'}` : ''}`;
}

/** How large a box lies on the screen at 1 px per mm, wide and high. @param {View} v @param {number[]} box x0, y0, x1, y1 @returns {[number, number]} */
function lying(v, [x0, y0, x1, y1]) {
  const [a, b, c, d] = v.turn.map(Math.abs);
  return [Math.max(a * (x1 - x0) + b * (y1 - y0), 1), Math.max(c * (x1 - x0) + d * (y1 - y0), 1)];
}

/** px per mm at which the box fills a part of the window. @param {View} v @param {number[]} box @param {number[]} part left, top, right, bottom in px @param {number} margin px */
function scaleIn(v, box, [l, t, r, b], margin) {
  const [bw, bh] = lying(v, box);
  return Math.min(Math.max(r - l - 2 * margin, 40) / bw, Math.max(b - t - 2 * margin, 40) / bh);
}

/**
 * The part of the window beside what lies over it in which the box is drawn largest: every cover is passed at one of its four sides.
 * @param {View} v @param {number[]} box x0, y0, x1, y1 in mm @param {number[][]} covers left, top, right, bottom in px @returns {number[]} left, top, right, bottom in px
 */
export function freeOf(v, box, covers, margin = 0) {
  let parts = [[0, 0, v.w, v.h]];
  for (const [l, t, r, b] of covers)
    parts = parts.flatMap((p) => [[Math.max(p[0], r), p[1], p[2], p[3]], [p[0], Math.max(p[1], b), p[2], p[3]], [p[0], p[1], Math.min(p[2], l), p[3]], [p[0], p[1], p[2], Math.min(p[3], t)]]);
  const best = parts.reduce((one, other) => (scaleIn(v, box, other, margin) > scaleIn(v, box, one, margin) * 1.001 ? other : one));
  return best[2] - best[0] > 60 && best[3] - best[1] > 60 ? best : [0, 0, v.w, v.h];
}

/**
 * The whole box in view with a margin in px, in the middle of a part of the window.
 * @param {View} v @param {number[]} box x0, y0, x1, y1 @param {number[]} [part] left, top, right, bottom in px @returns {View}
 */
export function fit(v, box, margin = 36, part = [0, 0, v.w, v.h]) {
  const [x0, y0, x1, y1] = box;
  return pan({ ...v, scale: scaleIn(v, box, part, margin), x: (x0 + x1) / 2, y: (y0 + y1) / 2 }, (part[0] + part[2] - v.w) / 2, (part[1] + part[3] - v.h) / 2);
}

/** Nearer or further, the point under (sx, sy) stays there. @param {View} v @returns {View} */
export function zoomAt(v, /** @type {number} */ factor, sx = v.w / 2, sy = v.h / 2, low = 0.5, high = 160) {
  const scale = Math.min(high, Math.max(low, v.scale * factor));
  const [x, y] = toBoard(v, sx, sy);
  const next = { ...v, scale };
  const [nx, ny] = toBoard(next, sx, sy);
  return { ...next, x: v.x + x - nx, y: v.y + y - ny };
}

/** @param {View} v @param {number} dx px @param {number} dy px @returns {View} */
export function pan(v, dx, dy) {
  const [x, y] = toBoard(v, v.w / 2 - dx, v.h / 2 - dy);
  return { ...v, x, y };
}

/** The box in mm, along the board's axes, that the window shows. @param {View} v @returns {[number, number, number, number]} */
export function seen(v) {
  const corners = [[0, 0], [v.w, 0], [v.w, v.h], [0, v.h]].map(([x, y]) => toBoard(v, x, y));
  const xs = corners.map((p) => p[0]), ys = corners.map((p) => p[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

/** Keep some of the board in sight. @param {View} v @param {number[]} box @returns {View} */
export function keepNear(v, box) {
  const [x0, y0, x1, y1] = box;
  return { ...v, x: Math.min(x1, Math.max(x0, v.x)), y: Math.min(y1, Math.max(y0, v.y)) };
}

/** A view that shows all the given points beside what lies over the window, not nearer than `high` px per mm. @param {View} v @param {number[][]} points @param {number[][]} [covers] @param {number} [high] */
export function frame(v, points, covers = [], high = 14) {
  if (!points.length) return v;
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  const part = freeOf(v, box, covers), margin = Math.min(110, 0.28 * Math.min(part[2] - part[0], part[3] - part[1]));
  const out = fit(v, box, margin, part);
  if (out.scale <= high) return out;
  return pan({ ...out, scale: high, x: (box[0] + box[2]) / 2, y: (box[1] + box[3]) / 2 }, (part[0] + part[2] - v.w) / 2, (part[1] + part[3] - v.h) / 2);
}

/** Does a place on the screen lie free, not near the window's edge and not under a cover? @param {View} v @param {number} sx @param {number} sy @param {number[][]} covers @param {number} [near] px */
export function liesFree(v, sx, sy, covers, near = 30) {
  if (sx < near || sy < near || sx > v.w - near || sy > v.h - near) return false;
  return covers.every(([l, t, r, b]) => sx < l - 14 || sx > r + 14 || sy < t - 14 || sy > b + 14);
}
