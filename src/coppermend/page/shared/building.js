// @ts-check
/** A board that is being built: its stage and share on a sheet of its own, with a key that stops it. The rest of the page goes on. */
import { h } from './dom.js';

const LOOK_EVERY_MS = 400;
/** @type {Map<string, Promise<any>>} */ const waited = new Map();

/** Wait for a build; gives its last state (null when the server knows it no more). Whoever waits for the same one shares the sheet. @param {string} id @returns {Promise<any>} */
export function built(id) {
  const known = waited.get(id);
  if (known) return known;
  const made = watch(id).finally(() => waited.delete(id));
  waited.set(id, made);
  return made;
}

/** @param {string} id */
async function watch(id) {
  const path = `/api/builds/${encodeURIComponent(id)}`;
  const title = h('b', null), words = h('span', null), share = h('progress', { max: 1, value: 0, 'aria-label': 'share of the build that is done' });
  const stop = h('button.key', { type: 'button', onclick: () => { stop.setAttribute('disabled', ''); stop.textContent = 'Stopping …'; fetch(path, { method: 'DELETE' }).catch(() => {}); } }, 'Stop');
  const sheet = h('section.building', { role: 'status', 'aria-label': 'Board being built' }, h('div', null, title, words), stop, share);
  try {
    for (;;) {
      const answer = await fetch(path);
      const now = answer.ok ? await answer.json() : null;
      if (!now || !['waiting', 'building'].includes(now.state)) return now;
      title.textContent = `Building the board of ${now.title}`;
      words.textContent = `${now.words}; ${Math.round(100 * now.share)} % done, ${Math.round(now.seconds)} s`;
      share.setAttribute('value', String(now.share));
      if (!sheet.isConnected) document.body.append(sheet);
      await new Promise((done) => setTimeout(done, LOOK_EVERY_MS));
    }
  } finally {
    sheet.remove();
  }
}
