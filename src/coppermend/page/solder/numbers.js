// @ts-check
/** What is typed as numbers, and where the warming curve's points lie. Pure. */

/** A number as typed, comma or point; null where nothing is typed, NaN where it is none. @param {string} text @returns {number|null} */
export function typed(text) {
  const said = text.trim().replace(',', '.');
  if (!said) return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(said) ? Number(said) : NaN;
}

/** Several numbers between commas or spaces ("100, 80, 15"); null where nothing is typed, NaN within where one is none. @param {string} text @returns {number[]|null} */
export function several(text) {
  const said = text.trim();
  return said ? said.split(/[\s,;x]+/).map((one) => typed(one) ?? NaN) : null;
}

/** Minutes and seconds. @param {number} s */
export function minutes(s) {
  if (s < 90) return `${Math.round(s)} s`;
  return `${(s / 60).toFixed(s < 600 ? 1 : 0)} min`;
}

/**
 * The warming curve in a picture: rows of (s, coldest and hottest of the solder side, coldest and hottest of the component side).
 * @param {number[][]} rows @param {number} limit degC drawn as a line @param {number} width @param {number} height
 */
export function curve(rows, limit, width, height) {
  const left = 46, right = width - 12, top = 12, bottom = height - 34;
  const last = Math.max(rows.at(-1)?.[0] ?? 0, 1);
  const high = 20 * Math.ceil((Math.max(limit, ...rows.flatMap((r) => r.slice(1))) + 4) / 20);
  const low = 20 * Math.floor(Math.min(20, ...rows.flatMap((r) => r.slice(1))) / 20);
  const x = (/** @type {number} */ s) => left + (s / last) * (right - left);
  const y = (/** @type {number} */ c) => bottom - ((c - low) / (high - low)) * (bottom - top);
  const line = (/** @type {number} */ column) => rows.map((r) => `${x(r[0]).toFixed(1)},${y(r[column]).toFixed(1)}`).join(' ');
  const levels = [];
  for (let c = low; c <= high; c += 20) levels.push({ c, y: y(c) });
  return { left, right, top, bottom, levels, limit: y(limit), solder: line(1), component: line(3), last };
}
