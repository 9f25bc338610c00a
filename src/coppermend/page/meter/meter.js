// @ts-check
/** The page "Meter": instruments found, named, tried; a meter read from now on; the zero of its leads. */
import { byId, fill, h, keepTyping } from '../shared/dom.js';
import { findingOf, get, post, remove } from '../shared/api.js';
import { OURS } from './hand.js';
import { fateWords, madeUp, tipsWords } from './words.js';
import { takeLight } from '../shared/light.js';

/** @typedef {import('./words.js').Watch} Watch */

const id = new URLSearchParams(location.search).get('case') ?? '';

class Sheet {
  /** @type {any[]} */ found = [];
  /** @type {any[]} */ closed = [];
  /** @type {Watch|null} */ watch = null;
  chosen = { address: localStorage.getItem('meter-address') ?? '', baud: localStorage.getItem('meter-baud') ?? '9600', wires: localStorage.getItem('meter-wires') ?? '2' };
  /** @type {{words: string, remedy?: string}|null} */ outcome = null;
  busy = false;

  async start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/bench` : '/';
    fill(byId('meter'), h('div.leaf', null, h('h1', null, 'Meter'), h('div', { id: 'dial' }), h('div', { id: 'rest' })));
    await this.look();
    const source = new EventSource('/api/meters/events');
    source.addEventListener('meter', (e) => { this.watch = JSON.parse(/** @type {MessageEvent} */ (e).data); this.drawDial(); });
  }

  async look() {
    try {
      const all = await get('/api/meters');
      this.found = all.found;
      this.closed = all.closed;
      this.watch = all.watch;
    } catch (err) {
      this.outcome = findingOf(err);
    }
    this.draw();
  }

  /** One thing at a time, its outcome in words. @param {() => Promise<string>} act */
  async doing(act) {
    if (this.busy) return;
    this.busy = true;
    this.outcome = { words: 'Asking the instrument …' };
    this.draw();
    try {
      this.outcome = { words: await act() };
    } catch (err) {
      this.outcome = findingOf(err);
    } finally {
      this.busy = false;
      this.draw();
    }
  }

  get body() {
    const { address, baud, wires } = this.chosen;
    return { address, baud: Number(baud) || 9600, wires: Number(wires) };
  }

  try(what = 'meter') {
    return this.doing(async () => (await post('/api/meters/test', { ...this.body, what })).words);
  }

  read() {
    return this.doing(async () => {
      const watch = await post('/api/meters/watch', this.body);
      localStorage.setItem(OURS, 'yes');
      for (const [key, value] of Object.entries(this.chosen)) localStorage.setItem(`meter-${key}`, value);
      return `${watch.name} is being read. ${fateWords(watch)}`;
    });
  }

  letGo() {
    return this.doing(async () => {
      localStorage.removeItem(OURS);
      await remove('/api/meters/watch');
      return 'The meter is let go.';
    });
  }

  zero() {
    return this.doing(async () => (await post(`/api/cases/${encodeURIComponent(id)}/meter/zero`, {})).words);
  }

  drawDial() {
    const w = this.watch;
    const on = w?.state === 'on' || w?.state === 'lost';
    keepTyping(() => fill(byId('dial'), h('div.dial', { 'data-state': w?.state ?? 'off' },
      h('b', null, w?.shown || (w?.state === 'lost' ? 'no answer' : '– – –')), h('span', { role: 'status' }, w ? tipsWords(w) : ''), h('span', null, on ? `${w?.name}, ${w?.wires} wires` : ''),
      w && on && madeUp(w) ? h('span', { id: 'made-up' }, fateWords(w)) : null,
      w?.trouble ? h('span', null, w.trouble.remedy) : null,
      on ? h('div.row', null,
        h('button.key', { type: 'button', id: 'let-go', onclick: () => this.letGo() }, 'Let go of it'),
        id && w?.wires === 2 ? h('button.key', { type: 'button', id: 'zero', disabled: w?.state !== 'on', onclick: () => this.zero() }, 'Tips on each other: take the zero') : null) : null)));
  }

  draw() {
    this.drawDial();
    const field = (/** @type {keyof Sheet['chosen']} */ name, /** @type {string} */ words, /** @type {any} */ attrs) =>
      h('label.field', null, words, h('input', { id: `meter-${name}`, name, autocomplete: 'off', spellcheck: 'false', value: this.chosen[name], oninput: (/** @type {any} */ e) => { this.chosen[name] = e.target.value; }, ...attrs }));
    keepTyping(() => fill(byId('rest'),
      this.outcome ? h('div.sheet', { id: 'outcome', role: 'status' }, h('b', null, this.outcome.words), this.outcome.remedy ? h('p', null, this.outcome.remedy) : null) : null,
      h('section.sheet', null, h('h2', null, 'Plugged in'),
        this.found.length ? h('ul.found', null, this.found.map((one) => h('li', null, h('span', null, h('code', null, one.address), ` ${one.words}`), h('button.key.slim', { type: 'button', 'aria-label': `Take this: ${one.address}`, onclick: () => { this.chosen.address = one.address; this.draw(); byId('meter-address').value = one.address; byId('try').focus(); } }, 'Take this')))) : h('p', null, 'Nothing is plugged in that could be an instrument.'),
        this.closed.map((one) => h('p.shut', null, h('b', null, `Unavailable because: ${one.words} `), one.remedy)),
        h('button.key.slim', { type: 'button', onclick: () => this.look() }, 'Look again')),
      h('form.sheet', { onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); this.try(); } }, h('h2', null, 'Name one and try it'),
        h('p', null, 'On the network: HOST:PORT. Serial: its port, with the speed set in the meter. Ohms are read on a board without power only.'),
        h('div.form', null, field('address', 'Address', { required: true, placeholder: '192.168.1.40:5025' }), field('baud', 'Serial speed', { inputmode: 'numeric' }),
          h('label.field', null, 'Ohms in', h('select', { id: 'meter-wires', onchange: (/** @type {any} */ e) => { this.chosen.wires = e.target.value; } }, ['2', '4'].map((n) => h('option', { value: n, selected: n === this.chosen.wires }, n === '2' ? 'two wires' : 'four wires'))))),
        h('div.row', null,
          h('button.key', { id: 'try', disabled: this.busy }, 'Try the meter'),
          h('button.key', { type: 'button', id: 'try-scope', disabled: this.busy, onclick: () => this.try('scope') }, 'Try an oscilloscope'),
          h('button.key.hot', { type: 'button', id: 'read-on', disabled: this.busy, onclick: () => this.read() }, 'Read it from now on'))),
      h('section.sheet', null, h('h2', null, 'How a touch counts'), h('p', null, 'Set both tips and hold still: when the values agree for 0.2 s the touch is read, once. Then lift. An open net looks like tips in the air: say open by key, or press “Take it now” on the bench. Without a meter the keys do the same.'))));
  }
}

takeLight();
new Sheet().start();
