// @ts-check
/** Where a beep is not enough: where a short sits, stretches with two ways round, a stretch with too much resistance. Draws; decides nothing. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { tickOf } from '../round/state.js';
import { lyingWhere } from '../map/rows.js';
import { chance, ohms, sentence } from '../shared/words.js';
import { findingInPageWords } from '../shared/pagewords.js';

/** @typedef {import('../main.js').App} App */
/** What the person asked for. @typedef {{net_a: string, net_b: string, net: string, meter: string, step_ohm: string, zeroed: boolean}} Wanted */

/** @type {Wanted} */
export const NOTHING_ASKED = { net_a: '', net_b: '', net: '', meter: 'four-wire', step_ohm: '0.01', zeroed: false };

/** The question as it is put to the server. Pure. @param {'short'|'ways'|'excess'} what @param {Wanted} wanted */
export function question(what, wanted) {
  const ask = new URLSearchParams({ meter: wanted.meter, step_ohm: wanted.step_ohm });
  if (what !== 'short') ask.set('net', wanted.net);
  else if (wanted.net_a || wanted.net_b) {
    ask.set('net_a', wanted.net_a);
    ask.set('net_b', wanted.net_b);
  }
  return `${what}?${ask}`;
}

/** How a reading was taken, as the log wants it; a lead of 0 ohm taken off stands for a meter that was set to zero. Pure. @param {Wanted} wanted @returns {Record<string, any>} */
export const howRead = (wanted) => (wanted.meter === 'four-wire' ? { wires: 4 } : { wires: 2, step_ohm: Number(wanted.step_ohm), ...(wanted.zeroed ? { lead_ohm: 0 } : {}) });

/** Each answer is drawn when it comes: a net with many ways takes its seconds. @param {HTMLElement} el @param {App} app */
export async function drawOhms(el, app) {
  const wanted = app.ohm;
  const boxes = { short: waiting(), ways: waiting(), excess: waiting() };
  fill(el, h('div.leaf', null,
    h('h1', null, 'By ohms'),
    h('p.lead', null, 'Where a beep is not enough: where two nets touch, copper with another way round it, a joint that half holds. Board unpowered, charged parts emptied.'),
    meterSheet(app),
    h('section.sheet', { 'aria-label': 'Two nets touch' }, h('h2', null, 'Two nets touch'), netsForm(app), boxes.short),
    h('section.sheet', { 'aria-label': 'One net' }, h('h2', null, 'One net'), netForm(app),
      wanted.net ? [h('h3', null, 'Two ways round'), boxes.ways, h('h3', null, 'Too much resistance'), boxes.excess] : null)));
  const answer = async (/** @type {'short'|'ways'|'excess'} */ what, /** @type {(app: App, found: any) => HTMLElement} */ draw) => {
    const found = await get(app.url(question(what, wanted))).catch((err) => ({ refused: findingOf(err) }));
    if (wanted === app.ohm && boxes[what].isConnected) fill(boxes[what], draw(app, found));
  };
  const joined = wanted.net_a || wanted.net_b || app.bench?.readings.some((/** @type {any} */ r) => !r.undone && tickOf(r) === 'bridge');
  if (!joined) fill(boxes.short, noneJoined());
  await Promise.all([...(joined ? [answer('short', shortAnswer)] : []), ...(wanted.net ? [answer('ways', waysAnswer), answer('excess', excessAnswer)] : [])]);
}

const waiting = () => h('div.answer', { 'aria-live': 'polite' }, h('p.why', null, 'Working it out …'), h('div.skeleton', null));

/** @param {Event} e */
const fieldsOf = (e) => { e.preventDefault(); return Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target))); };

