// @ts-check
/** The page "Chips": every piece with its history, and the work of getting one out and in. */
import { byId, fill, h } from '../shared/dom.js';
import { get, post, write } from '../shared/api.js';
import { Acting } from '../shared/acting.js';
import { takeLight } from '../shared/light.js';
import { noCase } from '../shared/nocase.js';
import { numberOf } from '../shared/numbers.js';
import { cardSheets } from './cards.js';
import { workSheets } from './work.js';

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;

export class Chips extends Acting {
  part = query.get('part') ?? '';
  view = h('div', { id: 'chips-view' });

  start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/bench` : '/';
    this.frame();
    this.show();
  }

  frame() {
    fill(byId('chips'), h('div.leaf', null, h('h1', null, 'Chips'),
      h('p.lead', null, 'Power off, unplugged, touch earthed metal before a chip goes out or in. Mains and tube parts are for people qualified for them; your local rules go first.'),
      h('form.row', { id: 'which', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); this.open(String(new FormData(/** @type {HTMLFormElement} */ (e.target)).get('part') ?? '').trim()); } },
        h('label.field', null, 'Part', h('input', { name: 'part', id: 'which-part', value: this.part, placeholder: 'U1', autocomplete: 'off', spellcheck: 'false' })), h('button.key', { id: 'open-part' }, 'Work on it'),
        h('button.key', { type: 'button', id: 'all-chips', onclick: () => this.open('') }, 'All chips')),
      this.said, this.view));
  }

  /** @param {string} part */
  open(part) {
    this.part = part;
    const field = byId('which-part');
    if (field) field.value = part;
    this.show();
  }

  async show() {
    fill(this.said);
    if (!id) return fill(this.view, noCase());
    fill(this.view, h('div.sheet', { id: 'waiting', role: 'status', 'aria-busy': 'true' }, h('p', null, 'Reading the case …'), h('div.skeleton', null)));
    await this.draw();
  }

  async draw() {
    const asked = ++this.asked;
    try {
      const sheets = this.part ? workSheets(await get(url(`chips/${encodeURIComponent(this.part)}`)), this.hands()) : cardSheets(await get(url('chips')), (body) => this.card(body), (part) => this.open(part));
      if (asked === this.asked) this.redrawn(this.view, () => fill(this.view, ...sheets));
    } catch (err) {
      if (asked === this.asked) fill(this.view);
      this.refused(err);
    }
  }

  /** @returns {import('./work.js').Hands} */
  hands() {
    const part = this.part;
    return {
      check: (item, good, pins) => this.doing(async () => this.told(await write(url(`chips/${encodeURIComponent(part)}/checks`), { item, good, pins }))),
      read: (kind, a, b) => this.doing(async () => this.told(await write(url('entries'), { kind, points: [a, b] }))),
      act: (kind, options) => this.doing(async () => this.told(await write(url('entries'), { kind, part, options }))),
      infer: () => get(url(`parts/${encodeURIComponent(part)}/inferred`)),
      area: () => this.doing(async () => this.told(await post(url('areas'), { part, kind: 'rework', severity: 2 }))),
    };
  }

  /** @param {Record<string, string>} body */
  async card(body) {
    await this.doing(async () => {
      const out = await write(url('chips'), { ...body, price: numberOf(body.price, 'the price') });
      /** @type {HTMLFormElement|null} */ (byId('card-form'))?.reset();
      await this.told(out);
    });
  }

  /** @param {any} out */
  async told(out) {
    await this.draw();
    fill(this.said, h('p.sheet', null, `Noted: ${out.words}.`), out.careful?.length ? h('ul.cautions', null, out.careful.map((/** @type {string} */ c) => h('li', null, c))) : null);
  }
}

takeLight();
new Chips().start();
