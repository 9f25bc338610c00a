// @ts-check
/** A worker that paints tiles. It looks for new wishes between two tiles, so that nothing is painted that nobody looks at any more. */
import { RIM, TILE, keyOf } from './tiles.js';
import { TilePainter } from './tilepaint.js';

/** @type {TilePainter|null} */
let painter = null;
let load = 0, version = 0;
/** @type {import('./tiles.js').Tile[]} */
let list = [];
let busy = false;
const canvas = new OffscreenCanvas(TILE + 2 * RIM, TILE + 2 * RIM);
const turn = new MessageChannel();
/** When a tile was last sent off: a wish that crossed it on the way is already met. @type {Map<string, number>} */
const sent = new Map();
const CROSSED_MS = 80;

turn.port1.onmessage = () => {
  const tile = list.shift();
  busy = false;
  if (!tile || !painter) return;
  const key = keyOf(tile) + '@' + version, now = performance.now();
  for (const [k, at] of sent) if (now - at > CROSSED_MS) sent.delete(k);
  if (sent.has(key)) return go();
  painter.paint(canvas, tile);
  const bitmap = canvas.transferToImageBitmap();
  /** @type {any} */ (self).postMessage({ tile, bitmap, version, load }, [bitmap]);
  sent.set(key, performance.now());
  go();
};

function go() {
  if (busy || !list.length) return;
  busy = true;
  turn.port2.postMessage(0);
}

self.onmessage = (e) => {
  const said = e.data;
  if (said.kind === 'scene') {
    painter = new TilePainter(said.buffer, said.states);
    [load, version, list] = [said.load, said.version, []];
    sent.clear();
  } else if (said.kind === 'states') {
    if (painter) painter.states = said.states;
    version = said.version;
  } else if (said.kind === 'want') {
    list = said.tiles;
    go();
  }
};
