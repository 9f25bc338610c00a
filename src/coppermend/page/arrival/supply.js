// @ts-check
/** The supply: each rail by itself under a dummy load, at the connector and far away, to ground with the power off, the limits to set, a shorted part. Pure drawing. */
import { h } from '../shared/dom.js';
import { ohms } from '../shared/words.js';

/** Volts as a person reads them. Pure. @param {number|null} v */
export function volts(v) {
  if (v === null) return 'overload';
  return Math.abs(v) < 0.9995 && v !== 0 ? `${(v * 1000).toFixed(0)} mV` : `${Number(v.toFixed(3))} V`;
}

/** How a rail stands by itself. Pure. @param {any} rail */
export function aloneWords(rail) {
  if (!rail.alone) return 'not measured by itself';
  if (rail.faults.length) return rail.faults.join('; ');
  return rail.proven ? `proven: ${volts(rail.alone.volt)} under ${rail.alone.load_a} A` : `${volts(rail.alone.volt)} without a load proves little`;
}

/** @typedef {{note: (body: Record<string, string>) => void, ground: (rail: any, kind: string, value: string) => void, limit: (limit: string, abort: string) => void, find: (rail: string) => void}} Hands */

/** @param {any} supply @param {Hands} hands */
export function supplySheets(supply, hands) {
  return [
    h('section.sheet', { 'aria-label': 'The supply by itself' }, h('h2', null, 'The supply by itself'), h('p.mind', null, supply.caution),
      supply.rails.length ? supply.rails.map((/** @type {any} */ one) => railSheet(one, hands)) : h('p', null, 'No rail of this board comes from a connector that is known.'),
      supply.rise_order.length ? h('p', null, `Order: ${supply.rise_order.join('; ')}.`) : null,
      supply.rise_faults.map((/** @type {string} */ one) => h('p.bad', null, one))),
    groundSheet(supply, hands),
    limitSheet(supply, hands),
  ];
}

/** @param {any} rail @param {Hands} hands */
function railSheet(rail, hands) {
  const id = rail.rail.replace(/\W/g, '_');
  const field = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ like) => h('label.field', null, words, h('input', { name, id: `${id}-${name}`, autocomplete: 'off', placeholder: like, required: name === 'volt' }));
  return h('div.plan', { id: `rail-${id}` },
    h('h3', null, `${rail.rail}: ${volts(rail.low_v)} to ${volts(rail.high_v)}, ripple and noise at most ${volts(rail.ripple_most_v)}`),
    h(rail.faults.length ? 'p.bad' : 'p', null, aloneWords(rail)),
    rail.connector_v === null ? null : h('p', null, `At the connector ${volts(rail.connector_v)}.`),
    rail.far.map((/** @type {any} */ far) => h(far.bad ? 'p.bad' : 'p', null, `At ${far.part} ${volts(far.volt)}${far.drop_v === null ? '' : `, ${volts(far.drop_v)} lost${far.bad ? ': too much' : ''}`}.`)),
    h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); hands.note({ rail: rail.rail, ...fieldsOf(e) }); } },
      h('label.field', null, 'Where', h('select', { name: 'at' }, [['alone', 'by itself, dummy load'], ['connector', 'at the connector'], ['far', 'at a far chip']].map(([value, words]) => h('option', { value }, words)))),
      field('volt', 'Volts', '5.02V'), field('load', 'Load', '1.5A'), field('ripple', 'Ripple', '30mV'), field('noise', 'Noise', '20mV'), field('rise', 'Up after', '20ms'), field('part', 'Far chip', 'U1'),
      h('button.key', { id: `note-${id}` }, 'Note it')));
}

/** What a rail read to ground, ohms and diode mode. Pure. @param {{read: boolean, ohm: number|null, diode_v: number|null, low: boolean}} r */
export function readWords(r) {
  const said = [r.read ? (r.ohm === null ? 'OL' : ohms(r.ohm)) : '', r.diode_v === null || r.diode_v === undefined ? '' : `${volts(r.diode_v)} in diode mode`].filter(Boolean);
  return said.length ? `; read ${said.join(', ')}${r.low ? ': too low, do not switch on' : ''}` : '';
}

/** @param {any} supply @param {Hands} hands */
function groundSheet(supply, hands) {
  return h('section.sheet', { 'aria-label': 'Rails to ground' }, h('h2', null, 'Rails to ground, power off'),
    h('p', null, 'Unplugged, capacitors empty. Ohms, and in diode mode with the red tip on ground: a sound rail shows some 0.3 to 0.6 V that way.'),
    h('ul.rails', null, supply.to_ground.map((/** @type {any} */ r) => h('li', null,
      h('p', null, h('b', null, `${r.net} to ${r.ground}`), `: ${r.tips[0].name} and ${r.tips[1].name}, ${r.tips[0].side_words}${r.tips[1].side_words === r.tips[0].side_words ? '' : ` and ${r.tips[1].side_words}`}`, readWords(r)),
      h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); const f = fieldsOf(e); hands.ground(r, f.kind, f.value); } },
        h('label.field', null, 'What', h('select', { name: 'kind' }, h('option', { value: 'ohms' }, 'ohms'), h('option', { value: 'diode' }, 'diode mode'))),
        h('label.field', null, 'Figure', h('input', { name: 'value', id: `ground-${r.net.replace(/\W/g, '_')}`, required: true, autocomplete: 'off', placeholder: '240, 0.45V, OL' })),
        h('button.key.slim', null, 'Note it'),
        r.low ? h('button.key.slim.hot', { type: 'button', onclick: () => hands.find(r.net) }, 'Which part shorts it?') : null)))));
}

/** @param {any} supply @param {Hands} hands */
function limitSheet(supply, hands) {
  const draw = supply.rails.map((/** @type {any} */ r) => r.draw).find((/** @type {any} */ d) => d && d.counted.length);
  return h('section.sheet', { 'aria-label': 'Current limit' }, h('h2', null, 'Current limit and abort value'),
    h('p', null, supply.limit_words || 'The device book gives no figure for the chips of this board.'),
    h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); const f = fieldsOf(e); hands.limit(f.limit_a, f.abort_a); } },
      h('label.field', null, 'Limit, A', h('input', { name: 'limit_a', id: 'limit_a', required: true, inputmode: 'decimal', value: draw ? draw.limit_a : '' })),
      h('label.field', null, 'Switch off above, A', h('input', { name: 'abort_a', id: 'abort_a', required: true, inputmode: 'decimal', value: draw ? draw.abort_a : '' })),
      h('button.key', { id: 'note-limit' }, 'Name the limit')));
}

/** The part that shorts a rail. @param {any} found */
export function shortSheet(found) {
  return h('section.sheet', { id: 'shorted', 'aria-label': 'Which part shorts it' }, h('h2', null, `${found.rail} is shorted`), h('p', null, found.words),
    h('ol', null, found.parts.map((/** @type {any} */ p) => h('li', null, h('b', null, p.part), ` ${p.value}, ${p.kind}: ${(100 * p.p).toFixed(p.p < 0.1 ? 1 : 0)} %${p.near_ohm === null ? '' : `, reads ${ohms(p.near_ohm)} at it`}`))),
    found.next ? h('p', null, h('b', null, 'Next: '), found.next.words) : null,
    h('p.mind', null, found.caution));
}

/** @param {Event} e @returns {Record<string, string>} */
const fieldsOf = (e) => Object.fromEntries([...new FormData(/** @type {HTMLFormElement} */ (e.target))].map(([k, v]) => [k, String(v).trim()]));
