// @ts-check
/** What the case lays over the board: areas, sites at risk, spans, wires, the lit net, the two tips. Each kind has its own shape or pattern. */
import { MARK } from './palette.js';
import { ink, line, linePath, ringPath } from './paths.js';
import { matrix, toScreen } from './view.js';

/** @typedef {import('./view.js').View} View */
/** @typedef {CanvasRenderingContext2D|OffscreenCanvasRenderingContext2D} Ctx */
/** @typedef {{id: string, kind: string, layer: string, net: number, path: number[], width_mm: number, state: string}} Site */
/** @typedef {{polygon: number[], kind: string, label: string, severity: number}} Area */

/** Line patterns in px of sites by what is known of them; pure, tested to be all different. @type {Record<string, {dash: number[], colour: string, width: number, cap: CanvasLineCap}>} */
export const SITE_STYLE = {
  unproven: { dash: [0.1, 6], colour: MARK.risk, width: 2.6, cap: 'round' },
  proven: { dash: [9, 3], colour: MARK.proven, width: 1.8, cap: 'butt' },
  unprovable: { dash: [2, 3, 7, 3], colour: MARK.unprovable, width: 2.2, cap: 'butt' },
  suspect: { dash: [], colour: MARK.span, width: 4, cap: 'round' },
};

/** @param {Ctx} ctx @param {View} view @param {number} ratio @param {Area[]} areas @param {number[]} [win] x0, y0, x1, y1 in px that is looked at, where the view is wider */
export function drawAreas(ctx, view, ratio, areas, win = [0, 0, view.w, view.h]) {
  for (const area of areas) {
    const colour = MARK.area[/** @type {keyof typeof MARK.area} */ (area.kind)] ?? MARK.area.rework;
    ctx.setTransform(...matrix(view, ratio));
    const ring = ringPath(area.polygon);
    ctx.save();
    ctx.clip(ring);
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    hatch(ctx, view, area, colour);
    ctx.restore();
    ctx.setTransform(...matrix(view, ratio));
    ctx.strokeStyle = colour;
    ctx.lineWidth = 1.6 / view.scale;
    ctx.setLineDash([7 / view.scale, 4 / view.scale]);
    ctx.stroke(ring);
    ctx.setLineDash([]);
  }
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  /** @type {number[][]} */
  const taken = [];
  for (const area of areas) tab(ctx, view, area, taken, win);
}

/** Corners of a polygon on the screen's box. @param {View} view @param {number[]} flat */
function screenBox(view, flat) {
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (let i = 0; i < flat.length; i += 2) {
    const [x, y] = toScreen(view, flat[i], flat[i + 1]);
    [x0, y0, x1, y1] = [Math.min(x0, x), Math.min(y0, y), Math.max(x1, x), Math.max(y1, y)];
  }
  return [x0, y0, x1, y1];
}

/** Rework slants one way, corrosion is dotted, impact is crossed. @param {Ctx} ctx @param {View} view @param {Area} area @param {string} colour */
function hatch(ctx, view, area, colour) {
  const [bx0, by0, bx1, by1] = screenBox(view, area.polygon);
  const x0 = Math.max(bx0, -50), y0 = Math.max(by0, -50), x1 = Math.min(bx1, view.w + 50), y1 = Math.min(by1, view.h + 50);
  if (x1 <= x0 || y1 <= y0) return;
  ctx.globalAlpha = 0.4;
  ctx.strokeStyle = ctx.fillStyle = colour;
  ctx.lineWidth = 1;
  ctx.beginPath();
  const h = y1 - y0, step = 11;
  if (area.kind === 'corrosion') {
    for (let y = y0, odd = 0; y <= y1; y += 8, odd ^= 1)
      for (let x = x0 + odd * 4; x <= x1; x += 8) ctx.rect(x, y, 1.6, 1.6);
    ctx.fill();
  } else {
    for (let x = x0 - h; x <= x1; x += step) {
      ctx.moveTo(x, y1);
      ctx.lineTo(x + h, y0);
      if (area.kind === 'impact') {
        ctx.moveTo(x, y0);
        ctx.lineTo(x + h, y1);
      }
    }
    ctx.stroke();
  }
  ctx.globalAlpha = 1;
}

