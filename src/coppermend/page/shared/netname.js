// @ts-check
/** A net's name as its maker meant it. KiCad writes a bar over a name as ~{NAME} (KiCad documentation, "Text and graphics: overbar"; from memory). */
import { h } from './dom.js';

/** A name in pieces: plain text, or text under a bar. Pure. @param {string} name @returns {{text: string, bar: boolean}[]} */
export function pieces(name) {
  return name.split(/(~\{[^{}]*\})/).filter(Boolean).map((one) => (one.startsWith('~{') ? { text: one.slice(2, -1), bar: true } : { text: one, bar: false }));
}

/** The name to be drawn; what stands under a bar is read out as "bar". @param {string} name @returns {(Node|string)[]} */
export const netName = (name) => pieces(name ?? '').flatMap((one) => /** @type {(Node|string)[]} */ (one.bar ? [h('span.bar-over', null, one.text), h('span.quiet', null, ' bar')] : [one.text]));
