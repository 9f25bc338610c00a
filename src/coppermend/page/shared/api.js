// @ts-check
/** Calls to the bench's own server. Every refusal has one shape: a finding with code, words and remedy. */

import { built } from './building.js';
import { begun } from './early.js';
import { freshId } from './id.js';
import { drop, keep, waiting } from './outbox.js';
import { findingInPageWords, readAnswer } from './pagewords.js';

/** @typedef {{code: string, severity: string, words: string, remedy: string, place: Record<string, any>}} Finding */

export class Refused extends Error {
  /** @param {Finding} finding */
  constructor(finding) {
    const said = findingInPageWords(finding);
    super(said.words);
    this.finding = said;
  }
}

/** @param {unknown} err @returns {Finding} */
export function findingOf(err) {
  if (err instanceof Refused) return err.finding;
  return {
    code: 'PAGE-001', severity: 'error', place: {},
    words: err instanceof TypeError ? 'The bench server does not answer.' : String(err),
    remedy: 'See whether "coppermend serve" still runs, then try again. Nothing that was noted is lost.',
  };
}

/** What was asked for comes once the board is built; the finding BLD-001 says which build. */
const ON_ITS_WAY = 202;

/** @param {string} path @param {RequestInit} [init] */
async function call(path, init) {
  const answer = await fetch(path, init);
  if (answer.ok && answer.status !== ON_ITS_WAY) return answer.status === 204 ? null : readAnswer(await answer.text());
  await boardBuilt(await refusalIn(path, answer));
  return call(path, init);
}

/** Bytes as they are. @param {string} path @returns {Promise<ArrayBuffer>} */
export async function getBytes(path) {
  const answer = await (begun(path) ?? fetch(path));
  if (answer.ok && answer.status !== ON_ITS_WAY) return answer.arrayBuffer();
  await boardBuilt(await refusalIn(path, answer));
  return getBytes(path);
}

/** Wait where the refusal only says that the board is being built, so that the same can be asked again; every other refusal is thrown, and that of a stopped build. @param {Refused} refusal */
async function boardBuilt(refusal) {
  if (refusal.finding.code !== 'BLD-001') throw refusal;
  const end = await built(refusal.finding.place.thing);
  if (end?.state === 'stopped') throw new Refused(end.finding);
}

/** @param {string} path @param {Response} answer */
async function refusalIn(path, answer) {
  let body = null;
  try {
    body = await answer.json();
  } catch {
    // no JSON: said below
  }
  if (body && body.code) return new Refused(body);
  return new Refused({ code: 'PAGE-002', severity: 'error', place: {}, words: `The server answered ${answer.status} for ${path}.`, remedy: 'Try again; look at the terminal where the server runs.' });
}

/** @param {string} path */
export const get = (path) => call(path);

/** @param {string} path @param {any} body */
export const post = (path, body) => call(path, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) });

/** @param {string} path */
export const remove = (path) => call(path, { method: 'DELETE' });

/** An entry was given up by the person before the server acknowledged it. */
export class GivenUp extends Error {}

/** A refusal that only says "too many at once": the same is taken a little later, so nothing is given up for it. @param {unknown} err */
const later = (err) => err instanceof Refused && err.finding.code === 'LAN-014';

/** How long to wait before the next try, ms. @param {number} tries that came to nothing */
export const pause = (tries) => Math.min(400 * tries, 2000);

/**
 * Write an entry under an id of its own, so that a second try writes nothing twice. Until the server has acknowledged or refused it, it is kept in the
 * browser's store (a reload sends it), and tried again; with `given` until the person gives it up (GivenUp), else a few times.
 * @param {string} path @param {any} body @param {{up: boolean}} [given]
 */
export async function write(path, body, given) {
  const once = { ...body, entry_id: freshId() };
  const at = Date.now();
  keep(localStorage, path, once, at);
  try {
    return await insist(path, once, given ? Infinity : 7, given, at);
  } finally {
    drop(localStorage, once.entry_id);
  }
}

