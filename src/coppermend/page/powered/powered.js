// @ts-check
/** The page "Suspects": what explains all that was seen, the board coloured by evidence, the measurement worth most now with its answers, and how the belief went. */
import { byId, fill, h, keepTyping } from '../shared/dom.js';
import { findingOf, follow, get, post, send, write } from '../shared/api.js';
import { freshId } from '../shared/id.js';
import { takeLight } from '../shared/light.js';
import { askForCase } from '../shared/nocase.js';
import { ended, plainly, seconds } from '../shared/words.js';
import { TakeBack, entryOf } from '../shared/takeback.js';
import { uprightWhere } from '../map/rows.js';
import { drawPin } from '../waves/pin.js';
import { answerKeys, answerOf, instrumentChoice, lookedWith, symptomForm, valueForm, waveForm } from './answers.js';
import { HeatSheet } from './heat.js';
import { courseTable, legend, openLists, perMinute, placesTable, suspectList } from './lists.js';
import { drawMap } from './map.js';
import { chooser, layer, thermalTable } from './thermal.js';
import { tries } from './tries.js';

/** @typedef {import('./map.js').Found} Found */

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;
const waveAt = (/** @type {string} */ point) => `/page/waves.html?case=${encodeURIComponent(id)}&at=${encodeURIComponent(point)}`;
const LEAD = 'What explains all that was seen under power, over parts and copper, and what to measure next. Keep away from mains and picture-tube parts; leave them to people qualified for it and follow your local rules.';
const PROBING = 'Power is on while you probe: one hand, one probe, a tip that cannot slip to the next pin. Keep away from mains and picture-tube parts: leave them to people qualified for it and follow your local rules.';
const power = () => `/#/case/${encodeURIComponent(id)}/story`;
/** A step's words without what only the command line needs. @param {string} words */
const spoken = (words) => words.replace(/ \(coppermend (case show|look)\)/, '');
/** What a step tells for its time, and what it risks. @param {any} step */
const worth = (step) => `${perMinute(step).toFixed(2)} bits a minute: ${step.gain_bits.toFixed(2)} bits in about ${seconds(step.seconds)} (modelled).${step.risk ? ` Risk: ${step.risk}.` : ''}`;
/** Steps that are answered between two points with power off. */
const CHECKS = ['check', 'apart'];
/** Steps whose points are chosen from to look at; those of ``sink`` have their own answers. @param {any} step */
const looked = (step) => step.points.length > 1 && !CHECKS.includes(step.kind) && step.kind !== 'sink';

export class Suspects {
  /** @type {any} */ found = null;
  /** The point that is answered at: one that was chosen, else the step's first. */ chosen = '';
  /** @type {any} */ pin = null;
  /** @type {import('./map.js').View} */ view = { turned: false, zoom: 1, x: 0, y: 0 };
  /** The case's thermal pictures, newest first. @type {import('./thermal.js').Row[]} */ shots = [];
  /** The one under the map. @type {import('./thermal.js').Shot|null} */ shot = null;
  lastShot = '';
  /** What comes first of all the work, as the command line names it. @type {any} */ everything = null;
  /** Put away by hand: none is laid under the map again until another one comes. */ bare = '';
  /** What levels are looked at with, as the log names it; '' not said. */ instrument = '';
  busy = false;
  looking = false;
  stale = false;
  /** @type {{words: string, remedy?: string, back?: boolean}|null} */ outcome = null;
  /** The entry that the page noted last. */ last = '';
  /** An older entry is named before it goes. */ takeBack = new TakeBack(async () => (await get(url('story'))).timeline, (words) => { this.outcome = { words }; this.tell(); this.say(words); }, (entry) => this.note({ kind: 'undo', undoes: entry }));
  /** Kept through every drawing, with what was tapped and typed. */ heatSheet = new HeatSheet(url, (file, fields) => this.heat(file, fields));
  said = h('div', { id: 'outcome' });
  words = h('section', { id: 'words', 'aria-label': 'What to do next' });
  board = h('section', { id: 'board', 'aria-label': 'The board by evidence' });
  card = h('section', { id: 'pin-card', 'aria-label': 'The place and its answer' });
  rest = h('section', { id: 'rest', 'aria-label': 'Suspects and what was seen' });

