// @ts-check
/** What the slip shows, worked out from the server's answer and what the person has in hand. Pure functions. */

import { inPageWords } from '../shared/pagewords.js';
import { ohms } from '../shared/words.js';

/** @typedef {{id: string, name: string, where: string, touch: string, side: string, side_words: string, x_mm: number, y_mm: number, net: number, net_name?: string, reachable: boolean, why_not: string, of: number}} Tip */
/** @typedef {{entry: string, kind: string, words: string, undone: boolean, value: number|null}} Reading */

/** The tips on the slip: the person's own pair when both are chosen, else the proposed check's. @param {any} bench @param {{a: Tip|null, b: Tip|null}} own */
export function tipsOf(bench, own) {
  if (own.a || own.b) return { a: own.a, b: own.b, own: true };
  const check = bench?.step?.check;
  return check ? { a: check.a, b: check.b, own: false } : { a: null, b: null, own: false };
}

/** Both tips are known: an answer can be given. @param {any} bench @param {{a: Tip|null, b: Tip|null}} own */
export function canAnswer(bench, own) {
  const tips = tipsOf(bench, own);
  return Boolean(tips.a && tips.b && tips.a.id !== tips.b.id);
}

/** The check in hand where it is one in ohms, of which a beep says nothing; null for any other. @param {any} bench @param {{a: Tip|null, b: Tip|null}} own */
export function ohmsCheck(bench, own) {
  const check = tipsOf(bench, own).own ? null : bench?.step?.check;
  return check?.purpose === 'ohms' ? check : null;
}

/** What the practice patient's meter says as it is noted: the ohms of an ohms check, else closed or open. @param {{says: string, ohms: number|null}} answer @param {any} ohmsAsked the check in ohms, null for any other @returns {[string, string]} kind and value */
export const notedAs = (answer, ohmsAsked) => (ohmsAsked && answer.says === 'closed' && answer.ohms !== null ? ['ohms', String(Number(answer.ohms.toPrecision(4)))] : [answer.says, '']);

/**
 * Put a tapped point under a tip. The tip named by `which` takes it; without a name the one that is still free does, or nothing happens.
 * The same point cannot be under both. @param {{a: Tip|null, b: Tip|null}} own @param {Tip} tip @param {'a'|'b'|null} which
 */
export function placeTip(own, tip, which) {
  const free = which ?? (own.a && !own.b ? 'b' : own.b && !own.a ? 'a' : null);
  if (!free) return own;
  const other = free === 'a' ? 'b' : 'a';
  const next = { ...own, [free]: tip };
  if (next[other] && next[other].id === tip.id) next[other] = null;
  return next;
}

/** What a tick shows: closed and open copper, nets that are apart as they should be, a bridge, a skipped check. Pure. @param {Reading & {one_net?: boolean}} r */
export function tickOf(r) {
  if (r.kind === 'skip') return 'skip';
  const beeps = r.kind === 'closed' || (r.kind === 'ohms' && r.value !== null && r.value < 10);
  if (r.one_net === false) return beeps ? 'bridge' : 'apart';
  return beeps ? 'closed' : 'open';
}

/** The strip of ticks: what was answered in order, the check in hand, what is left. At most `most` ticks, the oldest are dropped first. @param {(Reading & {one_net?: boolean})[]} readings @param {number} left @param {boolean} now */
export function ticks(readings, left, now, most = 90) {
  const done = readings.filter((r) => !r.undone && ['closed', 'open', 'ohms', 'skip'].includes(r.kind)).map(tickOf);
  const todo = Math.min(left, Math.floor(most * 0.7));
  const room = most - todo - (now ? 1 : 0);
  return [...done.slice(-room), ...(now ? ['now'] : []), ...Array(todo).fill('left')];
}

/** What the meter of the practice patient says. @param {any} answer */
export function patientWords(answer) {
  if (!answer) return '';
  if (answer.says === 'closed') return 'It beeps.';
  if (answer.says === 'open') return 'No beep.';
  return answer.words ?? String(answer.says);
}

/** A reading as it is confirmed and listed: an ohms reading with its value, which the person must be able to check. @param {{kind: string, words: string, short?: string, value?: number|null}} r */
export function toldShort(r) {
  const words = r.short ?? r.words;
  if (r.kind !== 'ohms' || r.value === undefined) return words;
  return `${r.value === null ? 'overload' : ohms(r.value)}: ${words.replace(/^ohms: /, '')}`;
}

/** What of a pin is touched: a follow-up can differ from the check before it in that alone. @param {{name: string, touch?: string}} t */
const touched = (t) => (!t.touch || /^(via|land|track) /.test(t.name) ? '' : t.touch.replace(/^touch (the )?/, ''));

/** The words read out for a check. @param {any} bench @param {{a: Tip|null, b: Tip|null}} own @param {(tip: Tip) => string} [where] where a tip is, as the board lies */
export function spoken(bench, own, where = (t) => t.where) {
  const { a, b } = tipsOf(bench, own);
  if (!a || !b) return inPageWords(bench?.step?.words ?? '');
  const check = own.a || own.b ? null : bench?.step?.check;
  const one = (/** @type {Tip} */ t) => [t.name, touched(t), t.side_words, where(t)].filter(Boolean).join(', ');
  return [check?.turn_over ? 'Turn the board over.' : '', `Tip A: ${one(a)}. Tip B: ${one(b)}.`, check?.purpose === 'isolation' ? 'Should not beep.' : check?.purpose === 'ohms' ? 'Read ohms.' : ''].filter(Boolean).join(' ');
}

/** The entry that "back" takes back: the last answer or act of the round that still counts. @param {any} bench */
export function lastAnswer(bench) {
  return (bench?.readings ?? []).filter((/** @type {any} */ r) => !r.undone && !['look', 'clean'].includes(r.kind)).at(-1) ?? null;
}
