// @ts-check
/** A page of which each press is noted one after the other, and answered in words above its sheets. */
import { fill, h } from './dom.js';
import { findingOf } from './api.js';

export class Acting {
  /** The acts so far: what is pressed while one is under way waits its turn, nothing pressed is dropped. */
  turn = Promise.resolve();
  /** An answer that comes for a sheet that was left is dropped. */ asked = 0;
  said = h('div', { id: 'outcome', role: 'status' });

  /** Acts with a name that were pressed and are not done. @type {Set<string>} */ pending = new Set();

  /** @param {() => Promise<void>} work @param {string} [once] a name: pressed twice before it is done it is one act (a double click) */
  doing(work, once = '') {
    if (once && this.pending.has(once)) return this.turn;
    if (once) this.pending.add(once);
    this.turn = this.turn.then(work).catch((err) => this.refused(err)).finally(() => this.pending.delete(once));
    return this.turn;
  }

  /** @param {unknown} err */
  refused(err) {
    const found = findingOf(err);
    fill(this.said, h('section.sheet.error-sheet', null, h('h2', null, found.words), h('p', null, found.remedy), h('p.code', null, found.code)));
    this.said.scrollIntoView({ block: 'nearest' });
  }
}
