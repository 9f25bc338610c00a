// @ts-check
/** The end of a practice case: what was really broken, what was found, and how many readings the planner takes. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { count, seconds, sentence } from '../shared/words.js';

/** How one of the patient's breaks or bridges came out. Pure. @param {{found: boolean, mended: boolean}} b */
export const fate = (b) => (b.mended ? 'mended' : b.found ? 'found, not mended' : 'not found');

/** The readings against the planner's, those between two nets too where the planner has such. Pure. @param {{readings: number, planner_checks: number, apart?: number, planner_apart?: number}} one */
export function againstPlanner(one) {
  const more = one.readings - one.planner_checks + (one.planner_apart ? (one.apart ?? 0) - one.planner_apart : 0);
  return more > 0 ? `${count(more, 'reading')} more than the planner.` : more === 0 ? 'As many as the planner.' : `${count(-more, 'reading')} fewer than the planner, which goes on until nothing is left to prove.`;
}

/** @param {HTMLDialogElement} el @param {import('../main.js').App} app */
export async function openFinish(el, app) {
  const truth = await get(app.url('practice/truth'));
  const good = h('form', { method: 'dialog' }, h('button.key.hot', null, 'Good'));
  const against = h('div', { id: 'against', role: 'status' }, h('p.why', null, 'The planner works on the same patient …'));
  fill(el, h('h2', null, 'What was really broken'),
    truth.breaks.length ? h('ul.truths', null, truth.breaks.map((/** @type {any} */ b) => h('li', { 'data-fate': fate(b) }, h('b', null, `${b.net.includes(' and ') ? 'Nets' : 'Net'} ${b.net}: ${fate(b)}`), h('span', null, sentence(b.words)), b.path?.length ? h('button.key.slim', { type: 'button', 'aria-label': `Show on the board: net ${b.net}`, onclick: () => { el.close(); app.do('showSpan', { net: b.net, p: 1, words: b.words, sites: [], path: [[b.layer, b.path]] }); } }, 'Show') : null))) : h('p', null, 'Nothing was.'),
    h('p', null, sentence(truth.words)), h('h3', null, 'How the readings lied'), h('ul.lies', null, truth.lies.map((/** @type {string} */ one) => h('li', null, sentence(one)))), against, good);
  el.showModal();
  try {
    const one = await get(app.url('practice/planner'));
    fill(against, h('dl.numbers', null, cell('your readings on one net', one.readings), cell('the planner’s checks', one.planner_checks), cell('its time, modelled', seconds(one.planner_seconds)), one.planner_apart ? [cell('your readings between two nets', one.apart), cell('the planner’s there', one.planner_apart)] : null),
      h('p.why', null, `${againstPlanner(one)} ${one.apart && !one.planner_apart ? `${count(one.apart, 'reading')} between two nets are not counted.` : ''}`));
  } catch (err) {
    fill(against, h('p', null, findingOf(err).words));
  }
}

/** @param {string} t @param {any} v */
const cell = (t, v) => h('div', null, h('dt', null, t), h('dd', null, v));
