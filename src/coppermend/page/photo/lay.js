// @ts-check
/** The person's own photo of a side laid on the board: choose it, tap pins in it, see how well it fits. */
import { byId, fill, h } from '../shared/dom.js';
import { findingOf, get, post, Refused, send, write } from '../shared/api.js';
import { drawInset } from '../map/inset.js';
import { listen } from '../map/gestures.js';
import { PhotoSheet } from '../map/photo.js';
import * as V from '../map/view.js';
import { FEWEST, nearEnough, nextPin, withTap, without } from './taps.js';

/** @typedef {import('./taps.js').Tap} Tap */
const SIDE = { c: 'component side', s: 'solder side' };
const CLOSE = 1.6;

export class LaySheet {
  /** @param {import('../main.js').App} app */
  constructor(app) {
    this.app = app;
    this.side = /** @type {'c'|'s'} */ ('c');
    this.sha256 = '';
    this.pin = '';
    this.words = '';
    this.bad = false;
    this.busy = false;
    /** @type {Tap[]} */ this.taps = [];
    /** @type {any} */ this.said = null;
    /** @type {PhotoSheet|null} */ this.sheet = null;
    this.view = V.newView();
    this.canvas = /** @type {HTMLCanvasElement} */ (h('canvas', { id: 'lay-photo', tabindex: 0, 'aria-label': 'The photo. Arrow keys move it, plus and minus bring it nearer, Enter marks the pin under the cross.', onkeydown: (/** @type {KeyboardEvent} */ e) => this.key(e) }));
    /** One field for as long as the sheet lives: it goes on showing the file's name. */
    this.field = /** @type {HTMLInputElement} */ (h('input', { type: 'file', id: 'lay-file', accept: 'image/*', onchange: () => this.field.files?.[0] && this.take(this.field.files[0]) }));
    this.panel = h('div', { id: 'lay-panel' });
    this.dialog = /** @type {HTMLDialogElement} */ (byId('lay'));
    fill(this.dialog, this.canvas, this.panel);
    // no key typed here may reach the check behind it
    this.dialog.addEventListener('keydown', (e) => e.stopPropagation());
    listen(this.canvas, {
      pan: (dx, dy) => this.move(V.pan(this.view, dx, dy)),
      zoom: (f, x, y) => this.move(V.zoomAt(this.view, f, x, y, 0.02, 12)),
      tap: (x, y) => this.tap(x, y),
      hover: () => {}, busy: () => {}, spin: () => {}, settled: () => {},
    });
    this.dialog.addEventListener('close', () => this.letGo().catch((err) => this.app.fail(err)));
    new ResizeObserver(() => this.resize()).observe(this.canvas);
  }

  /** Brought nearer or moved by hand: a window of another size leaves it so. */ moved = false;

  async open() {
    this.side = this.app.map.view.face;
    this.taps = [];
    this.field.value = '';
    this.sheet = null;
    this.sha256 = this.words = '';
    this.bad = false;
    this.said = await get(this.app.url('laid'));
    this.dialog.showModal();
    const last = this.said.photos.filter((/** @type {any} */ p) => p.side === this.side).at(-1);
    if (last) await this.choose(last.sha256);
    this.draw();
    this.paint();
    if (!this.sheet) byId('lay-file').focus();
  }

  get pins() {
    return this.said?.suggest[this.side] ?? [];
  }

  /** @param {string} sha256 */
  async choose(sha256) {
    const image = new Image();
    image.src = this.app.url(`photos/${sha256}`);
    try {
      await image.decode();
    } catch {
      this.say('This picture cannot be shown.', true);
      return;
    }
    this.sha256 = sha256;
    this.taps = [];
    this.pin = nextPin(this.pins.map((/** @type {any} */ p) => p.pin), []);
    this.sheet = new PhotoSheet(Object.assign(image, { width: image.naturalWidth, height: image.naturalHeight }), [0, -image.naturalHeight, image.naturalWidth, 0], null);
    this.say(`Tap ${this.pin} in the photo.`);
    this.moved = false;
    this.resize(true);
  }

  /** The entry of the photo that was brought here and is not laid yet. */ kept = '';
  /** The server would not lay it. */ turnedDown = false;

  /** A photo that was brought to be laid and was refused is taken back: the owner's record shows none that does not fit. */
  async letGo() {
    const entry = this.turnedDown ? this.kept : '';
    this.kept = '';
    this.turnedDown = false;
    if (entry) await write(this.app.url('entries'), { kind: 'undo', undoes: entry });
  }

  /** @param {File} file */
  async take(file) {
    this.bare(); // taps on the photo before it would be lost
    this.say('Keeping the photo …');
    this.draw();
    await this.letGo();
    try {
      const out = await send(this.app.url('photos'), file, { side: this.side, words: `${SIDE[this.side]}, to lay on the board`, to_lay: 'true' });
      this.said = await get(this.app.url('laid'));
      await this.choose(out.entry.payload.sha256);
      this.kept = out.entry.id;
    } catch (err) {
      if (err instanceof Refused) this.forget();
      this.refused(err);
    }
    this.draw();
  }

