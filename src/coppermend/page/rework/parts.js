// @ts-check
/** The removal plan of a part: the pins drawn by the heat they draw, the order as a thread through them, what stands beside and lies under. */
import { h, s } from '../shared/dom.js';
import { inPageWords } from '../shared/pagewords.js';
import { Refused } from '../shared/api.js';
import { typed } from '../solder/numbers.js';
import { linesOf, rests } from '../shared/rests.js';

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

/** How many pins need what: the need's class in the drawing and its words. Pure. @param {any} plan @returns {[string, string][]} */
export function needs(plan) {
  const count = (/** @type {string} */ need) => plan.pins.filter((/** @type {any} */ p) => p.need === need).length;
  const pins = (/** @type {number} */ n) => `${n} ${n === 1 ? 'pin' : 'pins'}`;
  const [hot, big, plain] = ['preheat and bigger tip', 'bigger tip', 'ordinary'].map(count);
  const rows = /** @type {[number, string, string][]} */ ([[hot, 'preheat', `${pins(hot)}: preheat and a bigger tip`], [big, 'bigger', `${pins(big)}: a bigger tip`], [plain, 'ordinary', `${pins(plain)}: an ordinary tip does`]]);
  return rows.filter(([n]) => n).map(([, kind, words]) => [kind, words]);
}

/** @param {any} plan */
const said = (plan) => needs(plan).map(([, words]) => words).join('; ');

/** The needs with the sign that each has in the drawing. @param {any} plan */
const legend = (plan) => h('ul.needs', null, needs(plan).map(([kind, words]) => h('li', null, s('svg', { class: 'sign', viewBox: '0 0 4 4', 'aria-hidden': 'true' }, s('circle', { class: `pin ${kind}`, cx: 2, cy: 2, r: 1.6 })), words)));

/** @param {any} plan @param {(words: string) => void} mark what to do when the work area is to be marked */
export function removalSheets(plan, mark) {
  const kinds = /** @type {Record<string, number>} */ ({});
  for (const one of plan.at_risk) kinds[one.kind] = (kinds[one.kind] ?? 0) + 1;
  const bench = assumed(plan.assumed), on = (/** @type {string[]} */ ...names) => linesOf(plan.rests_on, ...names);
  const copper = (/** @type {any} */ u) => h('li', null, `${u.mm.toFixed(1)} mm of ${u.words}`);
  return [
    plan.itself?.length ? h('section.sheet', { id: 'itself', 'aria-label': 'The part itself' }, h('h2', null, `${plan.part} itself`), plan.itself.map((/** @type {any} */ r) => h('p.mind', null, inPageWords(r.words)))) : null,
    h('section.sheet', { 'aria-label': 'Heat of the joints' }, h('h2', null, `${plan.part}: heat of the joints`), legend(plan), rests('these needs rest', [...on('Needs'), bench.tips, bench.room, bench.solder]), heatMap(plan),
      h('h3', null, 'Working order'), h('p', null, `Heat met at the worst moment: ${Math.round(100 * plan.peak_share)} % of going pin by pin. Joints that need more come last.`), h('p.order', { id: 'order' }, plan.order.join(' ')), rests('the order and its heat rest', [...on('Order'), bench.kept])),
    h('section.sheet', { 'aria-label': 'Pins' }, h('h2', null, 'Pins, the joint whose heat runs away fastest first'),
      h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'All pins' }, h('table.pins.joints', null, h('thead', null, h('tr', null, ['', 'pin', 'K/W', 'W', 'needs', 'because'].map((t) => h('th', { scope: 'col' }, t || 'rank')))),
        h('tbody', null, [...plan.pins].sort((a, b) => a.rank - b.rank).map((p) => h('tr', null, h('td.figure', null, p.rank), h('td.figure', null, p.number), h('td.figure', null, p.k_per_w.toFixed(1)), h('td.figure', null, p.watts.toFixed(1)), h('td', null, p.need), h('td.because', null, p.reasons.join('; '))))))),
      rests('K/W rests', [...on('K/W', 'Board'), bench.film]), rests('W rests', [...on('W'), bench.room, bench.solder]), rests('"needs" rests', [...on('Needs'), bench.tips, bench.room, bench.solder]),
      h('details', null, h('summary', null, 'To know'), h('ul', null, plan.notes.map((/** @type {string} */ t) => h('li', null, inPageWords(t)))))),
    h('div.two', null,
      h('section.sheet', null, h('h2', null, 'Shield or take out'), plan.shield.length ? h('ul', { id: 'shield' }, plan.shield.map((/** @type {any} */ b) => h('li', null, h('b', null, b.part), ` ${b.what}, ${b.gap_mm} mm away; ${b.do}`))) : h('p', { id: 'shield' }, plan.itself?.length ? 'Nothing else that heat harms stands near.' : 'Nothing that heat harms stands near.'), rests('this list rests', on('Shield'))),
      h('section.sheet', { id: 'under' }, h('h2', null, 'Under it'), plan.under.length ? [h('p', null, 'No scraping and no levering here:'), h('ul', null, plan.under.slice(0, 12).map(copper)), plan.under.length > 12 ? h('details', null, h('summary', null, `${plan.under.length - 12} more`), h('ul', null, plan.under.slice(12).map(copper))) : null] : h('p', null, 'No track of its own side runs under it.'), rests('this list rests', on('Under')))),
    h('section.sheet', null, h('h2', null, 'Afterwards'), h('p', null, `${plan.at_risk.length} places are at risk: ${Object.entries(kinds).map(([k, n]) => `${n} ${k}`).join(', ')}. Mark the work area, then run its round before the new part goes in.`),
      h('button.key.hot', { type: 'button', id: 'mark-area', onclick: () => mark(plan.part) }, `Mark the work area round ${plan.part}`), rests('these places rest', on('At risk'))),
    h('section.sheet', null, h('h2', null, 'Mind'), h('ul', null, plan.steps.map((/** @type {any} */ r) => h('li', null, inPageWords(r.words), ' ', h('span', null, `[${r.source}]`))))),
  ];
}

