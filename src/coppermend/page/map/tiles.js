// @ts-check
/**
 * The board cut into square bitmaps at scales that grow by the square root of two: which are needed for a view, where each one goes, which
 * are kept. Bitmaps lie along the board's own axes (y up, seen from the component side); turning and mirroring happen when they are laid.
 */
import { isStraight, seen, toScreen } from './view.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {{face: string, level: number, i: number, j: number}} Tile */
/** @typedef {{bitmap: CanvasImageSource, version: number}} Kept */

/** Side of a tile in px, and the rim beyond it that neighbours share, so that no seam shows when the board lies askew. */
export const TILE = 512, RIM = 1;
/** The finest scale, px per mm; further in, tiles are enlarged. */
export const FINEST = 18;

/** px per mm of a level. Pure. @param {number} level */
export const levelScale = (level) => 2 ** (level / 2);

/** The level whose tiles are drawn at this scale (device px per mm) or a little above. Pure. @param {number} scale */
export const levelFor = (scale) => Math.min(FINEST, Math.ceil(2 * Math.log2(scale) - 0.12));

/** The level at which a whole board is about one tile wide: always kept, so that nothing is ever blank. Pure. @param {number[]} box */
export const baseLevel = ([x0, y0, x1, y1]) => Math.floor(2 * Math.log2((1.6 * TILE) / Math.max(x1 - x0, y1 - y0, 1)));

/** @param {Tile} t */
export const keyOf = (t) => `${t.face}${t.level}/${t.i}/${t.j}`;

/** The box in mm that a tile covers, without its rim; the grid starts at (0, 0). Pure. @param {Tile} t @returns {[number, number, number, number]} */
export function tileBox(t) {
  const mm = TILE / levelScale(t.level);
  return [t.i * mm, t.j * mm, (t.i + 1) * mm, (t.j + 1) * mm];
}

/** Canvas matrix from mm to a tile's px, rim included. Pure. @param {Tile} t @returns {[number, number, number, number, number, number]} */
export function tileMatrix(t) {
  const s = levelScale(t.level), [x0, , , y1] = tileBox(t);
  return [s, 0, 0, -s, RIM - x0 * s, RIM + y1 * s];
}

/** Tiles of a level that meet both boxes, those nearest the middle of the first one first. Pure. @param {string} face @param {number} level @param {number[]} window_ @param {number[]} board @returns {Tile[]} */
export function tilesIn(face, level, window_, board) {
  const mm = TILE / levelScale(level);
  const x0 = Math.max(window_[0], board[0]), y0 = Math.max(window_[1], board[1]), x1 = Math.min(window_[2], board[2]), y1 = Math.min(window_[3], board[3]);
  const out = [];
  if (x1 < x0 || y1 < y0) return [];
  for (let i = Math.floor(x0 / mm); i <= Math.floor(x1 / mm); i++)
    for (let j = Math.floor(y0 / mm); j <= Math.floor(y1 / mm); j++) out.push({ face, level, i, j });
  const cx = (window_[0] + window_[2]) / 2 / mm - 0.5, cy = (window_[1] + window_[3]) / 2 / mm - 0.5;
  return out.sort((a, b) => Math.hypot(a.i - cx, a.j - cy) - Math.hypot(b.i - cx, b.j - cy));
}

/**
 * Where a tile goes: a canvas matrix that takes its core (TILE by TILE px) to device px. Along the quarters the corners fall on whole px, so
 * that neighbours meet exactly. Pure. @param {View} view @param {number} ratio @param {Tile} t @returns {[number, number, number, number, number, number]}
 */
export function tilePlace(view, ratio, t) {
  const [x0, y0, x1, y1] = tileBox(t);
  const straight = isStraight(view);
  const at = (/** @type {number} */ x, /** @type {number} */ y) => toScreen(view, x, y).map((v) => (straight ? Math.round(v * ratio) : v * ratio));
  const [ox, oy] = at(x0, y1), [rx, ry] = at(x1, y1), [dx, dy] = at(x0, y0);
  return [(rx - ox) / TILE, (ry - oy) / TILE, (dx - ox) / TILE, (dy - oy) / TILE, ox, oy];
}

/** Bitmaps by tile, the ones used longest ago let go beyond `most`. */
export class TileStore {
  /** @param {number} most */
  constructor(most = 120) {
    this.most = most;
    /** @type {Map<string, Kept>} */
    this.kept = new Map();
  }

  /** @param {string} key @returns {Kept|undefined} */
  get(key) {
    const one = this.kept.get(key);
    if (one) {
      this.kept.delete(key);
      this.kept.set(key, one);
    }
    return one;
  }

  /** @param {string} key @param {CanvasImageSource} bitmap @param {number} version */
  put(key, bitmap, version) {
    this.drop(key);
    this.kept.set(key, { bitmap, version });
    for (const old of [...this.kept.keys()].slice(0, Math.max(0, this.kept.size - this.most))) this.drop(old);
  }

  /** @param {string} key */
  drop(key) {
    const one = this.kept.get(key);
    if (one && 'close' in one.bitmap) /** @type {ImageBitmap} */ (one.bitmap).close();
    this.kept.delete(key);
  }

  clear() {
    for (const key of [...this.kept.keys()]) this.drop(key);
  }
}

/**
 * What is laid for a view, from the ground up: the always kept level, the nearest level that has something where tiles are missing, the
 * wanted level. Pure. @param {TileStore} store @param {View} view @param {number} ratio @param {number[]} board
 * @param {number} version @param {number} base @returns {{lay: Tile[], missing: Tile[], sharp: boolean}}
 */
export function plan(store, view, ratio, board, version, base) {
  const box = seen(view), level = Math.max(levelFor(view.scale * ratio), base);
  const wanted = tilesIn(view.face, level, box, board);
  const have = wanted.filter((t) => store.get(keyOf(t)));
  const missing = wanted.filter((t) => store.kept.get(keyOf(t))?.version !== version);
  const lay = [];
  if (have.length < wanted.length) {
    if (level > base) lay.push(...tilesIn(view.face, base, box, board).filter((t) => store.get(keyOf(t))));
    for (const other of [level - 1, level - 2, level + 1, level - 3, level - 4]) {
      if (other <= base) continue;
      const some = tilesIn(view.face, other, box, board).filter((t) => store.get(keyOf(t)));
      if (some.length) {
        lay.push(...some);
        break;
      }
    }
  }
  return { lay: [...lay, ...have], missing, sharp: !missing.length };
}

/** @param {CanvasRenderingContext2D} ctx @param {TileStore} store @param {View} view @param {number} ratio @param {Tile[]} tiles */
export function layTiles(ctx, store, view, ratio, tiles) {
  const straight = isStraight(view);
  ctx.imageSmoothingEnabled = true;
  for (const t of tiles) {
    const one = store.kept.get(keyOf(t));
    if (!one) continue;
    ctx.setTransform(...tilePlace(view, ratio, t));
    if (straight) ctx.drawImage(one.bitmap, RIM, RIM, TILE, TILE, 0, 0, TILE, TILE);
    else ctx.drawImage(one.bitmap, -RIM, -RIM);
  }
}
