// @ts-check
/** A place for "Plan a wire yourself" taken by a tap on the board: a track to cut, ground to keep free, a pin that must join, a part that may be crossed. */
import { fill, h } from '../shared/dom.js';

/** @typedef {{what: 'cut'|'keep_out'|'need'|'allow', corners: number[][], missed: boolean}} Wish what is to be tapped, the corners tapped so far, whether the last tap hit nothing */
/** @typedef {{xy: [number, number], face: string, point: {id: string, part?: string, pin?: string}|null, part: string|undefined}} Tap */

const ASKS = { cut: 'Tap the track where the knife goes.', keep_out: 'Tap two corners of the ground that is to stay free.', need: 'Tap a pin that must join.', allow: 'Tap the body of a part that may be crossed.' };
const MISSED = { cut: '', keep_out: '', need: 'No pin lies there.', allow: 'No part lies there.' };
const HEADS = { cut: 'A track to cut', keep_out: 'Keep free', need: 'A pin that must join', allow: 'A part that may be crossed' };

/** @param {Wish['what']} what @returns {Wish} */
export const wishFor = (what) => ({ what, corners: [], missed: false });

const mm = (/** @type {number} */ v) => String(Math.round(v * 100) / 100);

/** What a tap gives: the text for the field once it is whole, else the wish as it goes on. Pure. @param {Wish} wish @param {Tap} tap @returns {{text: string, wish: Wish}} */
export function tapTaken(wish, { xy, face, point, part }) {
  const none = { text: '', wish: { ...wish, missed: true } };
  if (wish.what === 'cut') return { text: `${mm(xy[0])},${mm(xy[1])}/${face}`, wish };
  if (wish.what === 'need') return point ? { text: point.part ? `${point.part}.${point.pin}` : point.id, wish } : none;
  if (wish.what === 'allow') return part ? { text: part, wish } : none;
  const corners = [...wish.corners, xy];
  if (corners.length < 2) return { text: '', wish: { ...wish, corners, missed: false } };
  return { text: corners.map(([x, y]) => `${mm(x)},${mm(y)}`).join(' '), wish: { ...wish, corners } };
}

/** A field's text with one more thing in it. Pure. @param {string} have @param {string} text @param {Wish['what']} what */
export const withMore = (have, text, what) => (have.trim() ? `${have.trim().replace(/[;,]$/, '')}${what === 'need' || what === 'allow' ? ' ' : '; '}${text}` : text);

/** The panel over the board while a place is asked for. @param {HTMLFormElement} el @param {import('../main.js').App} app */
export function drawWish(el, app) {
  const wish = /** @type {Wish|null} */ (app.wish);
  if (!wish) return;
  el.hidden = false;
  const more = wish.corners.length ? 'One corner is taken: tap the one across from it.' : ASKS[wish.what];
  fill(el, h('h2', null, HEADS[wish.what]), h('p', { role: 'status' }, wish.missed ? `${MISSED[wish.what]} ${ASKS[wish.what]}` : more),
    h('p.why', null, wish.what === 'cut' ? `The side that is up counts: ${app.map.view.face === 's' ? 'solder side' : 'component side'}.` : ''),
    h('div.row', null, h('button.key.slim', { type: 'button', id: 'wish-cancel', onclick: () => app.do('wishCancel') }, 'Not now')));
  el.onsubmit = (e) => e.preventDefault();
}
