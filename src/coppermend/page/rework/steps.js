// @ts-check
/** Cleaning and protection as steps: what to do, what to mind, ticked, timed, photographed. */
import { h } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';

const MARKS = /** @type {Record<string, string>} */ ({ open: '○', started: '◐', done: '●', 'left out': '–' });

/** A time span as a person says it. Pure. @param {number} seconds */
export function span(seconds) {
  if (seconds >= 5400) return `${(seconds / 3600).toFixed(1)} h`;
  return seconds >= 90 ? `${Math.round(seconds / 60)} min` : `${Math.round(seconds)} s`;
}

/** @typedef {{tick: (procedure: string, step: string, state: string, words: string, photo: File|null, told: string) => void, photo: (sha: string) => string}} Hands */

/** @param {any} care @param {Hands} hands @param {boolean} open */
export function procedureSheet(care, hands, open) {
  return h('details.sheet', { open, id: `care-${care.procedure}` },
    h('summary', null, h('b', null, care.title), h('span.count', null, ` ${care.done} of ${care.steps.length} steps done or left out`)),
    h('p', null, care.when),
    h('ol.steps', null, care.steps.map((/** @type {any} */ one) => stepItem(care, one, hands))));
}

/** @param {any} care @param {any} one @param {Hands} hands */
function stepItem(care, one, hands) {
  const over = one.state === 'done' || one.state === 'left out';
  const here = care.next === one.step;
  const id = `${care.procedure}-${one.step}`;
  return h(over ? 'li.over' : 'li', { 'aria-current': here ? 'step' : null, id: `step-${id}` },
    h('div', null, h('span.tick', { 'aria-hidden': 'true' }, MARKS[one.state]), h('span.quiet', null, one.state), h('b', null, one.step), `: ${inPageWords(one.words)}`),
    one.mind.map((/** @type {string} */ m) => h('p.mind', null, inPageWords(m))),
    h('p.src', null, [one.source, one.seconds === null ? '' : `took ${span(one.seconds)}`, one.wait_left_s > 0 ? `${span(one.wait_left_s)} of waiting left` : '', one.said ? `said: ${one.said}` : ''].filter(Boolean).join('; ')),
    one.photos.length ? h('div.row', null, one.photos.map((/** @type {string} */ sha) => h('img', { src: hands.photo(sha), alt: `Photo at ${one.step}` }))) : null,
    over && !here ? h('button.key.slim', { type: 'button', onclick: () => hands.tick(care.procedure, one.step, 'started', '', null, '') }, 'Once more') : form(care, one, hands, id));
}

/** @param {any} care @param {any} one @param {Hands} hands @param {string} id */
function form(care, one, hands, id) {
  const words = /** @type {HTMLInputElement} */ (h('input', { name: 'words', id: `words-${id}`, autocomplete: 'off', maxlength: 400 }));
  const photo = /** @type {HTMLInputElement} */ (h('input', { type: 'file', name: 'photo', accept: 'image/*' }));
  const go = (/** @type {string} */ state) => hands.tick(care.procedure, one.step, state, words.value, photo.files?.[0] ?? null, `${care.title}: ${one.owned}`);
  return h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); go('done'); } },
    one.state === 'open' ? h('button.key.slim', { type: 'button', onclick: () => go('started') }, 'Begin') : null,
    h('button.key', { id: `done-${id}` }, 'Done'),
    h('label.field', null, 'Seen or done', words),
    h('label.field', null, one.photo ? 'Photo (asked for)' : 'Photo', photo),
    h('button.key.slim', { type: 'button', onclick: () => go('left out') }, 'Left out, as said'));
}
