// @ts-check
/** The tour over a side: which field of view is next, which finding a key means, what the map's window is. Pure. */

/** @typedef {{box: number[], pins: string[], parts: string[], expected: number, ask: string[]}} Stop */
/** @typedef {{area: string, label: string, side: string, side_words: string, seconds: number, gain_bits: number, looked: boolean, stops: Stop[]}} Side */
/** @typedef {{name: string, of: string, ask: string, settles: string}} Finding */

/** The findings of a stop in the order of their keys: those asked for there first, then the others. @param {Finding[]} all @param {Stop|undefined} stop */
export function ordered(all, stop) {
  const ask = stop?.ask ?? [];
  return [...all.filter((f) => ask.includes(f.name)), ...all.filter((f) => !ask.includes(f.name))];
}

/** The key of the k-th finding: 1 to 9, then 0. @param {number} k */
export const capOf = (k) => String((k + 1) % 10);

/** Which finding a key means; null for none. @param {Finding[]} rows @param {string} key */
export function findingAt(rows, key) {
  const k = /^[0-9]$/.test(key) ? (Number(key) + 9) % 10 : -1;
  return rows[k] ?? null;
}

/** How many places a finding needs. @param {Finding} finding */
export const placesOf = (finding) => (finding.of === 'bridge' ? 2 : 1);

/** What can be named at a stop for a finding: parts for a part's, pins for the others. @param {Finding} finding @param {Stop} stop */
export const nameable = (finding, stop) => (finding.of === 'part' ? [...new Set([...stop.parts, ...stop.pins.map((p) => p.split('.')[0])])] : stop.pins);

/** The side that is to be looked over now: the first one that was not. @param {Side[]} sides */
export function firstOf(sides) {
  const k = sides.findIndex((one) => !one.looked);
  return k < 0 ? 0 : k;
}

/** The window of the map round a stop, x, y, width, height in mm with y down; the whole board for none. @param {number[]} bounds @param {Stop|undefined} stop @param {boolean} turned @param {number} [room] */
export function windowAt(bounds, stop, turned, room = 14) {
  const [x0, y0, x1, y1] = bounds;
  if (!stop) return [x0 - 4, -y1 - 4, x1 - x0 + 8, y1 - y0 + 8];
  const [a, b, c, d] = stop.box;
  const [left, right] = turned ? [x0 + x1 - c, x0 + x1 - a] : [a, c];
  const size = Math.max(right - left, d - b) + 2 * room;
  return [(left + right) / 2 - size / 2, -(b + d) / 2 - size / 2, size, size];
}
