// @ts-check
/** The page "Waves": a record saved by an oscilloscope or logic analyser is taken in at a pin, measured, drawn with its levels and edges marked. */
import { byId, fill, h } from '../shared/dom.js';
import { findingOf, get, send } from '../shared/api.js';
import { freshId } from '../shared/id.js';
import { askForCase } from '../shared/nocase.js';
import { plainly, sentence } from '../shared/words.js';
import { otherAsks } from './asks.js';
import { drawWave } from './draw.js';
import { drawPin } from './pin.js';
import { inWords, moved, withUnit } from './scale.js';
import { takeLight } from '../shared/light.js';

/** @typedef {import('./scale.js').Picture} Picture */

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const FAMILIES = ['', 'TTL', 'LS', 'HCT', 'HC', 'NMOS', 'CMOS'];
const LEAD = 'Save the wave on the instrument as CSV or VCD, take the file here. Power is on while you probe: one hand, one probe, a tip that cannot slip to the next pin. Keep away from mains and picture-tube parts; leave them to people qualified for it and follow your local rules.';
/** Verdicts that ask for nothing. */
const FINE = ['right', 'moving', 'high', 'low'];

export class Sheet {
  /** @type {any[]} */ waves = [];
  /** @type {any} */ record = null;
  /** @type {Picture|null} */ picture = null;
  /** Which entry is shown; "" for one that is not noted. */ entry = '';
  busy = false;
  /** @type {{words: string, remedy?: string}|null} */ outcome = null;
  canvas = /** @type {HTMLCanvasElement} */ (h('canvas.wave-picture', { tabindex: 0, role: 'img', id: 'picture', onkeydown: (/** @type {KeyboardEvent} */ e) => this.key(e), onwheel: (/** @type {WheelEvent} */ e) => this.wheel(e) }));
  view = h('div', { id: 'wave-view' });
  list = h('div', { id: 'wave-list' });
  said = h('div', { id: 'outcome', role: 'status' });
  pin = h('div', { id: 'at-pin' });

