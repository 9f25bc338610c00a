// @ts-check
/** The whole ear: blocks of samples in, what was heard out. The same module runs in the audio thread, in tests and in the benchmark. */
import { Answers } from './answers.js';
import { Bands } from './bands.js';
import { ToneTracker } from './tone.js';

/** @typedef {import('./answers.js').Heard} Heard */

export class Ear {
  /** Made by setUp. @type {ToneTracker} */ tracker = /** @type {any} */ (null);
  /** Made by setUp. @type {Answers} */ answers = /** @type {any} */ (null);

  /** @param {number} rate_hz @param {{tone?: object, answers?: object, meter?: import('./tone.js').Meter|null}} [options] */
  constructor(rate_hz, options = {}) {
    this.rate_hz = rate_hz;
    this.bands = new Bands(rate_hz);
    this.hop = this.bands.size / 2;
    this.look_ms = (1000 * this.bands.size) / rate_hz;
    this.line = new Float32Array(this.bands.size);
    this.filled = 0;
    this.samples = 0;
    this.loudest = 0;
    /** How long the microphone gave nothing but zeros, ms. */ this.dead_ms = 0;
    this.setUp(options);
  }

  /** New settings; a tone in progress is forgotten. @param {{tone?: any, answers?: any, meter?: import('./tone.js').Meter|null}} options */
  setUp(options) {
    this.tracker = new ToneTracker(this.bands.bin_hz, this.look_ms, options.tone ?? {}, options.meter ?? null);
    const mode = this.answers?.mode ?? 'round';
    this.answers = new Answers(options.answers ?? {});
    this.answers.hold_ms = this.tracker.set.hold_ms;
    this.answers.quiet_since = this.now_ms;
    this.answers.ready(mode, this.now_ms);
  }

  /** Time of the newest sample, ms of sound. */
  get now_ms() {
    return (1000 * this.samples) / this.rate_hz;
  }

  /** @param {'round'|'test'|'off'} mode */
  ready(mode) {
    this.answers.ready(mode, this.now_ms);
  }

  /** Take a block of any length. @param {ArrayLike<number>} block samples between -1 and 1 @returns {Heard[]} */
  push(block) {
    const out = /** @type {Heard[]} */ ([]);
    for (let i = 0; i < block.length;) {
      const take = Math.min(block.length - i, this.line.length - this.filled);
      for (let j = 0; j < take; j++) this.line[this.filled + j] = block[i + j];
      this.filled += take;
      this.samples += take;
      i += take;
      if (this.filled === this.line.length) {
        out.push(...this.look());
        this.line.copyWithin(0, this.hop);
        this.filled -= this.hop;
      }
    }
    return out;
  }

  /** @returns {Heard[]} */
  look() {
    let loudest = 0;
    for (let i = this.hop; i < this.line.length; i++) loudest = Math.max(loudest, Math.abs(this.line[i]));
    this.loudest = loudest;
    this.dead_ms = loudest > 0 ? 0 : this.dead_ms + this.look_ms / 2;
    return this.answers.step(this.tracker.step(this.bands.of(this.line), this.now_ms), this.now_ms, this.dead_ms < 500);
  }
}
