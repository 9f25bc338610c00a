// @ts-check
/** A QR picture's dark modules as one SVG path: a run of dark ones in a row is a rectangle. Pure. @param {string[]} rows of "1" and "0" */
export const pathOf = (rows) => rows.map((row, y) => [...row.matchAll(/1+/g)].map((run) => `M${run.index} ${y}h${run[0].length}v1h-${run[0].length}z`).join('')).join('');
