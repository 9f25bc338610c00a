// @ts-check
/** The work on one part: its legs or bare holes one by one, the checks of what goes in, and what was tried by hand. Pure drawing. */
import { h } from '../shared/dom.js';
import { plainly } from '../shared/words.js';
import { conflictRows } from './cards.js';

const STANDS = /** @type {Record<string, string>} */ ({ closed: 'closed', open: 'open!', joined: 'joined!', apart: 'apart', '': 'not read' });
const EFFECTS = /** @type {[string, string][]} */ ([['none', 'Nothing changed'], ['changed', 'It showed something else'], ['cured', 'It worked'], ['worse', 'It got worse']]);

/** @typedef {{check: (item: string, good: boolean, pins: string) => void, read: (kind: string, a: string, b: string) => void, act: (kind: string, options: Record<string, any>) => void, area: () => void, infer: () => Promise<any>}} Hands */

/** @param {any} work @param {Hands} hands */
export function workSheets(work, hands) {
  const out = work.state === 'out' || work.state === 'not fitted';
  return [
    h('section.sheet', { 'aria-label': `${work.part} now` }, h('h2', null, `${work.part} ${work.value}: ${work.state}${work.chip ? `, ${work.chip.chip} in it` : ''}`),
      conflictRows(work.conflicts),
      h('p', { id: 'now' }, h('b', null, work.now)), h('p.mind', null, work.caution),
      out && !work.in_area ? h('p', null, 'Its pins lie in no work area. ', h('button.key.slim', { type: 'button', id: 'mark-area', onclick: hands.area }, 'Mark one: the round runs over its bare holes')) : null,
      work.piggyback ? h('p', null, `A good chip of the same type may be held on top of it (device book: ${work.piggyback}).`) : null),
    out ? null : actsSheet(work, hands),
    pinsSheet(work, out, hands),
    work.apart.length ? apartSheet(work, hands) : null,
    checksSheet(work, out, hands),
    inferFold(work, hands),
  ];
}

/** What the pins of a chip without a data sheet are by the board: asked for when the fold is opened. @param {any} work @param {Hands} hands */
function inferFold(work, hands) {
  const inside = h('div', { role: 'status' });
  let asked = false;
  return h('details.sheet', { id: 'inferred', ontoggle: async (/** @type {Event} */ e) => {
    if (asked || !(/** @type {HTMLDetailsElement} */ (e.target)).open) return;
    asked = true;
    inside.replaceChildren(h('p', null, 'Reading the board …'));
    try { inside.replaceChildren(...inferredRows(await hands.infer())); } catch (err) { asked = false; inside.replaceChildren(h('p.bad', null, err instanceof Error ? err.message : String(err))); }
  } }, h('summary', null, `What the pins of ${work.part} are, by the board around it`), inside);
}

/** @param {any} found @returns {Node[]} */
export function inferredRows(found) {
  const head = ['pin', 'net', 'is', 'why', 'reads on boards that work'];
  return [
    h('p', null, found.in_book ? `The device book knows ${found.value}: what it says goes before what is inferred here. ` : `The device book does not know ${found.value || found.part}. `, found.note),
    h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'Pins inferred' }, h('table.table', null, h('thead', null, h('tr', null, head.map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', null, found.pins.map((/** @type {any} */ p) => h('tr', null, h('td', null, p.number), h('td', null, p.net), h('td', null, p.kind), h('td', null, p.why), h('td', null, p.read.map((/** @type {any} */ r) => r.words).join('; '))))))),
    h('details', null, h('summary', null, 'As an entry for your own device book'), h('pre', { id: 'own-entry', tabindex: 0, role: 'region', 'aria-label': 'Entry for the device book' }, found.entry)),
  ];
}

/** @param {any} work @param {Hands} hands */
function actsSheet(work, hands) {
  const socketed = work.state === 'socketed';
  const kinds = [socketed ? ['reseat', 'Reseated'] : null, ['press', 'Pressed, power on'], ['tap', 'Tapped, power on'], ['clean', 'Contacts cleaned'], socketed ? ['swap', 'Another chip put in'] : null, work.piggyback ? ['piggyback', 'Good chip held on top'] : null].filter(Boolean);
  return h('form.sheet', { 'aria-label': 'What was tried', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); const f = new FormData(/** @type {HTMLFormElement} */ (e.target)); const kind = String(f.get('kind')); hands.act(kind, options(kind, f)); } },
    h('h2', null, 'What was tried, and what it did'),
    h('div.row', null,
      h('label.field', null, 'What', h('select', { name: 'kind', id: 'act-kind' }, kinds.map((one) => h('option', { value: one?.[0] }, one?.[1])))),
      h('label.field', null, 'What the machine then showed', h('select', { name: 'effect', id: 'act-effect' }, h('option', { value: '' }, 'not looked at'), EFFECTS.map(([value, words]) => h('option', { value }, words)))),
      h('label.field', null, 'Chip that went in', h('input', { name: 'with', list: 'stock', autocomplete: 'off', maxlength: 40 })), h('datalist', { id: 'stock' }, work.stock.map((/** @type {any} */ c) => h('option', { value: c.chip }, `${c.type} ${c.goodness}`))),
      h('label.field', null, 'Chip that came out', h('input', { name: 'out', autocomplete: 'off', maxlength: 40, value: work.chip?.chip ?? '' })),
      h('label.tickbox', null, h('input', { type: 'checkbox', name: 'trial' }), 'For a try: the old one is back in'),
      h('button.key.hot', { id: 'note-act' }, 'Note it')));
}

