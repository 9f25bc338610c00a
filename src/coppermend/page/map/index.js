// @ts-check
/**
 * The scene made ready: what belongs to which net, and grids for finding what lies under a finger. Pure.
 *
 * @typedef {{discs: number[][], strokes: number[][], regions: any[][]}} Shapes
 * @typedef {{ref: string, side: string, value: string, package: string, state: string, body: string, outline: number[],
 *   notch: number[]|null, pins: [string, number, number, number, boolean, string][]}} Part
 * @typedef {{bounds_mm: number[], outline: number[][], layers: ({key: string} & Shapes)[], holes: any[][], title: string, package_id: string,
 *   silk: Record<string, Shapes>, mask: Record<string, Shapes>, mask_colour: string, parts: Part[], nets: string[], findings: any[],
 *   photos?: string[], made_up?: string[]}} Scene
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
    /** @type {Map<string, any[]>} */
    this.cells = new Map();
  }

  /** @param {number} x0 @param {number} y0 @param {number} x1 @param {number} y1 @param {any} item */
  put(x0, y0, x1, y1, item) {
    const c = this.cell;
    for (let i = Math.floor(x0 / c); i <= Math.floor(x1 / c); i++)
      for (let j = Math.floor(y0 / c); j <= Math.floor(y1 / c); j++) {
        const key = i + ',' + j;
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
        for (const item of this.cells.get(i + ',' + j) ?? []) found.add(item);
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

/** Grid over the strokes and discs of one layer. @param {Shapes} shapes */
export function copperGrid(shapes) {
  const grid = new Grid(4);
  for (const s of shapes.strokes) {
    for (let i = 2; i + 3 < s.length; i += 2) {
      const seg = { net: s[0], r: s[1], line: [s[i], s[i + 1], s[i + 2], s[i + 3]] };
      grid.put(
        Math.min(s[i], s[i + 2]) - s[1], Math.min(s[i + 1], s[i + 3]) - s[1],
        Math.max(s[i], s[i + 2]) + s[1], Math.max(s[i + 1], s[i + 3]) + s[1], seg,
      );
    }
  }
  for (const d of shapes.discs) grid.put(d[2] - d[1], d[3] - d[1], d[2] + d[1], d[3] + d[1], { net: d[0], r: d[1], line: [d[2], d[3], d[2], d[3]] });
  return grid;
}

/** The net of the copper within r mm of (x, y), or -1. @param {Grid} grid */
export function pickNet(grid, /** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ r) {
  let net = -1, best = r;
  for (const seg of grid.near(x, y, r)) {
    const far = distanceToLine(seg.line, x, y) - seg.r;
    if (far < best) [best, net] = [far, seg.net];
  }
  return net;
}

/** Shapes of each net on a layer. @param {Shapes} shapes @returns {Map<number, Shapes>} */
export function byNet(shapes) {
  /** @type {Map<number, Shapes>} */
  const out = new Map();
  for (const kind of /** @type {('discs'|'strokes'|'regions')[]} */ (['discs', 'strokes', 'regions']))
    for (const one of shapes[kind]) {
      let mine = out.get(one[0]);
      if (!mine) out.set(one[0], (mine = { discs: [], strokes: [], regions: [] }));
      mine[kind].push(one);
    }
  return out;
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
