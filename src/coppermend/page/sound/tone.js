// @ts-check
/** Finds tones that stand still in level and pitch, look by look. Pure: peaks in, events out; all times are ms of sound. */
import { peakBetween } from './bands.js';

/** @typedef {import('./bands.js').Peak} Peak */
/** Pitch and level of the user's meter, as learnt, and how far they wander within one of its own beeps. @typedef {{hz: number, db: number, wander_hz?: number, wander_db?: number}} Meter */
/** `sure`: it stood clear of the rest, on one pitch. @typedef {{kind: 'on'|'lasting'|'off', at_ms: number, onset_ms: number, length_ms: number, hz: number, db: number, wander_hz: number, wander_db: number, sure: boolean}} ToneEvent */

/** Constants of the detector; every one can be set by the caller. */
export const TONE = Object.freeze({
  low_hz: 1800, // continuity buzzers lie between (issue 5; common practice, no source)
  high_hz: 4500,
  over_db: 6, // a peak stands that far over the rest within 350 Hz to begin a tone,
  sure_db: 11, // and that far, in the middle of its looks, to be a beep
  box_db: 4, // a tone's level stays within
  box_hz: 30, // and its pitch within
  beep_hz: 13, // the whole of a beep within
  box_looks: 4, // so many looks of the last box_looks + 1 begin a tone (43 ms)
  gone_looks: 4, // so many looks without it end it (43 ms),
  lost_looks: 8, // or so many in a row in which it may be covered by something louder
  kept_share: 0.7, // of the looks since its onset show a tone that lasts
  fall_db_s: 15, // a beep's level neither falls nor rises faster; metal that was struck dies away (15 dB/s is 60 dB in 4 s)
  tap_fall_db_s: 25, // nor does a tap's, which has fewer looks to judge it by
  wander_db: 0.8, // the middle half of a learnt meter's looks lies within this, and what its own beeps wander,
  wander_hz: 2.5, // in level and in pitch; two modes of struck metal that beat wander more.
  noise_db: 6, // What the rest of the sound adds to that at 0 dB over it; it falls as the tone stands out
  noise_hz: 20,
  hold_ms: 100, // a shorter one is a brush
  near_hz: 25, // a learnt meter's pitch may be off by
  softer_db: 10, // and be so much softer
  louder_db: 8, // or louder than learnt
});

/** So many looks of a tone are kept to judge it by. */
const MOST_KEPT = 12;

/** A look of a tone. @typedef {Peak & {at_ms: number}} Kept */

/** A tone in progress. @typedef {{onset_ms: number, last_ms: number, hz: number, db: number, looks: number, kept: Kept[], gone: number, lost: number, said: boolean}} Tone */

export class ToneTracker {
  /** @param {number} bin_hz @param {number} look_ms length of one look @param {Partial<typeof TONE>} [options] @param {Meter|null} [meter] */
  constructor(bin_hz, look_ms, options = {}, meter = null) {
    this.bin_hz = bin_hz;
    this.look_ms = look_ms;
    this.set = { ...TONE, ...options };
    this.meter = meter;
    /** @type {({at_ms: number, peak: Peak}|null)[]} */ this.recent = [];
    /** @type {Tone|null} */ this.tone = null;
  }

  /** One look: what began, lasts or ended with it. @param {ArrayLike<number>} power @param {number} at_ms time of the look's last sample @returns {ToneEvent[]} */
  step(power, at_ms) {
    if (this.tone) return this.follow(power, at_ms, this.tone);
    const peak = this.candidate(power);
    this.recent.push(peak && { at_ms, peak });
    if (this.recent.length > this.set.box_looks + 1) this.recent.shift();
    const box = peak ? this.box(peak) : [];
    if (box.length < this.set.box_looks) return [];
    const kept = box.map((one) => ({ ...one.peak, at_ms: one.at_ms }));
    const begun = box[0].at_ms - 0.6 * this.look_ms; // the first look inside the box is more than half full
    this.tone = { onset_ms: begun, last_ms: at_ms - 0.4 * this.look_ms, hz: median(kept.map((p) => p.hz)), db: median(kept.map((p) => p.db)), looks: kept.length, kept, gone: 0, lost: 0, said: false };
    this.recent = [];
    return [this.event('on', at_ms, this.tone)];
  }

  /** The peak that may be the meter's. @param {ArrayLike<number>} power @returns {Peak|null} */
  candidate(power) {
    const { set, meter } = this;
    const peak = meter ? peakBetween(power, this.bin_hz, meter.hz - set.near_hz, meter.hz + set.near_hz) : peakBetween(power, this.bin_hz, set.low_hz, set.high_hz);
    if (peak.over_db < set.over_db || peak.db < -75) return null;
    if (meter && (peak.db < meter.db - set.softer_db || peak.db > meter.db + set.louder_db)) return null;
    return peak;
  }

