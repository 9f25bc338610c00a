// @ts-check
/** Marking a work area: round a part with a margin, or a polygon tapped on the board. */
import { fill, h } from '../shared/dom.js';

/**
 * What will be marked, as the map shows it before: the corners tapped, or a closed frame round the part's pins with the margin. Pure.
 * @param {{mode: string, part: string, margin: string, corners: number[][]}} draft @param {{ref: string, pins: any[][]}[]} parts of the scene; a pin is [number, x_mm, y_mm, ...]
 * @returns {number[][]} corners in mm; the first again at the end where the frame is closed
 */
export function drafted(draft, parts) {
  if (draft.mode !== 'part') return draft.corners;
  const pins = parts.find((p) => p.ref.toUpperCase() === draft.part.trim().toUpperCase())?.pins ?? [];
  const margin = Number(draft.margin.replace(',', '.'));
  if (!pins.length || !(margin >= 0)) return [];
  const xs = pins.map((p) => p[1]), ys = pins.map((p) => p[2]);
  const [x0, y0, x1, y1] = [Math.min(...xs) - margin, Math.min(...ys) - margin, Math.max(...xs) + margin, Math.max(...ys) + margin];
  return [[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]];
}

/** @param {HTMLFormElement} el @param {import('../main.js').App} app */
export function drawAreaForm(el, app) {
  const draft = app.area;
  el.hidden = !draft;
  if (!draft) return;
  const what = draft.missed && draft.mode === 'part' ? `No part lies there${draft.part ? `; still round ${draft.part}` : ''}. Tap the body of one.` : draft.part ? `Round ${draft.part}` : draft.corners.length ? `${draft.corners.length} corners` : draft.mode === 'part' ? 'Tap the part on the board, or type its name.' : 'Tap the corners of the place on the board.';
  const option = (/** @type {string} */ v, /** @type {string} */ words, on = false) => h('option', { value: v, selected: on }, words);
  fill(el,
    h('h2', null, 'New work area'),
    h('p', { role: 'status' }, what),
    h('div.row', null,
      h('button.key.slim', { type: 'button', 'aria-pressed': String(draft.mode === 'part'), onclick: () => app.do('areaMode', 'part') }, 'Round a part'),
      h('button.key.slim', { type: 'button', 'aria-pressed': String(draft.mode === 'polygon'), onclick: () => app.do('areaMode', 'polygon') }, 'Corners')),
    draft.mode === 'part' ? h('div.pair', null, h('label.field', null, 'Part', h('input', { name: 'part', id: 'area-part', value: draft.part, list: 'find-names', oninput: (/** @type {any} */ e) => { draft.part = e.target.value; draft.missed = false; app.redraw(); } })), h('label.field', null, 'Margin, mm', h('input', { name: 'margin', id: 'area-margin', value: draft.margin, inputmode: 'decimal', oninput: (/** @type {any} */ e) => { draft.margin = e.target.value; app.redraw(); } }))) : null,
    h('label.field', null, 'What happened here', h('select', { name: 'kind', onchange: (/** @type {any} */ e) => { draft.kind = e.target.value; } }, option('rework', 'rework: parts unsoldered', draft.kind === 'rework'), option('corrosion', 'corrosion: a cell leaked, damp', draft.kind === 'corrosion'), option('impact', 'impact: a slip, a bend, a scratch', draft.kind === 'impact'))),
    h('label.field', null, 'How bad', h('select', { name: 'severity', onchange: (/** @type {any} */ e) => { draft.severity = Number(e.target.value); } }, option('1', '1 slight', draft.severity === 1), option('2', '2 marked', draft.severity === 2), option('3', '3 heavy', draft.severity === 3))),
    h('div.row', null, h('button.key.hot', { type: 'submit', disabled: draft.mode === 'part' ? !draft.part : draft.corners.length < 3 }, 'Mark it'), h('button.key.slim', { type: 'button', onclick: () => app.do('areaCancel') }, 'Not now')));
  el.onsubmit = (e) => {
    e.preventDefault();
    app.do('areaSave');
  };
}
