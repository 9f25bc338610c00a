// @ts-check
/** Marking pins in a photo of a board without copper data: the picture, a pin's name, a click. The marks go into the map file beside the list. */
import { byId, fill, h } from '../shared/dom.js';
import { findingOf, get, post } from '../shared/api.js';
import { howFar, nextPin, pinNamed, withMark } from './marks.js';
import { askForCase } from '../shared/nocase.js';
import { takeLight } from '../shared/light.js';

/** @typedef {import('./marks.js').Mark} Mark */

const id = new URLSearchParams(location.search).get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;

class Sheet {
  constructor() {
    /** @type {any} */ this.places = null;
    /** @type {Mark[]} */ this.marks = [];
    this.side = 'c';
    this.file = '';
    this.pin = '';
    this.zoom = 1;
    this.image = new Image();
    this.canvas = /** @type {HTMLCanvasElement} */ (h('canvas', { tabindex: 0, 'aria-label': 'The photo. Click where the pin is.', onclick: (/** @type {MouseEvent} */ e) => this.click(e) }));
    this.panel = h('aside', { id: 'side' });
  }

  async start() {
    if (!id) return askForCase('places', 'Parts in a photo', 'For a board without copper data: tap pins in its photo, so that its parts have places.');
    byId('back').href = `/#/case/${encodeURIComponent(id)}/bench`;
    fill(byId('places'), h('div.leaf', null, h('h1', null, 'Parts in a photo'), h('p.why', { role: 'status' }, 'Reading the board …'), h('div.skeleton', null)));
    const places = await get(url('places'));
    fill(byId('places'), h('div', { id: 'sheet' }, places.pictures.length ? this.canvas : noPicture()), this.panel);
    this.take(places);
  }

  /** @param {any} places */
  take(places) {
    this.places = places;
    const photo = places.photos.find((/** @type {any} */ p) => p.side === this.side);
    this.marks = photo ? photo.marks : [];
    this.pin = nextPin(places.parts, this.marks, this.pin);
    const file = photo?.file ?? (places.pictures.includes(this.file) ? this.file : places.pictures[this.side === 's' ? places.pictures.length - 1 : 0] ?? '');
    if (file !== this.file) this.show(file);
    else this.draw();
    this.list();
  }

  /** @param {string} file */
  show(file) {
    this.file = file;
    this.image = new Image();
    this.image.onload = () => {
      this.zoom = Math.min(1, (byId('sheet').clientWidth - 4) / this.image.naturalWidth);
      this.draw();
    };
    this.image.onerror = () => this.say('This picture cannot be shown.');
    if (file) this.image.src = url(`pictures/${encodeURIComponent(file)}`);
  }

  draw() {
    const { naturalWidth: w, naturalHeight: hgt } = this.image;
    if (!w) return;
    this.canvas.width = Math.round(w * this.zoom);
    this.canvas.height = Math.round(hgt * this.zoom);
    const ctx = this.canvas.getContext('2d');
    if (!ctx) return;
    ctx.drawImage(this.image, 0, 0, this.canvas.width, this.canvas.height);
    ctx.font = '600 13px ui-monospace, monospace';
    for (const { pin, px } of this.marks) {
      const x = px[0] * this.zoom, y = px[1] * this.zoom;
      for (const [width, colour] of /** @type {[number, string][]} */ ([[4, 'rgba(12,10,8,0.8)'], [1.6, '#ffd277']])) {
        ctx.lineWidth = width;
        ctx.strokeStyle = colour;
        ctx.beginPath();
        ctx.arc(x, y, 7, 0, 7);
        ctx.moveTo(x - 11, y);
        ctx.lineTo(x + 11, y);
        ctx.moveTo(x, y - 11);
        ctx.lineTo(x, y + 11);
        ctx.stroke();
      }
      ctx.lineWidth = 3;
      ctx.strokeStyle = 'rgba(12,10,8,0.85)';
      ctx.strokeText(pin, x + 12, y - 8);
      ctx.fillStyle = '#fff8e4';
      ctx.fillText(pin, x + 12, y - 8);
    }
  }

