// @ts-check
/** Chips as pieces: label, type, speed, origin, where it has been; a form for one more. Pure drawing. */
import { h } from '../shared/dom.js';
import { clock, day } from '../shared/words.js';

/** One chip in a line. Pure. @param {any} one */
export function cardWords(one) {
  const kind = [one.type, one.speed].filter(Boolean).join(' ') || 'type not told';
  return [kind, one.goodness, one.place ? `now ${one.place}` : '', one.origin ? `from ${one.origin}` : '', one.price === null ? '' : `price ${one.price}`].filter(Boolean).join(', ');
}

/** What was noted and cannot all be, with what settles it. Pure drawing. @param {{words: string, settles: string}[]} conflicts */
export function conflictRows(conflicts) {
  return (conflicts ?? []).map((one) => h('p.mind.conflict', null, h('b', null, one.words), ' ', one.settles));
}

/** @param {any} found @param {(body: Record<string, any>) => void} note @param {(part: string) => void} open */
export function cardSheets(found, note, open) {
  return [
    h('section.sheet', { 'aria-label': 'Chips with a label' }, h('h2', null, 'Chips with a label'), conflictRows(found.conflicts),
      found.chips.length ? h('ul.pairs', { id: 'cards' }, found.chips.map((/** @type {any} */ one) => h('li', null, h('b', null, one.chip), h('span', null, cardWords(one)),
        h('details', null, h('summary', null, `${one.stays.length} ${one.stays.length === 1 ? 'stay' : 'stays'}`), h('ul', null, one.stays.map((/** @type {any} */ s) => h('li', null, `${day(s.when)} ${clock(s.when)}: ${s.place}${s.words ? `, ${s.words}` : ''}`)), one.says.map((/** @type {string} */ w) => h('li', null, w))))))) : h('p', null, 'None yet. A dot of paint or a sticker makes a chip one that can be told again.'),
      cardForm(note)),
    h('section.sheet', { 'aria-label': 'Chips of the board' }, h('h2', null, 'Chips of the board'),
      h('div.parts', null, found.parts.map((/** @type {any} */ one) => h('button.key.slim', { type: 'button', id: `part-${one.part}`, onclick: () => open(one.part) }, h('b', null, one.part), ` ${one.value}`, one.state === 'soldered' ? null : h('span.state', null, one.state), one.chip ? h('span.state', null, one.chip) : null)))),
  ];
}

/** @param {(body: Record<string, string>) => void} note */
function cardForm(note) {
  const field = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ like = '') => h('label.field', null, words, h('input', { name, id: `card-${name}`, autocomplete: 'off', placeholder: like, required: name === 'chip', maxlength: 80 }));
  return h('form.form', { id: 'card-form', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); const f = Object.fromEntries([...new FormData(/** @type {HTMLFormElement} */ (e.target))].map(([k, v]) => [k, String(v).trim()])); note(f); } },
    field('chip', 'Label', 'C7'), field('type', 'Type', '4164'), field('speed', 'Speed grade', '150 ns'), field('origin', 'Came from', 'donor board'),
    h('label.field', null, 'Known by itself', h('select', { name: 'goodness' }, ['', 'known good', 'unknown', 'known bad'].map((g) => h('option', { value: g }, g || 'say nothing')))),
    field('place', 'Where it is', 'U4, stock, donor, to buy'), h('label.field', null, 'Price', h('input', { name: 'price', id: 'card-price', inputmode: 'decimal', autocomplete: 'off' })),
    h('button.key', { id: 'note-card' }, 'Note this chip'));
}
