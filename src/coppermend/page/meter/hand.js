// @ts-check
/** The meter in a bench window: follows what the server reads and hands each new touch on. Only in the browser that connected the meter. */
import { newTouch } from './words.js';

/** @typedef {import('./words.js').Watch} Watch */

export const OURS = 'meter';

export class MeterHand {
  /** @type {Watch|null} */ now = null;
  /** @type {EventSource|null} */ source = null;
  /** When the tips were last seen apart, ms: a touch began after that. */ apartAt = 0;

  /** @param {{touched: (id: string, began: number) => void, changed: () => void}} calls */
  constructor(calls) {
    this.calls = calls;
    addEventListener('storage', (e) => { if (e.key === OURS) this.follow(); });
    // a window nobody sees answers nothing; and a browser holds only six lines to one server, live updates are among them
    document.addEventListener('visibilitychange', () => this.follow());
  }

  /** Whether this browser answers with the meter. */
  get ours() {
    return localStorage.getItem(OURS) === 'yes';
  }

  /** Join the server's meter, or leave it. */
  follow() {
    if (!this.ours || document.hidden) return this.leave();
    if (this.source) return;
    this.source = new EventSource('/api/meters/events');
    this.source.addEventListener('meter', (e) => this.take(JSON.parse(/** @type {MessageEvent} */ (e).data)));
    this.source.onerror = () => { this.now = null; };
  }

  leave() {
    this.source?.close();
    this.source = null;
    if (this.now) {
      this.now = null;
      this.calls.changed();
    }
  }

  /** @param {Watch} state */
  take(state) {
    const before = this.now;
    if (before?.where === 'apart') this.apartAt = performance.now(); // states come only when something changes: it was apart until now
    this.now = state;
    const touch = newTouch(before, state);
    if (!before || before.state !== state.state || before.where !== state.where || Boolean(before.trouble) !== Boolean(state.trouble)) this.calls.changed();
    if (touch) this.calls.touched(touch, this.apartAt);
    if (state.where === 'apart') this.apartAt = performance.now();
  }
}
