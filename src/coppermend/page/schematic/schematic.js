// @ts-check
/** The page "Schematic": the pages beside the map; what is tapped on one is found on the other. */
import { byId, fill, h, keepTyping, s } from '../shared/dom.js';
import { findingOf, get, send } from '../shared/api.js';
import { freshId } from '../shared/id.js';
import { takeLight } from '../shared/light.js';
import { askForCase } from '../shared/nocase.js';
import { plainly } from '../shared/words.js';
import { pathOf } from '../powered/map.js';
import { pagesOf, shareOf, stepTo } from './places.js';

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const LEAD = 'Your schematic beside the map: name a part, a pin or a net, or tap a part on the map. Nothing is measured here; for work under power keep away from mains and picture-tube parts, by your local rules.';

/** Sizes and places in percent, set from the script: the page's policy lets no style attribute through. @param {HTMLElement} el @param {Record<string, number>} shares */
function placed(el, shares) {
  for (const [name, share] of Object.entries(shares)) el.style.setProperty(name, `${share}%`);
  return el;
}

class Schematic {
  /** @type {any} */ view = null;
  /** @type {any} */ answer = null;
  page = 0;
  hit = -1;
  wide = 100;
  busy = false;
  /** @type {{words: string, remedy?: string}|null} */ outcome = null;
  said = h('div', { id: 'outcome' });
  sheet = h('section', { id: 'sheet', 'aria-label': 'The page' });
  beside = h('section', { id: 'beside', 'aria-label': 'Search and map' });

  async start() {
    takeLight();
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    if (!id) return askForCase('schematic', 'Schematic', LEAD);
    fill(byId('schematic'), h('div.leaf.sch-leaf', null, h('h1', null, 'Schematic'), h('p.lead', null, LEAD), this.said, h('div.sch-desk', null, this.sheet, this.beside)));
    addEventListener('keydown', (e) => this.key(e));
    await this.load();
    if (query.get('find')) await this.find(/** @type {string} */ (query.get('find')));
  }

  async load() {
    try {
      this.view = await get(url('schematics'));
    } catch (err) {
      const { words, remedy } = findingOf(err);
      return fill(this.sheet, h('div.error-sheet', { role: 'alert' }, h('b', null, words), h('p', null, remedy), h('button.key', { id: 'again', onclick: () => this.load() }, 'Try again')));
    }
    this.draw();
  }

  get pages() { return pagesOf(this.view?.schematics ?? []); }
  get hits() { return this.answer?.hits ?? []; }

  draw() {
    keepTyping(() => {
      fill(this.sheet, this.drawSheet());
      fill(this.beside, this.search(), this.map());
      fill(this.said, this.outcome ? h('p.need', null, this.outcome.words, ' ', this.outcome.remedy ?? '') : null);
    });
    byId('sheet')?.querySelector('[aria-current="true"]')?.scrollIntoView({ block: 'center', inline: 'center' });
  }

