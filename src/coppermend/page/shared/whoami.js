// @ts-check
/** Says on the page when this device may look only: its keys would be refused. */
import { h } from './dom.js';
import { get } from './api.js';

/** What stands on the page for somebody who asks, or "". Pure. @param {{role: string, device: string}} me */
export const limits = (me) => (me.role === 'look' ? `${me.device} may look only: what is pressed here is not noted. Another role is given at the bench computer.` : '');

/** @returns {Promise<void>} */
export async function sayLimits() {
  try {
    const words = limits(await get('/api/me'));
    if (words) document.querySelector('#rail')?.after(h('p', { id: 'looks-only', role: 'status' }, words));
  } catch {
    // nobody answers: the leaf itself says so
  }
}
