// @ts-check
/** The pin that a probe goes to under power: its part's pins near it as they lie, what it should show, what a slip would touch. */
import { h, s } from '../shared/dom.js';
import { uprightWhere } from '../map/rows.js';

/** @typedef {{name: string, where: string, row?: {up: number[], out: number[], rank: string}|null, touch: string, side: string, side_words: string, part: string, pin: string, x_mm: number, y_mm: number, net_name: string, expected: string,
 *   thresholds: {family: string, low_v: number, high_v: number}|null, slip: string[], pins: [string, number, number, string][]}} PinView */

export const SPAN_MM = 17;

/** Pins near the tip as they lie under the hand: x right, y down, mm from the tip; seen from the side that is touched. Pure. @param {PinView} pin */
export function near(pin) {
  const flip = pin.side === 's' ? -1 : 1;
  return pin.pins
    .map(([number, x, y, supply]) => ({ number, x: flip * (x - pin.x_mm), y: pin.y_mm - y, supply }))
    .filter((p) => Math.abs(p.x) <= SPAN_MM / 2 && Math.abs(p.y) <= SPAN_MM / 2);
}

/** @param {PinView} pin */
export function drawPin(pin) {
  const half = SPAN_MM / 2;
  const pins = near(pin);
  const flat = pins.some((p) => Math.abs(p.y) < 0.3 && p.x !== 0 && Math.abs(p.x) < 3);
  const words = `${pin.part} round pin ${pin.pin}, ${pin.side_words}: ${pins.map((p) => p.number + (p.supply ? ` ${p.supply}` : '')).join(', ')}`;
  const picture = pins.length ? s('svg', { class: 'pin-inset', viewBox: `${-half} ${-half} ${SPAN_MM} ${SPAN_MM}`, role: 'img', 'aria-label': words },
    ...pins.map((p) => s('g', { class: p.supply ? `pin ${p.supply}` : 'pin' },
      p.number === '1' ? s('rect', { x: p.x - 0.8, y: p.y - 0.8, width: 1.6, height: 1.6 }) : s('circle', { cx: p.x, cy: p.y, r: 0.8 }),
      s('text', flat ? { x: p.x, y: p.y + 2.4, 'text-anchor': 'middle' } : { x: p.x + 1.6, y: p.y + 0.45 }, p.number))),
    s('circle', { class: 'tip', cx: 0, cy: 0, r: 1.25 })) : null;
  return h('div.pin-power', { id: 'pin-power' }, picture, h('div', null,
    h('p', null, h('b', null, pin.name), ` ${[uprightWhere(pin), pin.touch, pin.side_words].filter(Boolean).join('; ')}`),
    h('p', null, `Net ${pin.net_name}. Expected: ${pin.expected}.`, pin.thresholds ? ` ${pin.thresholds.family} reads it: low up to ${pin.thresholds.low_v} V, high from ${pin.thresholds.high_v} V.` : ''),
    pin.slip.map((line) => h('p.need', null, line))));
}
