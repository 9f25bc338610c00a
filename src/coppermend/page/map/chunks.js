// @ts-check
/**
 * Shapes gathered by where they lie, in squares that grow with the shapes' size: drawing a window and finding what lies under a finger
 * touch only the squares near it. They are gathered when they are first asked for: the page needs none before a finger picks something, a painter
 * none of the side that lies down. Pure but for the paths, which a canvas needs.
 */
import { eachShape } from './scenefile.js';
import { pathsOf } from './paths.js';

/** @typedef {import('./scenefile.js').Packed} Packed */
/** @typedef {{x0: number, y0: number, x1: number, y1: number, discs: number[], strokes: number[], regions: number[], drawn: import('./paths.js').Drawn|null}} Cell */

const UM = 1000;

export class Chunks {
  /** @param {Packed} packed @param {number} cell side of the smallest square, mm */
  constructor(packed, cell = 12) {
    this.packed = packed;
    this.cell = cell;
    /** @type {Map<number, Cell>|null} */
    this.gathered = null;
  }

  /** The squares by their keys. */
  get cells() {
    if (this.gathered) return this.gathered;
    this.gathered = new Map();
    eachShape(this.packed, (kind, at, end) => this.put(kind, at, end));
    return this.gathered;
  }

  /** @param {'discs'|'strokes'|'regions'} kind @param {number} at @param {number} end */
  put(kind, at, end) {
    const v = this.packed[kind], r = v[at + 1];
    let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
    const last = kind === 'regions' ? at + 4 + 2 * v[at + 3] : end; // the outer ring holds the others
    for (let i = kind === 'discs' ? at + 2 : kind === 'strokes' ? at + 3 : at + 4; i < last; i += 2) {
      const x = v[i], y = v[i + 1];
      if (x < x0) x0 = x;
      if (x > x1) x1 = x;
      if (y < y0) y0 = y;
      if (y > y1) y1 = y;
    }
    [x0, y0, x1, y1] = [(x0 - r) / UM, (y0 - r) / UM, (x1 + r) / UM, (y1 + r) / UM];
    let side = this.cell, level = 0;
    while (Math.max(x1 - x0, y1 - y0) > side && level < 12) {
      side *= 3;
      level++;
    }
    const key = (level * 8192 + Math.floor((x0 + x1) / 2 / side) + 4096) * 8192 + Math.floor((y0 + y1) / 2 / side) + 4096;
    const cells = /** @type {Map<number, Cell>} */ (this.gathered);
    let one = cells.get(key);
    if (!one) cells.set(key, (one = { x0, y0, x1, y1, discs: [], strokes: [], regions: [], drawn: null }));
    if (x0 < one.x0) one.x0 = x0;
    if (y0 < one.y0) one.y0 = y0;
    if (x1 > one.x1) one.x1 = x1;
    if (y1 > one.y1) one.y1 = y1;
    one[kind].push(at);
  }

  /** The squares that meet a box in mm. @param {number[]} box x0, y0, x1, y1 @returns {Cell[]} */
  meeting([x0, y0, x1, y1]) {
    const out = [];
    for (const c of this.cells.values()) if (c.x0 <= x1 && c.x1 >= x0 && c.y0 <= y1 && c.y1 >= y0) out.push(c);
    return out;
  }

  /** The paths of one square. @param {Cell} cell */
  pathsOf(cell) {
    return (cell.drawn ??= pathsOf(this.packed, cell));
  }
}