/** The area's name at its corner, inside the window, clear of the names before it. @param {Ctx} ctx @param {View} view @param {Area} area @param {number[][]} taken @param {number[]} win */
function tab(ctx, view, area, taken, win) {
  const [x0, y0, x1, y1] = screenBox(view, area.polygon);
  if (x1 < 0 || y1 < 0 || x0 > view.w || y0 > view.h) return;
  ctx.font = '600 12px system-ui, sans-serif';
  ctx.textAlign = 'left';
  ctx.textBaseline = 'middle';
  const words = shortened(area.label || area.kind, (text) => ctx.measureText(text).width, Math.max(110, (win[2] - win[0]) * 0.42));
  const w = ctx.measureText(words).width + 12;
  const spot = clearOf([x1 < win[0] || x0 > win[2] ? x0 : Math.max(win[0] + 2, Math.min(x0, win[2] - w - 2)), Math.max(y1 < win[1] ? y0 : win[1] + 12, y0 - 20), w, 18], taken);
  taken.push(spot);
  ctx.fillStyle = 'rgba(20,17,14,0.82)';
  ctx.beginPath();
  ctx.roundRect(spot[0], spot[1], w, 18, 4);
  ctx.fill();
  ctx.fillStyle = '#fbf3e2';
  ctx.fillText(words, spot[0] + 6, spot[1] + 9.5);
}

/** Words cut to a width, with a mark that they were. Pure. @param {string} words @param {(text: string) => number} width @param {number} most */
export function shortened(words, width, most) {
  if (width(words) <= most) return words;
  let n = words.length;
  while (n > 4 && width(words.slice(0, n) + '…') > most) n--;
  return words.slice(0, n).trimEnd() + '…';
}

/** A box moved down until it meets none of the others, three times at most. Pure. @param {number[]} box x, y, w, h @param {number[][]} others */
export function clearOf([x, y, w, h], others) {
  for (let k = 0; k < 3 && others.some((o) => x < o[0] + o[2] && x + w > o[0] && y < o[1] + o[3] && y + h > o[1]); k++) y += h + 2;
  return [x, y, w, h];
}

/** Sites at risk on this face. Joints, barrels and contacts have no length: they get a small mark. @param {Ctx} ctx @param {View} view @param {number} ratio @param {Site[]} sites */
export function drawSites(ctx, view, ratio, sites) {
  ctx.setTransform(...matrix(view, ratio));
  for (const state of ['proven', 'unprovable', 'unproven', 'suspect']) {
    const style = SITE_STYLE[state];
    const lines = new Path2D(), spots = new Path2D();
    for (const s of sites) {
      if (s.state !== state || s.path.length < 2) continue;
      if (s.kind === 'run' || s.kind === 'spoke') {
        if (s.layer === view.face || s.layer.startsWith('i')) line(lines, s.path, 0);
      } else {
        const r = s.kind === 'barrel' ? 0.95 : 1.1;
        spots.moveTo(s.path[0] + r, s.path[1]);
        spots.arc(s.path[0], s.path[1], r, 0, 2 * Math.PI);
      }
    }
    ctx.lineCap = style.cap;
    ctx.lineJoin = 'round';
    ctx.setLineDash([]);
    ctx.strokeStyle = 'rgba(12,10,8,0.55)';
    ctx.lineWidth = (style.width + 2) / view.scale;
    if (state === 'suspect') ctx.stroke(lines);
    ctx.strokeStyle = style.colour;
    ctx.lineWidth = style.width / view.scale;
    ctx.setLineDash(style.dash.map((d) => d / view.scale));
    ctx.stroke(lines);
    ctx.lineWidth = Math.min(1.4 / view.scale, 0.35);
    ctx.setLineDash(state === 'proven' ? [] : style.dash.map((d) => (d * 0.6) / view.scale));
    ctx.stroke(spots);
  }
  ctx.setLineDash([]);
}

/**
 * The net lights up: copper of this face full, copper of the other face as a hollow dashed edge.
 * @param {Ctx} ctx @param {View} view @param {number} ratio @param {{near: import('./paths.js').Drawn|null, far: import('./paths.js').Drawn[]}} net
 */
export function drawNet(ctx, view, ratio, net) {
  ctx.setTransform(...matrix(view, ratio));
  for (const far of net.far) {
    ctx.lineCap = 'butt';
    for (const [r, path] of far.strokes) {
      ctx.setLineDash([5 / view.scale, 3.5 / view.scale]);
      ctx.strokeStyle = MARK.netFar;
      ctx.lineWidth = 2 * r + 3 / view.scale;
      ctx.stroke(path);
      ctx.setLineDash([]);
      ctx.strokeStyle = '#2c2416';
      ctx.lineWidth = Math.max(2 * r, 1.4 / view.scale);
      ctx.stroke(path);
    }
  }
  if (net.near) {
    ink(ctx, net.near, 'rgba(20,14,4,0.85)', 4.5 / view.scale);
    ink(ctx, net.near, MARK.net, 1 / view.scale);
  }
}

