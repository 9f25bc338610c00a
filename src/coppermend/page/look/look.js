// @ts-check
/** The page "Look over the board": a short tour over each side of the work area, findings noted where they are, by keys or touch. */
import { byId, fill, h, keepTyping, s } from '../shared/dom.js';
import { findingOf, follow, get, write } from '../shared/api.js';
import { takeLight } from '../shared/light.js';
import { askForCase } from '../shared/nocase.js';
import { plainly, seconds } from '../shared/words.js';
import { TakeBack, entryOf } from '../shared/takeback.js';
import { pathOf } from '../powered/map.js';
import { capOf, findingAt, firstOf, nameable, ordered, placesOf, windowAt } from './tour.js';

/** @typedef {import('./tour.js').Side} Side */
/** @typedef {import('./tour.js').Stop} Stop */
/** @typedef {import('./tour.js').Finding} Finding */

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const LEAD = 'One field of view after the other, each side of the work area once: what the eye finds weighs the suspects and the round. Power off; keep away from mains and picture-tube parts, leave them to people qualified for it and follow your local rules.';

class Look {
  /** @type {any} */ found = null;
  side = 0;
  stop = 0;
  unseen = false;
  whole = false;
  photo = true;
  busy = false;
  /** @type {Finding|null} */ finding = null;
  /** @type {string[]} */ places = [];
  /** @type {{words: string, remedy?: string, back?: boolean}|null} */ outcome = null;
  /** The entry that the page noted last. */ last = '';
  /** An older entry is named before it goes. */ takeBack = new TakeBack(async () => (await get(url('story'))).timeline, (words) => { this.outcome = { words }; this.draw(); byId('say').textContent = words; }, (entry) => this.send(url('entries'), { kind: 'undo', undoes: entry }));
  sides = h('div.look-sides', { role: 'group', 'aria-label': 'Sides of the work areas' });
  hand = h('section', { id: 'stop', 'aria-label': 'This field of view' });
  board = h('section', { id: 'where', 'aria-label': 'Where it is' });
  rest = h('section', { id: 'noted', 'aria-label': 'What was seen' });
  said = h('div', { id: 'outcome' });

  async start() {
    takeLight();
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    if (!id) return askForCase('look', 'Look over the board', LEAD);
    fill(byId('look'), h('div.leaf', null, h('h1', null, 'Look over the board'), h('p.lead', null, LEAD), this.sides, this.said, h('div.look-desk', null, this.hand, this.board), this.rest));
    addEventListener('keydown', (e) => this.key(e));
    follow(id, (mark) => { if (this.found && mark !== this.found.mark) this.load(); }, () => {});
    await this.load(true);
  }

  /** @param {boolean} [first] */
  async load(first = false) {
    if (!this.found) fill(this.hand, h('p', { role: 'status', id: 'waiting' }, 'Laying out the tour …'));
    try {
      this.found = await get(url('look'));
    } catch (err) {
      const { words, remedy } = findingOf(err);
      return fill(this.hand, h('div.sheet.error-sheet', { role: 'alert' }, h('b', null, words), h('p', null, remedy), h('button.key', { id: 'again', onclick: () => this.load(first) }, 'Try again')));
    }
    if (first) this.side = firstOf(this.found.sides);
    this.draw();
  }

  /** @returns {Side|undefined} */
  get now() { return this.found?.sides[this.side]; }
  /** @returns {Stop|undefined} */
  get at() { return this.now?.stops[this.stop]; }
  get rows() { return ordered(this.found.findings, this.at); }

  draw() {
    keepTyping(() => {
      fill(this.sides, this.found.sides.map((/** @type {Side} */ one, /** @type {number} */ k) => h('button.key.slim', { type: 'button', id: `side-${k}`, 'aria-pressed': String(k === this.side), onclick: () => this.choose(k) }, `${one.label}, ${one.side_words}${one.looked ? ': looked over' : ''}`)));
      fill(this.hand, this.now ? this.card(this.now) : this.none());
      fill(this.board, this.now ? [this.tools(this.now), this.map(this.now)] : null);
      fill(this.rest, this.noted());
      this.tell();
    });
  }

