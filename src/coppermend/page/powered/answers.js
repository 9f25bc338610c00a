// @ts-check
/** Answers under power: one key for what a probe shows at a pin, a value from the meter, a saved wave; a check by beep; a part that was swapped; what the start shows. */
import { h } from '../shared/dom.js';

/** One key a level. ``says`` the word of the log. @type {{key: string, cap: string, says: string, words: string}[]} */
export const LEVEL_KEYS = [
  { key: 'h', cap: 'H', says: 'high', words: 'High' },
  { key: 'l', cap: 'L', says: 'low', words: 'Low' },
  { key: 'p', cap: 'P', says: 'pulsing', words: 'Pulsing' },
  { key: 'f', cap: 'F', says: 'floating', words: 'Floating' },
  { key: 'r', cap: 'R', says: 'right', words: 'Pattern right' },
  { key: 'w', cap: 'W', says: 'wrong', words: 'Pattern wrong' },
];
/** @type {{key: string, cap: string, says: string, words: string}[]} */
export const CHECK_KEYS = [
  { key: 'c', cap: 'C', says: 'closed', words: 'It beeps: closed' },
  { key: 'o', cap: 'O', says: 'open', words: 'No beep: open' },
];

/** The kind of reading that a typed value is: a frequency by its unit, else a voltage. Pure. @param {string} text */
export const kindOf = (text) => (/hz\s*$/i.test(text.trim()) ? 'hertz' : 'volts');

/** What a key answers at a step of that kind: the entry's kind and value, or null. Pure. @param {string} key @param {boolean} check */
export function answerOf(key, check) {
  const row = (check ? CHECK_KEYS : LEVEL_KEYS).find((one) => one.key === key.toLowerCase());
  return row ? (check ? { kind: row.says, value: '' } : { kind: 'level', value: row.says }) : null;
}

/** Keys for one point. @param {string[]} points @param {boolean} check @param {boolean} busy @param {(kind: string, points: string[], value: string) => void} note */
export function answerKeys(points, check, busy, note) {
  const rows = check ? CHECK_KEYS : LEVEL_KEYS;
  return h('div.suspect-keys', { role: 'group', 'aria-label': check ? 'What the meter says' : 'What the probe shows' }, rows.map((row) =>
    h(row.says === 'right' || row.says === 'wrong' ? 'button.key.slim' : 'button.key', { type: 'button', id: `say-${row.says}`, disabled: busy, onclick: () => note(check ? row.says : 'level', points, check ? '' : row.says) }, row.words, h('kbd', null, row.cap))));
}

/** What a level was looked at with: the word of the log, and how it is said. @type {[string, string][]} */
export const INSTRUMENTS = [['', 'not said: scope or logic probe'], ['scope', 'a scope'], ['probe', 'a logic probe'], ['meter', 'a meter'], ['analyser', 'a logic analyser']];

/** The entry's fields for a level looked at with that instrument; none for anything else. Pure. @param {string} kind @param {string} instrument */
export const lookedWith = (kind, instrument) => (kind === 'level' && instrument ? { options: { with: instrument } } : {});

/** What the next levels are looked at with; it stays so until it is changed. @param {string} now @param {(name: string) => void} take */
export function instrumentChoice(now, take) {
  const pick = /** @type {HTMLSelectElement} */ (h('select', { id: 'looked-with', onchange: () => take(pick.value) }, INSTRUMENTS.map(([name, words]) => h('option', { value: name, selected: name === now }, words))));
  return h('label.field', null, 'Looked at with (a line that nothing drives looks otherwise to each)', pick);
}

/** A value from the meter. @param {string[]} points @param {boolean} check @param {(kind: string, points: string[], value: string) => void} note */
export function valueForm(points, check, note) {
  const field = /** @type {HTMLInputElement} */ (h('input', { name: 'value', id: 'value', required: true, autocomplete: 'off', spellcheck: 'false', placeholder: check ? '0.4 or 4.7k' : '4.95 V or 4.000 MHz' }));
  return h('form.row', { id: 'value-form', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); note(check ? 'ohms' : kindOf(field.value), points, field.value.trim()); field.value = ''; } },
    h('label.field', null, check ? 'Or ohms' : 'Or volts, or a frequency with its Hz', field), h('button.key', null, 'Note the value'));
}

/** A record saved by the instrument, at this point. @param {string} name @param {(file: File) => void} take */
export function waveForm(name, take) {
  return h('label.field', null, `Or a wave saved at ${name} (CSV or VCD)`, h('input', { type: 'file', id: 'wave-file', accept: '.csv,.txt,.tsv,.vcd,text/csv,text/plain',
    onchange: (/** @type {any} */ e) => { const file = e.target.files?.[0]; if (file) take(file); } }));
}

/** What the start shows. @param {{name: string, words: string}[]} screens @param {boolean} powerOn @param {(name: string, words: string) => void} note */
export function symptomForm(screens, powerOn, note) {
  const choice = /** @type {HTMLSelectElement} */ (h('select', { name: 'screen', id: 'screen', required: true }, h('option', { value: '' }, 'choose …'), screens.map((one) => h('option', { value: one.name }, one.words))));
  return h('form.row', { id: 'symptom-form', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); note(choice.value, choice.selectedOptions[0].text); } },
    h('label.field', null, powerOn ? 'What this start shows' : 'What the last start showed', choice), h('button.key', null, 'Note it'));
}
