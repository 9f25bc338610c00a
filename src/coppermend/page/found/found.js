// @ts-check
/** The page "Starts, memory, ROMs, readings": what other work found, taken in as evidence for the suspects. */
import { byId, fill, h, keepFields, keepTyping } from '../shared/dom.js';
import { findingOf, follow, get, send, write } from '../shared/api.js';
import { freshId } from '../shared/id.js';
import { takeLight } from '../shared/light.js';
import { askForCase } from '../shared/nocase.js';
import { TakeBack, entryOf } from '../shared/takeback.js';
import { numberOf } from '../shared/numbers.js';
import { plainly } from '../shared/words.js';
import { countOf, hertzOf, linesOf, memoryRows, othersRows, partValue, startsWords } from './words.js';

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const TITLE = 'Starts, memory, ROMs, readings';
const LEAD = 'Counted starts, memory tests, ROM read-outs, diagnostics, free runs and readings compared: each weighs the suspects. Keep away from mains and picture-tube parts: leave them to people qualified for it and follow your local rules.';
const TABS = [['starts', 'Starts'], ['diagnostic', 'Diagnostic'], ['freerun', 'Free run'], ['memory', 'Memory test'], ['rom', 'ROM'], ['readings', 'Like pins']];
/** What a tab reads first. @type {Record<string, string>} */
const SOURCES = { starts: 'starts', diagnostic: 'bringup', freerun: 'bringup', readings: 'parts/small' };
/** What is typed once for many: it stays when an entry was noted. */
const LASTING = ['rom-list', 'memory-map', 'clock', 'clocks', 'against', 'good-list'];
/** @param {string} words @param {Node} field @param {string} [cls] */
const field = (words, field, cls = '') => h(`label.field${cls}`, null, h('span', null, words), field);
/** @param {string[]} heads @param {(string|number)[][]} rows */
const table = (heads, rows) => h('div.found-wide', null, h('table.table', null, h('thead', null, h('tr', null, heads.map((t) => h('th', null, t)))), h('tbody', null, rows.map((r) => h('tr', null, r.map((c) => h('td', null, String(c))))))));
const value = (/** @type {string} */ name) => /** @type {any} */ (byId(name))?.value ?? '';
const filesOf = (/** @type {string} */ name) => /** @type {File[]} */ ([.../** @type {any} */ (byId(name))?.files ?? []]);
const fileOf = (/** @type {string} */ name) => filesOf(name)[0] ?? null;

class Found {
  tab = TABS.some(([t]) => t === query.get('tab')) ? /** @type {string} */ (query.get('tab')) : 'starts';
  busy = false;
  /** @type {Record<string, any>} */ views = {};
  /** @type {Record<string, any>} */ answers = {};
  /** @type {{words: string, remedy?: string, back?: boolean}|null} */ outcome = null;
  /** The entry that the page noted last. */ last = '';
  /** An older entry is named before it goes. */ takeBack = new TakeBack(async () => (await get(url('story'))).timeline, (words) => { this.outcome = { words }; this.tell(); byId('say').textContent = words; }, (entry) => this.takenBack(entry));
  tabs = h('div.found-tabs', { role: 'group', 'aria-label': 'What was found' });
  sheet = h('section.sheet', { id: 'work' });
  said = h('div', { id: 'outcome' });

  async start() {
    takeLight();
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    if (!id) return askForCase('found', TITLE, LEAD);
    fill(byId('found'), h('div.leaf', null, h('h1', null, TITLE), h('p.lead', null, LEAD), this.tabs, this.said, this.sheet, h('div.row', null, h('a.key', { href: `/page/suspects.html?case=${encodeURIComponent(id)}` }, 'To the suspects'))));
    addEventListener('keydown', (e) => this.key(e));
    follow(id, () => { this.views = {}; this.load(); }, () => {});
    await this.load();
  }

  /** @param {boolean} [noted] */
  async load(noted = false) {
    const from = SOURCES[this.tab];
    if (from && !this.views[from]) {
      if (!this.sheet.firstChild) fill(this.sheet, h('p', { role: 'status', id: 'waiting' }, 'Weighing what was found; the first time on a board this takes some seconds …'));
      try {
        const found = await get(url(from));
        this.views[from] = found;
      } catch (err) {
        const { words, remedy } = findingOf(err);
        return fill(this.sheet, h('div.error-sheet', { role: 'alert' }, h('b', null, words), h('p', null, remedy), h('button.key', { id: 'again', onclick: () => this.load() }, 'Try again')));
      }
    }
    this.draw(noted);
  }

