// @ts-check
/** Scene shapes as canvas paths, strokes gathered by width so that a square of the board is a handful of calls. */

/** @typedef {import('./scenefile.js').Packed} Packed */
/** @typedef {{fill: Path2D|null, strokes: [number, Path2D][]}} Drawn */

const UM = 1000;

/**
 * Paths in mm of the shapes at the given places, of all where none are named. Rings run as the packer wrote them (outer anticlockwise, holes
 * clockwise) and discs anticlockwise, so that overlaps stay filled under the non-zero rule.
 * @param {Packed} packed @param {{discs: number[], strokes: number[], regions: number[]}} [only] @returns {Drawn}
 */
export function pathsOf(packed, only) {
  const at = only ?? allOf(packed);
  /** @type {Path2D|null} */
  const fill = at.discs.length || at.regions.length ? new Path2D() : null;
  /** @type {Map<number, Path2D>} */
  const widths = new Map();
  const wide = (/** @type {number} */ r) => {
    let p = widths.get(r);
    if (!p) widths.set(r, (p = new Path2D()));
    return p;
  };
  const d = packed.discs;
  for (const i of at.discs) {
    const r = d[i + 1] / UM, x = d[i + 2] / UM, y = d[i + 3] / UM;
    fill?.moveTo(x + r, y);
    fill?.arc(x, y, r, 0, 2 * Math.PI);
  }
  const s = packed.strokes;
  for (const i of at.strokes) corners(wide(s[i + 1]), s, i + 3, s[i + 2]);
  const g = packed.regions;
  for (const i of at.regions) {
    for (let k = 0, j = i + 3; k < g[i + 2]; k++, j += 1 + 2 * g[j]) {
      corners(/** @type {Path2D} */ (fill), g, j + 1, g[j]);
      fill?.closePath();
      if (g[i + 1] > 0) {
        corners(wide(g[i + 1]), g, j + 1, g[j]);
        wide(g[i + 1]).closePath();
      }
    }
  }
  return { fill, strokes: [...widths].map(([r, p]) => /** @type {[number, Path2D]} */ ([r / UM, p])).sort((a, b) => b[0] - a[0]) };
}

/** Places of all shapes. @param {Packed} packed */
function allOf(packed) {
  const out = { discs: /** @type {number[]} */ ([]), strokes: /** @type {number[]} */ ([]), regions: /** @type {number[]} */ ([]) };
  for (let i = 0; i < packed.discs.length; i += 4) out.discs.push(i);
  for (let i = 0; i < packed.strokes.length; i += 3 + 2 * packed.strokes[i + 2]) out.strokes.push(i);
  for (let i = 0, v = packed.regions; i < v.length;) {
    out.regions.push(i);
    let end = i + 3;
    for (let k = 0; k < v[i + 2]; k++) end += 1 + 2 * v[end];
    i = end;
  }
  return out;
}

/** @param {Path2D} path @param {Int32Array} v um @param {number} from @param {number} count */
function corners(path, v, from, count) {
  path.moveTo(v[from] / UM, v[from + 1] / UM);
  if (count === 1) path.lineTo(v[from] / UM, v[from + 1] / UM);
  for (let i = from + 2; i < from + 2 * count; i += 2) path.lineTo(v[i] / UM, v[i + 1] / UM);
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

/**
 * Draw in one colour; `grow` widens every stroke by that many mm, `pixels` per mm lets hair-thin strokes go without round ends.
 * @param {CanvasRenderingContext2D|OffscreenCanvasRenderingContext2D} ctx @param {Drawn} drawn @param {string} colour
 */
export function ink(ctx, drawn, colour, grow = 0, pixels = Infinity) {
  ctx.fillStyle = colour;
  ctx.strokeStyle = colour;
  if (drawn.fill) ctx.fill(drawn.fill);
  for (const [r, path] of drawn.strokes) {
    const fine = (2 * r + grow) * pixels < 1.6;
    ctx.lineCap = fine ? 'butt' : 'round';
    ctx.lineJoin = fine ? 'bevel' : 'round';
    ctx.lineWidth = 2 * r + grow;
    ctx.stroke(path);
  }
  if (grow > 0 && drawn.fill) {
    ctx.lineWidth = grow;
    ctx.stroke(drawn.fill);
  }
}
