// @ts-check
/** The voltage-drop method for a short: limits, clips, drops, warmth. */
import { h } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';
import { linesOf, rests } from '../shared/rests.js';
import { filledIn } from './parts.js';

/** What the method is asked with; nets left empty are those of the last reading that shows a short. @param {Record<string, string>} said @param {(said: Record<string, string>) => void} plan @returns {HTMLElement} */
export function supplyForm(said, plan) {
  const field = (/** @type {string} */ words, /** @type {string} */ name, /** @type {string} */ hint) => h('label.field', null, words, h('input', { name, value: said[name] ?? '', placeholder: hint, autocomplete: 'off', spellcheck: 'false' }));
  return h('form.sheet', { id: 'supply-asked', 'aria-label': 'With which supply and meter', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); plan(filledIn(/** @type {HTMLFormElement} */ (e.target))); } },
    h('div.row', null, field('One net', 'net_a', 'from the readings'), field('The other net', 'net_b', 'from the readings'), field('Last digit of the millivolt meter, mV', 'step_mv', '0.1'), field('The supply gives at most, A', 'most_a', '1'), h('button.key.hot', { id: 'supply-plan' }, 'Plan')));
}

/** A drop as the log wants it: ohms of the two clips with the voltage's tips; one below nothing was read with its tips the other way round. Pure.
 * @param {any} plan @param {any} drop @param {number} mv @param {number} ampere */
export function dropEntry(plan, drop, mv, ampere) {
  const [plus, minus] = plan.feed, tips = drop.net === plan.net_a ? [plus, drop.point] : [drop.point, minus];
  const volt = mv / 1000, turned = volt / ampere < 0;
  return { kind: 'ohms', points: [plus, minus], value: String(Number(Math.abs(volt / ampere).toPrecision(9))), options: { volt: Math.abs(volt), ampere: Math.abs(ampere), sense: turned ? tips.reverse() : tips, wires: 4 } };
}

/** @param {any} plan @param {string} ampere what was typed as the current that flows @param {Map<string, string>} noted mV by net and point @param {(k: number, mv: string, ampere: string) => void} noteDrop */
export function supplySheet(plan, ampere, noted, noteDrop) {
  const on = (/** @type {string[]} */ ...names) => linesOf(plan.assumed, ...names);
  const flows = /** @type {HTMLInputElement} */ (h('input', { id: 'supply-ampere', value: ampere, placeholder: String(plan.limit.limit_a), inputmode: 'decimal', autocomplete: 'off' }));
  const read = (/** @type {any} */ d, /** @type {number} */ k) => h('form.drop', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); noteDrop(k, String(new FormData(/** @type {HTMLFormElement} */ (e.target)).get('mv') ?? ''), flows.value || flows.placeholder); } },
    h('input', { name: 'mv', id: `drop-${k}`, required: true, inputmode: 'decimal', autocomplete: 'off', 'aria-label': `mV read at ${d.words}, net ${d.net}` }), h('button.key.slim', null, 'Note'), h('span', { id: `noted-${k}` }, noted.has(`${d.net} ${d.point}`) ? `${noted.get(`${d.net} ${d.point}`)} noted` : ''));
  return h('section.sheet', { id: 'supply' }, h('h2', null, `${plan.net_a} and ${plan.net_b}: with a limited current`),
    h('p', null, `Supply: at most ${plan.open_v} V open, current limit ${plan.limit.words}`), rests('voltage and current rest', on('Open voltage', 'Current limit')),
    h('p', null, `${plan.feed_words} About ${(plan.expected_v * 1000).toFixed(0)} mV will stand between the clips. Likeliest place so far: ${plan.place}.`),
    plan.words.map((/** @type {string} */ w) => h('p', null, inPageWords(w))), rests('millimetres and warmth rest', on('Last digit', 'Warmth')),
    h('ul.cautions', null, plan.cautions.map((/** @type {string} */ c) => h('li', null, c))),
    h('h3', null, 'The drops: expected, and as they are read'),
    h('div.row', null, h('label.field', null, 'Current that flows, A', flows), h('p', null, `One tip stays on the feed point: ${plan.feed_tips[0]} for ${plan.net_a}, ${plan.feed_tips[1]} for ${plan.net_b}. The other goes along the net.`)),
    h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'Drops to expect' }, h('table.pins.drops', null, h('thead', null, h('tr', null, ['net', 'moving tip at', 'mV', 'read, mV'].map((t) => h('th', { scope: 'col' }, t)))),
      h('tbody', null, plan.drops.map((/** @type {any} */ d, /** @type {number} */ k) => h('tr', null, h('td', null, d.net), h('td', null, d.words, d.on_the_way ? '' : h('span', null, ' at the short or beyond it')), h('td.figure', null, d.drop_mv.toFixed(2)), h('td', null, read(d, k))))))), rests('clips and drops rest', on('Clips', 'Drops')));
}
