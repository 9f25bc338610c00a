// @ts-check
/** Entries that the server has not acknowledged yet, kept in the browser's store: a reload, a locked tablet or a dead network loses none. */

/** @typedef {{path: string, body: any, at: number}} Waiting */
/** @typedef {{getItem: (key: string) => string|null, setItem: (key: string, value: string) => void, removeItem: (key: string) => void}} Shelf */

const KEY = 'not-noted-yet';

/** What is kept, oldest first. @param {Shelf} shelf @param {string} [under] only entries whose path begins so @returns {Waiting[]} */
export function waiting(shelf, under = '') {
  try {
    const all = JSON.parse(shelf.getItem(KEY) ?? '[]');
    return Array.isArray(all) ? all.filter((one) => typeof one?.path === 'string' && one.path.startsWith(under) && one.body?.entry_id) : [];
  } catch {
    return []; // not ours
  }
}

/** @param {Shelf} shelf @param {Waiting[]} all */
function put(shelf, all) {
  try {
    if (all.length) shelf.setItem(KEY, JSON.stringify(all));
    else shelf.removeItem(KEY);
  } catch {
    // a full or forbidden store: the entry is still sent, only a reload would lose it
  }
}

/** Keep an entry until it is acknowledged. @param {Shelf} shelf @param {string} path @param {any} body with its ``entry_id`` @param {number} at ms since 1970 */
export const keep = (shelf, path, body, at) => put(shelf, [...waiting(shelf), { path, body, at }]);

/** It is acknowledged, refused or given up. @param {Shelf} shelf @param {string} id */
export const drop = (shelf, id) => put(shelf, waiting(shelf).filter((one) => one.body.entry_id !== id));
