// @ts-check
/** Hearing, as the page sees it: off, learning the meter, listening, heard. Answers leave by the same door as keys. No DOM in here. */
import { WANDER, lesson, tapLesson } from './learn.js';
import { microphoneWords, openMicrophone } from './microphone.js';

/** @typedef {'off'|'opening'|'learning'|'taps'|'test'|'listening'|'trouble'} State */
/** @typedef {{meter: import('./tone.js').Meter|null, hold_ms: number, taps: boolean, wait_s: number}} HearingSettings */

/** @type {HearingSettings} */
export const UNTAUGHT = { meter: null, hold_ms: 100, taps: false, wait_s: 0 };

const DEAD = 'The microphone gives no sound at all. Is it switched off?';

/** So many answers by silence in a row are taken. */
export const SILENCES = 3;

/** Settings as they were kept, made fit; anything strange is left out. @param {string|null} text @returns {HearingSettings} */
export function keptSettings(text) {
  let kept = /** @type {any} */ ({});
  try {
    kept = JSON.parse(text ?? '{}') ?? {};
  } catch {
    // not ours: start anew
  }
  const ok = kept.meter && kept.meter.hz >= 1500 && kept.meter.hz <= 5000 && Number.isFinite(kept.meter.db);
  const between = (/** @type {any} */ v, /** @type {number} */ low, /** @type {number} */ high, /** @type {number} */ or) => (typeof v === 'number' && v >= low && v <= high ? v : or);
  const { wander_hz: hz, wander_db: db } = WANDER;
  return { meter: ok ? { hz: kept.meter.hz, db: kept.meter.db, wander_hz: between(kept.meter.wander_hz, 0, hz, 0), wander_db: between(kept.meter.wander_db, 0, db, 0) } : null, hold_ms: between(kept.hold_ms, 100, 300, 100), taps: ok ? kept.taps === true : false, wait_s: between(kept.wait_s, 2, 60, 0) };
}

export class Hearing {
  /** @type {State} */ state = 'off';
  words = '';
  /** The last thing heard, in words, shown for a moment. */ heardWords = '';
  level_db = -90;
  /** Answers by silence in a row; after SILENCES the waiting stops, because nobody may be there any more. */ silent = 0;
  bySilence = false;
  /** The tip test was asked for before the microphone was open. */ testNext = false;
  token = '';
  /** @type {{send: (m: any) => void, close: () => void}|null} */ mic = null;
  /** @type {import('./answers.js').Heard[]} */ beeps = [];
  /** @type {number[]} */ tapsHeard = [];

  /** @param {{answer: (kind: 'closed'|'open', by: string) => void, changed: () => void, open?: typeof openMicrophone, storage?: {getItem: (k: string) => string|null, setItem: (k: string, v: string) => void}}} on */
  constructor(on) {
    this.on = on;
    this.storage = on.storage ?? localStorage;
    this.set = keptSettings(this.storage.getItem('hearing'));
  }

  /** @param {Partial<HearingSettings>} change */
  keep(change) {
    this.set = { ...this.set, ...change };
    this.storage.setItem('hearing', JSON.stringify(this.set));
    if (this.state === 'listening') this.listen();
    this.on.changed();
  }

  /** Microphone on or off. */
  async toggle() {
    if (this.mic || this.state === 'opening') return this.off();
    this.to('opening', 'Opening the microphone …');
    try {
      const mic = await (this.on.open ?? openMicrophone)((m) => this.take(m), () => this.trouble('The microphone went away. Plug it in, then try again.'));
      if (/** @type {string} */ (this.state) !== 'opening') return mic.close(); // switched off meanwhile
      this.mic = mic;
    } catch (err) {
      return this.trouble(microphoneWords(err));
    }
    if (!this.set.meter) return this.learn();
    this.listen();
    if (this.testNext) this.test();
    this.testNext = false;
  }

  off() {
    this.mic?.close();
    this.mic = null;
    this.to('off', '');
  }

  /** @param {string} words */
  trouble(words) {
    this.off();
    this.to('trouble', words);
  }

  /** @param {State} state @param {string} words */
  to(state, words) {
    this.state = state;
    this.words = words;
    this.heardWords = '';
    this.on.changed();
  }

  listen() {
    const { meter, hold_ms, taps, wait_s } = this.set;
    this.mic?.send({ options: { meter, tone: { hold_ms }, answers: { taps, wait_ms: this.silent < SILENCES ? 1000 * wait_s : 0 } }, mode: this.token ? 'round' : 'off', token: this.token });
    this.to('listening', this.silent < SILENCES ? '' : 'Three answers by silence in a row: silence counts again after a beep or a key.');
  }