/** Options of an act from its form: chips and the try belong to a swap, the effect to all. Pure. @param {string} kind @param {FormData} f */
export function options(kind, f) {
  const got = (/** @type {string} */ name) => String(f.get(name) ?? '').trim();
  const out = /** @type {Record<string, any>} */ ({});
  if (got('effect')) out.effect = got('effect');
  if (kind === 'swap' || kind === 'piggyback') {
    if (got('with')) out.with = got('with');
    if (kind === 'swap' && got('out')) out.out = got('out');
    if (kind === 'swap' && f.get('trial')) out.trial = true;
  }
  return out;
}

/** @param {any} work @param {boolean} out @param {Hands} hands */
function pinsSheet(work, out, hands) {
  const soldered = work.state === 'soldered' || work.state === 'replaced';
  return h('section.sheet', { 'aria-label': 'Pins' }, h('h2', null, out ? 'Bare places: each to another pin of its net' : soldered ? 'Legs: does each move freely? And from leg to track' : 'From leg to track'),
    soldered ? h('p', null, h('button.key.slim', { type: 'button', id: 'all-free', onclick: () => hands.check('free', true, '') }, 'All legs are free')) : null,
    h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'All pins' }, h('table.table', null, h('thead', null, h('tr', null, ['pin', 'net', 'tips', 'stands', 'tick'].map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', null, work.pins.map((/** @type {any} */ p) => h('tr', { id: `pin-${p.pin}` }, h('td', null, p.pin), h('td', null, p.net), h('td', null, p.a && p.b ? plainly(`${p.a} and ${p.b}`) : 'cannot be read'), h(p.stands === 'open' ? 'td.bad' : 'td', null, STANDS[p.stands]),
        h('td', null, h('div.row', null,
          p.a && p.b ? ['closed', 'open'].map((kind) => h('button.key.slim', { type: 'button', 'aria-label': `pin ${p.pin} reads ${kind}`, onclick: () => hands.read(kind, p.a, p.b) }, kind)) : null,
          soldered ? [h('button.key.slim', { type: 'button', 'aria-pressed': p.free === true ? 'true' : 'false', 'aria-label': `leg ${p.pin} is free`, onclick: () => hands.check('free', true, p.pin) }, 'free'), h('button.key.slim', { type: 'button', 'aria-pressed': p.free === false ? 'true' : 'false', 'aria-label': `leg ${p.pin} holds`, onclick: () => hands.check('free', false, p.pin) }, 'holds')] : h('button.key.slim', { type: 'button', 'aria-label': `leg ${p.pin} is bent`, onclick: () => hands.check('legs', false, p.pin), hidden: out }, 'bent')))))))));
}

/** @param {any} work @param {Hands} hands */
function apartSheet(work, hands) {
  return h('section.sheet', { 'aria-label': 'Neighbours' }, h('h2', null, 'Neighbours that must be apart'),
    h('ul.pairs', null, work.apart.map((/** @type {any} */ p) => h('li', null, h('span', null, plainly(`${p.a} and ${p.b}`)), h(p.stands === 'joined' ? 'b.bad' : 'span', null, STANDS[p.stands]),
      h('div.row', null, [['open', 'apart'], ['closed', 'joined']].map(([kind, words]) => h('button.key.slim', { type: 'button', 'aria-label': `${p.a} and ${p.b} are ${words}`, onclick: () => hands.read(kind, p.a, p.b) }, words)))))));
}

/** @param {any} work @param {boolean} out @param {Hands} hands */
function checksSheet(work, out, hands) {
  return h('section.sheet', { 'aria-label': 'The chip that goes in' }, h('h2', null, out ? 'Before the next one goes in' : 'What goes in, or went in'),
    h('ul.pairs', null, work.checks.map((/** @type {any} */ c) => h('li', { id: `check-${c.item}` }, h('span', null, h('b', null, c.item), `: ${c.ask}`), h(c.answer && !c.answer.good ? 'b.bad' : 'span', null, c.answer ? (c.answer.good ? 'yes' : 'no!') : 'not looked at'),
      h('div.row', null, h('button.key.slim', { type: 'button', 'aria-label': `${c.item}: yes`, onclick: () => hands.check(c.item, true, '') }, 'yes'), h('button.key.slim', { type: 'button', 'aria-label': `${c.item}: no`, onclick: () => hands.check(c.item, false, '') }, 'no'))))));
}