/** The place of a break: a broad line with teeth, so that it is known by shape alone. @param {Ctx} ctx @param {View} view @param {number} ratio @param {{path: [string, number[][]][]}} span */
export function drawSpan(ctx, view, ratio, span) {
  for (const [layer, points] of span.path) {
    const flat = points.flat();
    if (flat.length < 2) continue;
    ctx.setTransform(...matrix(view, ratio));
    const here = layer === view.face;
    ctx.lineCap = 'round';
    ctx.lineJoin = 'round';
    if (flat.length === 2 || tiny(flat)) {
      burst(ctx, view, ratio, flat[0], flat[1]);
      continue;
    }
    const p = linePath(flat);
    ctx.strokeStyle = MARK.spanDark;
    ctx.lineWidth = 9 / view.scale;
    ctx.globalAlpha = here ? 0.9 : 0.5;
    ctx.stroke(p);
    ctx.lineCap = 'butt';
    ctx.strokeStyle = MARK.span;
    ctx.lineWidth = 7 / view.scale;
    ctx.setLineDash([5 / view.scale, 3 / view.scale]);
    ctx.stroke(p);
    ctx.setLineDash([]);
    ctx.lineWidth = (here ? 3 : 1.4) / view.scale;
    ctx.stroke(p);
    ctx.globalAlpha = 1;
  }
}

/** The corners of an ellipse that was told by its middle, half axes in mm and the long one's angle from the board's x axis. Pure.
 * @param {{x_mm: number, y_mm: number, half_long_mm: number, half_short_mm: number, angle_deg: number}} e @param {number} [corners] */
export function ellipseRing(e, corners = 72) {
  const turn = (e.angle_deg * Math.PI) / 180, [c, s] = [Math.cos(turn), Math.sin(turn)];
  return Array.from({ length: corners }, (_, k) => {
    const t = (2 * Math.PI * k) / corners, u = e.half_long_mm * Math.cos(t), v = e.half_short_mm * Math.sin(t);
    return [e.x_mm + u * c - v * s, e.y_mm + u * s + v * c];
  });
}

/** Where a place is known to be in: a closed dashed line. @param {Ctx} ctx @param {View} view @param {number} ratio @param {number[][]} ring */
export function drawRing(ctx, view, ratio, ring) {
  if (ring.length < 3) return;
  ctx.setTransform(...matrix(view, ratio));
  const path = linePath([...ring, ring[0]].flat());
  for (const [px, colour, dash] of /** @type {[number, string, number[]][]} */ ([[6, MARK.spanDark, []], [3, MARK.span, [8, 5]]])) {
    ctx.lineWidth = px / view.scale;
    ctx.strokeStyle = colour;
    ctx.setLineDash(dash.map((d) => d / view.scale));
    ctx.stroke(path);
  }
  ctx.setLineDash([]);
}

/** @param {number[]} flat */
function tiny(flat) {
  return Math.hypot(flat[0] - flat[flat.length - 2], flat[1] - flat[flat.length - 1]) < 0.2 && flat.length <= 4;
}

/** A star round one spot (a joint, a barrel, a contact). @param {Ctx} ctx @param {View} view @param {number} ratio @param {number} x @param {number} y */
function burst(ctx, view, ratio, x, y) {
  const [sx, sy] = toScreen(view, x, y);
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.beginPath();
  const out = Math.max(15, view.scale * 1.6), low = out * 0.66;
  for (let i = 0; i < 24; i++) {
    const r = i % 2 ? low : out, a = (i * Math.PI) / 12;
    ctx[i ? 'lineTo' : 'moveTo'](sx + r * Math.cos(a), sy + r * Math.sin(a));
  }
  ctx.closePath();
  ctx.strokeStyle = MARK.spanDark;
  ctx.lineWidth = 5;
  ctx.stroke();
  ctx.strokeStyle = MARK.span;
  ctx.lineWidth = 2.6;
  ctx.stroke();
}

/** Corners of the arc a wire is drawn as (it sags a little, as wire does). Pure. @param {number[]} a @param {number[]} b */
export function wireBow(a, b) {
  const dx = b[0] - a[0], dy = b[1] - a[1];
  const lift = Math.min(0.16, 4 / (Math.hypot(dx, dy) + 1));
  return [(a[0] + b[0]) / 2 - dy * lift, (a[1] + b[1]) / 2 + dx * lift];
}

