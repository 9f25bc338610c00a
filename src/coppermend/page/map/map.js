// @ts-check
/** The map on the page: joins view, bitmaps, overlays and gestures. The only module here that keeps state. */
import { pickNet, pickPoint, pointGrid } from './index.js';
import { drawAreas, drawCut, drawDraft, drawNet, drawPoints, drawRing, drawSites, drawSpan, drawTip, drawVeil, drawWire } from './overlay.js';
import { Painter } from './painter.js';
import { faceColours, paintWords, ready } from './paint.js';
import { pathsOf } from './paths.js';
import { PhotoSheet } from './photo.js';
import { drawRim, drawWindowRim } from './rim.js';
import { readScene, shapesOfNet } from './scenefile.js';
import { Sheet } from './sheet.js';
import { TileStore, baseLevel, keyOf, layTiles, plan, tilesIn } from './tiles.js';
import { listen } from './gestures.js';
import * as V from './view.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {import('./index.js').Point} Point */

const REST_MS = 110;
const TURN_MS = 260;
/** After the board came: by then it is drawn, and no finger has found a pin yet. */
const PICK_LATER_MS = 2500;
/** Edge kept free round the whole board, px at most. */
const EDGE_PX = 18;

/**
 * @typedef {{tips: {a: any, b: any}, areas: any[], sites: any[], spans: any[], ring: number[][], wires: any[], cuts: any[], net: number, chosen: Point|null, draft: number[][]}} Laid
 */

export class BoardMap {
  /** @param {HTMLCanvasElement} canvas @param {{tap: (point: Point|null, net: number, xy: [number, number]) => void, moved: (view: View) => void, covers: () => number[][]}} on what is told; `covers` are the boxes over the map, px */
  constructor(canvas, on) {
    this.canvas = canvas;
    this.on = on;
    const ctx = canvas.getContext('2d', { willReadFrequently: true });
    if (!ctx) throw new Error('no canvas');
    this.ctx = ctx;
    this.view = V.newView();
    /** @type {import('./paint.js').Ready|null} */
    this.ready = null;
    /** @type {Point[]} */
    this.points = [];
    /** @type {Record<string, string>} */
    this.states = {};
    /** @type {Laid} */
    this.laid = { tips: { a: null, b: null }, areas: [], sites: [], spans: [], ring: [], wires: [], cuts: [], net: -1, chosen: null, draft: [] };
    this.ratio = 1;
    this.frames = /** @type {number[]} */ ([]);
    this.version = 0;
    this.store = new TileStore(120);
    this.painter = new Painter((tile, bitmap, version) => this.painted(tile, bitmap, version));
    /** Photos by side: as the map of a board without copper data, or under it. @type {Map<string, PhotoSheet>} */
    this.photos = new Map();
    /** How much of a photo under the board shows, 0 to 1. */
    this.underlay = 0.5;
    /** Names, pin numbers, areas, sites: drawn when the hand rests. */
    this.cover = new Sheet((c, v, r) => {
      if (this.ready) paintWords(c, this.ready, v, r, (ref) => this.stateOf(ref));
      const aside = (v.w - this.view.w) / 2, above = (v.h - this.view.h) / 2;
      drawAreas(c, v, r, this.laid.areas, [aside, above, v.w - aside, v.h - above]);
      drawSites(c, v, r, this.laid.sites);
    });
    /** The lit net. */
    this.lit = new Sheet((c, v, r) => this.paintLit(c, v, r));
    this.timer = 0;
    this.asked = false;
    this.netPaths = new Map();
    listen(canvas, {
      spin: (degrees, x, y) => this.move(V.spin(this.view, degrees, x, y)),
      settled: () => this.settle(),
      pan: (dx, dy) => this.move(V.keepNear(V.pan(this.view, dx, dy), this.box)),
      zoom: (f, x, y) => this.move(V.keepNear(V.zoomAt(this.view, f, x, y), this.box)),
      tap: (x, y) => this.tap(x, y),
      hover: () => {},
      busy: (on_) => canvas.classList.toggle('held', on_),
    });
    new ResizeObserver(() => this.resize()).observe(canvas);
    this.resize();
  }