  /** @param {boolean} [noted] what was typed is noted: its fields are empty again, but for what serves many */
  draw(noted = false) {
    const from = SOURCES[this.tab];
    if (from && !this.views[from]) return;
    if (!noted && [...this.sheet.querySelectorAll('input[type="file"]')].some((f) => /** @type {HTMLInputElement} */ (f).files?.length)) return; // a chosen file cannot be put back
    keepTyping(() => keepFields(this.sheet, () => {
      fill(this.tabs, TABS.map(([tab, words], k) => h('button.key.slim', { type: 'button', id: `tab-${tab}`, 'aria-pressed': String(tab === this.tab), onclick: () => this.choose(tab) }, words, h('kbd', null, String(k + 1)))));
      fill(this.sheet, /** @type {any} */ (this)[this.tab]());
      this.tell();
    }, (f) => noted && !LASTING.includes(f.id)));
  }

  tell() {
    const o = this.outcome;
    fill(this.said, o ? h('p.need', null, o.words, ' ', o.remedy ?? '', ' ', o.back ? h('button.key.slim', { type: 'button', id: 'take-back', onclick: () => this.back() }, 'Take it back', h('kbd', null, 'Z')) : null) : null);
  }

  /** @param {string} tab */
  choose(tab) {
    this.tab = tab;
    this.outcome = null;
    fill(this.sheet);
    this.load();
  }