/** A cut on purpose: a double line across the track, the gap that the knife left; of the other side faint. @param {Ctx} ctx @param {View} view @param {number} ratio @param {{a: number[], b: number[], side: string}} cut */
export function drawCut(ctx, view, ratio, cut) {
  const a = toScreen(view, cut.a[0], cut.a[1]), b = toScreen(view, cut.b[0], cut.b[1]);
  const far = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1, grow = Math.max(0, 11 - far / 2) / far;
  const dx = (b[0] - a[0]) * grow, dy = (b[1] - a[1]) * grow;
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.globalAlpha = cut.side === view.face ? 1 : 0.4;
  ctx.lineCap = 'butt';
  for (const [width, colour] of CUT_STYLE) {
    ctx.beginPath();
    ctx.moveTo(a[0] - dx, a[1] - dy);
    ctx.lineTo(b[0] + dx, b[1] + dy);
    ctx.lineWidth = width;
    ctx.strokeStyle = colour;
    ctx.stroke();
  }
  ctx.globalAlpha = 1;
}

/** @type {[number, string][]} */
export const CUT_STYLE = [[11, MARK.dark], [8.5, MARK.wire], [3.5, MARK.dark]];

/** A wire along its noted or planned way (corners in mm), else as a bow; planned ones dashed, with a ring at each fixing dot.
 * @param {Ctx} ctx @param {View} view @param {number} ratio
 * @param {{a: number[], b: number[], side: string, planned: boolean, path?: number[][], dots?: number[][]}} wire */
export function drawWire(ctx, view, ratio, wire) {
  const led = wire.path && wire.path.length > 1 ? wire.path : null;
  const [p0, p1] = led ? [led[0], led[led.length - 1]] : [wire.a, wire.b];
  const a = toScreen(view, p0[0], p0[1]), b = toScreen(view, p1[0], p1[1]);
  const bow = wireBow(a, b);
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  const here = !wire.side || wire.side === view.face;
  ctx.globalAlpha = here ? 1 : 0.45;
  const p = new Path2D();
  if (led) led.map((c) => toScreen(view, c[0], c[1])).forEach((c, i) => (i ? p.lineTo(c[0], c[1]) : p.moveTo(c[0], c[1])));
  else {
    p.moveTo(a[0], a[1]);
    p.quadraticCurveTo(bow[0], bow[1], b[0], b[1]);
  }
  ctx.lineJoin = 'round';
  ctx.lineCap = 'round';
  ctx.setLineDash(wire.planned ? [10, 8] : []);
  for (const [w, c] of /** @type {[number, string][]} */ ([[8, MARK.dark], [5.5, MARK.wire], [2, MARK.wireCore]])) {
    ctx.lineWidth = w;
    ctx.strokeStyle = c;
    ctx.stroke(p);
  }
  ctx.setLineDash([]);
  for (const d of wire.dots ?? []) {
    const [x, y] = toScreen(view, d[0], d[1]);
    ctx.beginPath();
    ctx.arc(x, y, 6, 0, 7);
    ctx.strokeStyle = MARK.dark;
    ctx.lineWidth = 4;
    ctx.stroke();
    ctx.strokeStyle = MARK.wireCore;
    ctx.lineWidth = 2;
    ctx.stroke();
  }
  for (const e of [a, b]) {
    ctx.beginPath();
    ctx.rect(e[0] - 5, e[1] - 5, 10, 10);
    ctx.fillStyle = MARK.wireCore;
    ctx.fill();
    ctx.strokeStyle = MARK.dark;
    ctx.lineWidth = 2;
    ctx.stroke();
  }
  ctx.globalAlpha = 1;
}

/**
 * A tip's mark. A is a filled triangle that points at its place, B a ring round its place; both keep their size at any zoom.
 * On the other face they are hollow and dashed. @param {Ctx} ctx @param {View} view @param {number} ratio @param {'a'|'b'} which
 * @param {{x_mm: number, y_mm: number, side: string}} tip
 */
