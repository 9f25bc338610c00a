// @ts-check
/** The page "Rework": take a part out, clean and protect in steps, find a short with a limited current. */
import { byId, fill, h } from '../shared/dom.js';
import { Refused, get, post, send, write } from '../shared/api.js';
import { Acting } from '../shared/acting.js';
import { freshId } from '../shared/id.js';
import { noCase } from '../shared/nocase.js';
import { numbersIn, partForm, removalSheets } from './parts.js';
import { procedureSheet } from './steps.js';
import { dropEntry, supplyForm, supplySheet } from './supply.js';
import { takeLight } from '../shared/light.js';

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const TABS = /** @type {[string, string][]} */ ([['part', 'Take a part out'], ['care', 'Clean and protect'], ['short', 'A short, with a supply']]);

export class Rework extends Acting {
  tab = query.get('tab') ?? (query.get('part') ? 'part' : 'care');
  part = query.get('part') ?? '';
  /** What the removal is planned with, the margin of its work area too. @type {Record<string, string>} */ iron = {};
  /** What the supply's form was filled with. @type {Record<string, string>} */ supplied = {};
  /** The current that flows, as it was typed. */ ampere = '';
  /** What was noted of drops while this page is open: mV by net and point. @type {Map<string, string>} */ drops = new Map();
  view = h('div', { id: 'rework-view' });
  /** Drawn once: the keyboard stays where it is, and what was typed stays typed. */ form = partForm(this.part, (part, said) => { this.part = part; this.iron = said; this.show(); });

