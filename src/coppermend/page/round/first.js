// @ts-check
/** What comes first of all the work, on the slip. It is asked for once the bench rests, so that no answer waits for it, and it never takes a check in hand away. */
import { findingOf, get } from '../shared/api.js';
import { byId, h } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';
import { ended, seconds, sentence, sentences } from '../shared/words.js';
import { canAnswer } from './state.js';

/** @typedef {import('../main.js').App} App */
/** @typedef {{weighed: boolean, mark?: string, own?: boolean, kind: string, words: string, reason: string, seconds: number, notes: string[], tips: any[]|null, done: any, leaf: string, part: string}} First */

/** So long after the last answer it is asked for, ms. */
export const REST_MS = 700;
/** A check that was shown for longer is in somebody's hands: it is not taken away, a line above it says what comes first. */
const IN_HAND_MS = 3000;

/** Where a kind of work is done: its address in a case, and the key's words. @type {Record<string, [(id: string) => string, string]>} */
const LEAVES = {
  suspects: [(id) => `/page/suspects.html?case=${id}`, 'To the suspects'],
  story: [(id) => `/#/case/${id}/story`, 'Before power and power-up'],
  supply: [(id) => `/page/intake.html?case=${id}&tab=supply`, 'To supply and rails'],
  consent: [(id) => `/page/intake.html?case=${id}`, 'To the owner’s word'],
  chips: [(id) => `/page/chips.html?case=${id}`, 'To the chips'],
  memory: [(id) => `/page/found.html?case=${id}&tab=memory`, 'To the memory test'],
  rom: [(id) => `/page/found.html?case=${id}&tab=rom`, 'To the ROMs'],
  wires: [(id) => `/#/case/${id}/wires`, 'To breaks and wires'],
  record: [(id) => `/#/case/${id}/record`, 'To the record'],
};

/** The address and words of a leaf; null where none is named. Pure. @param {string} leaf @param {string} id @returns {[string, string]|null} */
export function leafOf(leaf, id) {
  const one = LEAVES[leaf];
  return one ? [one[0](encodeURIComponent(id)), one[1]] : null;
}

export class FirstOfAll {
  /** The answer for the case as it stands; null while it is weighed. @type {First|null} */ found = null;
  /** Why it could not be weighed. */ failed = '';
  /** @type {any} */ timer = 0;
  asking = false;
  /** What was said aloud last. */ told = '';
  /** It stands on the slip in the place of the copper's check. */ open = false;
  /** The person went on with the copper: it stays a line until the bench is come to anew. */ put = false;

  /** @param {App} app */
  constructor(app) {
    this.app = app;
  }

  /** Something else than the copper's own step comes first. */
  get other() {
    return Boolean(this.found?.weighed && !this.found.own);
  }

  /** It is what the slip shows; tips that the person chose go before it. */
  get shown() {
    return this.open && !this.app.own.a && !this.app.own.b;
  }

  /** Another case: what was weighed is not of it. */
  forget() {
    clearTimeout(this.timer);
    this.found = null;
    this.failed = this.told = '';
    this.open = this.put = false;
  }

  /** The bench is come to: nobody has tips in hand yet. */
  arrive() {
    this.put = false;
    this.open = this.other;
  }

  /** The slip's other side; tips that the person chose are put down when it is asked for. */
  toggle() {
    if (!this.other) return;
    this.open = !this.shown;
    this.put = !this.open;
    if (this.open) this.app.own = { a: null, b: null };
  }

  /** A new state of the case. @param {any} bench */
  heed(bench) {
    if (bench.everything && this.found?.mark === bench.mark) return;
    clearTimeout(this.timer);
    this.found = null;
    this.failed = '';
    this.open = false;
    if (bench.everything) this.timer = setTimeout(() => this.ask(), REST_MS);
  }

  async ask() {
    if (this.asking || !this.app.bench) return; // the one under way asks again when the case has moved on
    const { app } = this, id = app.id;
    this.asking = true;
    /** @type {First|null} */ let found = null;
    let failed = '';
    try {
      found = await get(app.url('first'));
    } catch (err) {
      const { words, remedy } = findingOf(err);
      failed = `${words} ${remedy}`;
    }
    this.asking = false;
    if (!app.bench) return;
    if (app.id !== id || (found?.weighed && found.mark !== app.bench.mark)) return this.heed(app.bench);
    [this.found, this.failed] = [found, failed];
    this.open = this.other && !this.put && (!canAnswer(app.bench, app.own) || performance.now() - app.shownAt < IN_HAND_MS) && !app.own.a;
    app.redraw();
    this.tell();
  }

  /** What it says, for eyes and ears. */
  get words() {
    return this.found ? `First of all the work: ${inPageWords(this.found.words)}` : '';
  }

  /** Said aloud when it is something else than before, and nothing is being said. */
  tell() {
    const words = this.other ? this.words : '';
    if (words === this.told) return;
    this.told = words;
    if (!words) return;
    byId('say').textContent = words;
    if (!this.app.voice.speaking) this.app.voice.tell(words);
  }
}

/** The line above the copper's check. Its height is the same whatever it says: the answers below it stay where they are. @param {App} app */
export function firstLine(app) {
  if (!app.bench.everything) return null;
  const { found, failed } = app.first;
  const line = (/** @type {string} */ words, /** @type {any} */ key) => h('div.of-all', { id: 'of-all' }, h('span', { role: 'status', title: words }, words), key);
  if (failed) return line(`All the work could not be weighed: ${failed}`, h('button.key.slim', { type: 'button', id: 'weigh-again', onclick: () => app.first.heed(app.bench) }, 'Again'));
  if (!found) return line('Weighing all the work …', null);
  if (!app.first.other) return line('Of all the work, this comes first.', null);
  return line(`First of all the work: ${inPageWords(found.words)}`, h('button.key.slim', { type: 'button', id: 'show-first', onclick: () => app.do('everything') }, 'Show it', h('kbd', null, 'E')));
}

/** The slip's body where other work comes first: what, why, how long, the one tap to where it is done, and the way on with the copper. @param {App} app */
export function firstBody(app) {
  const found = /** @type {First} */ (app.first.found), check = app.bench.step?.check;
  return [
    h('p.step-words', { id: 'first-words' }, sentence(inPageWords(found.words))),
    h('p.why', null, `${sentences(ended(inPageWords(found.reason)))} About ${seconds(found.seconds)} (modelled).`),
    way(app, found),
    h('button.key', { type: 'button', id: 'copper-on', onclick: () => app.do('everything') }, check ? `Go on with the copper: ${check.a.name} and ${check.b.name}` : 'Go on with the copper', h('kbd', null, 'E')),
    found.notes.length ? h('details.cautions', { open: true }, h('summary', null, 'To mind'), h('ul', null, found.notes.map((n) => h('li', null, inPageWords(n))))) : null,
  ];
}

/** The one tap: tips to set, work done by hand to note, or the leaf. @param {App} app @param {First} found */
function way(app, found) {
  const cap = h('kbd', null, 'D');
  const { tips, done } = found;
  if (tips) return h('button.key.hot', { type: 'button', 'data-main': true, onclick: () => app.do('measure', { a: tips[0], b: tips[1] }) }, 'Set the tips there', cap);
  if (done) return h('button.key.hot', { type: 'button', 'data-main': true, disabled: app.busy, onclick: () => app.do('remedy', done) }, done.done, cap);
  const leaf = leafOf(found.leaf, app.id);
  return leaf ? h('a.key.hot', { href: leaf[0], 'data-main': true }, leaf[1], cap) : null;
}