  get box() {
    return this.ready ? this.ready.scene.bounds_mm : [0, 0, 100, 100];
  }

  /** @param {string} ref */
  stateOf(ref) {
    return this.states[ref] ?? this.built.get(ref) ?? 'soldered';
  }

  /** @type {Map<string, string>} */
  built = new Map();

  /** @type {import('./index.js').Grid|null} */
  grid = null;

  base = 0;

  /** A board as the server packed it. @param {ArrayBuffer} buffer @returns {import('./scenefile.js').Scene} */
  setScene(buffer) {
    const scene = readScene(buffer);
    this.store.clear();
    this.version++;
    this.painter.scene(buffer, this.states, this.version);
    this.ready = ready(scene);
    this.base = baseLevel(this.reach);
    this.built = new Map(scene.parts.map((p) => [p.ref, p.state]));
    this.photos.clear();
    this.netPaths.clear();
    this.fitted = false;
    this.resize();
    if (!this.fitted) this.fit();
    this.restale();
    // what a finger picks from is gathered when nothing else is to be done
    setTimeout(() => (window.requestIdleCallback ?? setTimeout)(() => { if (this.ready?.scene === scene) for (const one of this.ready.copper.values()) void one.cells; }), PICK_LATER_MS);
    return scene;
  }

  /** Where tiles are painted: the board and a little beyond. */
  get reach() {
    const [x0, y0, x1, y1] = this.box;
    return [x0 - 1, y0 - 1, x1 + 1, y1 + 1];
  }

  /** A tile came. @param {import('./tiles.js').Tile} tile @param {CanvasImageSource} bitmap @param {number} version */
  painted(tile, bitmap, version) {
    this.store.put(keyOf(tile), bitmap, version);
    this.draw();
  }

  /** A flattened photo of one side; null takes it away. @param {string} face @param {HTMLImageElement|null} photo */
  setPhoto(face, photo) {
    if (photo && this.ready) this.photos.set(face, new PhotoSheet(photo, this.box, this.ready.outline));
    else this.photos.delete(face);
    this.draw();
  }

  /** @param {Point[]} points */
  setPoints(points) {
    this.points = points;
    this.grid = null;
    this.lit.stale = true;
    setTimeout(() => this.points === points && this.pointGrid(), 200);
  }

  /** Made when it is first needed, or soon after the points came. */
  pointGrid() {
    return (this.grid ??= pointGrid(this.points));
  }

  /** @param {Record<string, string>} states */
  setStates(states) {
    if (JSON.stringify(states) === JSON.stringify(this.states)) return;
    this.states = states;
    this.version++;
    this.painter.states(states, this.version);
    this.restale();
  }

  restale() {
    this.cover.stale = this.lit.stale = true;
    this.draw();
  }

  /** @param {Partial<Laid>} laid */
  lay(laid) {
    Object.assign(this.laid, laid);
    if (laid.areas || laid.sites) this.cover.stale = true;
    if ('net' in laid || 'chosen' in laid) this.lit.stale = true;
    this.draw();
  }

  resize() {
    const w = this.canvas.clientWidth, h = this.canvas.clientHeight;
    if (!w || !h) return;
    this.ratio = Math.min(window.devicePixelRatio || 1, 2);
    this.canvas.width = Math.round(w * this.ratio);
    this.canvas.height = Math.round(h * this.ratio);
    const wasFit = this.fitted;
    this.view = { ...this.view, w, h };
    if (this.ready && wasFit !== true) this.fit();
    this.store.most = Math.round(50 + (60 * this.canvas.width * this.canvas.height) / 1e6);
    this.draw();
  }

  fitted = false;

  /** @param {View} view */
  whole(view) {
    const edge = Math.min(EDGE_PX, 0.05 * Math.min(view.w, view.h));
    return V.fit(view, this.box, edge, V.freeOf(view, this.box, this.on.covers(), edge));
  }

  fit() {
    this.fitted = true;
    this.on.moved(this.view); // the compass is there, so that the board keeps clear of it
    this.move(this.whole(this.view), true);
  }

  /** @param {View} view */
  move(view, keepFit = false) {
    this.view = view;
    if (!keepFit) this.fitted = true;
    this.draw();
    this.on.moved(view);
  }