  /** @param {MouseEvent} e */
  click(e) {
    const pin = pinNamed(this.places.parts, this.pin);
    if (!pin) return this.say(`The board has no pin ${this.pin || '…'}. Name one as in the list: U1.1.`);
    const box = this.canvas.getBoundingClientRect();
    const px = /** @type {[number, number]} */ ([(e.clientX - box.left) / this.zoom, (e.clientY - box.top) / this.zoom].map((v) => Math.round(v * 10) / 10));
    this.marks = withMark(this.marks, { pin, px });
    this.pin = nextPin(this.places.parts, this.marks, pin);
    this.say('');
    this.draw();
    this.list();
  }

  list() {
    const { pictures, parts, photos } = this.places;
    const fit = photos.find((/** @type {any} */ p) => p.side === this.side)?.residual_mm;
    const unplaced = parts.filter((/** @type {any} */ p) => !p.placed).length;
    const pick = (/** @type {string} */ words, /** @type {string} */ name, /** @type {[string, string][]} */ options, /** @type {string} */ now, /** @type {(v: string) => void} */ on) =>
      h('label', null, words, h('select', { name, onchange: (/** @type {any} */ e) => on(e.target.value) }, options.map(([value, text]) => h('option', { value, selected: value === now }, text))));
    fill(this.panel,
      h('h2', null, `${parts.length - unplaced} of ${parts.length} parts have a place`),
      pick('Side', 'side', [['c', 'component side'], ['s', 'solder side']], this.side, (v) => { this.side = v; this.take(this.places); }),
      pictures.length ? pick('Picture', 'file', pictures.map((/** @type {string} */ p) => [p, p]), this.file, (v) => { this.show(v); }) : null,
      h('label', null, 'The next click is pin', h('input', { id: 'pin', value: this.pin, autocomplete: 'off', spellcheck: 'false', oninput: (/** @type {any} */ e) => { this.pin = e.target.value; } })),
      h('p', { id: 'how-far' }, howFar(this.marks, parts)),
      h('div.row', null,
        h('button.hot', { id: 'keep', type: 'button', onclick: () => this.keep() }, 'Keep the marks'),
        h('button', { type: 'button', onclick: () => this.scale(1.4) }, 'Nearer'), h('button', { type: 'button', onclick: () => this.scale(1 / 1.4) }, 'Further')),
      fit === null || fit === undefined ? null : h('p', { id: 'fit' }, this.marks.length === 4 ? 'The photo lies on the board; more marks would tell how well.' : `The marks fit within ${fit.toFixed(2)} mm.`),
      h('ol', null, this.marks.map((m) => h('li', null, m.pin, h('button', { type: 'button', 'aria-label': `Take away ${m.pin}`, onclick: () => { this.marks = this.marks.filter((o) => o !== m); this.draw(); this.list(); } }, 'take away')))),
      h('ul', null, this.places.findings.filter((/** @type {any} */ f) => f.severity !== 'note').map((/** @type {any} */ f) => h('li', null, `${f.words} ${f.remedy}`))));
  }

  /** @param {number} by */
  scale(by) {
    this.zoom = Math.min(4, Math.max(0.1, this.zoom * by));
    this.draw();
  }

  async keep() {
    try {
      this.take(await post(url('places'), { side: this.side, file: this.file, marks: this.marks }));
      this.say('Kept. The board is built with these marks.');
    } catch (err) {
      const finding = findingOf(err);
      this.say(`${finding.words} ${finding.remedy}`);
    }
  }

  /** @param {string} words */
  say(words) {
    byId('say').textContent = words;
  }
}

/** Nothing to mark in yet. */
const noPicture = () => h('div.empty', null, h('p', null, 'There is no picture of the board yet.'), h('p', null, 'Put a JPEG or PNG of a side into the folder of the list, then load this page again.'));

/** From the start, and again where it came to nothing. */
function begin() {
  new Sheet().start().catch((err) => {
    const finding = findingOf(err);
    fill(byId('places'), h('div.leaf', null, h('h1', null, 'Parts in a photo'), h('div.sheet.error-sheet', { role: 'alert' }, h('h2', null, finding.words), h('p', null, finding.remedy), h('p', null, h('small.code', null, finding.code)), h('div.row', null, h('button.key', { type: 'button', onclick: begin }, 'Try again'), h('a.key', { href: '/' }, 'All cases')))));
  });
}

takeLight();
begin();