  none() {
    return [h('p', { id: 'empty' }, 'No work area is marked: there is nothing to look over.'), h('div.row', null, h('a.key', { href: `/#/case/${encodeURIComponent(id)}/bench` }, 'Mark a work area on the board'))];
  }

  /** @param {Side} side */
  card(side) {
    const stop = this.at;
    const end = side.looked ? h('p', null, h('b', null, 'This side was looked over.'), ' Going over it again adds to what was seen.') : h('p', { id: 'worth' }, `${side.gain_bits.toFixed(2)} bits in about ${seconds(side.seconds)} (modelled).`);
    if (!stop) return [h('h2', null, `${side.label}, ${side.side_words}`), h('p', null, 'That was the last field of view.'), end,
      h('div.row', null, h('button.key.hot', { type: 'button', id: 'side-done', disabled: this.busy, onclick: () => this.done() }, 'This side is looked over', h('kbd', null, 'D')), h('button.key', { type: 'button', id: 'from-start', onclick: () => this.move(-this.stop) }, 'Over it again'))];
    return [
      h('h2', { id: 'stop-name' }, `Field ${this.stop + 1} of ${side.stops.length}`), end,
      h('p', { id: 'stop-holds' }, [stop.parts.length ? `Parts: ${stop.parts.join(', ')}. ` : '', stop.pins.length ? `Pins: ${stop.pins.join(', ')}.` : 'Tracks only.'].join('')),
      this.stop === 0 ? h('p.need', { id: 'caution' }, this.found.caution) : h('details', { id: 'caution' }, h('summary', null, 'Power off, gloves, fresh air: what to mind'), h('p.need', null, this.found.caution)),
      h('div.row', null, h('button.key.hot', { type: 'button', id: 'next-stop', onclick: () => this.move(1) }, 'Nothing here, go on', h('kbd', null, 'N')), h('button.key.slim', { type: 'button', id: 'last-stop', disabled: this.stop === 0, onclick: () => this.move(-1) }, 'Back', h('kbd', null, 'P'))),
      h('h3', null, this.unseen ? 'Looked for and not seen' : 'Seen here'),
      h('div.look-keys', { role: 'group', 'aria-label': 'Findings' }, this.rows.map((f, k) => h('button.key.slim', { type: 'button', id: `finding-${k}`, title: f.ask, 'aria-pressed': String(this.finding?.name === f.name), disabled: this.busy, onclick: () => this.pick(f) }, f.name, h('kbd', null, capOf(k))))),
      h('button.key.slim', { type: 'button', id: 'unseen', 'aria-pressed': String(this.unseen), onclick: () => { this.unseen = !this.unseen; this.draw(); } }, 'Looked for and not seen', h('kbd', null, 'X')),
      this.finding ? this.where(this.finding, stop) : null,
    ];
  }