export function drawTip(ctx, view, ratio, which, tip, size = 1) {
  const [x, y] = toScreen(view, tip.x_mm, tip.y_mm);
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  const here = tip.side === view.face;
  const colour = which === 'a' ? MARK.a : MARK.b;
  ctx.lineJoin = 'round';
  ctx.setLineDash(here ? [] : [5, 4]);
  if (which === 'a') {
    const h = 34 * size, w = 17 * size, gap = 5 * size;
    ctx.beginPath();
    ctx.moveTo(x, y - gap);
    ctx.lineTo(x - w, y - gap - h);
    ctx.lineTo(x + w, y - gap - h);
    ctx.closePath();
    ctx.lineWidth = 5;
    ctx.strokeStyle = MARK.dark;
    ctx.stroke();
    if (here) {
      ctx.fillStyle = colour;
      ctx.fill();
    } else {
      ctx.lineWidth = 3;
      ctx.strokeStyle = colour;
      ctx.stroke();
    }
    letter(ctx, 'A', x, y - gap - h * 0.64, here ? MARK.dark : colour, 17 * size);
  } else {
    const r = 15 * size;
    ctx.beginPath();
    ctx.arc(x, y, r, 0, 7);
    ctx.lineWidth = 10 * size;
    ctx.strokeStyle = MARK.dark;
    ctx.stroke();
    ctx.lineWidth = (here ? 6 : 3) * size;
    ctx.strokeStyle = colour;
    ctx.stroke();
    ctx.setLineDash([]);
    const lx = x + r + 11 * size, ly = y - r - 6 * size;
    ctx.beginPath();
    ctx.arc(lx, ly, 11 * size, 0, 7);
    ctx.fillStyle = here ? colour : MARK.dark;
    ctx.fill();
    ctx.lineWidth = 2;
    ctx.strokeStyle = here ? MARK.dark : colour;
    ctx.stroke();
    letter(ctx, 'B', lx, ly, here ? MARK.dark : colour, 15 * size);
  }
  ctx.setLineDash([]);
}

/** @param {Ctx} ctx @param {string} text @param {number} x @param {number} y @param {string} colour @param {number} px */
function letter(ctx, text, x, y, colour, px) {
  ctx.font = `800 ${px}px system-ui, "DejaVu Sans", sans-serif`;
  ctx.textAlign = 'center';
  ctx.textBaseline = 'middle';
  ctx.fillStyle = colour;
  ctx.fillText(text, x, y + px * 0.06);
}

/** Every probe point of the lit net on this face, so that one sees where a tip may go. @param {Ctx} ctx @param {View} view @param {number} ratio @param {{x: number, y: number, side: string, reachable: boolean}[]} points @param {{x: number, y: number}|null} chosen */
export function drawPoints(ctx, view, ratio, points, chosen) {
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  for (const p of points) {
    if (p.side !== view.face) continue;
    const [x, y] = toScreen(view, p.x, p.y);
    const r = Math.max(4, Math.min(view.scale * 0.5, 11));
    ctx.beginPath();
    ctx.rect(x - r, y - r, 2 * r, 2 * r);
    ctx.lineWidth = p.reachable ? 2.4 : 1.2;
    ctx.strokeStyle = p.reachable ? '#fffdf2' : 'rgba(255,253,242,0.5)';
    ctx.stroke();
  }
  if (!chosen) return;
  const [x, y] = toScreen(view, chosen.x, chosen.y);
  const r = Math.max(10, view.scale * 0.9);
  ctx.lineWidth = 3;
  ctx.strokeStyle = '#ffffff';
  ctx.beginPath();
  for (const [sx, sy] of [[-1, -1], [1, -1], [1, 1], [-1, 1]]) {
    ctx.moveTo(x + sx * r, y + sy * r * 0.4);
    ctx.lineTo(x + sx * r, y + sy * r);
    ctx.lineTo(x + sx * r * 0.4, y + sy * r);
  }
  ctx.stroke();
}

/** Veil over the board while a net is lit. @param {Ctx} ctx @param {View} view @param {number} ratio @param {Path2D} outline */
export function drawVeil(ctx, view, ratio, outline) {
  ctx.setTransform(...matrix(view, ratio));
  ctx.fillStyle = MARK.veil;
  ctx.fill(outline, 'evenodd');
}

/** Corners of a polygon being drawn. @param {Ctx} ctx @param {View} view @param {number} ratio @param {number[][]} corners */
export function drawDraft(ctx, view, ratio, corners) {
  if (!corners.length) return;
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.strokeStyle = '#fff';
  ctx.lineWidth = 2;
  ctx.setLineDash([6, 4]);
  ctx.beginPath();
  corners.forEach((c, i) => {
    const [x, y] = toScreen(view, c[0], c[1]);
    ctx[i ? 'lineTo' : 'moveTo'](x, y);
  });
  ctx.stroke();
  ctx.setLineDash([]);
  if (corners.length > 3 && String(corners[0]) === String(corners[corners.length - 1])) return; // a frame, no corners that were tapped
  for (const c of corners) {
    const [x, y] = toScreen(view, c[0], c[1]);
    ctx.fillStyle = '#fff';
    ctx.fillRect(x - 5, y - 5, 10, 10);
  }
}

