// @ts-check
/** Which way is up: the board in small as it lies now, its top edge named, the window as a frame, and a scale bar. */
import { fill, h, s } from '../shared/dom.js';
import { fit, lieWords, toBoard, toScreen } from './view.js';

/** A round length in mm whose bar is 40 to 110 px. Pure. @param {number} scale px per mm */
export function barLength(scale) {
  for (const mm of [0.5, 1, 2, 5, 10, 20, 50, 100]) if (mm * scale >= 42) return mm;
  return 200;
}

/** @param {HTMLElement} el @param {import('./view.js').View} view @param {number[]} box */
export function drawCompass(el, view, box) {
  const small = fit({ ...view, w: 96, h: 72 }, box, 11);
  const corner = (/** @type {number} */ x, /** @type {number} */ y) => toScreen(small, x, y);
  const [x0, y0, x1, y1] = box;
  const board = [corner(x0, y0), corner(x1, y0), corner(x1, y1), corner(x0, y1)];
  const top = [corner(x0, y1), corner(x1, y1)];
  const out = toScreen(small, (x0 + x1) / 2, y1 + (y1 - y0) * 0.14);
  const mid = [(top[0][0] + top[1][0]) / 2, (top[0][1] + top[1][1]) / 2];
  const eye = [[0, 0], [view.w, 0], [view.w, view.h], [0, view.h]].map(([px, py]) => corner(...toBoard(view, px, py)));
  const points = (/** @type {number[][]} */ list) => list.map((p) => p.map((n) => n.toFixed(1)).join(',')).join(' ');
  const mm = barLength(view.scale);
  fill(el,
    s('svg', { viewBox: '0 0 96 72', width: 96, height: 72, 'aria-hidden': 'true' },
      s('polygon', { points: points(board), class: view.face === 'c' ? 'mini' : 'mini under' }),
      s('line', { x1: top[0][0], y1: top[0][1], x2: top[1][0], y2: top[1][1], class: 'mini-top' }),
      s('line', { x1: mid[0], y1: mid[1], x2: out[0], y2: out[1], class: 'mini-top' }),
      s('polygon', { points: points(eye), class: 'mini-eye' })),
    h('div', { class: 'lies' }, h('strong', null, view.face === 'c' ? 'Component side' : 'Solder side'), h('span', null, lieWords(view).split(', ').slice(1).join(', '))),
    s('svg', { viewBox: '0 0 190 22', width: 190, height: 22, 'aria-hidden': 'true', class: 'scale-bar' },
      s('path', { d: `M1 6v8h${(mm * view.scale).toFixed(1)}v-8`, fill: 'none', stroke: 'currentColor', 'stroke-width': 2 }),
      s('text', { x: mm * view.scale + 7, y: 15, 'font-size': 12, fill: 'currentColor' }, `${mm} mm`)));
}