  async start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    if (!id) return askForCase('waves', 'Waves', LEAD);
    fill(byId('waves'), h('div.leaf', null, h('h1', null, 'Waves'),
      h('p', null, LEAD),
      this.form(), this.pin, this.said, this.view, otherAsks(query.get('at') ?? '', { url, noted: () => this.renew() }), this.list));
    addEventListener('resize', () => this.redraw());
    this.showPin(query.get('at') ?? '');
    await this.look();
  }

  /** Where the probe goes and what it should see there; nothing for an empty field or several points. @param {string} text */
  async showPin(text) {
    const at = (text.split(/[,;]/)[0] ?? '').split('=').pop()?.trim() ?? '';
    if (!at) return fill(this.pin, null);
    try {
      fill(this.pin, drawPin(await get(url(`pin?point=${encodeURIComponent(at)}`))));
    } catch (err) {
      const { words, remedy } = findingOf(err);
      fill(this.pin, h('p.need', null, words, ' ', remedy));
    }
  }

  form() {
    const field = (/** @type {string} */ words, /** @type {Record<string, any>} */ attrs) => h('label.field', null, words, h('input', { autocomplete: 'off', spellcheck: 'false', ...attrs }));
    return h('form.sheet', { id: 'take-in', 'aria-label': 'Take in a record', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); this.take(/** @type {HTMLFormElement} */ (e.target)); } },
      h('div.form', null,
        field('Record', { type: 'file', name: 'file', required: true, accept: '.csv,.txt,.tsv,.vcd,text/csv,text/plain' }),
        field('At pin', { name: 'at', value: query.get('at') ?? '', placeholder: 'U1.6 or CH1=U1.6, CH2=U3.4', onchange: (/** @type {any} */ e) => this.showPin(e.target.value) }),
        field('Channel', { name: 'channel', placeholder: 'the first' }),
        h('label.field', null, 'Logic family', h('select', { name: 'family' }, FAMILIES.map((f) => h('option', { value: f }, f || 'by the pin')))),
        field('Expected, Hz', { name: 'expect_hz', inputmode: 'decimal', placeholder: 'by the pin' })),
      h('div.wave-tools', null, h('button.key.hot', { id: 'measure' }, 'Measure'), h('span', null, 'Without a pin the record is only measured; with one it is noted and judged by what that pin should show.')));
  }

  async look() {
    try {
      this.waves = (await get(url('waves'))).waves;
      if (this.waves.length && !this.picture) await this.open(this.waves[0].entry);
    } catch (err) {
      this.outcome = findingOf(err);
    }
    this.draw();
  }

  /** What was noted elsewhere on the page stands in the list, too. */
  async renew() {
    this.waves = (await get(url('waves'))).waves;
    this.draw();
  }

  /** @param {HTMLFormElement} form */
  async take(form) {
    if (this.busy) return;
    const data = new FormData(form);
    const file = data.get('file');
    if (!(file instanceof File)) return;
    /** @type {Record<string, string>} */
    const fields = {};
    for (const name of ['at', 'channel', 'family', 'expect_hz']) {
      const value = String(data.get(name) ?? '').trim();
      if (value) fields[name] = value;
    }
    if (fields.at) fields.entry = freshId();
    await this.doing('Measuring …', async () => {
      this.record = await send(url('waves'), file, fields);
      this.picture = this.record.pictures[0];
      this.entry = this.record.entry ?? '';
      this.outcome = { words: this.entry ? `Noted at ${plainly(this.record.point)}.` : 'Measured; nothing is noted, because no pin was named.' };
      this.waves = (await get(url('waves'))).waves;
    });
  }

  /** @param {string} entry @param {[number, number]} [window] @param {string} [channel] */
  async open(entry, window, channel) {
    const ask = new URLSearchParams(channel ? { channel } : {});
    if (window) {
      ask.set('begin_s', String(window[0]));
      ask.set('end_s', String(window[1]));
    }
    const found = await get(`${url(`waves/${entry}`)}?${ask}`);
    if (entry !== this.entry) this.record = null;
    this.entry = entry;
    this.picture = found;
  }

  /** @param {string} words @param {() => Promise<void>} act */
  async doing(words, act) {
    if (this.busy) return;
    this.busy = true;
    this.outcome = { words };
    this.tell();
    try {
      await act();
      if (this.outcome?.words === words) this.outcome = null;
    } catch (err) {
      this.outcome = findingOf(err);
    } finally {
      this.busy = false;
      this.draw();
    }
  }

  tell() {
    fill(this.said, this.outcome ? h('p.need', null, this.outcome.words, ' ', this.outcome.remedy ?? '') : null);
  }

  draw() {
    this.tell();
    const p = this.picture;
    fill(this.view, p ? [this.verdict(p), this.canvas, this.tools(), this.values()] : null);
    fill(this.list, h('h2', null, 'Waves of this case'), this.waves.length
      ? h('ul.wave-list', null, this.waves.map((w) => h('li', null, h('button.key.slim', { type: 'button', 'aria-current': w.entry === this.entry ? 'true' : null, onclick: () => this.doing('Reading …', () => this.open(w.entry)) }, `${w.ref}. ${plainly(w.words)}`))))
      : h('p', null, 'None yet.'));
    this.redraw();
  }

  redraw() {
    if (!this.picture || !this.canvas.isConnected) return;
    this.canvas.setAttribute('aria-label', inWords(this.picture));
    drawWave(this.canvas, this.picture);
  }

  /** @param {Picture} p */
  verdict(p) {
    const words = p.words ?? '';
    const fine = FINE.some((one) => words === one || words.startsWith(`${one},`));
    return [h(fine ? 'p.wave-verdict' : 'p.wave-verdict.bad', { id: 'verdict' }, `${p.channel}: ${words}`), p.expected ? h('p', null, `Expected: ${plainly(p.expected)}`) : null];
  }

  /** Another channel of the noted record. */
  channels() {
    const p = /** @type {any} */ (this.picture);
    const names = /** @type {string[]} */ (p?.channels ?? this.record?.channels ?? []);
    if (names.length < 2 || !this.entry) return null;
    return h('label.field', null, 'Channel shown', h('select', { id: 'wave-channel', onchange: (/** @type {any} */ e) => this.doing('Reading …', () => this.open(this.entry, p.kind ? [p.begin_s, p.end_s] : undefined, e.target.value)) }, names.map((n) => h('option', { value: n, selected: n === p.channel }, n))));
  }

  tools() {
    const tool = (/** @type {string} */ words, /** @type {'nearer'|'further'|'earlier'|'later'|'whole'} */ how) => h('button.key.slim', { type: 'button', id: `wave-${how}`, disabled: !this.entry, onclick: () => this.move(how) }, words);
    return h('div.wave-tools', null, tool('Nearer', 'nearer'), tool('Further', 'further'), tool('Earlier', 'earlier'), tool('Later', 'later'), tool('Whole', 'whole'), this.channels(), this.entry ? null : h('span', null, 'A noted record can be looked at from near.'));
  }

  values() {
    const r = this.record;
    if (!r) return null;
    // transitions between two samples have no length of their own: the finding says the bound ("at most")
    const steep = r.findings.some((/** @type {any} */ f) => f.code === 'SIG-009');
    const rows = /** @type {[string, number|null, string][]} */ ([['Frequency', r.frequency_hz, 'Hz'], ['uncertain by', r.frequency_u_hz, 'Hz'], ['Period', r.period_s, 's'], ['Width, high', r.width_s, 's'], ['Rise 10 to 90 %', steep ? null : r.rise_s, 's'], ['Fall 90 to 10 %', steep ? null : r.fall_s, 's'], ['Low', r.low_v, 'V'], ['High', r.high_v, 'V']]);
    const shares = /** @type {[string, number|null][]} */ ([['Duty', r.duty], ['Overshoot', r.overshoot]]);
    return [h('table.wave-values', { 'aria-label': 'Measured' }, h('tbody', null,
      rows.filter(([, v]) => v !== null).map(([name, v, unit]) => h('tr', null, h('th', { scope: 'row' }, name), h('td', null, withUnit(Number(v), unit)))),
      shares.filter(([, v]) => v !== null).map(([name, v]) => h('tr', null, h('th', { scope: 'row' }, name), h('td', null, `${(100 * Number(v)).toFixed(1)} %`))))),
    r.findings.length ? h('ul', { 'aria-label': 'Findings' }, r.findings.map((/** @type {any} */ f) => h('li', null, `${sentence(f.words)} ${f.remedy}`))) : null];
  }

  /** @param {'nearer'|'further'|'earlier'|'later'|'whole'} how @param {number} [at] */
  move(how, at) {
    const p = this.picture;
    if (!p || !this.entry) return;
    this.doing('Reading …', () => this.open(this.entry, moved(p, how, at), p.channel));
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const how = /** @type {Record<string, 'nearer'|'further'|'earlier'|'later'|'whole'>} */ ({ '+': 'nearer', '-': 'further', ArrowLeft: 'earlier', ArrowRight: 'later', '0': 'whole' })[e.key];
    if (!how) return;
    e.preventDefault();
    this.move(how);
  }

  /** @param {WheelEvent} e */
  wheel(e) {
    if (!e.ctrlKey && !e.shiftKey) return;
    e.preventDefault();
    this.move(e.deltaY < 0 ? 'nearer' : 'further', e.offsetX / this.canvas.clientWidth);
  }
}

if (typeof document !== 'undefined' && document.body?.dataset.view === 'waves') {
  takeLight();
  const sheet = new Sheet();
  Object.assign(window, { wavesSheet: sheet });
  sheet.start();
}
