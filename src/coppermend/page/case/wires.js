// @ts-check
/** Patch wires: where breaks lie, what bridges them, what proves the bridge. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { chance } from '../shared/words.js';
import { errorSheet } from './home.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export async function drawWires(el, app) {
  fill(el, h('div.leaf', null, h('h1', null, 'Breaks and wires'), h('div.skeleton', null)));
  let data;
  try {
    data = await get(app.url('wires'));
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawWires(el, app))));
    return;
  }
  fill(el, h('div.leaf', null,
    h('h1', null, 'Breaks and wires'),
    h('p.lead', null, data.spans.length ? 'Each break that the readings leave no doubt about, and the wire that mends it.' : 'No break is known yet.'),
    data.spans.map((/** @type {any} */ span) => h('section.sheet', null,
      h('h2', null, span.words), h('p', null, `Net ${span.net}; broken: ${chance(span.p)}.`),
      h('div.row', null, h('button.key.slim', { type: 'button', onclick: () => app.do('showSpan', span) }, 'Show it on the board')),
      span.plans.length ? span.plans.map((/** @type {any} */ plan, /** @type {number} */ i) => planSheet(app, plan, i)) : h('p', null, span.why_none || 'No wire can be proposed yet.'))),
    h('h2', null, 'Fitted'),
    data.fitted.length ? h('table.table', null, h('thead', null, h('tr', null, h('th', null, 'wire'), h('th', null, 'state'))), h('tbody', null, data.fitted.map((/** @type {any} */ w) => h('tr', null, h('td', null, w.words), h('td', null, w.state, w.checks?.length ? h('ul', null, w.checks.map((/** @type {any} */ c) => h('li', null, c.words))) : null))))) : h('p', null, 'No patch wire was noted in this case.'),
    data.cautions?.length ? h('ul.cautions', null, data.cautions.map((/** @type {string} */ c) => h('li', null, c))) : null));
}

/** @param {import('../main.js').App} app @param {any} plan @param {number} i */
function planSheet(app, plan, i) {
  return h('div.tip', null,
    h('div.where', null, i ? `Another way: ${plan.words}` : plan.words),
    h('div.touch', null, plan.notes?.join(' ') ?? ''),
    h('div.row', null, plan.wires.map((/** @type {any} */ w) => h('button.key.slim', { type: 'button', onclick: () => app.do('wireFitted', w) }, `Note as fitted: ${w.a.name} to ${w.b.name}`))));
}
