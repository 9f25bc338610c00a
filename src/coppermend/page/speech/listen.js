// @ts-check
/**
 * Spoken answers, in browsers that understand speech on this computer. A browser that would send the sound elsewhere, or that would have to fetch a
 * language first, is not asked: that is said in words. The interface is the draft "Web Speech API" (`processLocally`, `available`), W3C.
 */

/** What may be said for what. "Open" and "closed" are said alone or with "it is"; a sentence that only holds the word is no answer. @type {[string, RegExp][]} */
const SAID = [
  ['closed', /^(it('s| is) )?(closed|close|clothes|beeps?|it beeps)$/],
  ['open', /^(it('s| is) )?(open|no beep)$/],
  ['again', /^(again|once more|measure again)$/],
  ['back', /^(back|take (it|that) back|undo)$/],
  ['skip', /^(can ?not reach|can'?t reach)$/],
  ['say', /^(repeat|say (it|that) again|what)$/],
];

/** The act that a heard sentence means, or "". Pure. @param {string} text @returns {string} @example actOf('It is open.') // 'open'; actOf('open the window') is '' */
export function actOf(text) {
  const plain = text.toLowerCase().replace(/[.,!?’]/g, (c) => (c === '’' ? "'" : '')).trim();
  return SAID.find(([, means]) => means.test(plain))?.[0] ?? '';
}

/** Least certainty, where the browser gives one. */
export const SURE = 0.6;

/** The words that are listened for, shown to the person. */
export const WORDS = '"closed", "open", "again", "can’t reach", "back", "repeat"';

/** @typedef {'off'|'opening'|'listening'|'trouble'} State */

export class Listening {
  /** @type {State} */ state = 'off';
  words = '';
  /** @type {any} */ ear = null;
  /** While our own voice speaks nothing counts. */ deaf = () => false;

  /** @param {{act: (name: string) => void, changed: () => void, Recognition?: any, deaf?: () => boolean}} on */
  constructor(on) {
    this.on = on;
    this.Recognition = 'Recognition' in on ? on.Recognition : /** @type {any} */ (globalThis).SpeechRecognition;
    if (on.deaf) this.deaf = on.deaf;
  }

  /** @param {State} state @param {string} words */
  to(state, words) {
    this.state = state;
    this.words = words;
    this.on.changed();
  }

  /** On or off. */
  async toggle() {
    if (this.ear || this.state === 'opening') return this.off();
    this.to('opening', 'Asking the browser …');
    const why = await this.whyNot();
    if (/** @type {State} */ (this.state) !== 'opening') return;
    if (why) return this.to('trouble', why);
    const ear = new this.Recognition();
    Object.assign(ear, { lang: 'en-US', continuous: true, interimResults: false, maxAlternatives: 3, processLocally: true });
    ear.onresult = (/** @type {any} */ e) => this.heard(e);
    ear.onend = () => this.ended(ear);
    ear.onerror = (/** @type {any} */ e) => this.failed(e.error);
    this.ear = ear;
    ear.start();
    this.to('listening', `Say ${WORDS}.`);
  }

  off() {
    const ear = this.ear;
    this.ear = null;
    ear?.abort?.();
    this.to('off', '');
  }

  /** Why spoken answers cannot be had here; "" when they can. @returns {Promise<string>} */
  async whyNot() {
    if (!this.Recognition) return 'This browser understands no speech. Keys, touch, pedal and the meter’s beep answer as before.';
    if (typeof this.Recognition.available !== 'function') return 'This browser understands speech only by sending the sound elsewhere. This page does not let it.';
    const found = await this.Recognition.available({ langs: ['en-US'], processLocally: true }).catch(() => 'unavailable');
    if (found === 'available') return '';
    if (found === 'downloadable' || found === 'downloading') return 'This browser could understand speech on this computer, but English is not on it yet. Fetch it in the browser’s own settings (languages); this page fetches nothing.';
    return 'This browser cannot understand speech on this computer. The sound is not sent elsewhere.';
  }

  /** @param {any} e */
  heard(e) {
    if (!this.ear || this.deaf()) return;
    for (let i = e.resultIndex ?? 0; i < e.results.length; i++) {
      if (e.results[i].isFinal === false) continue;
      const acts = [...e.results[i]].filter((one) => !one.confidence || one.confidence >= SURE).map((one) => [actOf(one.transcript), one.transcript]);
      const means = new Set(acts.map(([act]) => act).filter(Boolean));
      if (means.size !== 1) continue; // nothing, or two readings of one word that mean different things
      const [act] = means;
      this.words = `Heard "${acts.find(([a]) => a === act)?.[1].trim()}".`;
      this.on.changed();
      this.on.act(String(act));
    }
  }

  /** Browsers end it after a while of silence: begin again. @param {any} ear */
  ended(ear) {
    if (ear !== this.ear) return;
    try {
      ear.start();
    } catch {
      this.ear = null;
      this.to('trouble', 'The browser stopped listening. Switch spoken answers on again.');
    }
  }

  /** @param {string} error */
  failed(error) {
    if (!this.ear || error === 'no-speech' || error === 'aborted') return;
    this.ear = null;
    const words = { 'not-allowed': 'The browser was told not to give the microphone to this page.', 'audio-capture': 'No microphone was found.', 'language-not-supported': 'English is not on this computer for speech.', network: 'The browser wanted to send the sound elsewhere; it was not used.' };
    this.to('trouble', /** @type {any} */ (words)[error] ?? 'The browser cannot listen now. Keys go on as before.');
  }
}
