// @ts-check
/** The page "Arrival": the intake, the supply before it meets the board, and how the gate before power stands. */
import { byId, fill, h } from '../shared/dom.js';
import { get, send, write } from '../shared/api.js';
import { Acting } from '../shared/acting.js';
import { takeLight } from '../shared/light.js';
import { noCase } from '../shared/nocase.js';
import { numberOf } from '../shared/numbers.js';
import { intakeSheets } from './intake.js';
import { shortSheet, supplySheets } from './supply.js';

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const TABS = /** @type {[string, string][]} */ ([['intake', 'Intake'], ['supply', 'Supply and rails'], ['gate', 'The gate before power']]);

export class Arrival extends Acting {
  tab = query.get('tab') ?? 'intake';
  view = h('div', { id: 'arrival-view' });

  start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    addEventListener('keydown', (e) => this.key(e));
    this.frame();
    this.show();
  }

  frame() {
    fill(byId('arrival'), h('div.leaf', null, h('h1', null, 'Arrival'),
      h('p.lead', null, 'What the owner says and allows, and the supply, before anything is switched on. Mains and tube parts are for people qualified for them; your local rules go first.'),
      h('nav.row', { 'aria-label': 'Parts of the arrival' }, TABS.map(([key, words], i) => h('button.key.slim', { type: 'button', id: `tab-${key}`, 'aria-current': key === this.tab ? 'page' : null, onclick: () => this.go(key) }, words, h('kbd', null, i + 1)))),
      this.said, this.view));
  }

  /** @param {string} tab */
  go(tab) {
    this.tab = tab;
    this.frame();
    this.show();
    byId(`tab-${tab}`)?.focus();
  }

  /** 1, 2, 3 are the three sheets, where nobody types. @param {KeyboardEvent} e */
  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(/** @type {HTMLElement} */ (e.target).tagName)) return;
    const tab = TABS[Number(e.key) - 1];
    if (tab) this.go(tab[0]);
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
      const sheets = this.tab === 'intake' ? this.intake(await get(url('intake'))) : this.tab === 'supply' ? this.supply(await get(url('supply'))) : this.gate(await get(url('gate')));
      if (asked === this.asked) this.redrawn(this.view, () => fill(this.view, ...sheets));
    } catch (err) {
      if (asked === this.asked) fill(this.view);
      this.refused(err);
    }
  }

  /** @param {any} intake */
  intake(intake) {
    return [h('p.mind', null, intake.caution), ...intakeSheets(intake, (said) => this.say(said), (sha) => url(`photos/${sha}`))];
  }

  /** @param {import('./intake.js').Said} said */
  async say(said) {
    await this.doing(async () => {
      const { file, ...typed } = said, body = { ...typed, amount: numberOf(typed.amount ?? '', 'the amount') };
      const photos = file ? [(await send(url('photos'), file, { words: `intake: ${said.item}` })).entry.payload.sha256] : [];
      const out = await write(url('intake'), { ...body, photos });
      await this.draw();
      this.told(out.words, []);
    });
  }

  /** @param {any} supply */
  supply(supply) {
    return supplySheets(supply, {
      note: (body) => this.doing(async () => {
        const out = await write(url('supply'), body);
        await this.draw();
        this.told(out.words, out.supply.wrong ? [`Do not put it on the board: ${out.supply.wrong}`] : []);
      }),
      ground: (rail, kind, value) => this.doing(async () => {
        const points = kind === 'diode' ? [rail.point_b, rail.point_a] : [rail.point_a, rail.point_b];
        const out = await write(url('entries'), { kind, points, value });
        await this.draw();
        this.told(out.words, out.careful ?? []);
      }),
      limit: (limit_a, abort_a) => this.doing(async () => {
        const out = await write(url('entries'), { kind: 'gate', options: { item: 'limit', limit_a, abort_a } });
        await this.draw();
        this.told(out.words, []);
      }),
      find: (rail) => this.doing(async () => fill(this.said, shortSheet(await get(url(`supply/short?rail=${encodeURIComponent(rail)}`))))),
    });
  }

  /** @param {any} gate */
  gate(gate) {
    return [h('section.sheet', { 'aria-label': 'The gate before power' }, h('h2', null, 'The gate before power'), h('p.mind', null, gate.caution),
      h('ul.gate', null, gate.items.map((/** @type {any} */ one) => h(one.done ? 'li.done' : 'li', { id: `gate-${one.item}` }, h('span.box', { 'aria-hidden': 'true' }, one.done ? '✓' : ''), h('span', null, h('b', null, one.title), h('span.quiet', null, one.done ? ' done' : ' missing'), one.words === 'done' ? null : [h('br', null), one.words]), h('span', null)))),
      h('p', null, h('b', null, gate.words)),
      h('p', null, h('a', { href: `/#/case/${encodeURIComponent(id)}/story` }, 'To the story: power up, or pass the gate over with a reason')))];
  }

  /** @param {string} words @param {string[]} careful */
  told(words, careful) {
    fill(this.said, h('p.sheet', null, `Noted: ${words}.`), careful.length ? h('ul.cautions', null, careful.map((c) => h('li', null, c))) : null);
  }
}

takeLight();
new Arrival().start();