  /** The chosen file was refused: nothing is left to tap, and the same name can be chosen again. */
  forget() {
    this.field.value = '';
    this.bare();
  }

  /** No photo lies in the sheet. */
  bare() {
    this.sheet = null;
    this.sha256 = this.pin = '';
    this.taps = [];
    this.paint();
  }

  resize(fit = false) {
    const w = this.canvas.clientWidth, hgt = this.canvas.clientHeight, r = this.app.map.ratio;
    if (!w || !hgt) return;
    [this.canvas.width, this.canvas.height] = [Math.round(w * r), Math.round(hgt * r)];
    this.view = { ...this.view, w, h: hgt };
    if (this.sheet && (fit || !this.moved)) this.view = V.fit(this.view, this.sheet.box, 16);
    this.paint();
  }

  /** @param {V.View} view */
  move(view) {
    if (!this.sheet) return;
    this.moved = true;
    this.view = V.keepNear(view, this.sheet.box);
    this.paint();
  }

  /** @param {number} x @param {number} y */
  tap(x, y) {
    if (!this.sheet || !this.pin) return;
    const [px, py] = V.toBoard(this.view, x, y);
    if (!nearEnough(this.view.scale)) {
      this.move(V.pan(V.zoomAt(this.view, CLOSE / this.view.scale, x, y, 0.02, 12), this.view.w / 2 - x, this.view.h / 2 - y));
      this.say(`Now tap ${this.pin} exactly.`);
      this.draw();
      return;
    }
    const pins = this.pins.map((/** @type {any} */ p) => p.pin);
    this.taps = withTap(this.taps, this.pin, [px - 0.5, -py - 0.5]);
    this.pin = nextPin(pins, this.taps);
    this.say(this.pin ? `Tap ${this.pin}${this.taps.length >= FEWEST ? ', or lay it now' : ''}.` : 'All pins are tapped.');
    this.view = V.fit(this.view, this.sheet.box, 16);
    this.paint();
    this.draw();
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const steps = { ArrowLeft: [40, 0], ArrowRight: [-40, 0], ArrowUp: [0, 40], ArrowDown: [0, -40] };
    const step = steps[/** @type {keyof steps} */ (e.key)];
    if (step) this.move(V.pan(this.view, step[0] / (e.shiftKey ? 10 : 1), step[1] / (e.shiftKey ? 10 : 1)));
    else if (e.key === '+' || e.key === '=') this.move(V.zoomAt(this.view, 1.35, undefined, undefined, 0.02, 12));
    else if (e.key === '-') this.move(V.zoomAt(this.view, 1 / 1.35, undefined, undefined, 0.02, 12));
    else if (e.key === 'Enter') this.tap(this.view.w / 2, this.view.h / 2);
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  async lay() {
    if (this.taps.length < FEWEST || this.busy) return;
    this.busy = true;
    this.say('Comparing lands and holes …');
    this.draw();
    try {
      const out = await post(this.app.url('laid'), { sha256: this.sha256, side: this.side, taps: this.taps });
      this.kept = '';
      this.say(out.says);
      await this.app.layPhotos();
      this.dialog.close();
      this.app.toast('The photo lies under the board.', out.says);
    } catch (err) {
      this.turnedDown = err instanceof Refused;
      this.refused(err);
    } finally {
      this.busy = false;
      this.draw();
    }
  }

  /** @param {unknown} err */
  refused(err) {
    const f = findingOf(err);
    this.say(`${f.words} ${f.remedy} (${f.code})`, true);
  }

  /** @param {string} words */
  say(words, bad = false) {
    this.words = words;
    this.bad = bad;
  }

  paint() {
    const ctx = this.canvas.getContext('2d', { willReadFrequently: true }), r = this.app.map.ratio;
    if (!ctx) return;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, this.canvas.width, this.canvas.height);
    if (!this.sheet) return void empty(ctx, this.canvas, this.app.map.box, r);
    this.sheet.lay(ctx, this.view, r);
    ctx.setTransform(r, 0, 0, r, 0, 0);
    this.taps.forEach((t, i) => {
      const [x, y] = V.toScreen(this.view, t.px[0] + 0.5, -t.px[1] - 0.5);
      mark(ctx, x, y, String(i + 1));
    });
    if (document.activeElement === this.canvas) cross(ctx, this.view.w / 2, this.view.h / 2);
  }

