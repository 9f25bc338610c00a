// @ts-check
/** From tones to answers: closed for a beep that lasts, open for a double tap of the tips, open for silence only when the person chose a waiting time. Pure; times are ms of sound. */

/** @typedef {import('./tone.js').ToneEvent} ToneEvent */
/** @typedef {{kind: 'closed'|'open'|'brush'|'tone'|'stuck'|'tested', at_ms: number, onset_ms: number, length_ms: number, hz: number, db: number, wander_hz: number, wander_db: number, by: 'beep'|'taps'|'silence'|''}} Heard */

/** Constants; every one can be set by the caller. */
export const ANSWERS = Object.freeze({
  taps: false, // a double tap means open; on after it was learnt
  wait_ms: 0, // 0: silence is never an answer
  tap_gap_ms: /** @type {[number, number]} */ ([60, 400]), // silence between the two taps
  tap_after_ms: 350, // and after the second
  tap_like_db: 3, // the two are alike in level
  tap_like_hz: 12, // and in pitch
  rest_ms: 800, // after an answer nothing is taken for so long: nobody has moved both tips by then
  quiet_ms: 150, // and not before so much silence
  stuck_ms: 8000, // a tone longer than this is no meter
});

const NOTHING = { onset_ms: 0, length_ms: 0, hz: 0, db: 0, wander_hz: 0, wander_db: 0, by: /** @type {''} */ ('') };

export class Answers {
  /** @param {Partial<typeof ANSWERS>} [options] */
  constructor(options = {}) {
    this.set = { ...ANSWERS, ...options };
    /** "round": beeps are answers. "test": tips are touched together, nothing is an answer. "off": nothing can be answered now. @type {'round'|'test'|'off'} */
    this.mode = 'round';
    this.rest_until = 0;
    this.quiet_since = -Infinity;
    this.armed = false;
    this.sounding = false;
    this.stuck = false;
    this.since = 0;
    this.wait_from = NaN;
    /** @type {ToneEvent[]} */ this.taps = [];
    /** Length that makes a tone a beep, as the tracker has it. */ this.hold_ms = 100;
  }

  /**
   * A new check is on the screen (or another mode was chosen). A tone that sounds already belongs to the one before; taps are forgotten; for a
   * while nobody can have moved both tips; the waiting time begins after that. @param {'round'|'test'|'off'} mode @param {number} at_ms
   */
  ready(mode, at_ms) {
    this.mode = mode;
    this.taps = [];
    this.armed = false;
    if (mode === 'round') this.rest_until = Math.max(this.rest_until, at_ms + this.set.rest_ms);
    this.wait_from = mode === 'round' ? this.rest_until : NaN;
  }

  /** Events of one look. @param {ToneEvent[]} events @param {number} at_ms @param {boolean} alive the microphone gives a signal at all @returns {Heard[]} */
  step(events, at_ms, alive = true) {
    const out = /** @type {Heard[]} */ ([]);
    for (const one of events) this.take(one, out);
    if (!this.sounding) {
      if (!this.armed && at_ms >= this.rest_until && at_ms - this.quiet_since >= this.set.quiet_ms) this.armed = true;
      this.double(at_ms, out);
    }
    else if (!this.stuck && at_ms - this.since > this.set.stuck_ms) {
      this.stuck = true;
      out.push({ ...NOTHING, kind: 'stuck', at_ms });
    }
    this.silence(at_ms, alive, out);
    return out;
  }

  /** @param {ToneEvent} one @param {Heard[]} out */
  take(one, out) {
    if (one.kind === 'on') {
      this.sounding = true;
      this.since = one.onset_ms;
      this.stuck = false;
      out.push({ ...NOTHING, ...pick(one), kind: 'tone' });
    } else if (one.kind === 'lasting') {
      this.taps = [];
      if (this.mode === 'test') out.push({ ...NOTHING, ...pick(one), kind: 'tested' });
      else if (this.mode === 'round' && this.armed) this.answer({ ...pick(one), kind: 'closed', by: 'beep' }, out);
    } else {
      this.sounding = false;
      this.quiet_since = one.onset_ms + one.length_ms;
      if (one.length_ms < this.hold_ms) this.brush(one, out);
      else this.taps = [];
      if (Number.isFinite(this.wait_from)) this.wait_from = one.at_ms;
    }
  }

  /** A short tone: a brush, or one tap of a double tap. @param {ToneEvent} one @param {Heard[]} out */
  brush(one, out) {
    out.push({ ...NOTHING, ...pick(one), kind: 'brush' });
    if (!one.sure || !this.set.taps || this.mode !== 'round' || (!this.armed && !this.taps.length)) return;
    const before = this.taps.at(-1);
    this.taps = before && one.onset_ms - end(before) <= this.set.tap_gap_ms[1] ? [...this.taps, one] : [one];
  }

  /** Exactly two taps that are alike, then silence: open. @param {number} at_ms @param {Heard[]} out */
  double(at_ms, out) {
    const { set } = this;
    const [one, two, third] = this.taps;
    if (!two || third || at_ms - end(two) < set.tap_after_ms) return;
    const alike = two.onset_ms - end(one) >= set.tap_gap_ms[0] && Math.abs(one.db - two.db) <= set.tap_like_db && Math.abs(one.hz - two.hz) <= set.tap_like_hz;
    this.taps = [];
    if (alike) this.answer({ ...pick(two), at_ms, kind: 'open', by: 'taps' }, out);
  }

  /** @param {number} at_ms @param {boolean} alive @param {Heard[]} out */
  silence(at_ms, alive, out) {
    if (!this.set.wait_ms || this.mode !== 'round' || Number.isNaN(this.wait_from)) return;
    if (!alive || this.sounding) this.wait_from = at_ms;
    else if (at_ms - this.wait_from >= this.set.wait_ms) this.answer({ ...NOTHING, kind: 'open', at_ms, by: 'silence' }, out);
  }

  /** One answer; then nothing until the next check is ready, and nothing for a while after it. @param {any} heard @param {Heard[]} out */
  answer(heard, out) {
    out.push({ ...NOTHING, ...heard });
    this.rest_until = heard.at_ms + this.set.rest_ms;
    this.armed = false;
    this.taps = [];
    this.wait_from = NaN;
  }
}

/** @param {ToneEvent} e */
const pick = (e) => ({ at_ms: e.at_ms, onset_ms: e.onset_ms, length_ms: e.length_ms, hz: e.hz, db: e.db, wander_hz: e.wander_hz, wander_db: e.wander_db });

/** @param {ToneEvent} e */
const end = (e) => e.onset_ms + e.length_ms;