  learn() {
    this.beeps = [];
    this.mic?.send({ options: { meter: null }, mode: 'test', token: '' });
    this.to('learning', lesson([]).words);
  }

  learnTaps() {
    if (!this.mic || !this.set.meter) return;
    this.tapsHeard = [];
    this.mic.send({ options: { meter: this.set.meter, tone: { hold_ms: 400 } }, mode: 'test', token: '' });
    this.to('taps', tapLesson([]).words);
  }

  /** Tips are touched together to see whether meter and leads work: nothing is an answer until this is ended. */
  test() {
    if (this.state === 'test') return this.listen();
    if (!this.set.meter) return;
    if (!this.mic) {
      this.testNext = true;
      return this.state === 'opening' ? undefined : this.toggle();
    }
    this.mic.send({ mode: 'test', token: '' });
    this.to('test', 'Testing the tips: nothing is noted.');
  }

  /** Which check can be answered now; "" when none can. @param {string} token */
  ready(token) {
    if (token === this.token) return;
    this.token = token;
    if (token) this.count();
    if (this.state === 'listening') this.mic?.send({ mode: token ? 'round' : 'off', token });
  }

  /** A new check: was the one before answered by silence? */
  count() {
    const was = this.silent;
    this.silent = this.bySilence ? was + 1 : 0;
    this.bySilence = false;
    if (this.state === 'listening' && (was >= SILENCES) !== (this.silent >= SILENCES)) this.listen();
  }

  /** The same check is to be measured again: the waiting time begins anew. */
  again() {
    if (this.state === 'listening' && this.token) this.mic?.send({ mode: 'round', token: this.token });
  }

  /** @param {any} message */
  take(message) {
    if (message.heard) return this.heard(message.heard, message.token);
    this.level_db = message.level_db;
    const dead = message.dead && this.mic ? DEAD : '';
    if (this.state === 'listening' && dead !== this.words && (dead || this.words === DEAD)) {
      this.words = dead;
      this.on.changed();
    }
  }

  /** @param {import('./answers.js').Heard} heard @param {string} token */
  heard(heard, token) {
    if (this.state === 'learning' && heard.kind === 'tested') return this.taught(heard);
    if (this.state === 'taps' && heard.kind === 'brush') return this.tapped(heard);
    if (this.state === 'test' && heard.kind === 'tested') this.show('The tips work: it beeps.');
    if (this.state !== 'listening') return;
    if (heard.kind === 'stuck') return this.show(`Something whistles on the meter's pitch. Answers by beep wait until it stops.`);
    if (heard.kind !== 'closed' && heard.kind !== 'open') return;
    if (!token || token !== this.token) return; // of a check that was answered meanwhile
    this.show(heard.kind === 'closed' ? 'Heard: closed' : heard.by === 'taps' ? 'Heard two taps: open' : 'No beep in the time you chose: open');
    this.bySilence = heard.by === 'silence';
    this.on.answer(heard.kind, heard.by);
  }

  /** @param {string} words */
  show(words) {
    this.heardWords = words;
    this.on.changed();
  }

  /** @param {import('./answers.js').Heard} heard */
  taught(heard) {
    this.beeps.push(heard);
    const { meter, words } = lesson(this.beeps);
    if (!meter) return this.to('learning', words);
    const same = this.set.meter && Math.abs(this.set.meter.hz - meter.hz) < 40;
    this.set = { ...this.set, meter, ...(same ? {} : { taps: false, hold_ms: 100 }) };
    this.storage.setItem('hearing', JSON.stringify(this.set));
    this.listen();
    this.show(words);
  }

  /** @param {import('./answers.js').Heard} heard */
  tapped(heard) {
    this.tapsHeard.push(heard.length_ms);
    const { hold_ms, words } = tapLesson(this.tapsHeard);
    if (!hold_ms) {
      if (this.tapsHeard.length >= 4) this.tapsHeard = [];
      return this.to('taps', words);
    }
    this.set = { ...this.set, taps: true, hold_ms };
    this.storage.setItem('hearing', JSON.stringify(this.set));
    this.listen();
    this.show(words);
  }
}

/** The state in a word or two, for the button. @param {Hearing} hearing */
export function stateWords(hearing) {
  if (hearing.state === 'listening') return hearing.heardWords ? 'heard' : 'listening';
  return { off: 'off', opening: 'opening', learning: 'learning', taps: 'learning taps', test: 'tip test', trouble: 'not heard', listening: '' }[hearing.state];
}
