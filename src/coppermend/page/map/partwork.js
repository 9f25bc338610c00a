// @ts-check
/** What is done to a part or read at one pin, from the card: taken out, fitted, seated again, swapped, state, volts, level, temperature. */
import { h } from '../shared/dom.js';

/** The acts that a part in this state allows, as the log names them. Pure. @param {string} state @returns {[string, string][]} */
export function actsFor(state) {
  if (state === 'out' || state === 'not fitted') return [['fit', 'Fitted']];
  if (state === 'socketed') return [['remove', 'Taken out'], ['reseat', 'Seated again'], ['swap', 'Swapped']];
  return [['remove', 'Unsoldered'], ['swap', 'Replaced']];
}

/** @param {import('../main.js').App} app @param {any} point */
export function partWork(app, point) {
  if (!point.part) return null;
  const state = app.bench?.states[point.part] ?? app.map.stateOf(point.part);
  const open = app.partOpen === point.part;
  return h('details.partwork', { open, ontoggle: (/** @type {any} */ e) => { if (e.target.isConnected) app.partOpen = e.target.open ? point.part : ''; } }, h('summary', null, `${point.part} is ${state}; work on it`),
    h('p.where', null, h('a', { href: `/page/rework.html?case=${encodeURIComponent(app.id)}&part=${encodeURIComponent(point.part)}` }, 'how to take it out without harm')),
    h('div.row', null, actsFor(state).map(([kind, words]) => h('button.key.slim', { type: 'button', disabled: app.busy, onclick: () => app.do('partAct', kind, point.part) }, words))),
    h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); app.do('pinValue', Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target))), point); } },
      h('label.field', null, 'Reading here', h('select', { name: 'kind' }, h('option', { value: 'volts' }, 'volts'), h('option', { value: 'level' }, 'level: low, high, toggling, floating, stuck'), h('option', { value: 'heat' }, 'temperature of the part'))),
      h('label.field', null, 'Value', h('input', { name: 'value', id: 'pin-value', required: true, autocomplete: 'off', placeholder: '5.02 V, high, 41 C' })),
      h('button.key.slim', null, 'Note')));
}