/** Post something that may safely arrive twice, again and again until an answer comes. @param {string} path @param {any} once @param {number} [tries] @param {{up: boolean}} [given] @param {number} [at] ms, when it was given: a later try says how long it waited */
export async function insist(path, once, tries = 7, given = { up: false }, at = Infinity) {
  for (let i = 1; ; i++) {
    if (given.up) throw new GivenUp();
    try {
      return await post(path, i > 1 ? late(path, once, at, Date.now()) : once);
    } catch (err) {
      if ((err instanceof Refused && !later(err)) || i >= tries) throw err;
      await new Promise((done) => setTimeout(done, later(err) ? 10_000 : pause(i)));
    }
  }
}

/** What the person should mind of an answer to a note; the other screen's other answer last. Pure. @param {{careful?: string[], differs?: string}} out @returns {string[]} */
export const carefulOf = (out) => [...(out.careful ?? []), ...(out.differs ? [`another screen answered this check otherwise (${out.differs}); both are kept. Measure again`] : [])];

/** An entry that is sent late says how long it waited, so that the log dates it when it was given; only the entries' own route takes that. Pure. @param {string} path @param {any} body @param {number} at ms, when it was given @param {number} now ms */
export const late = (path, body, at, now) => path.endsWith('/entries') && now > at ? { ...body, waited_s: (now - at) / 1000 } : body;

/** Send what a page that is gone has left in the store for these paths; the words of what was noted or refused, and what to mind. @param {string} under @returns {Promise<{words: string, careful: string[], refused: Finding|null}[]>} */
export async function sendWaiting(under) {
  const out = [];
  for (const one of waiting(localStorage, under)) {
    try {
      const noted = await post(one.path, late(one.path, one.body, one.at, Date.now()));
      out.push({ words: noted.words, careful: carefulOf(noted), refused: null });
    } catch (err) {
      if (!(err instanceof Refused) || later(err)) throw err; // nobody answers, or not now: it stays where it is
      out.push({ words: one.body.kind, careful: [], refused: err.finding });
    }
    drop(localStorage, one.body.entry_id);
  }
  return out;
}

/** @typedef {string|Blob|(string|Blob)[]} Field */

/** @param {Blob|null} file null: the fields hold the files themselves @param {Record<string, Field>} fields a list goes as one field many times */
function formOf(file, fields) {
  const form = new FormData();
  for (const [k, v] of Object.entries(fields)) for (const one of [v].flat()) form.append(k, one);
  if (file) form.set('file', file);
  return form;
}

/** @param {string} path @param {Blob|null} file @param {Record<string, Field>} fields */
export const send = (path, file, fields) => call(path, { method: 'POST', body: formOf(file, fields) });

/** A file given, a picture got. @param {string} path @param {Blob} file @returns {Promise<Blob>} */
export async function sendForPicture(path, file) {
  const answer = await fetch(path, { method: 'POST', body: formOf(file, {}) });
  if (answer.ok) return answer.blob();
  throw await refusalIn(path, answer);
}

/** Why the server lets this device in no more, or null: an event stream that ends does not say it. @returns {Promise<Finding|null>} */
async function shutOut() {
  try {
    const answer = await fetch('/api/speech');
    return answer.status === 401 || answer.status === 403 ? (await refusalIn('/api/speech', answer)).finding : null;
  } catch {
    return null; // nobody answers at all
  }
}

/** Live updates of a case; calls back with the mark of the log's end. @param {string} id @param {(mark: string) => void} on @param {(up: boolean, shut?: Finding) => void} state is it there; `shut` says that this device is let in no more */
export function follow(id, on, state) {
  const source = new EventSource(`/api/cases/${encodeURIComponent(id)}/events`);
  source.addEventListener('mark', (e) => on(/** @type {MessageEvent} */ (e).data));
  source.onopen = () => state(true);
  source.onerror = () => { state(false); shutOut().then((finding) => finding && state(false, finding)); };
  return () => source.close();
}
