// @ts-check
/** Scene shapes as canvas paths, strokes gathered by width so that a layer is a handful of calls. */

/** @typedef {import('./index.js').Shapes} Shapes */
/** @typedef {{fill: Path2D, strokes: [number, Path2D][]}} Drawn */

/** @param {Shapes} shapes @returns {Drawn} */
export function pathsOf(shapes) {
  const fill = new Path2D();
  /** @type {Map<number, Path2D>} */
  const widths = new Map();
  const wide = (/** @type {number} */ r) => {
    let p = widths.get(r);
    if (!p) widths.set(r, (p = new Path2D()));
    return p;
  };
  for (const [, r, x, y] of shapes.discs) {
    fill.moveTo(x + r, y);
    fill.arc(x, y, r, 0, 2 * Math.PI);
  }
  for (const s of shapes.strokes) line(wide(s[1]), s, 2);
  for (const [, r, ...rings] of shapes.regions) {
    for (const ring of rings) {
      line(fill, ring, 0);
      fill.closePath();
    }
    if (r > 0) for (const ring of rings) line(wide(r), [...ring, ring[0], ring[1]], 0);
  }
  return { fill, strokes: [...widths].sort((a, b) => b[0] - a[0]) };
}

/** @param {Path2D} path @param {number[]} flat @param {number} from */
export function line(path, flat, from) {
  path.moveTo(flat[from], flat[from + 1]);
  if (flat.length <= from + 2) path.lineTo(flat[from], flat[from + 1]);
  for (let i = from + 2; i + 1 < flat.length; i += 2) path.lineTo(flat[i], flat[i + 1]);
}

/** @param {number[]} flat */
export function ringPath(flat) {
  const p = new Path2D();
  line(p, flat, 0);
  p.closePath();
  return p;
}

/** @param {number[]} flat */
export function linePath(flat) {
  const p = new Path2D();
  line(p, flat, 0);
  return p;
}

/** Draw in one colour; `grow` widens every stroke by that many mm. @param {CanvasRenderingContext2D|OffscreenCanvasRenderingContext2D} ctx @param {Drawn} drawn @param {string} colour */
export function ink(ctx, drawn, colour, grow = 0) {
  ctx.fillStyle = colour;
  ctx.strokeStyle = colour;
  ctx.lineCap = 'round';
  ctx.lineJoin = 'round';
  ctx.fill(drawn.fill, 'evenodd');
  for (const [r, path] of drawn.strokes) {
    ctx.lineWidth = 2 * r + grow;
    ctx.stroke(path);
  }
}
