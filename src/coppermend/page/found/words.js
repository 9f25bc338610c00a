// @ts-check
/** What the answers are in rows and words. Pure. */

import { withUnit } from '../shared/words.js';

/** @param {{good: number, of: number, words: string}[]} tallies @param {any} view */
export function startsWords(tallies, view) {
  const none = 'No starts were counted since the last repair: start it five times, off in between, and say how many were as they should be.';
  return [...(tallies.length ? tallies.map((t) => `${t.words}.`) : [none]), ...(view.words ?? [])];
}

/** "3/5" or "3 of 5" as numbers; null for anything else. @param {string} text */
export function countOf(text) {
  const m = /^\s*(\d{1,4})\s*(?:\/|of)\s*(\d{1,4})\s*$/i.exec(text);
  return m ? { good: Number(m[1]), of: Number(m[2]) } : null;
}

/** Address lines as typed, one a field: empty fields are left out. @param {[number, string][]} fields */
export const linesOf = (fields) => fields.filter(([, v]) => v.trim()).map(([bit, v]) => `A${bit}=${v.trim()}`);

/** Suspects of a memory test as rows: probability, unit, mode, pins. @param {any[]} suspects */
export const memoryRows = (suspects) => suspects.map((one) => [`${(100 * one.p).toFixed(1)} %`, one.unit, one.mode, one.pins.slice(0, 6).join(', '), [...one.for, ...one.against.map((/** @type {string} */ w) => `against: ${w}`)].join('; ')]);

/** A clock as typed, "4MHz" or "3.58 M", in Hz; NaN for anything else. @param {string} text */
export function hertzOf(text) {
  const m = /^\s*(\d+(?:[.,]\d+)?)\s*([kM]?)(?:Hz)?\s*$/.exec(text);
  return m ? Number(m[1].replace(',', '.')) * { '': 1, k: 1e3, M: 1e6 }[/** @type {''|'k'|'M'} */ (m[2])] : NaN;
}

/** What another board reads otherwise without being this one's oddity, a pin once: pin, net, what. @param {{odd: {pin: string}[], against: {groups: {members: any[]}[]}}} found */
export function othersRows(found) {
  const odd = new Set(found.odd.map((o) => o.pin)), rows = new Map();
  for (const one of found.against.groups.flatMap((g) => g.members)) if (one.words && !odd.has(one.pin) && !rows.has(one.pin)) rows.set(one.pin, [one.pin, one.net, one.words]);
  return [...rows.values()];
}

const UNITS = { resistor: 'Ω', network: 'Ω', ceramic: 'F', electrolytic: 'F', tantalum: 'F', coil: 'H', fuse: 'A', crystal: 'Hz', regulator: 'V' };

/** A small part's value as printed on it, "" where nobody can read it. @param {{kind: string, value: number|null}} part */
export const partValue = (part) => (part.value === null ? '' : withUnit(part.value, UNITS[/** @type {keyof typeof UNITS} */ (part.kind)] ?? ''));
