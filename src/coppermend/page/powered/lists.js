// @ts-check
/** The same as the map, in words: suspects with what speaks for and against them, places looked at, what thermal pictures said, how the belief went. */
import { h, s } from '../shared/dom.js';
import { clock } from '../shared/words.js';
import { signOf } from './map.js';

/** @typedef {import('./map.js').Found} Found */

/** A probability; never "100 %" for what is not certain. Pure. @param {number} p */
export function share(p) {
  if (p > 0.9995) return 'over 99.9 %';
  return `${(100 * p).toFixed(p > 0.9945 || p < 0.0095 ? 2 : 1)} %`;
}

/** How much a piece of evidence says, in words. Pure. @param {number} factor */
export function factorWords(factor) {
  const times = factor >= 1 ? factor : 1 / Math.max(factor, 1e-12);
  const shown = times > 1000 ? 'over 1000' : times >= 10 ? String(Math.round(times)) : times.toFixed(1);
  return `${shown} times ${factor >= 1 ? 'likelier' : 'less likely'}`;
}

/** Bits for a minute of bench time. Pure. @param {{gain_bits: number, seconds: number}} step */
export const perMinute = (step) => (step.seconds > 0 ? (60 * step.gain_bits) / step.seconds : 0);

/** @param {any} view @param {(k: number) => void} show */
export function suspectList(view, show) {
  return h('ol.suspect-list', { id: 'suspect-list' }, view.suspects.map((/** @type {any} */ one, /** @type {number} */ k) => suspect(one, k, show)));
}

/** @param {any} one @param {number} k @param {(k: number) => void} show */
function suspect(one, k, show) {
  const reasons = (/** @type {string} */ word, /** @type {any[]} */ list) => list.map((r) => h('li', null, h('b', null, `${word}: `), `${r.words} (${factorWords(r.factor)})`));
  return h('li', null,
    h('div.suspect-share', null, h('b.number', null, `${k + 1}`), h('b', null, share(one.p)), h('span.grow', null, one.words), h('button.key.slim', { type: 'button', id: `show-${k}`, onclick: () => show(k), 'aria-label': `Show suspect ${k + 1} on the board` }, 'Show')),
    one.for.length || one.against.length ? h('ul', null, reasons('For', one.for), reasons('Against', one.against)) : h('p', null, 'Nothing that was seen speaks for or against it; it stands by how often such a thing fails.'),
    one.clears ? h('p', null, h('b', null, 'What would clear it: '), one.clears, '.') : null);
}

/** @param {Found} found @param {(point: string) => void} choose */
export function placesTable(found, choose) {
  const rows = found.marks.map((m) => h('tr', null,
    h('th', { scope: 'row' }, h('button.key.slim', { type: 'button', id: `place-${m.point}`, onclick: () => choose(m.point) }, m.name)),
    h('td', null, m.net), h('td', null, m.expected || 'nothing is known'),
    h('td', null, m.seen.map((x) => h('div', null, clock(x.at), ' ', x.noted || x.words))),
    h('td', null, m.agrees ? 'as expected' : h('b', null, 'not as expected'))));
  const heat = found.heat.map((x) => h('tr', null, h('th', { scope: 'row' }, x.part), h('td', null, ''), h('td', null, 'warm as its power says'), h('td', null, x.words), h('td', null, x.verdict === 'even' ? 'as expected' : h('b', null, x.verdict))));
  if (!rows.length && !heat.length) return h('p', { id: 'places' }, 'Nothing was looked at under power yet.');
  return h('div.suspect-wide', { tabindex: 0, role: 'region', 'aria-label': 'Places looked at' }, h('table.table', { id: 'places' },
    h('thead', null, h('tr', null, ['Place', 'Net', 'Expected', 'Seen', ''].map((t) => h('th', { scope: 'col' }, t || 'So it is')))), h('tbody', null, rows, heat)));
}

/** @param {{at: string, kind: string, seen: string, words: string, p: number}[]} course @param {number} before */
export function courseTable(course, before) {
  if (!course.length) return null;
  return [h('h2', null, 'How it went'), before ? h('p', null, `${before} earlier moments are left out here.`) : null,
    h('div.suspect-wide', { tabindex: 0, role: 'region', 'aria-label': 'How it went' }, h('table.table', { id: 'course' }, h('thead', null, h('tr', null, ['When', 'What was seen', 'Likeliest then', 'Probability'].map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', null, course.map((row) => h('tr', null, h('td', null, clock(row.at)), h('td', null, row.kind === 'repair' ? `Repair: ${row.seen}` : row.seen), h('td', null, row.words), h('td', null, share(row.p)))))))];
}

/** What was not used, what speaks no more, and what nothing explains. @param {any} view */
export function openLists(view) {
  const list = (/** @type {string} */ title, /** @type {string[]} */ lines) => (lines.length ? [h('h2', null, title), h('ul', null, lines.map((line) => h('li', null, line)))] : null);
  const sets = view.explanations.filter((/** @type {any} */ x) => x.words.length > 1).slice(0, 4);
  return [
    sets.length ? [h('h2', null, 'Together they would explain it'), h('ul', { id: 'sets' }, sets.map((/** @type {any} */ x) => h('li', null, x.words.join('; and ') + (x.left ? ` (leaves ${x.left} of what was seen unexplained)` : ''))))] : null,
    list('Not explained by the likeliest', view.unexplained), list('Speaks no more', view.expired.map((/** @type {any} */ x) => x.words)), list('Noted, but it tells no fault from another', view.unused.map((/** @type {any} */ x) => x.words))];
}

/** What the signs of the map mean. */
export function legend() {
  const sign = (/** @type {boolean} */ fits) => s('svg', { class: 'suspect-map small', viewBox: '-3 -3 6 6', 'aria-hidden': 'true' }, s('g', { class: 'mark' }, ...signOf(fits)));
  const line = (/** @type {string} */ name) => s('svg', { class: 'suspect-map small', viewBox: '-6 -3 12 6', 'aria-hidden': 'true' }, s('path', { class: name, d: 'M-5 0L5 0' }));
  return h('ul.suspect-key', { 'aria-label': 'Signs of the map' }, h('li', null, sign(true), 'ring with a tick: as expected'), h('li', null, sign(false), 'diamond with a cross: not as expected'),
    h('li', null, line('track'), 'whole line: net as expected'), h('li', null, line('track odd'), 'dotted line: net with a place that is not'),
    h('li', null, line('lie way'), 'stripes, broken line and number: a suspect, the stronger the likelier'), h('li', null, 'broken ring: where to look next'));
}
