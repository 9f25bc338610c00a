// @ts-check
/** Our own little drawings, 24 by 24, in the text's colour. */
import { s } from './dom.js';

/** @type {Record<string, string>} path data */
const PATHS = {
  closed: 'M3 12h18 M3 12m-1.6 0a1.6 1.6 0 1 0 3.2 0a1.6 1.6 0 1 0 -3.2 0 M21 12m-1.6 0a1.6 1.6 0 1 0 3.2 0a1.6 1.6 0 1 0 -3.2 0',
  open: 'M3 12h5 M16 12h5 M9.5 8l1.5 8 M13 8l1.5 8',
  again: 'M19 8a8 8 0 1 0 1.5 6 M19.5 3v5.5h-5.5',
  skip: 'M4 18c4-8 9-9 15-9 M15 5l4 4-4 4 M4 6l4 4 M8 6l-4 4',
  back: 'M9 6l-6 6 6 6 M3 12h12a5 5 0 0 1 0 10h-3',
  turn: 'M12 3v18 M9 6H4v12h5 M15 6l5 2v8l-5 2',
  lid: 'M3 12h18 M6 9V4h12v5 M6 15l2 5h8l2-5',
  rotate: 'M5 19h9V10H5z M14 5a6 6 0 0 1 5.5 6 M21.5 8.5L19.5 11.5L16.8 9.2',
  nearer: 'M12 5v14 M5 12h14',
  further: 'M5 12h14',
  fit: 'M4 9V4h5 M20 9V4h-5 M4 15v5h5 M20 15v5h-5',
  marks: 'M3 6h4 M10 6h4 M17 6h4 M3 12h18 M3 18h.5 M8 18h.5 M13 18h.5 M18 18h.5',
  list: 'M8 6h12 M8 12h12 M8 18h12 M4 6h.5 M4 12h.5 M4 18h.5',
  area: 'M5 8l7-4 7 5-2 9-9 2z M9 12l3 3 M12 10l3 3',
  lamp: 'M12 3a6 6 0 0 0-3.5 10.9V16h7v-2.1A6 6 0 0 0 12 3z M9.5 19h5 M10.5 21.5h3',
  help: 'M9 9a3 3 0 1 1 4.3 2.7c-.9.5-1.3 1-1.3 2.3 M12 18v.5',
  goto: 'M12 8a4 4 0 1 0 .01 0 M12 2v4 M12 18v4 M2 12h4 M18 12h4',
  ear: 'M7 10a5 5 0 0 1 10 0c0 4-4 4-4 8a2.5 2.5 0 0 1-4.5 1.5 M10 10a2 2 0 0 1 4 0c0 1.5-1.5 2-2 3',
  voice: 'M4 9h4l5-4v14l-5-4H4z M16 9a4 4 0 0 1 0 6 M18.5 6.5a8 8 0 0 1 0 11',
  photo: 'M4 8h4l2-3h4l2 3h4v11H4z M12 10.5a3 3 0 1 0 .01 0',
};

/** @param {string} name */
export function icon(name, size = 24) {
  return s('svg', { viewBox: '0 0 24 24', width: size, height: size, 'aria-hidden': 'true', class: 'icon' },
    s('path', { d: PATHS[name] ?? '', fill: 'none', stroke: 'currentColor', 'stroke-width': 2, 'stroke-linecap': 'round', 'stroke-linejoin': 'round' }));
}

/** The tips' marks: A a filled triangle, B a ring. @param {'a'|'b'} which */
export function tipMark(which, size = 40) {
  const dark = '#14110e';
  const text = { 'text-anchor': 'middle', 'font-weight': 800, 'font-family': 'system-ui, sans-serif', fill: dark };
  const body = which === 'a'
    ? [s('path', { d: 'M20 37 L3 4 H37 Z', fill: 'var(--tip-a)', stroke: dark, 'stroke-width': 2.5, 'stroke-linejoin': 'round' }), s('text', { x: 20, y: 20, 'font-size': 15, ...text }, 'A')]
    : [s('circle', { cx: 20, cy: 20, r: 15, fill: 'none', stroke: dark, 'stroke-width': 10 }), s('circle', { cx: 20, cy: 20, r: 15, fill: 'none', stroke: 'var(--tip-b)', 'stroke-width': 7 }), s('text', { x: 20, y: 25.5, 'font-size': 15, ...text, fill: 'currentColor' }, 'B')];
  return s('svg', { viewBox: '0 0 40 40', width: size, height: size, role: 'img', 'aria-label': `tip ${which.toUpperCase()}, ${which === 'a' ? 'triangle' : 'ring'}`, class: 'tipmark' }, ...body);
}
