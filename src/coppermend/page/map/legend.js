// @ts-check
/** What the marks mean. The samples are drawn from the same table as the map. */
import { fill, h, s } from '../shared/dom.js';
import { CUT_STYLE, SITE_STYLE } from './overlay.js';
import { MARK } from './palette.js';
import { RIM_STYLE } from './rim.js';

/** @param {HTMLElement} el */
export function drawLegend(el) {
  const sample = (/** @type {Node[]} */ ...nodes) => s('svg', { viewBox: '0 0 46 18', width: 46, height: 18, 'aria-hidden': 'true' }, ...nodes);
  const dash = (/** @type {string} */ name) => {
    const st = SITE_STYLE[name];
    return sample(s('path', { d: 'M3 9h40', stroke: st.colour, 'stroke-width': st.width + 0.8, 'stroke-dasharray': st.dash.join(' '), 'stroke-linecap': st.cap }));
  };
  /** @type {[Node, string][]} */
  const rows = [
    [dash('unproven'), 'at risk, not proven yet'],
    [dash('proven'), 'proven'],
    [dash('unprovable'), 'cannot be proven by two tips'],
    [sample(s('path', { d: 'M3 9h40', stroke: MARK.spanDark, 'stroke-width': 9 }), s('path', { d: 'M3 9h40', stroke: MARK.span, 'stroke-width': 7, 'stroke-dasharray': '5 3' }), s('path', { d: 'M3 9h40', stroke: MARK.span, 'stroke-width': 3 })), 'a break lies here'],
    [sample(s('path', { d: 'M6 9Q23 -1 40 9', fill: 'none', stroke: MARK.wire, 'stroke-width': 5 }), s('path', { d: 'M6 9Q23 -1 40 9', fill: 'none', stroke: MARK.wireCore, 'stroke-width': 2 }), s('rect', { x: 3, y: 5, width: 7, height: 7, fill: MARK.wireCore }), s('rect', { x: 37, y: 5, width: 7, height: 7, fill: MARK.wireCore })), 'patch wire'],
    [sample(...CUT_STYLE.map(([width, stroke]) => s('path', { d: 'M23 1v16', stroke, 'stroke-width': width }))), 'cut on purpose'],
    [sample(s('path', { d: 'M3 9h40', stroke: MARK.net, 'stroke-width': 6 })), 'lit net, this side'],
    [sample(s('path', { d: 'M3 9h40', stroke: MARK.netFar, 'stroke-width': 8, 'stroke-dasharray': '5 3.5' }), s('path', { d: 'M3 9h40', stroke: '#2c2416', 'stroke-width': 5 })), 'lit net, other side'],
    [sample(s('path', { d: 'M2 16L14 2M12 16L24 2M22 16L34 2M32 16L44 2', stroke: MARK.area.rework })), 'work area: rework'],
    [sample(s('path', { d: 'M3 5h40M3 12h40', stroke: MARK.area.corrosion, 'stroke-width': 2, 'stroke-dasharray': '2 5' })), 'work area: corrosion'],
    [sample(s('path', { d: 'M2 16L14 2M12 16L24 2M22 16L34 2M32 16L44 2M2 2L14 16M12 2L24 16M22 2L34 16M32 2L44 16', stroke: MARK.area.impact })), 'work area: impact'],
    [sample(s('path', { d: 'M0 6h46', stroke: '#e9d9ae', 'stroke-width': RIM_STYLE.c.width })), 'edge of the component side'],
    [sample(s('path', { d: 'M0 6h46', stroke: '#e9d9ae', 'stroke-width': RIM_STYLE.s.width, 'stroke-dasharray': RIM_STYLE.s.dash.join(' ') })), 'edge of the solder side'],
  ];
  fill(el, h('h2', null, 'Marks'), h('ul', null, rows.map(([pic, words]) => h('li', null, pic, words))));
}
