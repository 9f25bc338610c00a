// @ts-check
/** The board as a list: every part with its pins and nets, for eyes that do not use the map. */
import { fill, h } from '../shared/dom.js';
import { netName } from '../shared/netname.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export function drawTwin(el, app) {
  if (el.hidden || !app.scene) return;
  const scene = app.scene;
  const row = (/** @type {any} */ part, /** @type {any[]} */ pin) => h('tr', null,
    h('td', null, h('button.key.slim', { type: 'button', onclick: () => app.do('find', `${part.ref}.${pin[0]}`) }, `${part.ref}.${pin[0]}`)),
    h('td', null, pin[5] || ''), h('td.code', null, pin[3] >= 0 ? netName(scene.nets[pin[3]]) : 'no net'));
  fill(el,
    h('button.round-key.close', { type: 'button', 'aria-label': 'Put the list away', onclick: () => app.do('list') }, '✕'),
    h('h2', null, 'The board as a list'),
    h('p', null, `${scene.parts.length} parts, ${scene.nets.length} nets. Open a part to see its pins.`),
    scene.parts.map((/** @type {any} */ part) => {
      const body = h('div', null);
      const d = h('details', {
        ontoggle: () => {
          if (/** @type {HTMLDetailsElement} */ (d).open && !body.childNodes.length) fill(body, h('table', null, h('thead', null, h('tr', null, h('th', null, 'pin'), h('th', null, 'name'), h('th', null, 'net'))), h('tbody', null, part.pins.map((/** @type {any} */ p) => row(part, p)))));
        },
      }, h('summary', null, h('b', null, part.ref), ` ${part.value || part.package || ''} (${app.map.stateOf(part.ref)}, ${part.pins.length} pins)`), body);
      return d;
    }));
}
