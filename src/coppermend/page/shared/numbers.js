// @ts-check
/** Numbers as people type them. */

import { Refused } from './api.js';

/** A number with a point or a comma; null where nothing was typed. Anything else is refused, not dropped. @param {string} text @param {string} what */
export function numberOf(text, what) {
  const typed = text.trim();
  if (!typed) return null;
  if (!/^[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)$/.test(typed)) throw new Refused({ code: 'PAGE-003', severity: 'error', place: {}, words: `"${typed.slice(0, 20)}" is no number.`, remedy: `Write ${what} with digits, such as 12,50.` });
  return Number(typed.replace(',', '.'));
}