/** @param {App} app */
function meterSheet(app) {
  const { meter, step_ohm, zeroed } = app.ohm;
  const option = (/** @type {string} */ v, /** @type {string} */ words) => h('option', { value: v, selected: v === meter }, words);
  const two = meter === 'two-wire';
  return h('form.row', { onsubmit: (/** @type {Event} */ e) => app.do('askOhms', fieldsOf(e)) },
    h('label.field', null, 'Read with', h('select', { name: 'meter', onchange: (/** @type {any} */ e) => app.do('askOhms', { meter: e.target.value }) }, option('four-wire', 'four wires: milliohms'), option('two-wire', 'two wires: a hand meter'))),
    two ? h('label.field', null, 'Its last digit, ohm', h('input', { name: 'step_ohm', value: step_ohm, inputmode: 'decimal', required: true, pattern: '[0-9.]+' })) : null,
    two ? h('button.key.slim', null, 'Take it') : null,
    two ? h('label.tickbox', null, h('input', { type: 'checkbox', id: 'ohm-zeroed', checked: zeroed, onchange: (/** @type {any} */ e) => app.do('ohmsZeroed', e.target.checked) }), h('span', null, 'Leads taken off: the meter showed 0 with its tips on each other')) : null,
    two && !zeroed ? h('p.why', null, 'Leads have 0.1 to 0.5 Ω. While they are not taken off, a reading may have so much too much, and tells less.') : null);
}

const netField = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ value) =>
  h('label.field', null, words, h('input', { name, id: `ohm-${name}`, value, list: 'find-names', autocomplete: 'off', spellcheck: 'false' }));

/** @param {App} app */
function netsForm(app) {
  return h('form.row', { onsubmit: (/** @type {Event} */ e) => app.do('askOhms', fieldsOf(e)) },
    netField('net_a', 'One net', app.ohm.net_a), netField('net_b', 'The other', app.ohm.net_b), h('button.key.slim', null, 'Where?'));
}

/** @param {App} app */
function netForm(app) {
  return h('form.row', { onsubmit: (/** @type {Event} */ e) => app.do('askOhms', fieldsOf(e)) }, netField('net', 'Net', app.ohm.net), h('button.key.slim', null, 'Look at it'));
}

/** @param {import('../shared/api.js').Finding} finding */
const refused = (finding) => h('div.empty', null, h('p', null, h('b', null, finding.words)), h('p', null, finding.remedy));

/** Its length is set by script: the page's policy takes no style out of markup. @param {number} p */
function bar(p) {
  const part = h('i', null);
  part.style.inlineSize = `${Math.round(100 * p)}%`;
  return h('span.bar', { 'aria-hidden': 'true' }, part);
}

/** What stands there as long as no reading lies across two nets. */
const noneJoined = () => h('div.empty', null, h('p', null, 'No reading of this case shows two nets joined.'), h('p', null, 'Name two nets above, or measure from one to the other on the bench.'));

/** @param {App} app @param {any} found */
function shortAnswer(app, found) {
  if (found.refused?.code === 'SHO-001' && !/speak no more/.test(found.refused.words)) return noneJoined();
  if (found.refused) return refused(findingInPageWords(found.refused));
  const { next } = found;
  return h('div.stack', null,
    h('p.step-words', null, `${found.net_a} and ${found.net_b}`), h('p', null, sentence(found.words)),
    !found.places.length ? null : h('ol.places', { 'aria-label': 'Places where they may touch' }, found.places.map((/** @type {any} */ one) => h('li', null, bar(one.p), h('b', null, chance(one.p)), h('span', null, `${one.words}; gap ${one.gap_mm.toFixed(2)} mm`), h('button.key.slim', { type: 'button', 'aria-label': `Show on the board: ${one.words}`, onclick: () => app.do('showPlace', one) }, 'Show')))),
    found.ellipse_words ? h('div.plan', null, h('p', null, found.ellipse_words), h('button.key.slim', { type: 'button', onclick: () => app.do('showEllipse', found.ellipse) }, 'Show the ellipse on the board')) : null,
    next ? readNext(app, next, next.form === 'transfer' ? next.sense_tips : [], next.force_tips) : null,
    next ? h('p.why', null, `The place is known to about ${next.sd_now_mm} mm (one standard deviation); after this reading ${next.sd_after_mm} mm are expected.`) : null,
    lines('Read so far', found.readings), lines('Left out', found.left_out), lines('To know', found.notes.filter((/** @type {string} */ one) => one !== found.ellipse_words)),
    restsOn(found.assumed),
    h('p.need', null, found.caution));
}

