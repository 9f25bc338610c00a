// @ts-check
/** Where hits stand on a page's picture, and which page comes next. Pure. */

/** @typedef {{entry: string, page: number, box: number[], text: string, what: string, near: string}} Hit */
/** @typedef {{entry: string, name: string, note: string, pages: {number: number, width: number, height: number, words: number}[]}} Sheet */

/** A box in points as shares of the page, in per cent with a little room: left, top, width, height. @param {number[]} box @param {{width: number, height: number}} page */
export function shareOf(box, page, room = 2) {
  const [x0, y0, x1, y1] = box;
  const share = (/** @type {number} */ v, /** @type {number} */ of) => Math.round((1e5 * v) / of) / 1e3;
  return [share(x0 - room, page.width), share(y0 - room, page.height), share(x1 - x0 + 2 * room, page.width), share(y1 - y0 + 2 * room, page.height)];
}

/** All pages of all schematics in one row. @param {Sheet[]} sheets */
export const pagesOf = (sheets) => sheets.flatMap((one) => one.pages.map((page) => ({ ...page, entry: one.entry, name: one.name })));

/** The number of the hit after this one, the first again at the end; -1 for none. @param {number} now @param {number} count @param {number} by */
export const stepTo = (now, count, by) => (count ? (now + by + count) % count : -1);