/** The assumptions of iron, solder and air in words. Pure. @param {Record<string, number>} a */
export function assumed(a) {
  return {
    room: `Room ${a.room_c} °C, tip ${a.tip_c} °C, preheated board ${a.preheat_c} °C.`,
    solder: `The old solder is liquid at ${a.liquidus_c} °C; a joint is worked ${a.above_k} K above.`,
    tips: `A small tip gives its heat over ${a.small_tip_k_per_w} K/W, a big one over ${a.big_tip_k_per_w} K/W.`,
    film: `Each face loses ${a.film_w_m2k} W/m²K to the air.`,
    kept: `A joint keeps ${Math.round(100 * a.kept)} % of its heat until the next.`,
  };
}

/** What a removal is asked with besides the part: name of the field, words, what is taken where nothing is typed. */
const IRON = /** @type {[string, string, string][]} */ ([['tip_c', 'Tip of the iron, °C', '350'], ['preheat_c', 'Preheated board, °C', '100'], ['liquidus_c', 'Old solder all liquid at, °C', '183'], ['film_w_m2k', 'Each face loses to the air, W/m²K', '10'], ['margin_mm', 'Work area round the pins, mm', '3']]);

/** @param {string} part @param {(part: string, said: Record<string, string>) => void} plan @returns {HTMLElement} */
export function partForm(part, plan) {
  const field = (/** @type {[string, string, string]} */ [name, words, usual]) => h('label.field', null, words, h('input', { name, id: `removal-${name}`, placeholder: usual, inputmode: 'decimal', autocomplete: 'off' }));
  return h('form.sheet', { id: 'which', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); const { part: name, ...said } = filledIn(/** @type {HTMLFormElement} */ (e.target)); plan(name ?? '', said); } },
    h('div.row', null, h('label.field', null, 'Part', h('input', { name: 'part', required: true, value: part, placeholder: 'U1', autocomplete: 'off', spellcheck: 'false' })), h('button.key.hot', { id: 'plan' }, 'Plan its removal')),
    h('details.rests', { id: 'iron' }, h('summary', null, 'Iron, preheat, old solder, air, work area'), h('div.row', null, IRON.map(field))));
}

/** The fields of a form that were filled in, trimmed. @param {HTMLFormElement} form @returns {Record<string, string>} */
export const filledIn = (form) => Object.fromEntries([...new FormData(form)].map(([k, v]) => /** @type {[string, string]} */ ([k, String(v).trim()])).filter(([, v]) => v));

/** The same with its numbers as the server reads them; throws a refusal where one is no number. @param {Record<string, string>} said @param {string[]} words names of fields that hold words @returns {Record<string, string>} */
export function numbersIn(said, words = []) {
  return Object.fromEntries(Object.entries(said).map(([name, text]) => {
    if (words.includes(name)) return [name, text];
    const value = typed(text);
    if (value === null || Number.isNaN(value)) throw new Refused({ code: 'PAGE-003', severity: 'error', place: {}, words: `"${text}" is no number.`, remedy: 'Write it with digits, such as 0.1 or 350.' });
    return [name, String(value)];
  }));
}
