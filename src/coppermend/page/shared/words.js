// @ts-check
/** Values as a person reads them. Pure. */

/** @param {number|null|undefined} ohm */
export function ohms(ohm) {
  if (ohm === null || ohm === undefined) return '';
  if (ohm < 0.0995) return `${(ohm * 1000).toFixed(ohm < 0.00995 ? 1 : 0)} mΩ`;
  if (ohm < 9.95) return `${ohm.toFixed(2)} Ω`;
  if (ohm < 999.5) return `${ohm.toFixed(0)} Ω`;
  if (ohm < 999500) return `${(ohm / 1e3).toFixed(ohm < 9950 ? 2 : 1)} kΩ`;
  return `${(ohm / 1e6).toFixed(2)} MΩ`;
}

/** A value with its unit's prefix, such as 4.7 kΩ or 22 µF. @param {number} value @param {string} unit */
export function withUnit(value, unit) {
  const [scale, prefix] = /** @type {[number, string][]} */ ([[1e6, 'M'], [1e3, 'k'], [1, ''], [1e-3, 'm'], [1e-6, 'µ'], [1e-9, 'n'], [1e-12, 'p']]).find(([s]) => Math.abs(value) >= s * 0.9995) ?? [1, ''];
  return `${Number((value / scale).toPrecision(3))} ${prefix}${unit}`;
}

/** Modelled bench time. @param {number} s */
export function seconds(s) {
  if (s < 90) return `${Math.round(s)} s`;
  const m = Math.round(s / 60);
  return m < 90 ? `${m} min` : `${Math.floor(m / 60)} h ${m % 60} min`;
}

/** @param {number} p */
export function chance(p) {
  if (p >= 0.995) return 'almost certain';
  return p < 0.01 ? 'under 1 %' : `${Math.round(p * 100)} %`;
}

/** Local time of an ISO instant. @param {string} iso */
export function clock(iso) {
  const d = new Date(iso);
  return Number.isNaN(d.getTime()) ? '' : d.toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' });
}

/** @param {string} iso */
export function day(iso) {
  const d = new Date(iso);
  return Number.isNaN(d.getTime()) ? '' : d.toLocaleDateString([], { weekday: 'long', day: 'numeric', month: 'long', year: 'numeric' });
}

/** @param {number} n @param {string} one @param {string} [many] */
export const count = (n, one, many) => `${n} ${n === 1 ? one : (many ?? one + 's')}`;

/** First letter big. @param {string} t */
export const sentence = (t) => (t ? t[0].toUpperCase() + t.slice(1) : '');

/** Several sentences, each with its capital. @param {string} t */
export const sentences = (t) => sentence(t).replace(/([.!?] )([a-z])/g, (_, end, letter) => end + letter.toUpperCase());

/** A sentence with its capital and its full stop. @param {string} t */
export const ended = (t) => (!t || /[.!?]$/.test(t) ? sentence(t) : `${sentence(t)}.`);

/** Point ids inside a line of the log as places a person can find. @param {string} text */
export const plainly = (text) => text
  .replace(/\b(via|land|track)@(-?\d+),(-?\d+)\/([cs])/g, (_, what, x, y, side) => `${what} at ${(Number(x) / 1000).toFixed(1)}, ${(Number(y) / 1000).toFixed(1)} mm ${side === 'c' ? 'component' : 'solder'} side`)
  .replace(/\b([A-Z]+\d+\.\w+)\/(leg|contact|hole)\b/g, '$1')
  .replace(/\b([A-Z]+\d+\.\w+)\/joint-([cs])\b/g, (_, pin, side) => `${pin} joint ${side === 'c' ? 'component' : 'solder'} side`);