  draw() {
    const one = this.pins.find((/** @type {any} */ p) => p.pin === this.pin);
    const inset = /** @type {HTMLCanvasElement} */ (h('canvas.lay-where', { 'aria-hidden': 'true' }));
    const tapped = (/** @type {string} */ pin) => this.taps.findIndex((t) => t.pin === pin);
    const from = this.panel.querySelector('.lay-scroll')?.scrollTop ?? 0;
    const scroller = h('div.lay-scroll', null,
      h('div.row', null, ['c', 's'].map((side) => h('button.key.slim', { type: 'button', 'aria-pressed': String(this.side === side), onclick: () => { this.side = /** @type {'c'|'s'} */ (side); this.taps = []; this.pin = nextPin(this.pins.map((/** @type {any} */ p) => p.pin), []); this.draw(); this.paint(); } }, SIDE[/** @type {'c'|'s'} */ (side)]))),
      h('label.field', null, 'A photo of this side, the whole board in it, sharp', this.field),
      this.sheet && one ? h('div.lay-now', null, inset, h('span', null, 'Where it is on the board, as it lies on the map')) : null,
      this.sheet ? h('ol.lay-pins', { 'aria-label': 'Pins to tap' }, this.pins.map((/** @type {any} */ p) => h('li', null,
        h('button.key.slim', { type: 'button', 'aria-current': p.pin === this.pin ? 'true' : null, onclick: () => { this.pin = p.pin; this.say(`Tap ${p.pin} in the photo.`); this.draw(); } }, p.pin.replace('.', ' pin ')),
        tapped(p.pin) >= 0 ? h('span', null, `mark ${tapped(p.pin) + 1}`) : h('span.where', null, 'not yet'),
        tapped(p.pin) >= 0 ? h('button.round-key', { type: 'button', 'aria-label': `Take the mark of ${p.pin} away`, onclick: () => { this.taps = without(this.taps, p.pin); this.pin = p.pin; this.paint(); this.draw(); } }, '✕') : null))) : null);
    fill(this.panel,
      h('button.round-key.close', { type: 'button', 'aria-label': 'Put the photo away', onclick: () => this.dialog.close() }, '✕'),
      h('h2', null, 'Your own board under the map'),
      scroller,
      h('div.lay-end', null, h('p', { role: 'status', class: this.bad ? 'need' : 'where' }, this.words || (this.sheet ? '' : 'Choose a photo. Then tap four pins or more in it; lands and holes do the rest.')),
        this.sheet ? h('button.key.hot', { type: 'button', id: 'lay-it', disabled: this.taps.length < FEWEST || this.busy, onclick: () => this.lay() }, this.busy ? 'Comparing …' : 'Lay it on the board') : null));
    scroller.scrollTop = from;
    if (this.sheet && one) requestAnimationFrame(() => drawInset(inset, this.app.map, 'a', { ...one, side: this.side }, 34));
  }
}

/** Before there is a photo: the frame that it should fill. @param {CanvasRenderingContext2D} ctx @param {HTMLCanvasElement} canvas @param {number[]} box @param {number} r */
function empty(ctx, canvas, [x0, y0, x1, y1], r) {
  const w = canvas.clientWidth, high = canvas.clientHeight, ink = getComputedStyle(canvas).color;
  const scale = Math.min((w * 0.8) / Math.max(x1 - x0, 1), (high * 0.7) / Math.max(y1 - y0, 1));
  const [bw, bh] = [(x1 - x0) * scale, (y1 - y0) * scale];
  ctx.setTransform(r, 0, 0, r, 0, 0);
  ctx.strokeStyle = ctx.fillStyle = ink;
  ctx.lineWidth = 2;
  ctx.setLineDash([10, 8]);
  ctx.strokeRect((w - bw) / 2, (high - bh) / 2, bw, bh);
  ctx.setLineDash([]);
  ctx.textAlign = 'center';
  ['From straight above,', 'the whole board,', 'no glare on the lands'].forEach((line, i) => {
    ctx.font = `600 ${Math.max(14, Math.min(22, w / 22))}px system-ui, sans-serif`;
    ctx.fillText(line, w / 2, high / 2 + (i - 0.7) * 30);
  });
  ctx.textAlign = 'start';
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y @param {string} text */
function mark(ctx, x, y, text) {
  for (const [w, c] of /** @type {[number, string][]} */ ([[5, '#14110e'], [2.2, '#ffc02e']])) {
    ctx.lineWidth = w;
    ctx.strokeStyle = c;
    ctx.beginPath();
    ctx.arc(x, y, 11, 0, 7);
    ctx.moveTo(x - 18, y);
    ctx.lineTo(x - 5, y);
    ctx.moveTo(x + 5, y);
    ctx.lineTo(x + 18, y);
    ctx.moveTo(x, y - 18);
    ctx.lineTo(x, y - 5);
    ctx.moveTo(x, y + 5);
    ctx.lineTo(x, y + 18);
    ctx.stroke();
  }
  ctx.font = '800 15px system-ui, sans-serif';
  ctx.lineWidth = 4;
  ctx.strokeStyle = '#14110e';
  ctx.strokeText(text, x + 15, y - 13);
  ctx.fillStyle = '#ffc02e';
  ctx.fillText(text, x + 15, y - 13);
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y */
function cross(ctx, x, y) {
  for (const [w, c] of /** @type {[number, string][]} */ ([[4, '#14110e'], [1.6, '#ffffff']])) {
    ctx.lineWidth = w;
    ctx.strokeStyle = c;
    ctx.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      ctx.moveTo(x + 6 * dx, y + 6 * dy);
      ctx.lineTo(x + 26 * dx, y + 26 * dy);
    }
    ctx.stroke();
  }
}
