// @ts-check
/** The board coloured by evidence: a tick in a ring where a reading is as it should be, a cross in a diamond where it is not, stripes and numbers over suspects. */
import { s } from '../shared/dom.js';

/** @typedef {{entry: string, at: string, words: string, noted: string}} Seen */
/** @typedef {{point: string, x_mm: number, y_mm: number, side: string, name: string, where: string, row?: {up: number[], out: number[], rank: string}|null, side_words: string, net: string, expected: string}} Spot */
/** @typedef {Spot & {seen: Seen[], agrees: boolean}} Mark */
/** @typedef {{unit: string, p: number, words: string, outline: number[][], paths: number[][][]}} Lie */
/** @typedef {{size_mm: number[], outline: number[][][], parts: {ref: string, side: string, outline: number[][]}[], marks: Mark[], tracks: {net: string, agrees: boolean, paths: number[][][]}[],
 *   heat: {part: string, verdict: string, words: string}[], lies: Lie[], next: Spot[]}} Found */
/** Which way the board lies, and the window on it: centre in mm of the board, ``zoom`` 1 the whole board. @typedef {{turned: boolean, zoom: number, x: number, y: number}} View */

/** Suspects below this are listed, not drawn. */
export const DRAWN_FROM = 0.02;
const EDGE_MM = 4;

/** A ring of mm as an SVG path, y turned down. Pure. @param {number[][]} ring @param {boolean} [shut] */
export const pathOf = (ring, shut = true) => ring.map(([x, y], k) => `${k ? 'L' : 'M'}${x} ${-y}`).join('') + (shut && ring.length ? 'Z' : '');

/** How strongly a suspect is drawn: never fainter than can be seen. Pure. @param {number} p */
export const strength = (p) => Math.round((0.35 + 0.6 * Math.min(1, Math.max(0, p))) * 100) / 100;

/** The whole board, or a window of it that never leaves the board: x, y, width, height of the picture in mm, y down. Pure. @param {number[]} size x0, y0, x1, y1 @param {View} view */
export function windowOf(size, view) {
  const [x0, y0, x1, y1] = size;
  const wide = x1 - x0 + 2 * EDGE_MM, high = y1 - y0 + 2 * EDGE_MM;
  const zoom = Math.max(1, view.zoom), w = wide / zoom, h = high / zoom;
  const x = view.turned ? x0 + x1 - view.x : view.x;
  const within = (/** @type {number} */ v, /** @type {number} */ low, /** @type {number} */ most) => Math.min(Math.max(v, low), most);
  return [within(x - w / 2, x0 - EDGE_MM, x1 + EDGE_MM - w), within(-view.y - h / 2, -y1 - EDGE_MM, -y0 + EDGE_MM - h), w, h];
}

/** The place nearest to a press in mm, within ``reach``; null where none is. Pure. @template {{x_mm: number, y_mm: number}} T @param {T[]} marks @param {number} x @param {number} y @param {number} reach */
export function nearest(marks, x, y, reach) {
  let best = null, least = reach;
  for (const m of marks) {
    const d = Math.hypot(m.x_mm - x, m.y_mm - y);
    if (d <= least) [best, least] = [m, d];
  }
  return best;
}

/** The sign of a mark, round 0, 0: its shape tells it apart without colour. @param {boolean} fits @param {number} [r] */
export function signOf(fits, r = 1.7) {
  return fits
    ? [s('circle', { class: 'fits', r }), s('path', { class: 'sign', d: `M${-0.5 * r} 0L${-0.1 * r} ${0.45 * r}L${0.55 * r} ${-0.45 * r}` })]
    : [s('path', { class: 'breaks', d: `M0 ${-1.35 * r}L${1.35 * r} 0L0 ${1.35 * r}L${-1.35 * r} 0Z` }), s('path', { class: 'sign', d: `M${-0.4 * r} ${-0.4 * r}L${0.4 * r} ${0.4 * r}M${0.4 * r} ${-0.4 * r}L${-0.4 * r} ${0.4 * r}` })];
}