  async start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    if (!id) return askForCase('suspects', 'Suspects', LEAD);
    fill(byId('suspects'), h('div.leaf.suspects-leaf', null, h('h1', null, 'Suspects'), h('p', null, 'What explains all that was seen under power, over parts and copper, and what to measure next.'),
      h('div.suspects-desk', null, h('div.suspects-hand', null, this.words, this.said, this.card), this.board), this.rest));
    addEventListener('keydown', (e) => this.key(e));
    follow(id, (mark) => { if (this.found && mark !== this.found.mark) this.look(); }, () => {});
    await this.look();
  }

  async look() {
    if (this.looking) return void (this.stale = true);
    this.looking = true;
    if (!this.found) fill(this.words, h('p', { role: 'status', id: 'waiting' }, 'Weighing all that was seen; the first time on a board this takes some seconds …'));
    try {
      do {
        this.stale = false;
        this.found = await get(url('suspects/map'));
        await this.pictures();
      } while (this.stale);
    } catch (err) {
      const { words, remedy } = findingOf(err);
      this.looking = false;
      return fill(this.words, h('div.sheet.error-sheet', { role: 'alert' }, h('b', null, words), h('p', null, remedy), h('button.key', { id: 'again', onclick: () => { this.found = null; this.look(); } }, 'Try again')));
    }
    this.looking = false;
    if (!this.view.x && !this.view.y) [this.view.x, this.view.y] = this.centre();
    this.draw();
    await this.showPin();
    this.everything = await get(url('next')).catch(() => null);
    this.draw();
  }

  /** Which thermal pictures there are; the newest one lies under the map unless it was put away. */
  async pictures() {
    this.shots = (await get(url('heat'))).pictures;
    const newest = this.shots[0]?.entry ?? '';
    const shown = this.shot && this.shots.some((one) => one.entry === this.shot?.entry) && !(this.lastShot && newest !== this.lastShot);
    this.lastShot = newest;
    if (!shown) this.shot = newest && newest !== this.bare ? await this.picture(newest) : null;
  }

  /** @param {string} entry @returns {Promise<import('./thermal.js').Shot|null>} */
  async picture(entry) {
    try {
      return await get(url(`heat/${entry}`));
    } catch (err) {
      this.bare = entry;
      this.outcome = findingOf(err);
      return null;
    }
  }

  /** Lay a thermal picture under the map; "" puts it away. @param {string} entry */
  async lay(entry) {
    this.bare = entry ? '' : this.shots[0]?.entry ?? '';
    this.shot = entry ? await this.picture(entry) : null;
    this.draw();
  }

  centre() {
    const [x0, y0, x1, y1] = this.found.size_mm;
    return [(x0 + x1) / 2, (y0 + y1) / 2];
  }

  /** Points that are answered at: both of a check, else the chosen one. @returns {string[]} */
  get points() {
    const step = this.found?.suspects.next;
    if (this.chosen) return [this.chosen];
    if (!step) return [];
    return CHECKS.includes(step.kind) ? step.points : step.points.slice(0, 1);
  }

  get checking() {
    const step = this.found?.suspects.next;
    return !this.chosen && Boolean(step) && CHECKS.includes(step.kind);
  }

  draw() {
    keepTyping(() => {
      fill(this.words, this.next(this.found.suspects));
      fill(this.board, this.tools(), drawMap(this.found, this.points[0] ?? '', this.view, (mark) => this.choose(mark.point), this.under()), chooser(this.shots, this.shot, this.view.turned, (entry) => this.lay(entry)), legend());
      fill(this.rest, h('h2', null, this.found.suspects.named ? 'Named beyond doubt' : 'Who it can be'),
        this.found.suspects.suspects.length ? suspectList(this.found.suspects, (k) => this.show(k)) : h('p', null, 'No single suspect stands out: each is below half a per cent.'),
        h('h2', null, 'Places looked at'), placesTable(this.found, (point) => this.choose(point)), thermalTable(this.shot), openLists(this.found.suspects), courseTable(this.found.course, this.found.course_before));
      this.drawCard();
      this.tell();
    });
  }

  /** The thermal picture that lies under the map, null where none does. */
  under() {
    return this.shot ? layer(this.shot, url(`heat/${this.shot.entry}/picture`)) : null;
  }

  tools() {
    const tool = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ cap, /** @type {() => void} */ act) => h('button.key.slim', { type: 'button', id: `map-${name}`, onclick: act }, words, h('kbd', null, cap));
    return h('div.row.suspect-tools', null, h('b', null, `${this.view.turned ? 'Solder' : 'Component'} side`), tool('turn', 'Turn over', 'T', () => this.turn()), tool('nearer', 'Nearer', '+', () => this.zoom(1.6)), tool('further', 'Further', '−', () => this.zoom(1 / 1.6)), tool('whole', 'Whole', '0', () => this.zoom(0)));
  }

  turn() {
    this.view.turned = !this.view.turned;
    this.draw();
  }

  /** @param {number} by 0 the whole board */
  zoom(by) {
    const at = this.places().find((one) => one.point === this.points[0]);
    [this.view.x, this.view.y] = by > 0 && at ? [at.x_mm, at.y_mm] : this.centre();
    this.view.zoom = by > 0 ? Math.min(12, Math.max(1, this.view.zoom * by)) : 1;
    this.draw();
  }

  /** @returns {import('./map.js').Spot[]} */
  places() {
    return [...this.found.marks, ...this.found.next];
  }

  /** A suspect on the board. @param {number} k */
  show(k) {
    const one = this.found.lies[k];
    const spots = one.outline.length ? one.outline : one.paths.flat();
    if (spots.length) {
      const xs = spots.map((/** @type {number[]} */ p) => p[0]), ys = spots.map((/** @type {number[]} */ p) => p[1]);
      [this.view.x, this.view.y, this.view.zoom] = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2, 3];
      this.draw();
    }
    this.board.scrollIntoView({ block: 'start' });
  }

  /** @param {any} view */
  next(view) {
    const step = view.next;
    const first = this.found.marks.length || this.found.heat.length ? null : h('p', { id: 'empty' }, 'Nothing was seen under power yet: so far only the complaint and what was read on the copper speak.');
    return [this.ofEverything(), this.noted(view), this.underPower(view, step, first)].flat();
  }

  /** What comes first of all the work, not of looks alone: a mend, a test, copper, the owner's word. */
  ofEverything() {
    const one = this.everything;
    if (!one || one.kind === 'powered') return null;
    return h('p', { id: 'everything' }, h('b', null, 'First of all the work: '), spoken(one.words), ' ', ended(one.reason), ' ', (one.notes ?? []).join(' '), ' ', h('a', { href: `/#/case/${encodeURIComponent(id)}/bench` }, 'To the bench'));
  }

  /** Rails shorted with the power off, with what tells the parts apart that it may be; and what was noted that cannot all be. @param {any} view */
  noted(view) {
    return [...(view.rails_shorted ?? []).map((/** @type {any} */ one) => h('div.suspect-next.shorted', null, h('b', null, one.words), one.next ? h('p', null, 'What tells them apart: ', spoken(one.next)) : null,
      h('p', null, h('a', { href: `/page/intake.html?case=${encodeURIComponent(id)}&tab=supply` }, 'To the rails: note it there, and which part shorts it')))),
    ...(view.conflicts ?? []).map((/** @type {any} */ one) => h('p.need.conflict', null, h('b', null, one.words), ' ', one.settles))];
  }

  /** @param {any} view @param {any} step @param {any} first */
  underPower(view, step, first) {
    if (view.stop) return [h('p.need', { id: 'stop' }, view.stop), step && [...CHECKS, 'inspect'].includes(step.kind) ? this.step(step) : null];
    if (step) return [first, this.step(step), this.bothWays(view.copper_first)];
    if (view.named) return h('div.suspect-next', { id: 'next' }, h('b', null, `${view.suspects[0].words}.`), h('p', null, 'Named beyond doubt: mend that with power off, then start it again and note what it shows.'));
    if ((view.rails_shorted ?? []).length) return null;
    return h('div.suspect-next', { id: 'next' }, h('b', null, 'Nothing more can be told apart by looks, waves, checks and swaps.'), h('p', null, 'What is listed below looks the same from every place that can be touched: mend the likeliest first, or note what else you see.'));
  }

  /** @param {any} step */
  step(step) {
    const many = looked(step);
    return h('div.suspect-next', { id: 'next' }, h('div', null, 'Next'), h('b', null, spoken(step.words)), h('p', { id: 'why' }, step.why),
      h('p', { id: 'worth' }, worth(step)),
      h('p.need', { id: 'caution' }, step.caution),
      many ? h('div.row', { role: 'group', 'aria-label': 'Points of this step' }, this.found.next.map((/** @type {any} */ n) => h('button.key.slim', { type: 'button', id: `to-${n.point}`, 'aria-pressed': String(n.point === this.points[0]), onclick: () => this.choose(n.point) }, `${n.name} (${n.net})`)), h('span', null, h('kbd', null, 'N'), ' the next of them')) : null,
      tries(step, this.hands()),
      this.others());
  }

  /** @returns {import('./tries.js').Hands} */
  hands() {
    return { busy: this.busy, power: power(), look: `/page/look.html?case=${encodeURIComponent(id)}`, chips: `/page/chips.html?case=${encodeURIComponent(id)}`, note: (body) => this.note(body), starts: (body) => this.counted(body),
      heat: () => { const el = byId('heat'); el.open = true; el.scrollIntoView(); byId('heat-file').focus(); } };
  }

  /** @param {Record<string, any>} body */
  async counted(body) {
    await this.doing(async () => {
      const out = await post(url('starts'), { ...body, entry_id: freshId() });
      this.last = entryOf(out);
      this.outcome = { words: `Noted: ${plainly(out.entry?.words ?? out.words ?? 'counted starts')}.`, back: true };
    });
  }

  /** Proving all copper of the reworked places first, against chasing the symptom, on the same clock. @param {any} both */
  bothWays(both) {
    if (!both) return null;
    return h('p', { id: 'copper-first' }, h('b', null, 'Prove the copper first? '), both.words, ' ', h('a', { href: `/#/case/${encodeURIComponent(id)}/bench` }, 'To the round'));
  }

  /** The best step of every other kind, for a bench that cannot do the first one. */
  others() {
    const rows = this.found.suspects.instead ?? [];
    if (!rows.length) return null;
    return h('details', { id: 'instead' }, h('summary', null, 'Instead, where that cannot be done'), h('ul', null, rows.map((/** @type {any} */ one) => h('li', null, h('b', null, spoken(one.words)), ' ', worth(one), ' ', one.caution,
      one.points[0] && !CHECKS.includes(one.kind) ? [' ', h('button.key.slim', { type: 'button', onclick: () => this.choose(one.points[0]) }, 'Answer there')] : null))));
  }

  /** @param {string} point */
  async choose(point) {
    this.chosen = point;
    this.pin = null;
    this.draw();
    await this.showPin();
    this.card.scrollIntoView({ block: 'nearest' });
  }

  /** The pin's place, expectation and neighbours, from the server. */
  async showPin() {
    const point = this.points[0];
    if (!point || this.checking) return void (this.pin = null);
    try {
      const pin = await get(url(`pin?point=${encodeURIComponent(point)}`));
      if (point !== this.points[0]) return;
      this.pin = { ...pin, point };
    } catch (err) {
      this.outcome = findingOf(err);
    }
    keepTyping(() => { this.drawCard(); this.tell(); });
  }

  drawCard() {
    const points = this.points;
    const symptom = [h('h2', null, 'What a start shows'), symptomForm(this.found.screens, this.found.power_on, (name, words) => this.symptom(name, words)), this.heatSheet.root];
    if (!points.length) return fill(this.card, symptom);
    const place = this.places().find((one) => one.point === points[0]);
    const note = (/** @type {string} */ kind, /** @type {string[]} */ at, /** @type {string} */ value) => this.note({ kind, points: at, value, ...lookedWith(kind, this.instrument) });
    const mark = this.found.marks.find((/** @type {any} */ m) => m.point === points[0]);
    const name = place?.name ?? plainly(points[0]);
    fill(this.card,
      h('h2', null, this.checking ? 'Check by beep or ohms, power off' : `At ${name}${mark ? (mark.agrees ? ': as expected' : ': not as expected') : ''}`),
      this.checking ? h('ul', null, this.found.next.map((/** @type {any} */ n) => h('li', null, h('b', null, n.name), ` ${[uprightWhere(n), n.side_words, n.net].filter(Boolean).join('; ')}`))) : this.pin && this.pin.point === points[0] ? drawPin(this.pin) : h('p', null, place ? `Expected: ${place.expected || 'nothing is known'}.` : 'Reading …'),
      mark ? h('ul', { id: 'seen' }, mark.seen.map((/** @type {any} */ x) => h('li', null, `Seen: ${x.words}`, x.noted && x.noted !== x.words ? ` (${x.noted})` : ''))) : null,
      this.checking || (!this.chosen && this.found.suspects.next) ? null : h('p.need', { id: 'probing' }, PROBING),
      this.checking || this.found.power_on ? null : h('p', { id: 'power-off' }, 'By the log power is off. ', h('a', { href: power() }, this.found.gate_open ? 'Note that it is on' : 'Pass what comes before power'), '.'),
      answerKeys(points, this.checking, this.busy, note), this.checking ? null : instrumentChoice(this.instrument, (name) => { this.instrument = name; }), valueForm(points, this.checking, note),
      this.checking ? null : [waveForm(name, (file) => this.wave(points[0], file)), h('p', null, h('a', { id: 'to-wave', href: waveAt(points[0]) }, 'Look at waves here, or take in one with several channels'))],
      this.chosen ? h('p', null, h('button.key.slim', { type: 'button', id: 'to-next', onclick: () => this.choose('') }, 'Back to the next step')) : null,
      symptom);
  }

  tell() {
    const o = this.outcome;
    fill(this.said, o ? h('p.need', null, o.words, ' ', o.remedy ?? '', o.back ? h('button.key.slim', { type: 'button', id: 'take-back', onclick: () => this.back() }, 'Take it back', h('kbd', null, 'Z')) : null) : null);
  }

  /** @param {string} text */
  say(text) {
    const el = byId('say');
    if (el) el.textContent = text;
  }

  /** One entry, then the belief anew. @param {Record<string, any>} body */
  async note(body) {
    await this.doing(async () => {
      const given = { up: false };
      const late = setTimeout(() => { this.outcome = { words: 'Not noted yet: the bench server does not answer. It is kept in this browser and sent as soon as the server answers.' }; this.tell(); }, 1200);
      const out = await write(url('entries'), body, given).finally(() => clearTimeout(late));
      const careful = (out.careful ?? []).join(' ');
      this.last = entryOf(out);
      this.outcome = { words: `Noted: ${plainly(out.words)}.${careful ? ` ${careful}` : ''}`, back: body.kind !== 'undo' };
    });
  }

  /** @param {string} point @param {File} file */
  async wave(point, file) {
    await this.doing(async () => {
      const out = await send(url('waves'), file, { at: point, entry: freshId() });
      this.last = entryOf(out);
      this.outcome = { words: `Measured and noted: ${plainly(out.pictures?.[0]?.words ?? out.verdict ?? 'a wave')}.`, back: true };
    });
  }

  /** @param {File} file @param {Record<string, import('../shared/api.js').Field>} fields */
  async heat(file, fields) {
    await this.doing(async () => {
      const out = await send(url('heat'), file, { ...fields, entry: freshId() });
      this.last = entryOf(out);
      const said = (out.findings ?? []).filter((/** @type {any} */ f) => f.severity !== 'note').map((/** @type {any} */ f) => `${f.words} ${f.remedy}`);
      this.outcome = { words: [`Read and noted: ${plainly(out.noted?.words ?? out.words ?? 'a thermal picture')}.`, ...said].join(' '), back: true };
      this.heatSheet.clear();
    });
  }

  /** @param {string} name @param {string} words */
  symptom(name, words) {
    return this.note(this.found.power_on ? { kind: 'seen', words, options: { screen: name } } : { kind: 'symptom', words, options: { code: name } });
  }

  /** What the page just said it noted goes at once; anything older is named first. */
  back() {
    return this.outcome?.back && this.last ? this.note({ kind: 'undo', undoes: this.last }) : this.takeBack.press();
  }

  /** @param {() => Promise<void>} act */
  async doing(act) {
    if (this.busy) return;
    this.busy = true;
    this.outcome = { words: 'Noting …' };
    this.draw();
    try {
      await act();
      this.chosen = '';
      this.pin = null;
    } catch (err) {
      this.outcome = findingOf(err);
    } finally {
      this.busy = false;
    }
    this.say(this.outcome.words);
    this.tell();
    await this.look();
    if (this.found?.suspects.next) this.say(`${this.outcome.words} Next: ${this.found.suspects.next.words}`);
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const tag = /** @type {any} */ (e.target)?.tagName ?? '';
    if (e.ctrlKey || e.metaKey || e.altKey || e.repeat || !this.found || /^(INPUT|TEXTAREA|SELECT)$/.test(tag)) return;
    const act = /** @type {Record<string, () => void>} */ ({ t: () => this.turn(), '+': () => this.zoom(1.6), '=': () => this.zoom(1.6), '-': () => this.zoom(1 / 1.6), 0: () => this.zoom(0), z: () => this.back(), Escape: () => this.choose(''), n: () => this.following() })[e.key];
    if (act) {
      e.preventDefault();
      return act();
    }
    const answer = answerOf(e.key, this.checking);
    if (!answer || !this.points.length) return;
    e.preventDefault();
    this.note({ ...answer, points: this.points, ...lookedWith(answer.kind, this.instrument) });
  }

  /** The step's next point. */
  following() {
    const at = this.found.next.map((/** @type {any} */ n) => n.point);
    if (at.length < 2 || this.checking) return;
    this.choose(at[(at.indexOf(this.points[0]) + 1) % at.length]);
  }
}

if (typeof document !== 'undefined' && document.body?.dataset.view === 'suspects') {
  takeLight();
  const page = new Suspects();
  Object.assign(window, { suspectsPage: page });
  page.start();
}
