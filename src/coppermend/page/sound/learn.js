// @ts-check
/** Learns the user's meter: its pitch and level from a few beeps, and how short their double tap is. Pure. */
import { median } from './tone.js';

/** @typedef {import('./answers.js').Heard} Heard */

/** Beeps that make a lesson. */
export const BEEPS = 2;
/** A meter's own wander is believed up to so much. */
export const WANDER = Object.freeze({ wander_hz: 10, wander_db: 2 });
/** Double taps that make a lesson. */
export const DOUBLE_TAPS = 2;

/**
 * Pitch and level of the meter from the beeps of a lesson, or what is still missing in words.
 * What its own beeps wander in pitch and level is learnt too, up to WANDER; a tone that wanders more is no meter later.
 * @param {{hz: number, db: number, length_ms: number, wander_hz?: number, wander_db?: number}[]} beeps each at least 100 ms long
 * @returns {{meter: import('./tone.js').Meter|null, words: string}}
 * @example lesson([{hz: 2730, db: -30, length_ms: 400}, {hz: 2734, db: -31, length_ms: 380}]).meter // {hz: 2732, db: -30.5, wander_hz: 0, wander_db: 0}
 */
export function lesson(beeps) {
  const last = beeps.slice(-BEEPS);
  if (last.length < BEEPS) return { meter: null, words: last.length ? 'Heard one. Lift the tips, then touch them together once more.' : 'Touch the tips together for half a second, twice.' };
  const hz = last.map((b) => b.hz), db = last.map((b) => b.db);
  if (Math.max(...hz) - Math.min(...hz) > 40) return { meter: null, words: `Two different tones, ${Math.round(hz[0])} and ${Math.round(hz[1])} Hz. Once more, with nothing else sounding.` };
  if (Math.max(...db) - Math.min(...db) > 8) return { meter: null, words: 'One was much louder than the other. Leave the meter where it stands while you work, and beep once more.' };
  const most = (/** @type {'wander_hz'|'wander_db'} */ what) => Math.min(WANDER[what], Math.max(...last.map((b) => b[what] ?? 0)));
  return { meter: { hz: median(hz), db: median(db), wander_hz: most('wander_hz'), wander_db: most('wander_db') }, words: `Learnt: ${Math.round(median(hz))} Hz.` };
}

/**
 * How long a beep must last to be "closed", so that the person's taps stay shorter. At least 100 ms; answers come later by what is added.
 * @param {number[]} taps_ms lengths of the tones of a lesson of double taps @returns {{hold_ms: number, words: string}} 0 when the taps are too long to be told from a beep
 */
export function tapLesson(taps_ms) {
  if (taps_ms.length < 2 * DOUBLE_TAPS) return { hold_ms: 0, words: `Tap the tips together twice, quickly. ${taps_ms.length} of ${2 * DOUBLE_TAPS} taps heard.` };
  const longest = Math.max(...taps_ms.slice(-2 * DOUBLE_TAPS));
  const hold_ms = Math.max(100, Math.ceil((longest + 35) / 10) * 10);
  if (hold_ms > 300) return { hold_ms: 0, words: `Your meter's shortest beep is ${Math.round(longest)} ms: too long to tell a tap from a beep. Use the key, a pedal or a waiting time for "open".` };
  return { hold_ms, words: hold_ms > 100 ? `Learnt. A beep now counts from ${hold_ms} ms on, because your taps last up to ${Math.round(longest)} ms.` : 'Learnt: a double tap means open.' };
}
