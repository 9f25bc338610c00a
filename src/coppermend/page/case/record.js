// @ts-check
/** The record: how it reads now, and its files. */
import { byId, fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { errorSheet, waitingLeaf } from './home.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export async function drawRecord(el, app) {
  fill(el, waitingLeaf('The record'));
  let open;
  try {
    open = await get(app.url('unproven'));
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawRecord(el, app))));
    return;
  }
  fill(el, h('div.leaf', null,
    h('h1', null, 'The record'),
    h('p.lead', null, 'For the person who gets the machine back: what was wrong, what was done, what is proven, what is not.'),
    h('div.row', null,
      h('a.key.hot', { href: app.url('record.pdf'), download: `case-${app.bench?.case.number ?? ''}.pdf` }, 'PDF'),
      h('a.key', { href: app.url('record.html'), target: '_blank', rel: 'noopener' }, 'Open as a page'),
      h('a.key', { href: app.url('export'), download: `case-${app.bench?.case.number ?? ''}.zip` }, 'Export the whole case')),
    h('section.sheet', null, h('h2', null, open.words), open.lines.length ? h('details', null, h('summary', null, `${open.lines.length} lines on what is not proven, and why`), h('ul', null, open.lines.map((/** @type {string} */ t) => h('li', null, t)))) : null),
    h('p.why', { id: 'record-wait', role: 'status' }, 'Writing the record …'),
    h('iframe', { src: app.url('record.html'), title: 'The record as a page', sandbox: '', onload: () => byId('record-wait')?.remove() })));
}