/** @param {Found} found @param {string} chosen point that is looked at @param {View} view @param {(spot: Spot) => void} choose @param {SVGElement|null} [under] a thermal picture, in mm of the board */
export function drawMap(found, chosen, view, choose, under = null) {
  const [x0, , x1] = found.size_mm;
  const box = windowOf(found.size_mm, view);
  const unit = box[2] / 110; // signs keep their size on the screen
  const wrong = found.marks.filter((m) => !m.agrees).length;
  const mirror = (/** @type {number} */ x) => (view.turned ? x0 + x1 - x : x);
  const drawn = found.parts.filter((p) => p.outline.length);
  const hot = new Map(found.heat.map((one) => [one.part, one.verdict]));
  const svg = s('svg', { class: under ? 'suspect-map over-thermal' : 'suspect-map', id: 'suspect-map', viewBox: box.map((v) => Math.round(v * 1000) / 1000).join(' '), role: 'group',
    'aria-label': `The board from the ${view.turned ? 'solder' : 'component'} side: ${found.marks.length} places looked at, ${wrong} not as expected. The list below says the same in words.`,
    onclick: (/** @type {MouseEvent} */ e) => { const at = placeOf(svg, e, mirror); const mark = nearest([...found.marks, ...found.next], at[0], at[1], Math.max(3.5, 3 * unit)); if (mark) choose(mark); } },
    s('defs', {}, s('pattern', { id: 'stripes', width: 3, height: 3, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, s('line', { class: 'stripes', x1: 0, y1: 0, x2: 0, y2: 3 }))),
    s('g', view.turned ? { transform: `translate(${x0 + x1} 0) scale(-1 1)` } : {},
      ...(under ? [under] : []),
      ...found.outline.map((ring) => s('path', { class: 'rim', d: pathOf(ring) })),
      ...drawn.map((p) => s('path', { class: 'part', d: pathOf(p.outline) })),
      ...found.tracks.flatMap((t) => t.paths.map((p) => s('path', { class: t.agrees ? 'track' : 'track odd', d: pathOf(p, false) }))),
      ...found.lies.filter((l) => l.p >= DRAWN_FROM).flatMap((l) => lie(l)),
      ...found.next.map((n) => s('circle', { class: 'goal', cx: n.x_mm, cy: -n.y_mm, r: 2.6 * unit }, s('title', {}, `Next: ${n.name}`)))),
    ...drawn.map((p) => refOf(p, mirror, hot.get(p.ref))),
    ...found.marks.map((m) => markOf(m, m.point === chosen, mirror, unit, choose)),
    ...ranks(found.lies, mirror, unit));
  return svg;
}

/** Where on the board a press is, mm. @param {Element} svg @param {MouseEvent} e @param {(x: number) => number} mirror */
function placeOf(svg, e, mirror) {
  const at = /** @type {SVGSVGElement} */ (svg).getScreenCTM()?.inverse();
  if (!at) return [Infinity, Infinity];
  const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(at);
  return [mirror(p.x), -p.y];
}

/** @param {Lie} one */
function lie(one) {
  const about = () => s('title', {}, `${one.words}: ${(100 * one.p).toFixed(1)} %`);
  return one.outline.length
    ? [s('path', { class: 'lie', fill: 'url(#stripes)', opacity: strength(one.p), d: pathOf(one.outline) }, about())]
    : one.paths.map((p) => (p.length > 1 ? s('path', { class: 'lie way', opacity: strength(one.p), d: pathOf(p, false) }, about()) : s('circle', { class: 'lie', fill: 'url(#stripes)', opacity: strength(one.p), cx: p[0][0], cy: -p[0][1], r: 2.2 }, about())));
}

/** Where the numbers of suspects stand, mm of the picture: near their suspect, never on each other; null where a suspect has no place. Pure. @param {(number[]|null)[]} spots @param {number} apart */
export function spread(spots, apart) {
  /** @type {number[][]} */ const taken = [];
  return spots.map((spot) => {
    if (!spot) return null;
    for (let k = 0; k < 40; k++) {
      const turn = (k * 2.4) % (2 * Math.PI), far = k ? apart * (0.6 + 0.25 * k) : 0;
      const at = [spot[0] + far * Math.cos(turn), spot[1] + far * Math.sin(turn)];
      if (taken.some((t) => Math.hypot(t[0] - at[0], t[1] - at[1]) < apart)) continue;
      taken.push(at);
      return at;
    }
    return null;
  });
}

/** The suspects' numbers in the list, on the map. @param {Lie[]} lies @param {(x: number) => number} mirror @param {number} unit */
function ranks(lies, mirror, unit) {
  const own = lies.map((one) => {
    const spots = one.outline.length ? [middle(one.outline)] : one.paths.flat();
    const [x, y] = spots[Math.floor(spots.length / 2)] ?? [];
    return x === undefined || one.p < DRAWN_FROM ? null : [mirror(x) + (one.outline.length ? 0 : 2.4 * unit), -y - 2.4 * unit];
  });
  return spread(own, 3.1 * unit).flatMap((at, k) => (at ? [s('g', { class: 'rank', 'aria-hidden': 'true', transform: `translate(${at[0]} ${at[1]})` }, s('circle', { r: 1.5 * unit }), s('text', { 'font-size': 1.9 * unit, y: 0.68 * unit }, String(k + 1)))] : []));
}

/** @param {number[][]} ring */
const middle = (ring) => {
  const xs = ring.map(([x]) => x), ys = ring.map(([, y]) => y);
  return [(Math.max(...xs) + Math.min(...xs)) / 2, (Math.max(...ys) + Math.min(...ys)) / 2];
};

/** @param {{ref: string, outline: number[][]}} part @param {(x: number) => number} mirror @param {string} [heat] */
function refOf(part, mirror, heat) {
  const xs = part.outline.map(([x]) => x), ys = part.outline.map(([, y]) => y);
  const w = Math.max(...xs) - Math.min(...xs), h = Math.max(...ys) - Math.min(...ys);
  const words = heat && heat !== 'unknown' ? `${part.ref} ${heat}` : part.ref;
  const size = Math.min(5, 0.8 * Math.min(w, h), (1.6 * Math.max(w, h)) / words.length);
  const [mx, my] = middle(part.outline);
  const x = mirror(mx), y = -my;
  return s('text', { class: heat === 'cold' || heat === 'hot' ? 'ref odd' : 'ref', 'font-size': size, x, y: y + size / 3, ...(h > w ? { transform: `rotate(-90 ${x} ${y})` } : {}) }, words);
}

/** @param {Mark} mark @param {boolean} current @param {(x: number) => number} mirror @param {number} unit @param {(spot: Spot) => void} choose */
function markOf(mark, current, mirror, unit, choose) {
  return s('g', { class: 'mark', id: `mark-${mark.point}`, transform: `translate(${mirror(mark.x_mm)} ${-mark.y_mm})`, tabindex: 0, role: 'button', 'aria-current': current ? 'true' : 'false',
    'aria-label': `${mark.name}: ${mark.agrees ? 'as expected' : 'not as expected'}`,
    onkeydown: (/** @type {KeyboardEvent} */ e) => { if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); e.stopPropagation(); choose(mark); } } },
    s('circle', { class: 'ring', r: 2.3 * unit }), ...signOf(mark.agrees, 1.15 * unit));
}
