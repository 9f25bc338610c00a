// @ts-check
/** How each kind of step is answered that is no look at one point: swaps and other work by hand, millivolts along a net, counted starts, pictures, looks over the board. */
import { h } from '../shared/dom.js';
import { plainly } from '../shared/words.js';

/** @typedef {{words: string, body: Record<string, any>}} Answer */
/** @typedef {{note: (body: Record<string, any>) => void, starts: (body: Record<string, any>) => void, heat: () => void, look: string, chips: string, power: string, busy: boolean}} Hands */

/** Starts in a row of a step that counts them (core/planning/suspects_starts.py, TIMES). */
export const TIMES = 5;

/** The answers by one press, with the entry that each of them is. Pure. @param {any} step @returns {Answer[]} */
export function answersOf(step) {
  const part = step.part;
  const act = (/** @type {string} */ kind, /** @type {string} */ effect, /** @type {string} */ words, more = {}) => ({ words, body: { kind, part, options: { effect, ...more } } });
  if (step.kind === 'swap') return [act('swap', 'cured', `With another ${part} it starts`, { trial: true }), act('swap', 'none', `With another ${part} it is as before`, { trial: true }), { words: `Another ${part} stays in`, body: { kind: 'swap', part, words: 'known good' } }];
  if (step.kind === 'replace') return [act('swap', 'cured', `With a new ${part} it starts`), act('swap', 'none', `With a new ${part} it is as before`)];
  if (step.kind === 'reseat') return [act('reseat', 'cured', `${part} is reseated: it starts`), act('reseat', 'none', `${part} is reseated: it is as before`)];
  if (step.kind === 'press') return [act('press', 'changed', 'Something changes'), act('press', 'none', 'Nothing changes')];
  if (step.kind === 'piggyback') return [act('piggyback', 'changed', 'Something changes'), act('piggyback', 'none', 'Nothing changes')];
  if (step.kind === 'sink' && step.points.length) {
    return [...step.points.map((/** @type {string} */ point) => ({ words: `${plainly(point)} stands out`, body: { kind: 'level', points: [point], value: 'holds' } })),
      { words: 'No pin stands out', body: { kind: 'level', points: step.points.slice(0, 1), value: 'even' } }];
  }
  return [];
}

/** @param {any} step @param {Hands} hands */
export function tries(step, hands) {
  const rows = answersOf(step);
  if (rows.length) {
    return [h('div.row', { id: 'tries', role: 'group', 'aria-label': 'What it showed' }, rows.map((one, k) => h('button.key.slim', { type: 'button', id: `try-${k}`, disabled: hands.busy, onclick: () => hands.note(one.body) }, one.words))),
      step.part ? h('p', null, h('a', { id: 'to-chips', href: `${hands.chips}&part=${encodeURIComponent(step.part)}` }, `More on ${step.part}: which chip went in, its legs, its seat`)) : null];
  }
  if (step.kind === 'heat') return h('p', null, h('a', { href: '#heat', id: 'to-heat', onclick: (/** @type {Event} */ e) => { e.preventDefault(); hands.heat(); } }, 'Hand the picture in'));
  if (step.kind === 'inspect') return h('p', null, h('a', { id: 'to-look', href: hands.look }, 'Look over the board'));
  if (step.kind === 'start') return h('p', null, h('a', { id: 'to-power', href: hands.power }, 'Note that power is on'), ', then what it shows, below.');
  if (step.kind === 'repeat' || step.kind === 'spray') return countForm(step, hands);
  return null;
}

/** So many of the starts were as they should be. @param {any} step @param {Hands} hands */
function countForm(step, hands) {
  const good = /** @type {HTMLInputElement} */ (h('input', { id: 'good-starts', type: 'number', min: 0, max: TIMES, required: true, inputmode: 'numeric' }));
  return h('form.row', { id: 'starts-form', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); hands.starts({ good: Number(good.value), of: TIMES, ...(step.kind === 'spray' ? { condition: 'freeze spray', part: step.part } : {}) }); } },
    h('label.field', null, `Good starts of ${TIMES}`, good), h('button.key', { disabled: hands.busy }, 'Note them'));
}