  /** Show these board places, on that face. @param {number[][]} places @param {string} [face] */
  async show(places, face) {
    if (face && face !== this.view.face) await this.turn('upright');
    this.move(V.keepNear(V.frame(this.view, places, this.on.covers()), this.box));
  }

  /** @param {number} factor */
  zoom(factor) {
    this.move(V.keepNear(V.zoomAt(this.view, factor), this.box));
  }

  rotate() {
    const wasFit = this.isFit(), view = V.isStraight(this.view) ? V.rotate(this.view) : V.straighten(V.spin(this.view, 45 - V.askew(this.view)), true);
    this.move(wasFit ? this.whole(view) : view);
    this.sharpen();
  }

  /** The board is laid straight when a hand that turned it comes near to that. */
  settle() {
    if (!V.isStraight(this.view)) this.move(V.straighten(this.view));
  }

  /** @param {number} degrees clockwise as seen */
  spin(degrees) {
    const wasFit = this.isFit(), turned = V.straighten(V.spin(this.view, degrees));
    this.move(wasFit ? this.whole(turned) : turned);
  }

  isFit() {
    return Math.abs(this.whole(this.view).scale / this.view.scale - 1) < 0.03; // the words of the compass, and so its box, change with the lie
  }

  /** Turn the board over; shown as the hand does it unless the person asked for stillness. @param {'upright'|'level'} axis */
  async turn(axis) {
    const from = this.view, to = V.turnOver(this.view, axis);
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    if (!still && this.ready) await this.flip(from, to, axis);
    this.view = to;
    this.cover.stale = this.lit.stale = true;
    this.sharpen();
    this.on.moved(to);
  }

  /** @param {View} from @param {View} to @param {string} axis */
  async flip(from, to, axis) {
    const front = this.snapshot(from), back = this.snapshot(to);
    const begin = performance.now();
    this.turning = true;
    await new Promise((done) => {
      const step = () => {
        const t = Math.min(1, (performance.now() - begin) / TURN_MS);
        const c = Math.cos(Math.PI * t);
        const { width, height } = this.canvas;
        this.ctx.setTransform(1, 0, 0, 1, 0, 0);
        this.ctx.clearRect(0, 0, width, height);
        const k = Math.max(Math.abs(c), 0.01);
        this.ctx.setTransform(axis === 'upright' ? k : 1, 0, 0, axis === 'upright' ? 1 : k, axis === 'upright' ? (width * (1 - k)) / 2 : 0, axis === 'upright' ? 0 : (height * (1 - k)) / 2);
        this.ctx.drawImage(c > 0 ? front : back, 0, 0);
        if (t < 1) requestAnimationFrame(step);
        else done(null);
      };
      requestAnimationFrame(step);
    });
    this.turning = false;
  }

  /** @param {View} view */
  snapshot(view) {
    const c = document.createElement('canvas');
    c.width = this.canvas.width;
    c.height = this.canvas.height;
    const x = c.getContext('2d', { willReadFrequently: true });
    if (x) this.board(x, view, this.ratio);
    return c;
  }

  /** @param {number} sx @param {number} sy */
  tap(sx, sy) {
    if (!this.ready) return;
    const [x, y] = V.toBoard(this.view, sx, sy);
    const reach = Math.max(14 / this.view.scale, 0.9);
    const point = pickPoint(this.pointGrid(), this.view.face, x, y, Math.min(reach, 3));
    const copper = this.ready.copper.get(this.view.face);
    const net = point ? point.net : copper ? pickNet(copper, x, y, 8 / this.view.scale) : -1;
    this.on.tap(point, net, [x, y]);
  }

