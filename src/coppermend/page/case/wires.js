// @ts-check
/** Patch wires: where breaks lie, what bridges them, what proves the bridge. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { lyingWhere } from '../map/rows.js';
import { chance, plainly, sentence } from '../shared/words.js';
import { errorSheet, waitingLeaf } from './home.js';
import { ownWire } from './ownwire.js';
import { gaugeForm } from './gauge.js';
import { inPageWords } from '../shared/pagewords.js';
import { staysKey } from '../round/slip.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export async function drawWires(el, app) {
  const at = document.activeElement?.id ?? '';
  fill(el, waitingLeaf('Breaks and wires'));
  let data;
  try {
    data = await get(app.url('wires'));
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawWires(el, app))));
    return;
  }
  fill(el, h('div.leaf', null,
    h('h1', null, 'Breaks and wires'),
    h('p.lead', null, leadOf(data)),
    data.open.length ? h('section.sheet', { 'aria-label': 'Reads open' }, data.open.map((/** @type {string} */ words) => h('p', null, words)), h('p', null, 'Narrow it down first.'), h('button.key', { type: 'button', onclick: () => app.do('view', 'bench') }, 'To the next step')) : null,
    data.spans.length || data.fitted.length || data.open.length ? null : h('div.empty', null, h('p', null, 'Breaks show here as soon as readings leave no doubt of them, each with the wire that mends it.'), h('p', null, h('button.key', { type: 'button', onclick: () => app.do('view', 'bench') }, 'To the round'))),
    data.spans.map((/** @type {any} */ span) => h('section.sheet', null,
      h('h2', null, `Net ${span.net}: ${span.cut ? 'cut on purpose' : chance(span.p)}`), h('p', null, sentence(inPageWords(span.words)) + '.'),
      h('div.row', null, h('button.key.slim', { type: 'button', onclick: () => app.do('showSpan', span) }, 'Show it on the board'), span.cuts?.length ? staysKey(app, span.cuts) : null),
      span.plans.length ? span.plans.map((/** @type {any} */ plan, /** @type {number} */ i) => planSheet(app, plan, i)) : h('p', null, inPageWords(span.why_none) || 'No wire can be proposed yet.'))),
    ownWire(app, (plan, i) => planSheet(app, plan, i)), gaugeForm(),
    data.fitted.length || data.spans.length ? h('h2', null, 'Fitted') : null,
    data.fitted.length ? data.fitted.map((/** @type {any} */ w) => h('section.sheet', null, h('h3', null, sentence(w.words)), h('p', null, !w.checks.length ? sentence(inPageWords(w.why_none)) : w.checks.some((/** @type {any} */ c) => !c.proves) ? 'Checks of it; a beep alone does not prove this wire, read why:' : 'Checks that prove it:'), h('ul.proofs', null, w.checks.map((/** @type {any} */ c) => h('li', null, h('span', null, h('b', null, c.words), h('span', null, inPageWords(c.why), c.said ? h('b', null, saidWords(c)) : null)), c.purpose === 'cut' ? null : h('button.key.slim', { type: 'button', onclick: () => app.do('measure', c) }, c.said ? 'Again' : 'Measure')))))) : data.spans.length ? h('p', null, 'No patch wire was noted in this case.') : null,
    data.cautions?.length ? h('ul.cautions', null, data.cautions.map((/** @type {string} */ c) => h('li', null, c))) : null));
  const next = app.focusNext;
  app.focusNext = '';
  if (next) document.getElementById(next)?.focus();
  else if (at && document.activeElement === document.body) document.getElementById(at)?.focus({ preventScroll: true });
}

/** What stands first on the leaf. Pure. @param {{spans: any[], open: string[], fitted: any[]}} data */
export function leadOf(data) {
  if (data.spans.length) return 'What the readings say is broken, and the wire that mends it. Where they leave doubt, it is said.';
  if (data.open.length) return data.open.length > 1 ? `${data.open.length} nets read open, and nobody knows yet where.` : 'A net reads open, and nobody knows yet where.';
  return data.fitted.length ? 'No unmended break is known now.' : 'No break is known yet.';
}

/** What a check read, and whether that says anything for the wire. Pure. @param {{said: string, expect: string, proves: boolean}} c */
export const saidWords = (c) => (c.said !== c.expect ? `Read ${c.said}` : c.proves ? `Read ${c.said}: good` : `Read ${c.said}: no proof yet`);

/** How a wire lies, in words. @param {any} w */
const way = (w) => (w.bends || w.dots?.length ? h('span', null, `${Math.round(w.route_mm)} mm along the board${w.bends ? `, ${w.bends} bend${w.bends > 1 ? 's' : ''}` : ''}${w.dots?.length ? `, fixed at ${w.dots.length} place${w.dots.length > 1 ? 's' : ''}` : ''}`) : null);

/** @param {string[]} notes */
const noteList = (notes) => h('ul', null, notes.map((n) => h('li', null, sentence(plainly(inPageWords(n))))));

/** @param {import('../main.js').App} app @param {any} plan @param {number} i */
function planSheet(app, plan, i) {
  return h('div.plan', null,
    h('h3', null, !plan.wires.length ? 'No wire: what to do' : i ? `Another way (${plan.kind})` : 'The wire'),
    plan.wires.map((/** @type {any} */ w) => h('div.plan-wire', null,
      h('div', null, h('b', null, `${w.a.name} to ${w.b.name}`), h('span', null, `${lyingWhere(w.a, app.map.view)}; ${lyingWhere(w.b, app.map.view)}`), h('span', null, `${w.a.side_words}${w.b.side === w.a.side ? '' : ' to ' + w.b.side_words}, ${w.awg} AWG, cut to ${Math.round(w.cut_mm)} mm, 3 mm of it bared at each end`), way(w), w.gauge_reason?.startsWith('Even ') ? h('b.need', null, w.gauge_reason) : null),
      h('button.key.slim', { type: 'button', onclick: () => app.do('showWire', w) }, 'Show its way'),
      h(i ? 'button.key.slim' : 'button.key.hot', { type: 'button', disabled: app.busy, onclick: () => app.do('wireFitted', w) }, 'Fitted: note it'))),
    plan.notes?.length ? (plan.wires.length ? h('details', null, h('summary', null, 'Why'), noteList(plan.notes)) : noteList(plan.notes)) : null,
    plan.assumed?.length ? h('details', null, h('summary', null, 'What this rests on'), noteList(plan.assumed)) : null,
    !i && plan.rules?.length ? h('details', null, h('summary', null, 'Rules of laying and joining it'), noteList(plan.rules)) : null);
}