/** The reading to take next, with a field for it. @param {App} app @param {any} next @param {any[]} sense @param {any[]} force */
function readNext(app, next, sense, force) {
  const where = (/** @type {any} */ t) => `${t.name} (${t.side_words}; ${lyingWhere(t, app.map.view)})`;
  return h('form.reading', { onsubmit: (/** @type {Event} */ e) => app.do('ohmsRead', force, sense, String(fieldsOf(e).value)) },
    h('b', null, 'Read next'),
    h('span', null, sense.length ? `Current in at ${where(force[0])}, out at ${where(force[1])}. Voltage between ${where(sense[0])} and ${where(sense[1])}.` : `From ${where(force[0])} to ${where(force[1])}.`),
    h('div.row', null,
      h('label.field', null, next.expected_ohm ? `Ohms (likeliest: ${ohms(next.expected_ohm)})` : 'Ohms', h('input', { name: 'value', required: true, autocomplete: 'off', placeholder: '0.012, 12m, OL' })),
      h('button.key.slim', { disabled: app.busy }, 'Note it'),
      h('button.key.slim', { type: 'button', onclick: () => app.do('measure', { a: force[0], b: force[1] }) }, 'On the board')));
}

/** @param {string} title @param {string[]} list */
const lines = (title, list) => (list?.length ? h('details', null, h('summary', null, `${title}: ${list.length}`), h('ul', null, list.map((one) => h('li', null, one)))) : null);

/** @param {string[]} assumed */
const restsOn = (assumed) => (assumed?.length ? h('details', null, h('summary', null, 'What this rests on'), h('ul', null, assumed.map((one) => h('li', null, one)))) : null);

/** @param {App} app @param {any} found */
function waysAnswer(app, found) {
  if (found.refused) return refused(found.refused);
  if (!found.rows.length && !found.others.length) return h('p', null, `Net ${found.net} has no stretch with two ways round: a beep proves all of it.`);
  return h('div.stack', null,
    found.rows.map((/** @type {any} */ row) => h('div.plan', null,
      h('p', null, h('b', null, sentence(row.stretch))),
      h('p', null, `${row.tips[0].name} to ${row.tips[1].name}: ${ohms(row.reading.whole_ohm)} when whole, ${ohms(row.reading.broken_ohm)} when broken.`, row.fine_enough ? '' : h('b', null, ' This meter is too coarse for that.')),
      row.p_broken === null || row.p_broken === undefined ? null : h('p', null, `Read: broken ${chance(row.p_broken)}.`),
      row.fine_enough ? readNext(app, { expected_ohm: row.reading.whole_ohm }, [], row.tips) : null)),
    lines('No reading tells these', found.others), restsOn(found.assumed));
}

/** @param {App} app @param {any} found */
function excessAnswer(app, found) {
  if (found.refused) return refused(found.refused);
  return h('div.stack', null, h('p', null, found.words),
    found.readings.length ? h('ol.places', null, found.stretches.map((/** @type {any} */ [words, p, ohm]) => h('li', null, bar(p), h('b', null, chance(p)), h('span', null, `${sentence(words)}: ${ohm === null ? 'no reading runs through it yet' : `${ohms(ohm)} too much`}`)))) : h('p.why', null, 'No reading on this net yet.'),
    found.tips.length === 2 ? readNext(app, {}, [], found.tips) : null,
    lines('Read so far', found.readings), restsOn(found.assumed));
}
