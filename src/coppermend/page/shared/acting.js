// @ts-check
/** A page of which each press is noted one after the other, and answered in words above its sheets. */
import { fill, h, keepFields, keepTyping } from './dom.js';
import { findingOf } from './api.js';

export class Acting {
  /** The acts so far: what is pressed while one is under way waits its turn, nothing pressed is dropped. */
  turn = Promise.resolve();
  /** An answer that comes for a sheet that was left is dropped. */ asked = 0;
  said = h('div', { id: 'outcome', role: 'status' });

  /** The form that was pressed last, and that of the act under way. @type {Element|null} */ pressed = null;
  /** @type {Element|null} */ sending = null;

  constructor() {
    for (const kind of ['submit', 'click']) addEventListener(kind, (e) => { this.pressed = e.target instanceof Element ? e.target.closest('form') : null; }, true);
  }

  /** Acts with a name that were pressed and are not done. @type {Set<string>} */ pending = new Set();

  /** @param {() => Promise<void>} work @param {string} [once] a name: pressed twice before it is done it is one act (a double click) */
  doing(work, once = '') {
    if (once && this.pending.has(once)) return this.turn;
    if (once) this.pending.add(once);
    const form = this.pressed;
    this.turn = this.turn.then(() => { this.sending = form; return work(); }).catch((err) => this.refused(err)).finally(() => { this.sending = null; this.pending.delete(once); });
    return this.turn;
  }

  /** Draw sheets anew: the keyboard stays where it is, and what was typed stays typed but in the form that was just noted. @param {Element} view @param {() => void} draw */
  redrawn(view, draw) {
    const held = document.activeElement, done = (/** @type {Element|null} */ f) => !!this.sending && this.sending.contains(f);
    if (done(held) && (held instanceof HTMLInputElement || held instanceof HTMLTextAreaElement) && held.type !== 'file') held.value = '';
    keepTyping(() => keepFields(view, draw, done));
  }

  /** @param {unknown} err */
  refused(err) {
    const found = findingOf(err);
    fill(this.said, h('section.sheet.error-sheet', null, h('h2', null, found.words), h('p', null, found.remedy), h('p.code', null, found.code)));
    this.said.scrollIntoView({ block: 'nearest' });
  }
}
