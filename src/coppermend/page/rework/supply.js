// @ts-check
/** The voltage-drop method for a short: limits, clips, drops, warmth. */
import { h } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';

/** @param {any} plan */
export function supplySheet(plan) {
  return h('section.sheet', { id: 'supply' }, h('h2', null, `${plan.net_a} and ${plan.net_b}: with a limited current`),
    h('p', null, `Supply: at most ${plan.open_v} V open, current limit ${plan.limit.words}`),
    h('p', null, `${plan.feed_words} About ${(plan.expected_v * 1000).toFixed(0)} mV will stand between the clips. Likeliest place so far: ${plan.place}.`),
    h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'Drops to expect' }, h('table.pins', null, h('thead', null, h('tr', null, ['net', 'moving tip at', 'mV', ''].map((t) => h('th', { scope: 'col' }, t || 'where')))),
      h('tbody', null, plan.drops.map((/** @type {any} */ d) => h('tr', null, h('td', null, d.net), h('td', null, d.words), h('td.figure', null, d.drop_mv.toFixed(2)), h('td', null, d.on_the_way ? '' : 'at the short or beyond it')))))),
    plan.words.map((/** @type {string} */ w) => h('p', null, inPageWords(w))),
    h('details', null, h('summary', null, 'What this rests on'), h('ul', null, plan.assumed.map((/** @type {string} */ a) => h('li', null, a)))),
    h('ul.cautions', null, plan.cautions.map((/** @type {string} */ c) => h('li', null, c))));
}
