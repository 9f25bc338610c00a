// @ts-check
/** A page that works on a case, opened without one: says so and leads to the cases. */
import { byId, fill, h } from './dom.js';

/** @param {string} section id of the page's section @param {string} title @param {string} lead what the page is for */
export function askForCase(section, title, lead) {
  fill(byId(section), h('div.leaf', null, h('h1', null, title), h('p.lead', null, lead), noCase()));
}

/** The sheet alone, for a page of which a part works without a case. @param {string} [words] */
export function noCase(words = 'This page works on a case: its board, its parts and its record. Choose the case, then open this page from there.') {
  return h('section.sheet', { id: 'no-case' }, h('h2', null, 'No case is chosen'), h('p', null, words), h('div.row', null, h('a.key.hot', { href: '/' }, 'To the cases')));
}
