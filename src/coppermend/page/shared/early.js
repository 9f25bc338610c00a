// @ts-check
/**
 * What the board's first picture waits for is begun before the rest of the page has come: the board's drawing data is asked for, and the workers that
 * paint it are hired, so that they read their own modules meanwhile. Loaded first, imports nothing.
 */

/** One core stays with the page. */
const MOST_WORKERS = 3;

/** @type {{path: string, answer: Promise<Response>}|null} */
let asked = null;
/** @type {Worker[]} */
let hands = [];

/** How many workers paint: none where the browser has no canvas for them. */
function count() {
  if (typeof Worker !== 'function' || typeof OffscreenCanvas !== 'function') return 0;
  return Math.max(1, Math.min(MOST_WORKERS, (navigator.hardwareConcurrency || 2) - 1));
}

const hire = () => Array.from({ length: count() }, () => new Worker(new URL('../map/tileworker.js', import.meta.url), { type: 'module' }));

/** The workers, hired already or now. */
export function hired() {
  const out = hands.length ? hands : hire();
  hands = [];
  return out;
}

/** The answer to a request that was begun early, given out once; null for any other. @param {string} path */
export function begun(path) {
  if (asked?.path !== path) return null;
  const { answer } = asked;
  asked = null;
  return answer;
}

/** The case that the address names; '' where it names none. @param {string} hash */
function caseIn(hash) {
  try {
    return decodeURIComponent(hash.match(/^#\/case\/([^/]+)/)?.[1] ?? '');
  } catch {
    return ''; // no address of ours
  }
}

const id = caseIn(globalThis.location?.hash ?? ''); // outside a window (tests of pure functions) there is no address
if (id) {
  const path = `/api/cases/${encodeURIComponent(id)}/scene.bin`;
  const answer = fetch(path);
  answer.catch(() => {}); // said where it is taken
  asked = { path, answer };
  hands = hire();
}