  /** A form with its button. @param {string} name @param {any[]} fields @param {string} words @param {() => Promise<any>} act */
  form(name, fields, words, act) {
    return h('form', { id: name, onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); this.doing(act); } }, h('div.found-grid', null, fields), h('button.key.hot', { type: 'submit', id: `${name}-do`, disabled: this.busy }, words));
  }

  starts() {
    const view = this.views.starts;
    const pick = h('select', { id: 'condition' }, h('option', { value: '' }, 'nothing said'), view.conditions.map((/** @type {string} */ c) => h('option', { value: c }, c)));
    return [h('h2', null, 'Starts that come and go'), h('p.need', { id: 'caution' }, view.caution),
      this.form('count', [field('Good ones of all, such as 3/5', h('input', { id: 'good-of', autocomplete: 'off', inputmode: 'text', required: true })), field('Under what', pick), field('Spray or heat on which part', h('input', { id: 'on-part', autocomplete: 'off', placeholder: 'U5' })), field('After how many minutes', h('input', { id: 'minutes', inputmode: 'decimal' }))], 'Note the starts', async () => {
        const count = countOf(value('good-of'));
        if (!count) throw new Error('Write how many of how many starts were as they should be, such as 3/5.');
        const minutes = numberOf(value('minutes'), 'the minutes');
        return write(url('starts'), { ...count, condition: value('condition'), part: value('on-part').trim(), ...(minutes === null ? {} : { minutes }) });
      }),
      h('div', { id: 'tallies' }, startsWords(view.tallies, view).map((w) => h('p', null, w)))];
  }

  diagnostic() {
    const view = this.views.bringup;
    if (!view.diagnostics.length) return [h('h2', null, 'Diagnostic'), h('p', { id: 'empty' }, 'The machine\'s file describes no diagnostic. Its steps are written as [[diagnostic]] in that file.')];
    return [h('h2', null, 'How far the diagnostic came'), view.diagnostics.map((/** @type {any} */ one) => [h('h3', null, one.name),
      h('ol.found-steps', null, h('li', null, h('button.key', { type: 'button', id: 'passed-0', disabled: this.busy, onclick: () => this.passed(one, 0) }, 'It stopped before the first step was through')), one.steps.map((/** @type {any} */ s) => h('li', null, h('button.key', { type: 'button', id: `passed-${s.number}`, disabled: this.busy, onclick: () => this.passed(one, s.number) }, `${s.number}. ${s.words} (needs ${[...s.parts, ...s.nets].join(', ')}): this one passed${s.number < one.steps.length ? ', then it stopped' : ', that was the last'}`))))]), this.notes('diagnostic')];
  }

  /** @param {any} one @param {number} passed */
  passed(one, passed) {
    return this.doing(() => write(url('diagnostic'), { name: one.name, passed }));
  }

  freerun() {
    const view = this.views.bringup, cpu = view.processor, answer = this.answers.freerun;
    if (!cpu.part) return [h('h2', null, 'Free run'), h('p', { id: 'empty' }, 'No processor is known on this board.')];
    return [h('h2', null, `${cpu.part} (${cpu.type}) in free run`), h('p.need', { id: 'caution' }, view.caution),
      this.form('run', [field('Clock', h('input', { id: 'clock', placeholder: '4MHz', required: true, autocomplete: 'off' })), cpu.clocks ? null : field('Clocks from one address to the next', h('input', { id: 'clocks', inputmode: 'decimal', required: true })), h('label.tickbox', null, h('input', { type: 'checkbox', id: 'gated' }), h('span', null, 'read while /RD is low')),
        cpu.lines.map((/** @type {number} */ bit) => field(`A${bit}, Hz`, h('input', { id: `line-${bit}`, autocomplete: 'off', placeholder: '0 = still' })))], 'Judge and note it', async () => {
        const clock = hertzOf(value('clock'));
        const each = numberOf(value('clocks'), 'the clocks'), clocks = each === null ? {} : { clocks: each };
        const out = await write(url('freerun'), { lines: linesOf(cpu.lines.map((/** @type {number} */ b) => [b, value(`line-${b}`)])), clock_hz: Number.isFinite(clock) ? clock : 0, gated: /** @type {any} */ (byId('gated')).checked, ...clocks });
        this.answers.freerun = out;
        return out.noted;
      }),
      answer ? h('div', { id: 'answer' }, answer.words ? h('p', null, h('b', null, answer.words)) : null, table(['line', 'net', 'what it does'], answer.lines.map((/** @type {any} */ l) => [l.line, l.net, l.words]))) : null, this.notes('freerun')];
  }

  /** @param {string} kind */
  notes(kind) {
    const rows = this.views.bringup.noted.filter((/** @type {any} */ n) => n.kind === kind);
    return rows.length ? h('ul.found-list', { id: 'notes' }, rows.map((/** @type {any} */ n) => h('li', null, `no. ${n.ref}: ${plainly(n.words) || 'noted'}`))) : null;
  }

  memory() {
    const a = this.answers.memory;
    return [h('h2', null, 'Error words of a memory test'), h('p', null, 'Address, wrote, read, one a line; hexadecimal. Say what was tested: range 8000-FFFF.'),
      this.form('words', [field('The first ten error words', h('textarea', { id: 'error-words', spellcheck: 'false', placeholder: 'range 8000-FFFF\n8000 55 54' }), '.wide'), field('Or a file', h('input', { id: 'error-file', type: 'file' })), field('Memory map, where the netlist gives none', h('textarea', { id: 'memory-map', spellcheck: 'false', placeholder: 'U50 0000-FFFF D0' }), '.wide')], 'Explain and note it', async () => {
        const out = await send(url('memory'), fileOf('error-file') ?? new File([value('error-words')], 'typed.txt', { type: 'text/plain' }), { map_text: value('memory-map'), entry: freshId() });
        this.answers.memory = out;
        return out.noted;
      }),
      a ? h('div', { id: 'answer' }, h('p', null, h('b', null, a.named.length ? `Named: ${a.named.join(', ')}.` : 'No unit stands out.')), a.looks.map((/** @type {string} */ w) => h('p', null, w)), table(['chance', 'unit', 'how it fails', 'pins', 'why'], memoryRows(a.suspects)), a.then.map((/** @type {string} */ w) => h('p', null, `Next: ${w}`)), h('p.need', null, a.caution), this.findings(a)) : null];
  }

  rom() {
    const a = this.answers.rom;
    return [h('h2', null, 'A ROM\'s read-out'),
      this.form('read-out', [field('Part', h('input', { id: 'rom-part', autocomplete: 'off', placeholder: 'U5', required: true })), field('Read-outs of this chip, raw bytes: two or three show bits that waver', h('input', { id: 'rom-file', type: 'file', multiple: true, required: true })), field('A read-out known right, where there is one', h('input', { id: 'rom-good', type: 'file' })), field('Your list of checksums, a ROM a line', h('textarea', { id: 'rom-list', spellcheck: 'false', placeholder: 'U5 basic.bin 1a2b3c4d' }), '.wide')], 'Check and note it', async () => {
        const out = await send(url('roms'), null, { file: filesOf('rom-file'), part: value('rom-part').trim(), list_text: value('rom-list'), entry: freshId(), ...(fileOf('rom-good') ? { good: filesOf('rom-good') } : {}) });
        this.answers.rom = out;
        return out.noted;
      }),
      a ? h('div', { id: 'answer' }, h('p', null, h('b', null, `${a.part}: ${a.verdict}: ${a.words}.`)), table(['bytes', 'CRC-32', 'SHA-1'], a.sums.map((/** @type {any} */ s) => [a.size, s.crc32, s.sha1])), a.signs.map((/** @type {any} */ s) => h('p', null, s.words)), a.pins.map((/** @type {any} */ p) => h('p', null, `${p.line} is pin ${p.pin}${p.leads_to ? `, on ${p.leads_to}` : ''}.`)), h('p', null, `Next: ${a.then}`), h('p.need', null, a.caution), this.findings(a)) : null];
  }

  readings() {
    const a = this.answers.readings;
    return [h('h2', null, 'Like pins against each other'), h('p', null, 'Diode and ohms readings of pins against ground or a rail, noted on the bench with power off, are compared: D0 to D7, the same pin of like chips, another case of this board, or a good board\'s list.'),
      this.form('compare', [field('Another case of this board (its number)', h('input', { id: 'against', autocomplete: 'off' })), field('Or a good board\'s list, a pin a line', h('textarea', { id: 'good-list', spellcheck: 'false', placeholder: 'U1.14, 0.612V' }), '.wide')], 'Compare', async () => {
        const good = value('good-list').trim();
        const words = new URLSearchParams(good ? { good } : value('against').trim() ? { against: value('against').trim() } : {});
        this.answers.readings = await get(`${url('readings/compared')}?${words}`);
        return null;
      }),
      a ? h('div', { id: 'answer' }, h('p', null, h('b', null, a.odd.length ? `${a.odd.length} odd: ${a.odd.map((/** @type {any} */ o) => o.pin).join(', ')}.` : `${a.readings} readings compared; none is odd.`)), a.differ.length ? h('p', { id: 'differ' }, `Read otherwise on another board, and nothing says which of the two is odd: ${a.differ.join(', ')}. Like pins, or a third board, would say.`) : null, a.odd.length ? table(['pin', 'net', 'why'], a.odd.map((/** @type {any} */ o) => [o.pin, o.net, o.words])) : null, othersRows(a).length ? [h('h3', null, `Against ${a.against.other}, not odd here`), table(['pin', 'net', 'what'], othersRows(a))] : null, a.then ? h('p', null, `Next: ${a.then}`) : null, h('p.need', null, a.caution), this.findings(a)) : null, this.smallParts()];
  }

  /** Resistors, capacitors, fuses and their like with what was read across them. */
  smallParts() {
    const rows = this.views['parts/small'].parts;
    const read = rows.filter((/** @type {any} */ p) => p.read.length);
    return [h('h2', null, 'Small parts'), h('p', null, 'Ohms across a part, power off: what lies in parallel only lowers a reading, so more than a resistor\'s value is its own fault, less says nothing.'),
      read.length ? table(['part', 'kind', 'what was read'], read.map((/** @type {any} */ p) => [p.ref, p.kind, p.read.map((/** @type {any} */ r) => r.words).join('; ')])) : h('p', { id: 'no-parts' }, 'None was read across yet: note ohms between its two pins on the bench.'),
      h('details', null, h('summary', null, `All ${rows.length} small parts with their usual faults`), table(['part', 'kind', 'value', 'tolerance', 'faults'], rows.map((/** @type {any} */ p) => [p.ref, p.kind, partValue(p), `${p.tolerance_percent} %`, p.faults.join(', ')])))];
  }

  /** @param {any} answer */
  findings(answer) {
    return answer.findings?.length ? h('ul.found-list', { id: 'findings' }, answer.findings.map((/** @type {any} */ f) => h('li', null, `${f.words} ${f.remedy}`))) : null;
  }

  /** What the page just said it noted goes at once; anything older is named first. */
  back() {
    return this.outcome?.back && this.last ? this.takenBack(this.last) : this.takeBack.press();
  }

  /** @param {string} entry */
  takenBack(entry) {
    return this.doing(() => write(url('entries'), { kind: 'undo', undoes: entry }), false);
  }

  /** @param {() => Promise<any>} act @param {boolean} [back] whether it can be taken back */
  async doing(act, back = true) {
    if (this.busy) return;
    this.busy = true;
    let wrong = false;
    this.outcome = { words: 'Working …' };
    this.tell();
    try {
      const out = await act();
      this.last = entryOf(out);
      this.outcome = out ? { words: `Noted: ${plainly(out.words)}.`, back } : null;
      this.views = {};
    } catch (err) {
      wrong = true;
      this.outcome = err instanceof Error && err.message.startsWith('Write ') ? { words: err.message } : findingOf(err);
    }
    this.busy = false;
    byId('say').textContent = this.outcome?.words ?? '';
    if (wrong) return this.refusedAt(); // what was typed and chosen stays as it is
    const held = document.activeElement;
    if (held instanceof HTMLInputElement && held.type !== 'file' && !LASTING.includes(held.id)) held.value = '';
    await this.load(true);
    (byId('answer') ?? this.said).scrollIntoView({ block: 'nearest' });
  }

  refusedAt() {
    for (const one of this.sheet.querySelectorAll('button')) one.disabled = false; // one that was drawn meanwhile, by news of the case
    this.tell();
    this.said.scrollIntoView({ block: 'nearest' });
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const tag = /** @type {any} */ (e.target)?.tagName ?? '';
    if (e.ctrlKey || e.metaKey || e.altKey || e.repeat || /^(INPUT|TEXTAREA|SELECT)$/.test(tag)) return;
    const tab = TABS[Number(e.key) - 1];
    if (tab) this.choose(tab[0]);
    else if (e.key === 'z') this.back();
    else return;
    e.preventDefault();
  }
}

new Found().start();
