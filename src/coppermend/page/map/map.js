// @ts-check
/** The map on the page: joins view, bitmaps, overlays and gestures. The only module here that keeps state. */
import { byNet, copperGrid, pickNet, pickPoint, pointGrid } from './index.js';
import { drawAreas, drawDraft, drawNet, drawPoints, drawSites, drawSpan, drawTip, drawVeil, drawWire } from './overlay.js';
import { paintFace, ready } from './paint.js';
import { pathsOf } from './paths.js';
import { Sheet } from './sheet.js';
import { listen } from './gestures.js';
import * as V from './view.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {import('./index.js').Point} Point */

const REST_MS = 110;
const TURN_MS = 260;
/** Room kept free under the board for compass and tools when the whole board is shown. */
const LOW_PX = 92;

/**
 * @typedef {{tips: {a: any, b: any}, areas: any[], sites: any[], spans: any[], wires: any[], net: number, chosen: Point|null, draft: number[][]}} Laid
 */

export class BoardMap {
  /** @param {HTMLCanvasElement} canvas @param {{tap: (point: Point|null, net: number, xy: [number, number]) => void, moved: (view: View) => void}} on */
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
    this.laid = { tips: { a: null, b: null }, areas: [], sites: [], spans: [], wires: [], net: -1, chosen: null, draft: [] };
    this.ratio = 1;
    this.frames = /** @type {number[]} */ ([]);
    const stateOf = (/** @type {string} */ ref) => this.stateOf(ref);
    this.base = new Sheet((c, v, r) => this.ready && paintFace(c, this.ready, v, r, stateOf));
    this.over = new Sheet((c, v, r) => this.ready && paintFace(c, this.ready, v, r, stateOf), 0);
    this.cover = new Sheet((c, v, r) => {
      drawAreas(c, v, r, this.laid.areas);
      drawSites(c, v, r, this.laid.sites);
    });
    this.timer = 0;
    this.asked = false;
    this.netPaths = new Map();
    listen(canvas, {
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

  /** @param {import('./index.js').Scene} scene */
  setScene(scene) {
    this.ready = ready(scene);
    this.built = new Map(scene.parts.map((p) => [p.ref, p.state]));
    this.nets = new Map(scene.layers.map((l) => [l.key, byNet(l)]));
    this.copper = new Map(scene.layers.map((l) => [l.key, copperGrid(l)]));
    this.netPaths.clear();
    this.fitted = false;
    this.resize();
    if (!this.fitted) this.fit();
    this.restale();
  }

  /** A photo as the map of one side. @param {string} face @param {HTMLImageElement} photo */
  setPhoto(face, photo) {
    this.ready?.photos.set(face, photo);
    this.restale();
  }

  /** @param {Point[]} points */
  setPoints(points) {
    this.points = points;
    this.grid = pointGrid(points);
  }

  /** @param {Record<string, string>} states */
  setStates(states) {
    if (JSON.stringify(states) === JSON.stringify(this.states)) return;
    this.states = states;
    this.restale();
  }

  restale() {
    this.base.stale = this.over.stale = this.cover.stale = true;
    this.draw();
  }

  /** @param {Partial<Laid>} laid */
  lay(laid) {
    Object.assign(this.laid, laid);
    if (laid.areas || laid.sites) this.cover.stale = true;
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
    this.over.stale = true;
    this.draw();
  }

  fitted = false;

  /** @param {View} view */
  whole(view) {
    return V.fit(view, this.box, 26, view.h > 420 ? LOW_PX : 0);
  }

  fit() {
    this.fitted = true;
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
    this.move(V.keepNear(V.frame(this.view, places), this.box));
  }

  /** @param {number} factor */
  zoom(factor) {
    this.move(V.keepNear(V.zoomAt(this.view, factor), this.box));
  }

  rotate() {
    this.move(this.isFit() ? this.whole(V.rotate(this.view)) : V.rotate(this.view));
    this.sharpen();
  }

  isFit() {
    return Math.abs(this.whole(this.view).scale - this.view.scale) < 1e-6;
  }

  /** Turn the board over; shown as the hand does it unless the person asked for stillness. @param {'upright'|'level'} axis */
  async turn(axis) {
    const from = this.view, to = V.turnOver(this.view, axis);
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    if (!still && this.ready) await this.flip(from, to, axis);
    this.view = to;
    this.base.stale = this.over.stale = this.cover.stale = true;
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
    if (x && this.ready) paintFace(x, this.ready, view, this.ratio, (ref) => this.stateOf(ref));
    return c;
  }

  /** @param {number} sx @param {number} sy */
  tap(sx, sy) {
    if (!this.ready || !this.grid) return;
    const [x, y] = V.toBoard(this.view, sx, sy);
    const reach = Math.max(14 / this.view.scale, 0.9);
    const point = pickPoint(this.grid, this.view.face, x, y, Math.min(reach, 3));
    const copper = this.copper?.get(this.view.face);
    const net = point ? point.net : copper ? pickNet(copper, x, y, 8 / this.view.scale) : -1;
    this.on.tap(point, net, [x, y]);
  }

  /** @param {number} net */
  pathsOfNet(net) {
    const key = net + this.view.face;
    if (!this.netPaths.has(key)) {
      let near = null;
      const far = [];
      for (const [layer, nets] of this.nets ?? []) {
        const shapes = nets.get(net);
        if (!shapes) continue;
        if (layer === this.view.face) near = pathsOf(shapes);
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
    if (!this.base.sharp(this.view, this.ratio)) this.base.refresh(this.view, this.ratio);
    if (!this.cover.sharp(this.view, this.ratio)) this.cover.refresh(this.view, this.ratio);
    this.draw();
  }

  paint() {
    if (!this.ready || this.turning || !this.canvas.width) return;
    const began = performance.now();
    const { ctx, view, ratio } = this;
    if (this.over.stale) this.over.refresh(V.fit({ ...view }, this.box), ratio);
    else if (this.over.view && this.over.view.turn.some((t, i) => t !== view.turn[i])) this.over.refresh(V.fit({ ...view }, this.box), ratio);
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, this.canvas.width, this.canvas.height);
    const sharp = this.base.sharp(view, ratio);
    if (!sharp || this.cover.stale) {
      clearTimeout(this.timer);
      if (this.base.stale || (this.cover.stale && sharp)) queueMicrotask(() => this.sharpen());
      else this.timer = window.setTimeout(() => this.sharpen(), REST_MS);
    }
    if (!sharp) this.over.lay(ctx, view, ratio);
    if (this.base.view) {
      if (!sharp) this.wipe(ctx, view, ratio);
      this.base.lay(ctx, view, ratio);
    }
    this.cover.lay(ctx, view, ratio);
    this.overlays(ctx, view, ratio);
    this.frames.push(performance.now() - began);
    if (this.frames.length > 600) this.frames.shift();
  }

  /** The sharp bitmap is see-through beside the board: clear what lies under it. @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio */
  wipe(ctx, view, ratio) {
    if (!this.base.view) return;
    const old = this.base.view;
    const [mx, my] = V.toScreen(view, old.x, old.y);
    const f = view.scale / old.scale;
    if (old.face !== view.face || old.turn.some((t, i) => t !== view.turn[i])) return;
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(mx - (old.w / 2) * f, my - (old.h / 2) * f, old.w * f, old.h * f);
  }

  /** @param {CanvasRenderingContext2D} ctx @param {View} view @param {number} ratio */
  overlays(ctx, view, ratio) {
    const laid = this.laid;
    if (laid.net >= 0 && this.ready) {
      drawVeil(ctx, view, ratio, this.ready.outline);
      drawNet(ctx, view, ratio, this.pathsOfNet(laid.net));
      drawPoints(ctx, view, ratio, this.points.filter((p) => p.net === laid.net), laid.chosen);
    }
    for (const span of laid.spans) drawSpan(ctx, view, ratio, span);
    for (const wire of laid.wires) drawWire(ctx, view, ratio, wire);
    drawDraft(ctx, view, ratio, laid.draft);
    if (laid.tips.b) drawTip(ctx, view, ratio, 'b', laid.tips.b);
    if (laid.tips.a) drawTip(ctx, view, ratio, 'a', laid.tips.a);
  }
}