  drawSheet() {
    const pages = this.pages, page = pages[this.page];
    if (!page) return [h('p', { id: 'empty' }, 'No schematic is attached to this case yet.'), this.adding()];
    const sheet = this.view.schematics.find((/** @type {any} */ one) => one.entry === page.entry);
    const tool = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ cap, /** @type {() => void} */ act) => h('button.key.slim', { type: 'button', id: name, onclick: act }, words, h('kbd', null, cap));
    return [h('div.row', null, h('b', { id: 'which' }, `${page.name}, page ${page.number} of ${sheet.pages.length}`), tool('last-page', 'Page back', 'P', () => this.turn(-1)), tool('next-page', 'Page on', 'N', () => this.turn(1)), tool('larger', 'Larger', '+', () => this.zoom(1.5)), tool('smaller', 'Smaller', '−', () => this.zoom(1 / 1.5))),
      sheet.note ? h('p.need', { id: 'no-text' }, sheet.note) : null,
      h('div.sch-page', { tabindex: '0', role: 'region', 'aria-label': 'The page, larger than its window where it is magnified' }, placed(h('div', null, h('img', { src: url(`schematics/${page.entry}/pages/${page.number}?scale=2.5`), alt: `Page ${page.number} of ${page.name}: ${page.words} words` }),
        this.hits.map((/** @type {any} */ hit, /** @type {number} */ k) => {
          if (hit.entry !== page.entry || hit.page !== page.number) return null;
          const [left, top, wide, high] = shareOf(hit.box, page);
          return placed(h('button.sch-hit', { type: 'button', id: `hit-${k}`, 'aria-label': `${hit.text} here`, 'aria-current': String(k === this.hit), onclick: () => this.to(k) }), { left, top, width: wide, height: high });
        })), { width: this.wide })), this.adding()];
  }

  adding() {
    return h('form', { id: 'adding', onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); this.add(); } }, h('div.row', null, h('label.field', null, h('span', null, 'Attach a schematic (PDF)'), h('input', { type: 'file', id: 'file', accept: 'application/pdf', required: true })), h('button.key', { type: 'submit', id: 'add', disabled: this.busy }, 'Attach it')));
  }

  search() {
    const place = this.answer?.on_board;
    return [h('form', { id: 'search', role: 'search', onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); this.find(byId('name').value); } }, h('div.row', null, h('label.field', null, h('span', null, 'Part, pin or net'), h('input', { id: 'name', autocomplete: 'off', placeholder: 'U5, U5.3 or /RD', value: this.answer?.asked ?? '' })), h('button.key.hot', { type: 'submit', id: 'search-do', disabled: this.busy }, 'Find', h('kbd', null, '/')))),
      this.answer ? h('p', { id: 'count', role: 'status' }, this.hits.length ? `${this.answer.asked} stands at ${this.hits.length} places. J and K go through them.` : `${this.answer.asked} stands on no page.`, place && place.parts ? ` On the board it is a net of ${place.parts.join(', ')}.` : '', place && place.net_too?.length ? ` On the board it is the part ${place.part}, and a net, too, of ${place.net_too.join(', ')}.` : '') : null,
      h('ul.sch-list', { id: 'hits' }, this.hits.slice(0, 12).map((/** @type {any} */ hit, /** @type {number} */ k) => h('li', null, h('button.key.slim', { type: 'button', 'aria-pressed': String(k === this.hit), onclick: () => this.to(k) }, `page ${hit.page}: ${hit.text}${hit.near ? `, beside ${hit.near}` : ''}`))))];
  }

  map() {
    const { bounds_mm: [x0, y0, x1, y1], outline, parts } = this.view.map;
    const place = this.answer?.on_board, on = new Set(place?.parts ?? (place?.part ? [place.part, ...(place.net_too ?? [])] : []));
    return h('div', null, s('svg', { class: 'sch-map', id: 'map', viewBox: `${x0 - 3} ${-y1 - 3} ${x1 - x0 + 6} ${y1 - y0 + 6}`, role: 'group', 'aria-label': 'The board: a part that is tapped is found on the pages' },
      ...outline.map((/** @type {number[][]} */ r) => s('path', { class: 'rim', d: pathOf(r) })),
      ...parts.map((/** @type {any} */ p) => s('path', { class: on.has(p.ref) ? 'part on' : 'part', id: `part-${p.ref}`, d: pathOf(p.outline), onclick: () => this.find(p.ref) }, s('title', {}, p.ref))),
      ...parts.filter((/** @type {any} */ p) => /^(U|IC|J|Q)/.test(p.ref)).map((/** @type {any} */ p) => {
        const label = s('text', { class: 'ref', x: (Math.min(...p.outline.map((/** @type {number[]} */ v) => v[0])) + Math.max(...p.outline.map((/** @type {number[]} */ v) => v[0]))) / 2, y: -(Math.min(...p.outline.map((/** @type {number[]} */ v) => v[1])) + Math.max(...p.outline.map((/** @type {number[]} */ v) => v[1]))) / 2 + 1 });
        label.textContent = p.ref;
        return label;
      }),
      ...(place && 'x_mm' in place ? [s('circle', { class: 'goal', cx: place.x_mm, cy: -place.y_mm, r: 4 })] : [])));
  }

  /** @param {number} by */
  turn(by) {
    this.page = Math.min(Math.max(0, this.page + by), Math.max(0, this.pages.length - 1));
    this.draw();
  }

  /** @param {number} by */
  zoom(by) {
    this.wide = Math.min(600, Math.max(100, Math.round(this.wide * by)));
    this.draw();
    this.near();
  }

  /** @param {number} k */
  to(k) {
    const hit = this.hits[k];
    if (!hit) return;
    this.hit = k;
    this.page = Math.max(0, this.pages.findIndex((p) => p.entry === hit.entry && p.number === hit.page));
    this.draw();
    this.near();
    byId('say').textContent = `Page ${hit.page}: ${hit.text}`;
  }

  /** The hit that is looked at stands in the middle of the page's window. */
  near() {
    const spot = document.querySelector('.sch-hit[aria-current="true"]'), win = spot?.closest('.sch-page');
    if (!spot || !win) return;
    const a = spot.getBoundingClientRect(), b = win.getBoundingClientRect();
    win.scrollBy(a.left + a.width / 2 - b.left - b.width / 2, a.top + a.height / 2 - b.top - b.height / 2);
  }

  /** @param {string} name */
  async find(name) {
    await this.doing(async () => {
      this.answer = await get(`${url('schematics/find')}?text=${encodeURIComponent(name.trim())}`);
      this.hit = -1;
    });
    if (this.hits.length) this.to(0);
  }

  async add() {
    const file = byId('file').files[0];
    if (!file) return;
    await this.doing(async () => {
      const out = await send(url('schematics'), file, { entry: freshId() });
      this.view = await get(url('schematics'));
      this.page = Math.max(0, this.pages.length - this.view.schematics.at(-1).pages.length);
      return { words: `Kept: ${plainly(out.words)}.` };
    });
  }

  /** @param {() => Promise<any>} act */
  async doing(act) {
    if (this.busy) return;
    this.busy = true;
    try {
      this.outcome = (await act()) ?? null;
    } catch (err) {
      this.outcome = findingOf(err);
    }
    this.busy = false;
    this.draw();
    if (this.outcome) byId('say').textContent = this.outcome.words;
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const tag = /** @type {any} */ (e.target)?.tagName ?? '';
    if (e.ctrlKey || e.metaKey || e.altKey || !this.view || /^(INPUT|TEXTAREA|SELECT)$/.test(tag)) return;
    const act = /** @type {Record<string, () => void>} */ ({ n: () => this.turn(1), p: () => this.turn(-1), '+': () => this.zoom(1.5), '=': () => this.zoom(1.5), '-': () => this.zoom(1 / 1.5), j: () => this.to(stepTo(this.hit, this.hits.length, 1)), k: () => this.to(stepTo(this.hit, this.hits.length, -1)), '/': () => byId('name').focus() })[e.key];
    if (!act) return;
    e.preventDefault();
    act();
  }
}

new Schematic().start();
