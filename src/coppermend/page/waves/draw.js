// @ts-check
/** A wave drawn on a canvas: graticule, the zone between the thresholds, the wave, its state levels, its edges. */
import { scaleOf, ticks, withUnit } from './scale.js';

/** @typedef {import('./scale.js').Picture} Picture @typedef {import('./scale.js').Scale} Scale */

/** @param {HTMLCanvasElement} canvas @param {Picture} p */
export function drawWave(canvas, p) {
  const ratio = devicePixelRatio || 1, width = canvas.clientWidth || 800, height = canvas.clientHeight || 340;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  const ctx = canvas.getContext('2d');
  if (!ctx) return;
  ctx.scale(ratio, ratio);
  const style = getComputedStyle(document.documentElement);
  const ink = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
  const scale = scaleOf(p, width, height);
  ctx.font = `13px ${ink('--text') || 'sans-serif'}`;
  if (p.thresholds && p.kind !== 'steps') zone(ctx, p.thresholds, scale, ink);
  graticule(ctx, p, scale, ink);
  ctx.save();
  ctx.beginPath();
  ctx.rect(scale.left, scale.top, scale.right - scale.left, scale.bottom - scale.top);
  ctx.clip();
  line(ctx, p, scale, ink('--ink'));
  marks(ctx, p, scale, ink('--accent'));
  ctx.restore();
  if (p.kind !== 'steps') levels(ctx, p, scale, ink);
}

/** @param {CanvasRenderingContext2D} ctx @param {{family: string, low_v: number, high_v: number}} t @param {Scale} s @param {(n: string) => string} ink */
function zone(ctx, t, s, ink) {
  ctx.fillStyle = ink('--accent-soft');
  ctx.fillRect(s.left, s.y(t.high_v), s.right - s.left, s.y(t.low_v) - s.y(t.high_v));
  ctx.fillStyle = ink('--ink-2');
  ctx.textAlign = 'right';
  ctx.fillText(`${t.family}: no level between ${t.low_v} and ${t.high_v} V`, s.right - 6, s.y((t.low_v + t.high_v) / 2) + 4);
}

/** @param {CanvasRenderingContext2D} ctx @param {Picture} p @param {Scale} s @param {(n: string) => string} ink */
function graticule(ctx, p, s, ink) {
  ctx.lineWidth = 1;
  ctx.strokeStyle = ink('--rule');
  ctx.fillStyle = ink('--ink-2');
  ctx.textAlign = 'center';
  const span = p.end_s - p.begin_s;
  for (const t of ticks(p.begin_s, p.end_s, Math.max(2, Math.floor((s.right - s.left) / 110)))) {
    stroke(ctx, s.x(t), s.top, s.x(t), s.bottom);
    ctx.fillText(withUnit(t, 's', span), Math.min(Math.max(s.x(t), s.left + 20), s.right - 24), s.bottom + 20);
  }
  ctx.textAlign = 'right';
  const rows = p.kind === 'steps' ? [0, 1] : ticks(s.lowV, s.highV, 6);
  for (const v of rows) {
    stroke(ctx, s.left, s.y(v), s.right, s.y(v));
    ctx.fillText(p.kind === 'steps' ? (v ? 'high' : 'low') : withUnit(v, 'V', Math.max(1, Math.abs(s.highV))), s.left - 6, s.y(v) + 4);
  }
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y @param {number} x2 @param {number} y2 */
function stroke(ctx, x, y, x2, y2) {
  ctx.beginPath();
  ctx.moveTo(x, y);
  ctx.lineTo(x2, y2);
  ctx.stroke();
}

/** @param {CanvasRenderingContext2D} ctx @param {Picture} p @param {Scale} s @param {string} colour */
function line(ctx, p, s, colour) {
  ctx.strokeStyle = ctx.fillStyle = colour;
  ctx.lineWidth = 1.6;
  ctx.lineJoin = 'round';
  ctx.beginPath();
  if (p.kind === 'line') (p.volt ?? []).forEach((v, k) => ctx.lineTo(s.x(p.time_s[k]), s.y(v)));
  if (p.kind === 'envelope') {
    p.time_s.forEach((t, k) => ctx.lineTo(s.x(t), s.y(p.most_v?.[k] ?? 0)));
    for (let k = p.time_s.length - 1; k >= 0; k--) ctx.lineTo(s.x(p.time_s[k]), s.y(p.least_v?.[k] ?? 0));
    ctx.closePath();
    ctx.globalAlpha = 0.35;
    ctx.fill();
    ctx.globalAlpha = 1;
  }
  if (p.kind === 'steps') steps(ctx, p, s);
  ctx.stroke();
}

/** Levels as a staircase; x and z lie half-way. @param {CanvasRenderingContext2D} ctx @param {Picture} p @param {Scale} s */
function steps(ctx, p, s) {
  (p.level ?? []).forEach((level, k) => {
    const y = s.y(level === '1' ? 1 : level === '0' ? 0 : 0.5);
    ctx.lineTo(s.x(p.time_s[k]), y);
    ctx.lineTo(s.x(p.time_s[k + 1] ?? p.end_s), y);
  });
}

/** The 50 % crossings, where they stand far enough apart to be told. @param {CanvasRenderingContext2D} ctx @param {Picture} p @param {Scale} s @param {string} colour */
function marks(ctx, p, s, colour) {
  const middle = p.kind === 'steps' ? 0.5 : ((p.low_v ?? 0) + (p.high_v ?? 0)) / 2;
  ctx.strokeStyle = colour;
  ctx.lineWidth = 2;
  const near = (p.edges_s?.length ?? 0) * 16 < s.right - s.left;
  for (const t of near ? (p.edges_s ?? []) : []) {
    ctx.beginPath();
    ctx.arc(s.x(t), s.y(middle), 4, 0, 7);
    ctx.stroke();
  }
}

/** The measured state levels, dashed, with their volts. @param {CanvasRenderingContext2D} ctx @param {Picture} p @param {Scale} s @param {(n: string) => string} ink */
function levels(ctx, p, s, ink) {
  ctx.strokeStyle = ink('--good');
  ctx.fillStyle = ink('--good');
  ctx.lineWidth = 1.5;
  ctx.setLineDash([7, 5]);
  ctx.textAlign = 'left';
  const rows = /** @type {[string, number|null|undefined, number][]} */ ([['high', p.high_v, -6], ['low', p.low_v, 16]]);
  for (const [word, v, off] of p.low_v === p.high_v ? [/** @type {[string, number|null|undefined, number]} */ (['level', p.low_v, -6])] : rows) {
    if (v === null || v === undefined) continue;
    stroke(ctx, s.left, s.y(v), s.right, s.y(v));
    ctx.fillText(`${word} ${v.toFixed(2)} V`, s.left + 6, s.y(v) + off);
  }
  ctx.setLineDash([]);
}
