// @ts-check
/** The removal plan of a part: the pins drawn by the heat they draw, the order as a thread through them, what stands beside and lies under. */
import { h, s } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';

const CLASSES = { ordinary: 'ordinary', 'bigger tip': 'bigger', 'preheat and bigger tip': 'preheat' };

/** The pins as circles with their numbers, as seen on the part's own side; the thread is the working order. @param {any} plan */
export function heatMap(plan) {
  const xs = plan.pins.map((/** @type {any} */ p) => p.x_mm), ys = plan.pins.map((/** @type {any} */ p) => -p.y_mm);
  const box = [Math.min(...xs) - 3, Math.min(...ys) - 3, Math.max(...xs) - Math.min(...xs) + 6, Math.max(...ys) - Math.min(...ys) + 6];
  const at = new Map(plan.pins.map((/** @type {any} */ p) => [p.number, p]));
  const way = plan.order.map((/** @type {string} */ n) => at.get(n)).map((/** @type {any} */ p) => `${p.x_mm},${-p.y_mm}`).join(' ');
  const size = pinRadius(plan.pins);
  return s('svg', { class: 'heat-map', viewBox: box.join(' '), role: 'img', 'aria-label': `Pins of ${plan.part}; ${said(plan)}` },
    s('polyline', { class: 'way', points: way }),
    ...plan.pins.flatMap((/** @type {any} */ p) => {
      const title = s('title', {});
      title.textContent = `pin ${p.number}: ${p.k_per_w.toFixed(0)} K/W, ${p.need}`;
      const label = s('text', { x: p.x_mm, y: -p.y_mm, 'font-size': size });
      label.textContent = p.number;
      return [s('circle', { class: `pin ${CLASSES[/** @type {keyof typeof CLASSES} */ (p.need)] ?? 'ordinary'}`, cx: p.x_mm, cy: -p.y_mm, r: size }, title), label];
    }));
}

/** Radius that lets neighbouring pins stand apart, in mm. Pure. @param {{x_mm: number, y_mm: number}[]} pins */
export function pinRadius(pins) {
  let least = 2.6;
  for (let i = 1; i < pins.length; i++) least = Math.min(least, Math.hypot(pins[i].x_mm - pins[i - 1].x_mm, pins[i].y_mm - pins[i - 1].y_mm));
  return Math.max(0.42 * least, 0.1);
}

/** How many pins need what, in words. Pure. @param {any} plan */
export function said(plan) {
  const count = (/** @type {string} */ need) => plan.pins.filter((/** @type {any} */ p) => p.need === need).length;
  const parts = [[count('preheat and bigger tip'), 'need preheat and a bigger tip'], [count('bigger tip'), 'need a bigger tip'], [count('ordinary'), 'an ordinary tip does']];
  return parts.filter(([n]) => n).map(([n, words]) => `${n}: ${words}`).join('; ');
}

/** @param {any} plan @param {(words: string) => void} mark what to do when the work area is to be marked */
export function removalSheets(plan, mark) {
  const kinds = /** @type {Record<string, number>} */ ({});
  for (const one of plan.at_risk) kinds[one.kind] = (kinds[one.kind] ?? 0) + 1;
  return [
    plan.itself?.length ? h('section.sheet', { id: 'itself', 'aria-label': 'The part itself' }, h('h2', null, `${plan.part} itself`), plan.itself.map((/** @type {any} */ r) => h('p.mind', null, inPageWords(r.words)))) : null,
    h('section.sheet', { 'aria-label': 'Heat of the joints' }, h('h2', null, `${plan.part}: heat of the joints`), h('p', null, said(plan)), heatMap(plan),
      h('h3', null, 'Working order'), h('p', null, `Heat met at the worst moment: ${Math.round(100 * plan.peak_share)} % of going pin by pin. Joints that need more come last.`), h('p.order', { id: 'order' }, plan.order.join(' ')), restsOn(plan)),
    h('section.sheet', { 'aria-label': 'Pins' }, h('h2', null, 'Pins, the joint whose heat runs away fastest first'),
      h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'All pins' }, h('table.pins', null, h('thead', null, h('tr', null, ['', 'pin', 'K/W', 'W', 'needs', 'because'].map((t) => h('th', { scope: 'col' }, t || 'rank')))),
        h('tbody', null, [...plan.pins].sort((a, b) => a.rank - b.rank).map((p) => h('tr', null, h('td.figure', null, p.rank), h('td.figure', null, p.number), h('td.figure', null, p.k_per_w.toFixed(1)), h('td.figure', null, p.watts.toFixed(1)), h('td', null, p.need), h('td', null, p.reasons.join('; '))))))),
      restsOn(plan), h('details', null, h('summary', null, 'To know'), h('ul', null, plan.notes.map((/** @type {string} */ t) => h('li', null, inPageWords(t)))))),
    h('div.two', null,
      h('section.sheet', null, h('h2', null, 'Shield or take out'), plan.shield.length ? h('ul', { id: 'shield' }, plan.shield.map((/** @type {any} */ b) => h('li', null, h('b', null, b.part), ` ${b.what}, ${b.gap_mm} mm away; ${b.do}`))) : h('p', { id: 'shield' }, plan.itself?.length ? 'Nothing else that heat harms stands near.' : 'Nothing that heat harms stands near.')),
      h('section.sheet', null, h('h2', null, 'Under it'), plan.under.length ? [h('p', null, 'No scraping and no levering here:'), h('ul', null, plan.under.slice(0, 12).map((/** @type {any} */ u) => h('li', null, `${u.mm} mm of ${u.words}`))), plan.under.length > 12 ? h('p', null, `and ${plan.under.length - 12} more`) : null] : h('p', null, 'No track of its own side runs under it.'))),
    h('section.sheet', null, h('h2', null, 'Afterwards'), h('p', null, `${plan.at_risk.length} places are at risk: ${Object.entries(kinds).map(([k, n]) => `${n} ${k}`).join(', ')}. Mark the work area, then run its round before the new part goes in.`),
      h('button.key.hot', { type: 'button', id: 'mark-area', onclick: () => mark(plan.part) }, `Mark the work area round ${plan.part}`), restsOn(plan)),
    h('section.sheet', null, h('h2', null, 'Mind'), h('ul', null, plan.steps.map((/** @type {any} */ r) => h('li', null, inPageWords(r.words), ' ', h('span', null, `[${r.source}]`))))),
  ];
}

/** What the figures rest on, one tap away from each. @param {any} plan */
const restsOn = (plan) => h('details', null, h('summary', null, 'What this rests on'), h('ul', null, [...assumed(plan.assumed), ...(plan.rests_on ?? [])].map((t) => h('li', null, t))));

/** The assumptions in words. Pure. @param {Record<string, number>} a */
export function assumed(a) {
  return [
    `Room ${a.room_c} °C, tip ${a.tip_c} °C, preheated board ${a.preheat_c} °C.`,
    `The old solder is liquid at ${a.liquidus_c} °C; a joint is worked ${a.above_k} K above.`,
    `A small tip gives its heat over ${a.small_tip_k_per_w} K/W, a big one over ${a.big_tip_k_per_w} K/W.`,
    `Each face loses ${a.film_w_m2k} W/m²K to the air; a joint keeps ${Math.round(100 * a.kept)} % of its heat until the next.`,
  ];
}
