// @ts-check
/** Has tiles painted: by workers where there are any, else here, between two frames. */
import { TilePainter } from './tilepaint.js';
import { keyOf } from './tiles.js';
import { hired } from '../shared/early.js';

/** @typedef {import('./tiles.js').Tile} Tile */

export class Painter {
  /** @param {(tile: Tile, bitmap: CanvasImageSource, version: number) => void} done */
  constructor(done) {
    this.done = done;
    /** @type {Worker[]} */
    this.workers = [];
    /** @type {TilePainter|null} */
    this.own = null;
    /** @type {Tile[]} */
    this.list = [];
    this.asked = '';
    this.version = 0;
    this.timer = 0;
    this.load = 0;
    this.hire();
  }

  /** @param {ArrayBuffer} buffer @param {Record<string, string>} states @param {number} version */
  scene(buffer, states, version) {
    this.version = version;
    this.asked = '';
    this.load++;
    this.own = null;
    for (const w of this.workers) w.postMessage({ kind: 'scene', buffer, states, version, load: this.load });
    if (!this.workers.length) this.own = new TilePainter(buffer, states);
  }

  hire() {
    for (const w of hired()) {
      w.onmessage = (e) => {
        if (e.data.load === this.load) this.done(e.data.tile, e.data.bitmap, e.data.version);
        else e.data.bitmap.close();
      };
      this.workers.push(w);
    }
  }

  /** @param {Record<string, string>} states @param {number} version */
  states(states, version) {
    this.version = version;
    this.asked = '';
    for (const w of this.workers) w.postMessage({ kind: 'states', states, version });
    if (this.own) this.own.states = states;
  }

  /** The tiles wanted now, most wanted first; what was wanted before and is not any more is not painted. @param {Tile[]} tiles */
  want(tiles) {
    const asked = tiles.map(keyOf).join(' ') + this.version;
    if (asked === this.asked) return;
    this.asked = asked;
    this.workers.forEach((w, k) => w.postMessage({ kind: 'want', tiles: tiles.filter((t) => (((t.i + t.j) % this.workers.length) + this.workers.length) % this.workers.length === k) }));
    if (this.own) {
      this.list = tiles;
      clearTimeout(this.timer);
      this.timer = window.setTimeout(() => this.paintOne());
    }
  }

  paintOne() {
    const tile = this.list.shift();
    if (!tile || !this.own) return;
    const canvas = document.createElement('canvas');
    this.own.paint(canvas, tile);
    this.done(tile, canvas, this.version);
    this.timer = window.setTimeout(() => this.paintOne(), 4);
  }
}
