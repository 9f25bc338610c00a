// @ts-check
/**
 * The board's drawing data as the server packs it (services/scene_pack.py): a head in JSON, then int32 values in um. Pure.
 *
 * @typedef {{discs: Int32Array, strokes: Int32Array, regions: Int32Array}} Packed
 * @typedef {import('./index.js').Part} Part
 * @typedef {{bounds_mm: number[], outline: number[][], layers: ({key: string} & Packed)[], holes: Packed, title: string, package_id: string,
 *   silk: Record<string, Packed>, mask: Record<string, Packed>, mask_colour: string, parts: Part[], nets: string[], findings: any[],
 *   photos: string[], made_up: string[]}} Scene
 */

export const VERSION = 1;

/** @param {ArrayBuffer} buffer @returns {Scene} */
export function readScene(buffer) {
  const letters = new TextDecoder().decode(new Uint8Array(buffer, 0, 4));
  const sizes = new DataView(buffer);
  if (letters !== 'CMSC' || sizes.getUint32(4, true) !== VERSION) throw new Error('The server sent a board that this page cannot read. Load the page again.');
  const length = sizes.getUint32(8, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 12, length)));
  const body = new Int32Array(buffer, 12 + length);
  const piece = (/** @type {number[]} */ [from, count]) => body.subarray(from, from + count);
  const packed = (/** @type {any} */ s) => ({ discs: piece(s.discs), strokes: piece(s.strokes), regions: piece(s.regions) });
  const each = (/** @type {Record<string, any>} */ o) => Object.fromEntries(Object.entries(o).map(([k, s]) => [k, packed(s)]));
  return {
    ...head, silk: each(head.silk), mask: each(head.mask), holes: holesAsShapes(piece(head.holes)),
    layers: head.layers.map((/** @type {any} */ l) => ({ key: l.key, ...packed(l) })),
  };
}

/** Round holes as discs, slots as strokes. @param {Int32Array} rows x, y, x2, y2, diameter, plated @returns {Packed} */
export function holesAsShapes(rows) {
  const discs = [], strokes = [];
  for (let i = 0; i < rows.length; i += 6) {
    const [x, y, x2, y2, d] = rows.subarray(i, i + 5);
    if (x === x2 && y === y2) discs.push(-1, d / 2, x, y);
    else strokes.push(-1, d / 2, 2, x, y, x2, y2);
  }
  return { discs: Int32Array.from(discs), strokes: Int32Array.from(strokes), regions: new Int32Array(0) };
}

/**
 * Calls back with the place of every shape: kind, index of its first value (the net), index after its last.
 * @param {Packed} packed @param {(kind: 'discs'|'strokes'|'regions', at: number, end: number) => void} on
 */
export function eachShape(packed, on) {
  for (let i = 0; i < packed.discs.length; i += 4) on('discs', i, i + 4);
  const s = packed.strokes;
  for (let i = 0; i < s.length;) {
    const end = i + 3 + 2 * s[i + 2];
    on('strokes', i, end);
    i = end;
  }
  const r = packed.regions;
  for (let i = 0; i < r.length;) {
    let end = i + 3;
    for (let k = 0; k < r[i + 2]; k++) end += 1 + 2 * r[end];
    on('regions', i, end);
    i = end;
  }
}

/** How many shapes there are. @param {Packed} packed */
export function countShapes(packed) {
  let n = 0;
  eachShape(packed, () => n++);
  return n;
}

/** The shapes of one net. @param {Packed} packed @param {number} net @returns {Packed} */
export function shapesOfNet(packed, net) {
  /** @type {Record<'discs'|'strokes'|'regions', number[]>} */
  const out = { discs: [], strokes: [], regions: [] };
  eachShape(packed, (kind, at, end) => {
    if (packed[kind][at] === net) for (let i = at; i < end; i++) out[kind].push(packed[kind][i]);
  });
  return { discs: Int32Array.from(out.discs), strokes: Int32Array.from(out.strokes), regions: Int32Array.from(out.regions) };
}
