// @ts-check
/** Marks in a photo as values: which pin comes next, what is marked, what is still missing. Pure. */

/** @typedef {{pin: string, px: [number, number]}} Mark */
/** @typedef {{ref: string, side: string, package: string, placed: boolean, pins: string[]}} Part */

/** The pins of a part worth marking, in order: pin 1, the last of its row, the first and last of the other row. @param {Part} part @returns {string[]} */
export function cornersOf(part) {
  const n = part.pins.length;
  if (n < 4) return part.pins.slice(0, 2).map((p) => `${part.ref}.${p}`);
  if (n % 2 || !/^(DIP|HDR)/.test(part.package)) return [part.pins[0], part.pins[n - 1]].map((p) => `${part.ref}.${p}`);
  const half = n / 2;
  return [part.pins[0], part.pins[half - 1], part.pins[half], part.pins[n - 1]].map((p) => `${part.ref}.${p}`);
}

/**
 * The pin to mark next: the four corners of the first chip while fewer than four marks fix the view, then two of each part without marks.
 * @param {Part[]} parts @param {Mark[]} marks @param {string} [after] the pin marked last: its part is finished first @returns {string}
 */
export function nextPin(parts, marks, after = '') {
  const done = new Set(marks.map((m) => m.pin));
  const big = [...parts].sort((a, b) => b.pins.length - a.pins.length);
  const first = marks.length < 4 ? big.find((p) => p.package.startsWith('DIP') && p.pins.length >= 14) : undefined;
  const last = parts.find((p) => p.ref === after.slice(0, after.lastIndexOf('.')));
  for (const part of [first, last, ...big]) {
    if (!part) continue;
    const corners = cornersOf(part);
    const wanted = part === first ? corners : [corners[0], corners[corners.length > 2 ? 2 : 1]];
    const mine = marks.filter((m) => m.pin.startsWith(`${part.ref}.`)).length;
    const free = wanted.find((pin) => pin && !done.has(pin));
    if (free && (part === first || mine < 2)) return free;
  }
  return '';
}

/** A pin's name as the list writes it, or '' when there is none. @param {Part[]} parts @param {string} typed */
export function pinNamed(parts, typed) {
  const word = typed.trim().toUpperCase();
  for (const part of parts) {
    if (!word.startsWith(`${part.ref.toUpperCase()}.`)) continue;
    const number = part.pins.find((p) => `${part.ref}.${p}`.toUpperCase() === word);
    if (number) return `${part.ref}.${number}`;
  }
  return '';
}

/** The marks with one more; a pin marked before moves. @param {Mark[]} marks @param {Mark} mark @returns {Mark[]} */
export function withMark(marks, mark) {
  return [...marks.filter((m) => m.pin !== mark.pin), mark];
}

/** How far the marks have come, in words. @param {Mark[]} marks @param {Part[]} parts */
export function howFar(marks, parts) {
  const count = new Map();
  for (const m of marks) {
    const ref = m.pin.slice(0, m.pin.lastIndexOf('.'));
    count.set(ref, (count.get(ref) ?? 0) + 1);
  }
  const most = Math.max(0, ...count.values());
  const placed = parts.filter((p) => p.placed).length;
  if (!placed && most < 4) return `Mark ${4 - most} more corner pins of one large chip: they fix the view and give the scale.`;
  return `${marks.length} marks on ${count.size} parts. Two marks place a part. Keep them to see the board.`;
}