  start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/bench` : '/';
    this.frame();
    this.show();
  }

  frame() {
    fill(byId('rework'), h('div.leaf', null, h('h1', null, 'Rework'),
      h('p.lead', null, 'Power off, supply unplugged, rails empty, you and the board earthed. Fumes, lead, heat and caustic liquids: your local rules go first; leave mains and tube work to people qualified for it.'),
      h('nav.rework-tabs', { 'aria-label': 'Kinds of work' }, TABS.map(([key, words]) => h('button.key.slim', { type: 'button', id: `tab-${key}`, onclick: () => { this.tab = key; this.show(); } }, words))),
      this.said, this.form, this.view));
  }

  /** Which tab is open; the form of a part belongs to one of them. */
  marked() {
    for (const [key] of TABS) key === this.tab ? byId(`tab-${key}`)?.setAttribute('aria-current', 'page') : byId(`tab-${key}`)?.removeAttribute('aria-current');
    this.form.hidden = !id || this.tab !== 'part';
  }

  async show() {
    fill(this.said);
    this.marked();
    if (!id) return fill(this.view, noCase());
    const asked = ++this.asked;
    fill(this.view, this.tab === 'part' && !this.part ? null : this.waiting());
    try {
      if (this.tab === 'part') await this.showPart(asked);
      else if (this.tab === 'care') await this.showCare(asked);
      else await this.showSupply(asked);
    } catch (err) {
      if (asked !== this.asked) return;
      fill(this.view);
      this.refused(err);
    }
  }

  /** Something comes: said and shown until it is here. */
  waiting() {
    const words = { part: `Working out how ${this.part} comes out: the heat that runs off each joint, what stands beside it, what lies under it. Some seconds …`, care: 'Reading the procedures …', short: 'Working out where to feed and what to expect …' };
    return h('div.sheet', { id: 'waiting', role: 'status', 'aria-busy': 'true' }, h('p', null, words[/** @type {keyof typeof words} */ (this.tab)]), h('div.skeleton', null), h('div.skeleton', null));
  }

  /** @param {number} asked @param {...any} sheets */
  put(asked, ...sheets) {
    if (asked === this.asked) fill(this.view, ...sheets);
  }

  /** @param {number} asked */
  async showPart(asked) {
    if (!this.part) return this.put(asked);
    const what = `removal/${encodeURIComponent(this.part)}`, said = numbersIn(this.iron);
    const plan = await get(url(`${what}?${new URLSearchParams(said)}`));
    this.put(asked, this.keepKey(() => this.kept(what, said), 'Its joints, order, shields and steps then stand in the case\'s record.'), ...removalSheets(plan, (one) => this.mark(one, plan.area.severity, said.margin_mm)));
  }

  /** The supply's plan under its form; what was typed stays, a refusal too leaves the form. @param {number} asked */
  async showSupply(asked) {
    const form = supplyForm(this.supplied, async (said) => { this.supplied = said; await this.show(); byId('supply-plan')?.focus({ preventScroll: true }); });
    try {
      const said = numbersIn(this.supplied, ['net_a', 'net_b']);
      const plan = await get(url(`short/supply?${new URLSearchParams(said)}`));
      this.put(asked, form, this.keepKey(() => this.kept('short/supply', said), 'Supply, clips, drops and what to mind then stand in the case\'s record.'), supplySheet(plan, this.ampere, this.drops, (k, mv, ampere) => this.dropRead(plan, k, mv, ampere)));
    } catch (err) {
      if (asked !== this.asked) return;
      fill(this.view, form);
      this.refused(err);
    }
  }

  /** One drop that was read: noted as the ohms of its clips. The rows stay where they are while a person goes along the net. @param {any} plan @param {number} k @param {string} mv @param {string} ampere */
  async dropRead(plan, k, mv, ampere) {
    const one = plan.drops[k];
    await this.doing(async () => {
      const read = numbersIn({ mv, ampere });
      if (!Number(read.ampere)) throw new Refused({ code: 'PAGE-003', severity: 'error', place: {}, words: 'A current of 0 A gives no ohms.', remedy: 'Read the current that flows through the clips, and write it above the drops.' });
      this.ampere = ampere === String(plan.limit.limit_a) ? '' : ampere;
      const out = await write(url('entries'), dropEntry(plan, one, Number(read.mv), Number(read.ampere)));
      this.drops.set(`${one.net} ${one.point}`, mv);
      const field = /** @type {HTMLInputElement|null} */ (byId(`drop-${k}`)), mark = byId(`noted-${k}`);
      if (field && mark) {
        field.value = '';
        mark.textContent = `${mv} noted`;
      }
      fill(this.said, h('p.sheet', null, `Noted: ${out.words}. "Plan" reckons the drops anew with what was read. `, h('a', { href: `/#/case/${encodeURIComponent(id)}/ohms` }, 'Where the short is by all readings')));
      byId(`drop-${k + 1}`)?.focus();
    }, `drop ${one.net} ${one.point}`);
  }

  /** A key that keeps the plan: the record prints it. @param {() => void} act @param {string} words */
  keepKey(act, words) {
    return h('section.sheet', { 'aria-label': 'Keep the plan' }, h('div.row', null, h('button.key.slim', { type: 'button', id: 'keep-plan', onclick: act }, 'Keep this plan in the record'), h('p', null, words)));
  }

  /** @param {string} what @param {Record<string, string>} said */
  async kept(what, said) {
    await this.doing(async () => {
      const out = await post(url(what), said);
      fill(this.said, h('p.sheet', null, `Kept for the record: ${out.words}`));
    }, `keep ${what}`);
  }

  /** @param {string} part @param {number} severity @param {string} [margin_mm] */
  async mark(part, severity, margin_mm) {
    await this.doing(async () => {
      const out = await post(url('areas'), { part, kind: 'rework', severity, margin_mm });
      fill(this.said, h('p.sheet', null, `Marked: ${out.words}. `, h('a', { href: `/#/case/${encodeURIComponent(id)}/bench` }, 'Run its round')));
    }, `mark ${part}`);
  }

  /** @param {number} [asked] */
  async showCare(asked = this.asked) {
    const found = (await get(url('care'))).procedures;
    const begun = found.some((/** @type {any} */ one) => one.steps.some((/** @type {any} */ s) => s.state !== 'open'));
    const folded = new Map([...this.view.querySelectorAll('details.sheet')].map((d) => [d.id, /** @type {HTMLDetailsElement} */ (d).open]));
    const hands = { photo: (/** @type {string} */ sha) => url(`photos/${sha}`), tick: this.tick.bind(this) };
    this.redrawn(this.view, () => this.put(asked, ...found.map((/** @type {any} */ one, /** @type {number} */ i) => procedureSheet(one, hands, folded.get(`care-${one.procedure}`) ?? (begun && i === 0)))));
  }

  /** @param {string} procedure @param {string} step @param {string} state @param {string} words @param {File|null} photo @param {string} told what the photo is of */
  async tick(procedure, step, state, words, photo, told) {
    await this.doing(async () => {
      const sha256 = photo ? (await send(url('photos'), photo, { words: told })).entry.payload.sha256 : '';
      const out = await post(url('care'), { procedure, step, state, words, sha256, entry_id: freshId() });
      if (this.tab === 'care') await this.showCare();
      this.handOn(procedure, out.care.next || step);
      fill(this.said, h('p.sheet', null, `Noted: ${out.words}.`), out.care.cautions.length ? h('ul.cautions', null, out.care.cautions.map((/** @type {string} */ c) => h('li', null, c))) : null);
      byId(`step-${procedure}-${out.care.next || step}`)?.scrollIntoView({ block: 'nearest' });
    }, `${procedure} ${step} ${state}`);
  }

  /** The steps were drawn anew: the keyboard goes to the first key of the step that is next. @param {string} procedure @param {string} step */
  handOn(procedure, step) {
    if (document.activeElement === document.body) byId(`step-${procedure}-${step}`)?.querySelector('button')?.focus({ preventScroll: true });
  }
}

takeLight();
new Rework().start();
