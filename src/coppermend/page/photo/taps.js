// @ts-check
/** Pins tapped in a photo: which is next, what was tapped. Pure. */

/** @typedef {{pin: string, px: [number, number]}} Tap */

/** Four points fix how a flat thing is seen. */
export const FEWEST = 4;

/** The first pin without a tap, or "". @param {string[]} pins @param {Tap[]} taps */
export function nextPin(pins, taps) {
  return pins.find((pin) => !taps.some((t) => t.pin === pin)) ?? '';
}

/** With this tap; a pin tapped again moves. @param {Tap[]} taps @param {string} pin @param {[number, number]} px @returns {Tap[]} */
export function withTap(taps, pin, px) {
  return [...taps.filter((t) => t.pin !== pin), { pin, px }];
}

/** @param {Tap[]} taps @param {string} pin */
export const without = (taps, pin) => taps.filter((t) => t.pin !== pin);

/** Far out a tap brings the place near, so that the pin is hit; near, it marks. px of the picture per px of the screen. @param {number} scale screen px per photo px */
export const nearEnough = (scale) => scale >= 0.6;
