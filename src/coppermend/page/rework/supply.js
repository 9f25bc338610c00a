// @ts-check
/** The voltage-drop method for a short: limits, clips, drops, warmth. */
import { h } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';

/** What the method is asked with; nets left empty are those of the last reading that shows a short. @param {Record<string, string>} said @param {(said: Record<string, string>) => void} plan @returns {HTMLElement} */
export function supplyForm(said, plan) {
  const field = (/** @type {string} */ words, /** @type {string} */ name, /** @type {string} */ hint) => h('label.field', null, words, h('input', { name, value: said[name] ?? '', placeholder: hint, autocomplete: 'off', spellcheck: 'false' }));
  return h('form.sheet', { id: 'supply-asked', 'aria-label': 'With which supply and meter', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); plan(suppliedWith(/** @type {HTMLFormElement} */ (e.target))); } },
    h('div.row', null, field('One net', 'net_a', 'from the readings'), field('The other net', 'net_b', 'from the readings'), field('Last digit of the millivolt meter, mV', 'step_mv', '0.1'), field('The supply gives at most, A', 'most_a', '1'), h('button.key.hot', { id: 'supply-plan' }, 'Plan')));
}

/** The form's fields that were filled in; a comma is a point. @param {HTMLFormElement} form @returns {Record<string, string>} */
function suppliedWith(form) {
  const said = [...new FormData(form)].map(([k, v]) => /** @type {[string, string]} */ ([k, String(v).trim()])).filter(([, v]) => v);
  return Object.fromEntries(said.map(([k, v]) => [k, k === 'step_mv' || k === 'most_a' ? v.replace(',', '.') : v]));
}

/** @param {any} plan */
export function supplySheet(plan) {
  return h('section.sheet', { id: 'supply' }, h('h2', null, `${plan.net_a} and ${plan.net_b}: with a limited current`),
    h('p', null, `Supply: at most ${plan.open_v} V open, current limit ${plan.limit.words}`),
    h('p', null, `${plan.feed_words} About ${(plan.expected_v * 1000).toFixed(0)} mV will stand between the clips. Likeliest place so far: ${plan.place}.`),
    h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'Drops to expect' }, h('table.pins', null, h('thead', null, h('tr', null, ['net', 'moving tip at', 'mV', ''].map((t) => h('th', { scope: 'col' }, t || 'where')))),
      h('tbody', null, plan.drops.map((/** @type {any} */ d) => h('tr', null, h('td', null, d.net), h('td', null, d.words), h('td.figure', null, d.drop_mv.toFixed(2)), h('td', null, d.on_the_way ? '' : 'at the short or beyond it')))))),
    plan.words.map((/** @type {string} */ w) => h('p', null, inPageWords(w))),
    h('p', { id: 'supply-note' }, 'Note each drop at the bench, with what was read in place of VOLT and POINT. ', plan.note_words.map((/** @type {string} */ w, /** @type {number} */ k) => h('span', null, `${k ? plan.net_b : plan.net_a}: `, h('code', null, w), ' '))),
    h('details', null, h('summary', null, 'What this rests on'), h('ul', null, plan.assumed.map((/** @type {string} */ a) => h('li', null, a)))),
    h('ul.cautions', null, plan.cautions.map((/** @type {string} */ c) => h('li', null, c))));
}
