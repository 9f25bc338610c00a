// @ts-check
/** Can the map be trusted, and how long does this bench take: two leaves of numbers that the plan stands on. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf, post } from '../shared/api.js';
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
  let map, times, learned;
  try {
    [map, times, learned] = await Promise.all([get(app.url('map')), get(app.url('times')), get(app.url('learned'))]);
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawTrust(el, app))));
    return;
  }
  if (app.view !== 'trust' || turn !== turns) return;
  fill(el, h('div.leaf', null,
    h('h1', null, 'What the plan stands on'),
    h('p.lead', null, 'The map: is the fabrication data of this very board? The times: does this bench work as fast as the table says?'),
    h('div.two', null, mapSheet(app, map), h('div', null, fixSheet(app), timesSheet(app, times), learnedSheet(app, learned, () => drawTrust(el, app))))));
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

/** What past cases say of the priors, each with its counts; taken in or not. @param {App} app @param {any} learned @param {() => Promise<void>} again */
function learnedSheet(app, learned, again) {
  const use = async (/** @type {boolean} */ on) => {
    try {
      await post(app.url('learned'), { use: on });
      await again();
      await app.refresh();
    } catch (err) {
      app.fail(err);
    }
  };
  const rows = learned.used.length ? learned.used : learned.now;
  return h('section.sheet', { 'aria-label': 'What past cases say', id: 'learned' }, h('h2', null, 'What past cases say'),
    h('p', null, learned.used.length ? 'This case is planned with it.' : rows.length ? 'This case is planned without it.' : 'Nothing was learned yet: coppermend learn gather looks at the finished cases.'),
    rows.length ? h('table.table', null, h('thead', null, h('tr', null, ['Where', 'This model', 'Others', 'Default', 'Learned', 'Prior'].map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', null, rows.map((/** @type {any} */ one) => h('tr', null, learnedCells(one).map((t, i) => (i ? h('td', null, t) : h('th', { scope: 'row' }, t))))))) : null,
    rows.length ? h('p.why', null, 'Broken of settled sites in finished, proven cases; of parts, replaced with a cure in machines that were seen running. This case itself is left out. It says where to look first and proves nothing.') : null,
    learned.now.length && !learned.used.length ? h('button.key', { type: 'button', id: 'learned-use', disabled: app.busy, onclick: () => use(true) }, 'Plan this case with it') : null,
    learned.used.length ? h('button.key', { type: 'button', id: 'learned-drop', disabled: app.busy, onclick: () => use(false) }, 'Plan this case without it') : null);
}

/** The cells of one learned prior. Pure. @param {any} one @returns {string[]} */
export function learnedCells(one) {
  const percent = (/** @type {number} */ p) => `${(100 * p).toFixed(2)} %`;
  return [one.damage === 'part' ? `part ${one.site}` : `${one.site}, ${one.damage}`, `${one.broken.toFixed(1)} of ${one.sites}`, `${one.other_broken.toFixed(1)} of ${one.other_sites}`, percent(one.default), `${percent(one.rate)} (${percent(one.low)} to ${percent(one.high)})`, `× ${one.factor.toFixed(2)}`];
}

/** @param {string} t @param {string} v */
const cell = (t, v) => h('div', null, h('dt', null, t), h('dd', null, v));
