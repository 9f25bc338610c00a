// @ts-check
/** Can the map be trusted, and how long does this bench take: two leaves of numbers that the plan stands on. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { chance, ohms, seconds, sentence } from '../shared/words.js';
import { errorSheet, waitingLeaf } from './home.js';

/** @typedef {import('../main.js').App} App */

const STATES = /** @type {Record<string, string>} */ ({ trusted: 'Map and board agree', agreed: 'Compared by hand: they agree', wrong: 'Map and board do not agree', open: 'Not looked at yet', undecided: 'Not certain' });

/** The newest drawing counts: an older answer that comes late must not empty a form that is being filled. */
let turns = 0;

/** @param {HTMLElement} el @param {App} app */
export async function drawTrust(el, app) {
  const turn = ++turns;
  if (el.dataset.case !== app.id) fill(el, waitingLeaf('What the plan stands on'));
  el.dataset.case = app.id;
  let map, times;
  try {
    [map, times] = await Promise.all([get(app.url('map')), get(app.url('times'))]);
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawTrust(el, app))));
    return;
  }
  if (app.view !== 'trust' || turn !== turns) return;
  fill(el, h('div.leaf', null,
    h('h1', null, 'What the plan stands on'),
    h('p.lead', null, 'The map: is the fabrication data of this very board? The times: does this bench work as fast as the table says?'),
    h('div.two', null, mapSheet(app, map), h('div', null, fixSheet(app), timesSheet(app, times)))));
}

/** @param {App} app @param {any} map */
function mapSheet(app, map) {
  const done = map.chosen.length - map.left.length;
  return h('section.sheet', { 'aria-label': 'The map' }, h('h2', null, STATES[map.state] ?? map.state),
    h('p', null, `Chance that this is another board's map: ${chance(map.p_wrong)}.`),
    map.contradictions.length ? h('div.need', null, h('p', null, 'Readings on copper that nobody worked on say otherwise. Compare type, revision and date printed on the board; then go on, or correct the map here.'),
      h('ul', null, map.contradictions.map((/** @type {any} */ one) => h('li', null, `${one.tips[0].name} and ${one.tips[1].name}: read ${one.closed ? 'closed' : 'open'}, the map says ${one.closed ? 'apart' : 'joined'}`)))) : null,
    h('p', null, `${done} of ${map.chosen.length} checks on untouched copper are read.`),
    map.left.length ? h('ol.proofs', { 'aria-label': 'Checks that tell more' }, map.left.map((/** @type {any} */ c) => h('li', null, h('span', null, h('b', null, `${c.a.name} and ${c.b.name}`), h('span', null, `${c.purpose === 'isolation' ? 'must not beep' : `should beep${c.expected_ohm ? `, about ${ohms(c.expected_ohm)}` : ''}`}. ${sentence(c.reason)}`)), h('button.key.slim', { type: 'button', 'aria-label': `Measure ${c.a.name} and ${c.b.name}`, onclick: () => app.do('measure', c) }, 'Measure')))) : null);
}

/** @param {App} app */
function fixSheet(app) {
  const point = (/** @type {string} */ name, /** @type {string} */ words, needed = false) => h('label.field', null, words, h('input', { name, list: 'find-names', autocomplete: 'off', placeholder: 'U1.8', required: needed }));
  return h('form.sheet', { 'aria-label': 'Correct the map', onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); app.do('mapFix', Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target)))); } },
    h('h2', null, 'Correct the map at one place'),
    h('p', null, 'What you found by eye or meter on this board. It is an entry of the log; Back on the bench takes it back.'),
    h('div.form', null,
      h('label.field.wide', null, 'On this board', h('select', { name: 'says' }, h('option', { value: 'joined' }, 'these two are joined, the map lacks it'), h('option', { value: 'apart' }, 'this pin is not on the map’s net'), h('option', { value: 'agreed' }, 'map and board were compared and agree'))),
      point('a', 'Pin'), point('b', 'Second pin, for joined'), h('label.field.wide', null, 'Why, for the log', h('input', { name: 'words', autocomplete: 'off' })), h('button.key', null, 'Note it')));
}

/** @param {App} app @param {any} times */
function timesSheet(app, times) {
  const seen = times.acts.filter((/** @type {any} */ a) => a.seen);
  return h('section.sheet', { 'aria-label': 'Bench times' }, h('h2', null, 'Bench times'),
    times.used ? h('dl.numbers', null, cell('by the table', seconds(times.predicted_s)), cell('by your factors', seconds(times.fitted_s)), cell('it took', seconds(times.actual_s))) : h('div.empty', null, 'No two readings follow each other yet.'),
    seen.length ? h('table.table', null, h('thead', null, h('tr', null, ['Act', 'Seen', 'Table', 'Here', 'Factor'].map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', null, seen.map((/** @type {any} */ a) => h('tr', null, h('th', { scope: 'row' }, a.act), h('td', null, a.seen), h('td', null, `${a.table_s.toFixed(1)} s`), h('td', null, `${a.bench_s.toFixed(1)} s`), h('td', null, `${a.factor.toFixed(2)} ± ${a.sd.toFixed(2)}`))))) : null,
    h('p.why', null, `${times.used} times between readings used, ${times.left_out} left out: pauses, typed lists.`),
    times.enough ? h('button.key', { type: 'button', disabled: app.busy, onclick: () => app.do('useTimes') }, 'Plan this case with these times') : h('p.why', null, `From ${times.least} on the case can be planned with them.`));
}

/** @param {string} t @param {string} v */
const cell = (t, v) => h('div', null, h('dt', null, t), h('dd', null, v));
