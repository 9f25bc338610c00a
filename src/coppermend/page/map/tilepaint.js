// @ts-check
/** Paints one tile of a scene on a canvas; the same in a worker and on the page. */
import { paintBoard, ready } from './paint.js';
import { readScene } from './scenefile.js';
import { RIM, TILE, levelScale, tileBox, tileMatrix } from './tiles.js';

export class TilePainter {
  /** @param {ArrayBuffer} buffer @param {Record<string, string>} states */
  constructor(buffer, states) {
    this.ready = ready(readScene(buffer));
    this.states = states;
    this.built = new Map(this.ready.scene.parts.map((p) => [p.ref, p.state]));
  }

  /** @param {HTMLCanvasElement|OffscreenCanvas} canvas @param {import('./tiles.js').Tile} tile */
  paint(canvas, tile) {
    const side = TILE + 2 * RIM;
    if (canvas.width !== side || canvas.height !== side) canvas.width = canvas.height = side;
    const ctx = /** @type {import('./paint.js').Ctx|null} */ (canvas.getContext('2d', { willReadFrequently: true }));
    if (!ctx) return;
    const rim = RIM / levelScale(tile.level), [x0, y0, x1, y1] = tileBox(tile);
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, side, side);
    paintBoard(ctx, this.ready, tile.face, tileMatrix(tile), [x0 - rim, y0 - rim, x1 + rim, y1 + rim], levelScale(tile.level), (ref) => this.states[ref] ?? this.built.get(ref) ?? 'soldered');
  }
}
