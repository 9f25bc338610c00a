// @ts-check
/** The items of the intake: each with its question, its answer so far and a form to answer it. Pure drawing; the page notes. */
import { h } from '../shared/dom.js';

/** @typedef {{item: string, yes?: boolean|null, words?: string, amount?: string, currency?: string, acts?: string[], file?: File|null}} Said */

/** The answer to an item in a line. Pure. @param {any} answer @param {number} photos */
export function answerWords(answer, photos) {
  if (!answer) return '';
  const said = [answer.yes === true ? 'yes' : answer.yes === false ? 'no' : '', answer.amount === null ? '' : `${answer.amount} ${answer.currency}`.trim(), answer.words, photos ? `${photos} ${photos === 1 ? 'photo' : 'photos'}` : ''];
  return said.filter(Boolean).join(', ') || 'noted';
}

/** @param {any} intake @param {(said: Said) => void} say @param {(sha: string) => string} photo */
export function intakeSheets(intake, say, photo) {
  return [
    h('section.sheet', { 'aria-label': 'Intake' }, h('h2', null, 'What is asked when it comes in'),
      h('p', null, intake.left.length ? `${intake.left.length} of ${intake.items.length} still to ask.` : 'Everything was asked.'),
      h('ul.asks', null, intake.items.filter((/** @type {any} */ one) => one.item !== 'consent').map((/** @type {any} */ one) => askItem(one, say, photo)))),
    consentSheet(intake, say),
  ];
}

/** @param {any} one @param {(said: Said) => void} say @param {(sha: string) => string} photo */
function askItem(one, say, photo) {
  const id = one.item.replace(/ /g, '-');
  const words = answerWords(one.answer, one.photos.length);
  return h(words ? 'li.done' : 'li', { id: `ask-${id}` },
    h('div', null, h('span.tick', { 'aria-hidden': 'true' }, words ? '●' : '○'), h('b', null, one.title), `: ${one.ask}`),
    words ? h('p.answer', null, words) : null,
    one.photos.length ? h('div.row', null, one.photos.map((/** @type {string} */ sha) => h('img', { src: photo(sha), alt: `Photo: ${one.title}` }))) : null,
    form(one, id, say));
}

/** @param {any} one @param {string} id @param {(said: Said) => void} say */
function form(one, id, say) {
  const words = /** @type {HTMLInputElement} */ (h('input', { id: `words-${id}`, autocomplete: 'off', maxlength: 4000 }));
  const file = /** @type {HTMLInputElement} */ (h('input', { type: 'file', accept: 'image/*', id: `photo-${id}` }));
  const amount = /** @type {HTMLInputElement} */ (h('input', { inputmode: 'decimal', autocomplete: 'off', id: 'amount' }));
  const currency = /** @type {HTMLInputElement} */ (h('input', { autocomplete: 'off', maxlength: 8, id: 'currency' }));
  const yesNo = one.item === 'known good' || one.item === 'minimum';
  const go = (/** @type {boolean|null} */ yes) => say({ item: one.item, yes, words: words.value, amount: amount.value, currency: currency.value, file: file.files?.[0] ?? null });
  return h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); if (!yesNo) go(null); } },
    one.item === 'limit' ? [h('label.field', null, 'Amount', amount), h('label.field', null, 'Currency', currency)] : null,
    h('label.field.words', null, one.answer ? 'More, or otherwise' : 'In words', words),
    one.item === 'condition' ? h('label.field', null, 'Picture', file) : null,
    yesNo ? [h('button.key', { type: 'button', id: `yes-${id}`, onclick: () => go(true) }, 'Yes'), h('button.key', { type: 'button', id: `no-${id}`, onclick: () => go(false) }, 'No')] : h('button.key', { id: `note-${id}` }, 'Note it'));
}

/** @param {any} intake @param {(said: Said) => void} say */
function consentSheet(intake, say) {
  return h('section.sheet', { id: 'consent', 'aria-label': 'What cannot be undone' }, h('h2', null, 'What cannot be undone'),
    h('p', null, 'What the owner does not agree to is never proposed.'),
    h('ul.asks', null, intake.acts.map((/** @type {any} */ one) => h('li.act', { id: `act-${one.act.replace(/ /g, '-')}` },
      h('span', null, h('b', null, one.words), one.answer ? `: ${one.answer}` : ': not asked'),
      h('button.key.slim', { type: 'button', 'aria-pressed': one.answer === 'yes' ? 'true' : 'false', onclick: () => say({ item: 'consent', yes: true, acts: [one.act] }) }, 'Agrees', h('span.quiet', null, ` to: ${one.words}`)),
      h('button.key.slim', { type: 'button', 'aria-pressed': one.answer === 'no' ? 'true' : 'false', onclick: () => say({ item: 'consent', yes: false, acts: [one.act] }) }, 'Does not', h('span.quiet', null, ` agree to: ${one.words}`))))),
    intake.limit === null ? null : h('p', null, `Spent ${intake.spent} of ${intake.limit} ${intake.currency}.`));
}
