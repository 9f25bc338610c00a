// @ts-check
/** The slider between the drawn board and the person's own photo under it. */
import { fill, h } from '../shared/dom.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export function drawUnderlay(el, app) {
  const map = app.map, face = map.view.face;
  const there = Boolean(map.ready && map.photos.has(face) && !map.ready.scene.photos.includes(face));
  el.hidden = !there;
  if (!there || el.childElementCount) return;
  fill(el, h('label', null, h('span', null, 'drawn'), h('input', {
    type: 'range', id: 'underlay-share', min: 0, max: 100, step: 1, value: Math.round(map.underlay * 100), 'aria-label': 'How much of your photo shows',
    oninput: (/** @type {any} */ e) => { map.underlay = Number(e.target.value) / 100; map.draw(); },
  }), h('span', null, 'photo')));
}