  /** @param {Finding} finding @param {Stop} stop */
  where(finding, stop) {
    const names = nameable(finding, stop);
    const ask = finding.of === 'bridge' ? 'Between which two pins?' : finding.of === 'part' ? 'Which part?' : 'At which pin?';
    return h('div', { id: 'where-seen' }, h('h3', null, `${finding.name}: ${ask}`), h('p', null, `Look for ${finding.ask}.`),
      h('div.look-pins', { role: 'group', 'aria-label': ask }, names.map((name) => h('button.key.slim', { type: 'button', id: `pin-${name}`, 'aria-pressed': String(this.places.includes(name)), disabled: this.busy, onclick: () => this.place(name) }, name))),
      h('form.row', { id: 'elsewhere', onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); const field = byId('point'); const words = field.value.trim().split(/\s+/).filter(Boolean); if (words.length) this.note(finding, words); } },
        h('label.field', null, h('span', null, 'Another place'), h('input', { id: 'point', autocomplete: 'off', placeholder: finding.of === 'part' ? 'U5' : finding.of === 'bridge' ? 'U1.3 U1.4' : 'U1.3 or a via' })), h('button.key', { type: 'submit', disabled: this.busy }, 'Note it')));
  }

  /** @param {Side} side */
  tools(side) {
    const laid = this.found.map.photos.includes(side.side);
    return h('div.row', null, h('b', null, side.side_words), h('button.key.slim', { type: 'button', id: 'whole', 'aria-pressed': String(this.whole), onclick: () => { this.whole = !this.whole; this.draw(); } }, 'Whole board', h('kbd', null, 'W')),
      laid ? h('button.key.slim', { type: 'button', id: 'photo', 'aria-pressed': String(this.photo), onclick: () => { this.photo = !this.photo; this.draw(); } }, 'Your photo under it', h('kbd', null, 'F')) : h('span', null, 'No photo is laid on this side.'));
  }

  /** @param {Side} side */
  map(side) {
    const { bounds_mm: bounds, outline, parts, areas, photos } = this.found.map;
    const [x0, y0, x1, y1] = bounds, turned = side.side === 's';
    const box = windowAt(bounds, this.whole ? undefined : this.at, turned);
    const mirror = (/** @type {number} */ x) => (turned ? x0 + x1 - x : x);
    const ring = (/** @type {number[]} */ b) => [[b[0] - 1, b[1] - 1], [b[2] + 1, b[1] - 1], [b[2] + 1, b[3] + 1], [b[0] - 1, b[3] + 1]];
    const own = parts.filter((/** @type {any} */ p) => p.side === side.side || turned);
    const seen = this.found.said.filter((/** @type {any} */ one) => one.seen && !one.why_not && one.x_mm !== null);
    return s('svg', { class: 'look-map', id: 'look-map', viewBox: box.join(' '), role: 'img', 'aria-label': `The ${side.side_words}: ${side.stops.length} fields of view, ${seen.length} findings. The words beside it say the same.` },
      s('g', turned ? { transform: `translate(${x0 + x1} 0) scale(-1 1)` } : {},
        ...(this.photo && photos.includes(side.side) ? [s('image', { href: url(`laid/${side.side}`), x: x0, y: -y1, width: x1 - x0, height: y1 - y0, preserveAspectRatio: 'none' })] : []),
        ...outline.map((/** @type {number[][]} */ r) => s('path', { class: 'rim', d: pathOf(r) })),
        ...own.map((/** @type {any} */ p) => s('path', { class: 'part', d: pathOf(p.outline) })),
        ...areas.map((/** @type {any} */ a) => s('path', { class: 'area', d: pathOf(a.polygon) })),
        ...side.stops.map((one, k) => s('path', { class: k === this.stop ? 'field now' : 'field', d: pathOf(ring(one.box)), onclick: () => this.move(k - this.stop) })),
        ...seen.map((/** @type {any} */ one) => s('path', { class: 'seen', d: `M${one.x_mm} ${-one.y_mm - 1.6}l1.6 1.6l-1.6 1.6l-1.6 -1.6Z` }, s('title', {}, `${one.finding} at ${one.place}`)))),
      ...own.map((/** @type {any} */ p) => {
        const xs = p.outline.map((/** @type {number[]} */ v) => v[0]), ys = p.outline.map((/** @type {number[]} */ v) => v[1]);
        const label = s('text', { class: 'ref', x: mirror((Math.min(...xs) + Math.max(...xs)) / 2), y: -(Math.min(...ys) + Math.max(...ys)) / 2, 'font-size': box[2] / 36 });
        label.textContent = p.ref;
        return label;
      }));
  }

  noted() {
    const { said, conflicts } = this.found;
    if (!said.length) return h('p', null, 'No finding was noted yet.');
    return [conflicts.map((/** @type {any} */ one) => h('p.need.conflict', null, h('b', null, one.words), ' ', one.settles)),
      h('h2', null, 'What was seen'), h('ul', { id: 'said' }, said.map((/** @type {any} */ one) => h('li', null, h('b', null, `${one.finding} at ${one.place}: ${one.seen ? 'seen' : 'looked for, not seen'}`), one.why_not ? ` (speaks no more: ${one.why_not})` : ` ${one.settles}`)))];
  }

  tell() {
    const o = this.outcome;
    fill(this.said, o ? h('p.need', null, o.words, ' ', o.remedy ?? '', ' ', o.back ? h('button.key.slim', { type: 'button', id: 'take-back', onclick: () => this.back() }, 'Take it back', h('kbd', null, 'Z')) : null) : null);
  }

  /** @param {number} k */
  choose(k) {
    [this.side, this.stop, this.finding, this.places] = [k, 0, null, []];
    this.draw();
  }

  /** @param {number} by */
  move(by) {
    const last = this.now?.stops.length ?? 0;
    this.stop = Math.min(last, Math.max(0, this.stop + by));
    [this.finding, this.places] = [null, []];
    this.draw();
    const stop = this.at;
    byId('say').textContent = stop ? `Field ${this.stop + 1}: ${[...stop.parts, ...stop.pins].slice(0, 8).join(', ') || 'tracks'}` : 'That was the last field of view.';
  }

  /** @param {Finding} finding */
  pick(finding) {
    [this.finding, this.places] = [finding, []];
    this.draw();
    byId('where-seen')?.scrollIntoView({ block: 'nearest' });
    /** @type {any} */ (document.querySelector('.look-pins button') ?? byId('point'))?.focus();
  }

  /** @param {string} name */
  place(name) {
    const finding = this.finding;
    if (!finding) return;
    this.places = this.places.includes(name) ? this.places.filter((p) => p !== name) : [...this.places, name];
    if (this.places.length < placesOf(finding)) return this.draw();
    this.note(finding, this.places);
  }

  /** @param {Finding} finding @param {string[]} places */
  note(finding, places) {
    const where = finding.of === 'part' ? { part: places[0] } : { points: places };
    return this.send(url('look'), { ...where, finding: finding.name, seen: !this.unseen, side: this.now?.side ?? '' });
  }

  done() {
    const side = this.now;
    return side ? this.send(url('look'), { area: side.area, side: side.side }, true) : null;
  }

  /** What the page just said it noted goes at once; anything older is named first. */
  back() {
    return this.outcome?.back && this.last ? this.send(url('entries'), { kind: 'undo', undoes: this.last }) : this.takeBack.press();
  }

  /** @param {string} where @param {Record<string, any>} body @param {boolean} [on] go on to the next side */
  async send(where, body, on = false) {
    if (this.busy) return;
    this.busy = true;
    try {
      const out = await write(where, body);
      this.last = entryOf(out);
      this.outcome = { words: `Noted: ${plainly(out.words)}.`, back: body.kind !== 'undo' };
      [this.finding, this.places, this.unseen] = [null, [], false];
      this.busy = false;
      await this.load();
      if (on) this.choose(firstOf(this.found.sides));
    } catch (err) {
      this.outcome = findingOf(err);
      this.places = [];
    }
    this.busy = false;
    this.draw();
    byId('say').textContent = this.outcome?.words ?? '';
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const tag = /** @type {any} */ (e.target)?.tagName ?? '';
    if (e.ctrlKey || e.metaKey || e.altKey || e.repeat || !this.found || /^(INPUT|TEXTAREA|SELECT)$/.test(tag)) return;
    const act = /** @type {Record<string, () => any>} */ ({ n: () => this.move(1), p: () => this.move(-1), d: () => (this.at ? null : this.done()), x: () => { this.unseen = !this.unseen; this.draw(); }, w: () => { this.whole = !this.whole; this.draw(); }, f: () => { this.photo = !this.photo; this.draw(); }, z: () => this.back(), Escape: () => { this.finding = null; this.places = []; this.draw(); } })[e.key];
    const finding = this.at ? findingAt(this.rows, e.key) : null;
    if (!act && !finding) return;
    e.preventDefault();
    if (act) act();
    else if (finding) this.pick(finding);
  }
}

new Look().start();
