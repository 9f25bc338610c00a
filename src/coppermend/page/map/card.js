// @ts-check
/** The card of a chosen pin or net: what it is, where its points are, what was measured there. */
import { fill, h } from '../shared/dom.js';
import { lyingWhere } from './rows.js';
import { partWork } from './partwork.js';
import { icon, tipMark } from '../shared/icons.js';
import { count } from '../shared/words.js';
import { netName } from '../shared/netname.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export function drawCard(el, app) {
  const net = app.net;
  el.hidden = !net;
  if (!net) return;
  const point = app.chosen;
  const pins = net.points;
  fill(el,
    h('button.round-key.close', { type: 'button', 'aria-label': 'Put the card away', onclick: () => app.do('clear', true) }, '✕'),
    point
      ? [h('h2', null, point.name), h('p.where', null, [lyingWhere(point, app.map.view), point.touch, point.side_words].filter(Boolean).join('; ')),
        point.function ? h('p.where', null, point.function) : null,
        point.reachable ? null : h('p.need', null, `A tip cannot get there: ${point.why_not}`),
        h('div.pick', null,
          h('button.key', { type: 'button', onclick: () => app.do('tip', point, 'a'), id: 'tip-a-here' }, tipMark('a', 26), 'tip here'),
          h('button.key', { type: 'button', onclick: () => app.do('tip', point, 'b'), id: 'tip-b-here' }, tipMark('b', 26), 'tip here')),
        h('p.where', null, h('a', { href: `/page/waves.html?case=${encodeURIComponent(app.id)}&at=${encodeURIComponent(point.id)}` }, 'a wave recorded here')),
        partWork(app, point)]
      : null,
    h('h2', null, 'Net ', h('span.code', null, netName(net.name))),
    h('p.where', null, `${count(pins.filter((/** @type {any} */ p) => p.reachable).length, 'place')} to touch; ${net.state}`),
    net.readings?.length ? h('ul', { 'aria-label': 'Readings on this net' }, net.readings.map((/** @type {any} */ r) => h('li', null, ['open', 'closed'].includes(r.kind) ? [icon(r.kind, 16), ' '] : null, r.words))) : null,
    h('ul', { 'aria-label': 'Points of this net' }, byName(pins).slice(0, 60).map(([name, points]) =>
      h('li.place', null, h('b', null, name), h('span', null, points.map((p) =>
        h(p.reachable ? 'button' : 'button.no', { type: 'button', title: p.reachable ? p.touch : p.why_not, 'aria-current': p.id === point?.id ? 'true' : null, 'aria-label': `${p.kind}, ${p.side === 'c' ? 'comp.' : 'solder'} side of ${p.name}${p.reachable ? '' : ', out of reach'}`, onclick: () => app.do('choose', p) }, `${p.kind}, ${p.side === 'c' ? 'comp.' : 'solder'}`)))))),
    byName(pins).length > 60 ? h('p.where', null, `and ${byName(pins).length - 60} more`) : null);
}

/** Points gathered by the name of their pin or via. Pure. @param {any[]} points @returns {[string, any[]][]} */
export function byName(points) {
  /** @type {Map<string, any[]>} */
  const out = new Map();
  for (const p of points) out.set(p.name, [...(out.get(p.name) ?? []), p]);
  return [...out];
}