  /** @param {number} net */
  pathsOfNet(net) {
    const key = net + this.view.face;
    if (!this.netPaths.has(key)) {
      let near = null;
      const far = [];
      for (const layer of this.ready?.scene.layers ?? []) {
        const shapes = shapesOfNet(layer, net);
        if (!shapes.discs.length && !shapes.strokes.length && !shapes.regions.length) continue;
        if (layer.key === this.view.face) near = pathsOf(shapes);
        else far.push(pathsOf(shapes));
      }
      this.netPaths.set(key, { near, far });
    }
    return this.netPaths.get(key);
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.paint();
    });
  }

  sharpen() {
    if (!this.ready) return;
    for (const sheet of [this.cover, this.lit]) if (!sheet.sharp(this.view, this.ratio)) sheet.refresh(this.view, this.ratio);
    this.draw();
  }

  /** The board itself as far as it is painted; what is missing is asked for. @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio */
  board(ctx, view, ratio) {
    const r = this.ready;
    if (!r) return { sharp: true, missing: /** @type {import('./tiles.js').Tile[]} */ ([]) };
    const face = view.face, isMap = r.scene.photos.includes(face), photo = this.photos.get(face);
    const laid = plan(this.store, view, ratio, this.reach, this.version, this.base);
    drawRim(ctx, view, ratio, r, faceColours(r, face).mask);
    if (photo) photo.lay(ctx, view, ratio);
    ctx.globalAlpha = photo && !isMap ? 1 - this.underlay : 1;
    if (ctx.globalAlpha > 0.01) layTiles(ctx, this.store, view, ratio, laid.lay);
    ctx.globalAlpha = 1;
    return laid;
  }

  /** Tiles to be painted, most wanted first: the whole board in small, then the window (before that, where it shows the whole board), then the whole of the other side. @param {import('./tiles.js').Tile[]} missing */
  want(missing) {
    const face = this.view.face, other = face === 'c' ? 's' : 'c';
    const absent = (/** @type {string} */ f) => tilesIn(f, this.base, this.reach, this.reach).filter((t) => this.store.kept.get(keyOf(t))?.version !== this.version);
    // a window that shows the whole board is itself the board in small: it goes first
    const whole = missing.length > 0 && missing[0].level <= this.base + 2;
    const all = whole ? [...missing, ...absent(face), ...absent(other)] : [...absent(face), ...missing, ...absent(other)];
    this.painter.want(all.filter((t, i) => all.findIndex((o) => keyOf(o) === keyOf(t)) === i));
  }

  paint() {
    if (!this.ready || this.turning || !this.canvas.width) return;
    const began = performance.now();
    const { ctx, view, ratio } = this;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, this.canvas.width, this.canvas.height);
    const { sharp, missing } = this.board(ctx, view, ratio);
    this.want(missing);
    const rested = this.cover.sharp(view, ratio) && (this.laid.net < 0 || this.lit.sharp(view, ratio));
    if (!rested) {
      clearTimeout(this.timer);
      if (this.cover.stale || this.lit.stale) queueMicrotask(() => this.sharpen());
      else this.timer = window.setTimeout(() => this.sharpen(), REST_MS);
    }
    this.cover.lay(ctx, view, ratio);
    if (this.laid.net >= 0) this.lit.lay(ctx, view, ratio);
    this.overlays(ctx, view, ratio);
    drawWindowRim(ctx, view, ratio);
    this.canvas.dataset.sharp = sharp && rested ? 'yes' : 'no';
    this.frames.push(performance.now() - began);
    if (this.frames.length > 600) this.frames.shift();
  }

  /** @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio */
  paintLit(ctx, view, ratio) {
    const laid = this.laid;
    if (laid.net < 0 || !this.ready) return;
    drawVeil(ctx, view, ratio, this.ready.outline);
    drawNet(ctx, view, ratio, this.pathsOfNet(laid.net));
    drawPoints(ctx, view, ratio, this.points.filter((p) => p.net === laid.net), laid.chosen);
  }

  /** @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio */
  overlays(ctx, view, ratio) {
    const laid = this.laid;
    for (const span of laid.spans) drawSpan(ctx, view, ratio, span);
    drawRing(ctx, view, ratio, laid.ring);
    for (const cut of laid.cuts) drawCut(ctx, view, ratio, cut);
    for (const wire of laid.wires) drawWire(ctx, view, ratio, wire);
    drawDraft(ctx, view, ratio, laid.draft);
    if (laid.tips.b) drawTip(ctx, view, ratio, 'b', laid.tips.b);
    if (laid.tips.a) drawTip(ctx, view, ratio, 'a', laid.tips.a);
  }
}
