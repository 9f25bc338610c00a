// @ts-check
/** Where a wave's picture puts its times and volts, and the words at its lines. Pure. */

/**
 * @typedef {{kind: string, channel: string, begin_s: number, end_s: number, first_s: number, last_s: number, time_s: number[], volt?: number[], least_v?: number[], most_v?: number[], level?: string[],
 *   dense?: boolean, low_v?: number|null, high_v?: number|null, thresholds?: {family: string, low_v: number, high_v: number}|null, edges_s?: number[], words?: string, expected?: string}} Picture
 * @typedef {{x: (s: number) => number, y: (v: number) => number, left: number, right: number, top: number, bottom: number, lowV: number, highV: number}} Scale
 */

export const MARGIN = { left: 58, right: 14, top: 14, bottom: 30 };

/** The least and greatest volt that the picture must hold, thresholds and levels too; a logic trace goes from 0 to 1. @param {Picture} p @returns {[number, number]} */
export function range(p) {
  if (p.kind === 'steps') return [-0.2, 1.2];
  let low = Infinity, high = -Infinity;
  for (const list of [p.volt, p.least_v, p.most_v]) for (const v of list ?? []) {
    low = Math.min(low, v);
    high = Math.max(high, v);
  }
  for (const v of [p.low_v, p.high_v, p.thresholds?.low_v, p.thresholds?.high_v]) if (v !== null && v !== undefined) {
    low = Math.min(low, v);
    high = Math.max(high, v);
  }
  if (!(low <= high)) [low, high] = [0, 1];
  const air = Math.max(0.08 * (high - low), 0.05);
  return [low - air, high + air];
}

/** @param {Picture} p @param {number} width @param {number} height @returns {Scale} */
export function scaleOf(p, width, height) {
  const [lowV, highV] = range(p);
  const left = MARGIN.left, right = width - MARGIN.right, top = MARGIN.top, bottom = height - MARGIN.bottom;
  const span = p.end_s - p.begin_s || 1;
  return { left, right, top, bottom, lowV, highV, x: (s) => left + ((s - p.begin_s) / span) * (right - left), y: (v) => bottom - ((v - lowV) / (highV - lowV)) * (bottom - top) };
}

/** Round steps (1, 2, 5 times a power of ten): the values between two ends, at most so many. @param {number} low @param {number} high @param {number} most @returns {number[]} */
export function ticks(low, high, most) {
  const raw = (high - low) / Math.max(1, most);
  if (!(raw > 0)) return [];
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= raw * (1 - 1e-9)) ?? 10 * ten;
  const out = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step && out.length < 100; k++) out.push(Number((k * step).toPrecision(12)));
  return out;
}

const PREFIX = /** @type {[number, string][]} */ ([[1, ''], [1e-3, 'm'], [1e-6, 'µ'], [1e-9, 'n'], [1e-12, 'p']]);

/** A value with its unit, at a scale that suits `by` (itself, or the largest on the axis). @param {number} value @param {string} unit @param {number} [by] */
export function withUnit(value, unit, by = value) {
  if (value === 0 && by === 0) return `0 ${unit}`;
  const size = Math.abs(by);
  if (size >= 1000) {
    const [big, sign] = size >= 1e9 ? [1e9, 'G'] : size >= 1e6 ? [1e6, 'M'] : [1e3, 'k'];
    return `${Number((value / big).toPrecision(9))} ${sign}${unit}`;
  }
  const [small, sign] = PREFIX.find(([s]) => size >= s * 0.9999) ?? PREFIX[PREFIX.length - 1];
  return `${Number((value / small).toPrecision(6))} ${sign}${unit}`;
}

/** The window after a step nearer, further or to a side; never beyond the record. @param {Picture} p @param {'nearer'|'further'|'earlier'|'later'|'whole'} how @param {number} [at] share of the width that stays where it is @returns {[number, number]} */
export function moved(p, how, at = 0.5) {
  const whole = p.last_s - p.first_s;
  if (how === 'whole') return [p.first_s, p.last_s];
  let span = p.end_s - p.begin_s, begin = p.begin_s;
  if (how === 'nearer' || how === 'further') {
    const next = Math.min(whole, Math.max(whole * 1e-6, span * (how === 'nearer' ? 0.4 : 2.5)));
    begin += (span - next) * at;
    span = next;
  } else begin += (how === 'later' ? 0.5 : -0.5) * span;
  begin = Math.min(Math.max(begin, p.first_s), p.last_s - span);
  return [begin, begin + span];
}

/** A picture in one sentence, for those who do not see it. @param {Picture} p */
export function inWords(p) {
  const edges = p.edges_s?.length ? `, ${p.edges_s.length} edges marked` : '';
  return `${p.channel}, ${withUnit(p.begin_s, 's', p.end_s - p.begin_s)} to ${withUnit(p.end_s, 's', p.end_s - p.begin_s)}: ${p.words ?? ''}${edges}`;
}
