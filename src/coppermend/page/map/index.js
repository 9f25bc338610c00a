// @ts-check
/**
 * The scene made ready: what belongs to which net, and grids for finding what lies under a finger. Pure.
 *
 * @typedef {{ref: string, side: string, value: string, package: string, state: string, body: string, outline: number[],
 *   notch: number[]|null, pins: [string, number, number, number, boolean, string][]}} Part
 * @typedef {import('./scenefile.js').Scene} Scene
 * @typedef {{id: string, net: number, x: number, y: number, side: string, part: string, pin: string, kind: string, reachable: boolean}} Point
 */

/** @param {any[][]} rows @returns {Point[]} */
export function readPoints(rows) {
  return rows.map(([id, net, x, y, side, part, pin, kind, reachable]) => ({ id, net, x, y, side, part, pin, kind, reachable }));
}

/** A uniform grid of cells over points or boxes. */
export class Grid {
  /** @param {number} cell mm */
  constructor(cell = 2) {
    this.cell = cell;
    /** @type {Map<number, any[]>} */
    this.cells = new Map();
  }

  /** @param {number} x0 @param {number} y0 @param {number} x1 @param {number} y1 @param {any} item */
  put(x0, y0, x1, y1, item) {
    const c = this.cell;
    for (let i = Math.floor(x0 / c); i <= Math.floor(x1 / c); i++)
      for (let j = Math.floor(y0 / c); j <= Math.floor(y1 / c); j++) {
        const key = i * 65536 + j;
        const list = this.cells.get(key);
        if (list) list.push(item);
        else this.cells.set(key, [item]);
      }
  }

  /** Everything whose cell meets the square of half side r round (x, y); each once. @param {number} x @param {number} y @param {number} r @returns {Set<any>} */
  near(x, y, r) {
    const c = this.cell, found = new Set();
    for (let i = Math.floor((x - r) / c); i <= Math.floor((x + r) / c); i++)
      for (let j = Math.floor((y - r) / c); j <= Math.floor((y + r) / c); j++)
        for (const item of this.cells.get(i * 65536 + j) ?? []) found.add(item);
    return found;
  }
}

/** @param {Point[]} points */
export function pointGrid(points) {
  const grid = new Grid(2);
  for (const p of points) grid.put(p.x, p.y, p.x, p.y, p);
  return grid;
}

const KIND_ORDER = { leg: 0, contact: 1, joint: 2, hole: 3, via: 4, land: 5 };

/**
 * The probe point under (x, y) on that face, within r mm; reachable ones first, then the nearest, then leg before joint.
 * @param {Grid} grid @param {string} face @param {number} x @param {number} y @param {number} r @returns {Point|null}
 */
export function pickPoint(grid, face, x, y, r) {
  /** @type {Point|null} */
  let best = null;
  let bestKey = [9, 9, 9];
  for (const p of grid.near(x, y, r)) {
    if (p.side !== face) continue;
    const far = Math.hypot(p.x - x, p.y - y);
    if (far > r) continue;
    const key = [p.reachable ? 0 : 1, Math.round(far * 10), KIND_ORDER[/** @type {keyof KIND_ORDER} */ (p.kind)] ?? 6];
    if (less(key, bestKey)) {
      best = p;
      bestKey = key;
    }
  }
  return best;
}

/** @param {number[]} a @param {number[]} b */
function less(a, b) {
  for (let i = 0; i < a.length; i++) if (a[i] !== b[i]) return a[i] < b[i];
  return false;
}

/** Distance from (x, y) to a flat polyline that starts at `from`. @param {number[]} flat */
export function distanceToLine(flat, /** @type {number} */ x, /** @type {number} */ y, from = 0) {
  let best = Infinity;
  for (let i = from; i + 3 < flat.length; i += 2) {
    const x0 = flat[i], y0 = flat[i + 1], dx = flat[i + 2] - x0, dy = flat[i + 3] - y0;
    const l2 = dx * dx + dy * dy;
    const t = l2 ? Math.min(1, Math.max(0, ((x - x0) * dx + (y - y0) * dy) / l2)) : 0;
    best = Math.min(best, Math.hypot(x - x0 - t * dx, y - y0 - t * dy));
  }
  return best;
}

/**
 * The net of the copper within r mm of (x, y), or -1: the nearest track or land, else the pour under the place.
 * @param {import('./chunks.js').Chunks} copper
 */
export function pickNet(copper, /** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ r) {
  let net = -1, best = r, pour = -1;
  const { discs, strokes, regions } = copper.packed;
  for (const cell of copper.meeting([x - r, y - r, x + r, y + r])) {
    for (const i of cell.discs) {
      const far = Math.hypot(discs[i + 2] / 1000 - x, discs[i + 3] / 1000 - y) - discs[i + 1] / 1000;
      if (far < best) [best, net] = [far, discs[i]];
    }
    for (const i of cell.strokes) {
      const far = distanceToLine(flatOf(strokes, i + 3, strokes[i + 2]), x, y) - strokes[i + 1] / 1000;
      if (far < best) [best, net] = [far, strokes[i]];
    }
    for (const i of cell.regions) if (insideRings(regions, i, x, y)) pour = regions[i];
  }
  return net >= 0 ? net : pour;
}

/** Corners in mm. @param {Int32Array} v um @param {number} from @param {number} count */
function flatOf(v, from, count) {
  const out = new Array(2 * count);
  for (let i = 0; i < 2 * count; i++) out[i] = v[from + i] / 1000;
  return out;
}

/** Inside a region and in none of its holes. @param {Int32Array} v @param {number} at @param {number} x @param {number} y */
function insideRings(v, at, x, y) {
  let odd = false;
  for (let k = 0, j = at + 3; k < v[at + 2]; k++, j += 1 + 2 * v[j]) if (inside(flatOf(v, j + 1, v[j]), x, y)) odd = !odd;
  return odd;
}

/** Is (x, y) inside the flat ring? @param {number[]} ring */
export function inside(ring, /** @type {number} */ x, /** @type {number} */ y) {
  let odd = false;
  for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
    const xi = ring[i], yi = ring[i + 1], xj = ring[j], yj = ring[j + 1];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) odd = !odd;
  }
  return odd;
}