  /** Recent looks that lie in one small box with the newest. @param {Peak} newest */
  box(newest) {
    const { box_db, box_hz } = this.set;
    const inside = /** @type {{at_ms: number, peak: Peak}[]} */ ([]);
    let low = newest.hz, high = newest.hz, soft = newest.db, loud = newest.db;
    for (let i = this.recent.length - 1; i >= 0; i--) {
      const one = this.recent[i];
      if (!one) continue;
      const [a, b, c, d] = [Math.min(low, one.peak.hz), Math.max(high, one.peak.hz), Math.min(soft, one.peak.db), Math.max(loud, one.peak.db)];
      if (b - a > box_hz || d - c > box_db) continue;
      [low, high, soft, loud] = [a, b, c, d];
      inside.unshift(one);
    }
    return inside;
  }

  /** @param {ArrayLike<number>} power @param {number} at_ms @param {Tone} tone @returns {ToneEvent[]} */
  follow(power, at_ms, tone) {
    const { set } = this;
    const peak = peakBetween(power, this.bin_hz, tone.hz - set.box_hz - this.bin_hz, tone.hz + set.box_hz + this.bin_hz);
    const here = Math.abs(peak.hz - tone.hz) <= set.box_hz && Math.abs(peak.db - tone.db) <= set.box_db && peak.over_db >= set.over_db - 6;
    const covered = !here && peak.db >= tone.db - set.box_db; // a blow or a word as loud as the tone lies over it
    if (here) {
      tone.gone = tone.lost = 0;
      tone.last_ms = at_ms - 0.4 * this.look_ms;
      tone.kept.push({ ...peak, at_ms });
      if (tone.kept.length > MOST_KEPT) tone.kept.shift();
    } else {
      tone.lost++;
      if (!covered) tone.gone++;
    }
    if (!covered) tone.looks++;
    if (tone.gone >= set.gone_looks || tone.lost >= set.lost_looks) {
      this.tone = null;
      return [this.event('off', at_ms, tone)];
    }
    if (!here || tone.said || tone.last_ms - tone.onset_ms < set.hold_ms || !this.still(tone)) return [];
    tone.said = true;
    return [this.event('lasting', at_ms, tone)];
  }

  /** Did the tone stand still since its onset? One look in six may be off: a blow or a word can fall on it. @param {Tone} tone */
  still(tone) {
    const { set } = this;
    if (tone.kept.length < set.kept_share * Math.min(MOST_KEPT, tone.looks)) return false;
    return this.clear(tone) && spread(tone.kept.map((p) => p.db)) <= set.box_db && Math.abs(slope(tone.kept)) <= set.fall_db_s && this.steady(tone);
  }

  /** Does it wander no more than the learnt meter does in what else sounds? Before a meter is learnt nothing is known of that. @param {Tone} tone */
  steady({ kept }) {
    const { set, meter } = this;
    if (!meter) return true;
    const rest = 10 ** (-median(kept.map((p) => p.over_db)) / 20);
    return middle(kept.map((p) => p.db)) <= set.wander_db + (meter.wander_db ?? 0) + set.noise_db * rest
      && middle(kept.map((p) => p.hz)) <= set.wander_hz + (meter.wander_hz ?? 0) + set.noise_hz * rest;
  }

  /** Did it stand clear of the rest, on one pitch? (The level of a short one is half edges.) @param {Tone} tone */
  clear(tone) {
    return spread(tone.kept.map((p) => p.hz)) <= this.set.beep_hz && median(tone.kept.map((p) => p.over_db)) >= this.set.sure_db;
  }

  /** @param {ToneEvent['kind']} kind @param {number} at_ms @param {Tone} t @returns {ToneEvent} */
  event(kind, at_ms, t) {
    return { kind, at_ms, onset_ms: t.onset_ms, length_ms: t.last_ms - t.onset_ms, hz: t.hz, db: t.db, wander_hz: middle(t.kept.map((p) => p.hz)), wander_db: middle(t.kept.map((p) => p.db)), sure: this.clear(t) && Math.abs(slope(t.kept)) <= this.set.tap_fall_db_s };
  }
}

/** @param {number[]} values */
export function median(values) {
  const s = [...values].sort((a, b) => a - b), m = s.length >> 1;
  return s.length % 2 ? s[m] : (s[m - 1] + s[m]) / 2;
}

/** How fast the level rises, dB/s: the median of the slopes between all pairs of looks (Theil 1950, Sen 1968), which a blow on some of them does not move. @param {Kept[]} kept */
export function slope(kept) {
  const all = [];
  for (let i = 1; i < kept.length; i++) for (let j = 0; j < i; j++) all.push((1000 * (kept[i].db - kept[j].db)) / (kept[i].at_ms - kept[j].at_ms));
  return all.length ? median(all) : 0;
}

/** The width of the middle half. @param {number[]} values */
export function middle(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.ceil(0.75 * sorted.length) - 1] - sorted[Math.floor(0.25 * sorted.length)];
}

/** From the smallest to the largest, one in six left out. @param {number[]} values */
function spread(values) {
  const sorted = values.sort((a, b) => a - b), cut = Math.floor(sorted.length / 6);
  const low = cut >> 1, high = cut - low;
  return sorted[sorted.length - 1 - high] - sorted[low];
}
