// @ts-check
/** The record: how it reads now, for the owner or for a technician, and its files. */
import { byId, fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { errorSheet, waitingLeaf } from './home.js';

const READERS = /** @type {const} */ ([
  ['owner', 'For the owner', 'In plain words: what was wrong, what was done, what was tested, what is left, and the photos.'],
  ['technician', 'For a technician', 'Everything: maps, every reading, waves, suspects over time, plans, parts and time.'],
]);
let reader = /** @type {'owner'|'technician'} */ ('owner');

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
  const sheet = h('div', { id: 'record-sheet' });
  fill(el, h('div.leaf', null,
    h('h1', null, 'The record'),
    h('p.lead', null, 'For the person who gets the machine back, and for the next one who opens it.'),
    h('section.sheet', null, h('h2', null, open.words), open.lines.length ? h('details', null, h('summary', null, `${open.lines.length} lines on what is not proven, and why`), h('ul', null, open.lines.map((/** @type {string} */ t) => h('li', null, t)))) : null),
    sheet,
    h('div.row', null,
      h('a.key', { href: app.url('label.pdf'), download: `label-${app.bench?.case.number ?? ''}.pdf` }, 'A label for the machine'),
      h('a.key', { href: app.url('export'), download: `case-${app.bench?.case.number ?? ''}.zip` }, 'Export the whole case'))));
  const draw = () => {
    const [, , words] = READERS.find(([key]) => key === reader) ?? READERS[0];
    const page = `${app.url('record.html')}?for=${reader}`;
    fill(sheet,
      h('div.row', { role: 'group', 'aria-label': 'Who reads it' }, READERS.map(([key, name]) => h('button.key', { type: 'button', id: `for-${key}`, 'aria-pressed': String(key === reader), onclick: () => { reader = key; draw(); byId(`for-${key}`).focus(); } }, name))),
      h('p.why', null, words),
      h('div.row', null,
        h('a.key.hot', { href: `${app.url('record.pdf')}?for=${reader}`, download: `case-${app.bench?.case.number ?? ''}-${reader}.pdf` }, 'PDF'),
        h('a.key', { href: page, target: '_blank', rel: 'noopener' }, 'Open as a page')),
      h('p.why', { id: 'record-wait', role: 'status' }, 'Writing the record …'),
      h('iframe', { src: page, title: 'The record as a page', sandbox: '', onload: () => byId('record-wait')?.remove() }));
  };
  draw();
}
