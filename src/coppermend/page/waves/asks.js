// @ts-check
/** What else a record tells: a gate against its logic, starts as a sequence, counted; and a figure read off the instrument's screen, judged by its resolution. */
import { fill, h } from '../shared/dom.js';
import { findingOf, send } from '../shared/api.js';
import { freshId } from '../shared/id.js';
import { withUnit } from './scale.js';

/** @typedef {{url: (what: string) => string, noted: () => Promise<void>}} Hands */
/** @typedef {(form: FormData) => Promise<(Node|string|null)[]>} Ask */

const ACCEPT = '.csv,.txt,.tsv,.vcd,text/csv,text/plain';

/** The three sheets under the record's own. @param {string} at the point that was come for @param {Hands} hands */
export function otherAsks(at, hands) {
  return h('div.wave-asks', null, typedForm(at, hands), gateForm(hands), startForm(at, hands));
}

/** @param {string} words @param {string} name @param {Record<string, any>} attrs */
const field = (words, name, attrs = {}) => h('label.field', null, words, h('input', { name, autocomplete: 'off', spellcheck: 'false', ...attrs }));
/** @param {FormData} data @param {string[]} names @returns {Record<string, string>} those that were filled in */
const filled = (data, names) => Object.fromEntries(names.map((name) => [name, String(data.get(name) ?? '').trim()]).filter(([, value]) => value));

/** @param {string} id @param {string} title @param {string} words @param {string} press @param {HTMLElement[]} fields @param {Hands} hands @param {Ask} ask */
function sheet(id, title, words, press, fields, hands, ask) {
  const said = h('div', { id: `${id}-said`, role: 'status' });
  const key = h('button.key', { id: `${id}-ask` }, press);
  let busy = false;
  return h('details', { id }, h('summary', null, title), h('form.sheet', { 'aria-label': title, onsubmit: async (/** @type {SubmitEvent} */ e) => {
    e.preventDefault();
    if (busy) return;
    busy = true;
    fill(said, h('p', null, 'Judging …'));
    try {
      fill(said, ...(await ask(new FormData(/** @type {HTMLFormElement} */ (e.target)))));
      await hands.noted();
    } catch (err) {
      const { words: what, remedy } = findingOf(err);
      fill(said, h('p.need', null, what, ' ', remedy));
    } finally {
      busy = false;
    }
  } }, h('p', null, words), h('div.form', null, fields), h('div.wave-tools', null, key)), said);
}

/** @param {string} verdict @param {string} words */
const verdictLine = (verdict, words) => h(verdict === 'right' ? 'p.wave-verdict' : 'p.wave-verdict.bad', null, words);

/** @param {string} at @param {Hands} hands */
function typedForm(at, hands) {
  return sheet('typed', 'A figure read off the screen', 'A period set with two cursors, or a counter’s frequency, counts by its resolution: 70 ns on a grid of 2 ns is no proof against 14.318 MHz. Without a grid the last digit counts.', 'Judge it', [
    field('Period or frequency', 'figure', { required: true, placeholder: '70 ns or 14.3182 MHz' }),
    field('At pin', 'at', { required: true, value: at, placeholder: 'U1.6' }),
    field('Grid or last digit', 'step', { placeholder: '2 ns' }),
    field('Periods between the cursors', 'periods', { inputmode: 'numeric', placeholder: '1' }),
    field('Expected, Hz', 'expect_hz', { inputmode: 'decimal', placeholder: 'by the pin' }),
  ], hands, async (data) => {
    const out = await send(hands.url('waves/typed'), null, { ...filled(data, ['figure', 'at', 'step', 'periods', 'expect_hz']), entry: freshId() });
    return [verdictLine(out.verdict, `${out.verdict}: ${out.words}`), h('p', null, 'Noted.')];
  });
}

/** @param {Hands} hands */
function gateForm(hands) {
  return sheet('gate', 'A gate against its logic', 'Record a gate’s inputs and its output together: every output with simple logic is compared wherever its inputs have rested for a moment, and the pin that disagrees is named. Without a list, channels named like pins are taken.', 'Judge it', [
    field('Record', 'file', { type: 'file', required: true, accept: ACCEPT }),
    field('Part', 'part', { required: true, placeholder: 'U11' }),
    field('Pins and their channels', 'pin', { placeholder: '1A=D0, 1B=D1, 1Y=D2' }),
    field('Inputs have rested for, s', 'settle_s', { inputmode: 'decimal', placeholder: '1e-7' }),
  ], hands, async (data) => {
    const out = await send(hands.url('waves/gate'), /** @type {File} */ (data.get('file')), { ...filled(data, ['part', 'pin', 'settle_s']), entry: freshId() });
    return [h('ul', null, out.pins.map((/** @type {any} */ one) => h('li', null, verdictLine(out.disagree.includes(one.pin) ? 'wrong' : 'right', `Pin ${one.pin} (${one.name} = ${one.logic}) ${one.words}`),
      h('p', null, `${withUnit(one.wrong_s, 's')} wrong of ${withUnit(one.judged_s, 's')} judged.`),
      one.rows.length ? h('ul', null, one.rows.map((/** @type {[string, string]} */ [row, level]) => h('li', null, `${row}: ${level}`))) : null))), h('p', null, 'Noted.')];
  });
}

/** @param {string} at @param {Hands} hands */
function startForm(at, hands) {
  return sheet('start', 'A start, several times', 'Record supply, clock and reset at power-up, one file a start. The reset must last as long after supply and clock as the chip at its pin wants; earlier starts at that pin are counted with them.', 'Judge them', [
    field('Records, one a start', 'file', { type: 'file', required: true, multiple: true, accept: ACCEPT }),
    field('Reset at pin', 'at', { required: true, value: at, placeholder: 'U1.26' }),
    field('Channel of the reset', 'reset', { required: true, placeholder: 'CH1' }),
    field('Supply, if recorded', 'rail', { placeholder: 'CH2' }),
    field('Clock, if recorded', 'clock', { placeholder: 'CH3' }),
  ], hands, async (data) => {
    const files = /** @type {File[]} */ (data.getAll('file'));
    const out = await send(hands.url('waves/starts'), null, { ...filled(data, ['at', 'reset', 'rail', 'clock']), file: files, entry: files.map(() => freshId()) });
    return [verdictLine(out.right === out.times ? 'right' : 'wrong', `${out.words}.`), h('ol', null, out.starts.map((/** @type {any} */ one, /** @type {number} */ k) => h('li', null, h('b', null, `${files[k].name}: ${one.verdict}`), `, ${one.words}`,
      h('ul', null, one.events.map((/** @type {[number, string]} */ [when, what]) => h('li', null, `${withUnit(when, 's')}: ${what}`)))))), h('p', null, 'Noted.')];
  });
}
