// @ts-check
/** A check as it is spoken: short, and so that no two parts or pins sound alike. Pure. */

/** Letters that sound like another one are said by their word (ITU Radio Regulations, Appendix 14); L, Q, R, U, J, W and Y are said as they are. @type {Record<string, string>} */
const WORDS = {
  A: 'Alfa', B: 'Bravo', C: 'Charlie', D: 'Delta', E: 'Echo', F: 'Foxtrot', G: 'Golf', H: 'Hotel', I: 'India', K: 'Kilo', M: 'Mike', N: 'November',
  O: 'Oscar', P: 'Papa', S: 'Sierra', T: 'Tango', V: 'Victor', X: 'X-ray', Z: 'Zulu',
};
const UNITS = ['zero', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine', 'ten', 'eleven', 'twelve'];
const TENS = ['', '', 'twenty', 'thirty', 'forty', 'fifty', 'sixty', 'seventy', 'eighty', 'ninety'];

/**
 * A number of up to any length in words that cannot be taken for another: thirteen to nineteen digit by digit (they sound like thirty to
 * ninety), three digits and more digit by digit, too. @param {string} digits
 * @example number('30') // 'thirty'; number('13') is 'one three'; number('104') is 'one zero four'
 */
export function number(digits) {
  const n = Number(digits);
  if (digits.length > 2 || digits.startsWith('0') && digits.length > 1 || (n > 12 && n < 20)) return [...digits].map((d) => UNITS[Number(d)]).join(' ');
  if (n < 13) return UNITS[n];
  return TENS[Math.floor(n / 10)] + (n % 10 ? ` ${UNITS[n % 10]}` : '');
}

/** A reference designator or pin name: letters, then numbers. @param {string} name @example sayName('U7') // 'U seven'; 'IC13' is 'India Charlie one three' */
export const sayName = (name) => (name.match(/[A-Za-z]|\d+/g) ?? []).map((p) => (/\d/.test(p) ? number(p) : WORDS[p.toUpperCase()] ?? p.toUpperCase())).join(' ');

/** A place as the slip names it ("U7 pin 30", "via near U5 pin 3", "via at 109.9, 96.5"). @param {string} name */
export function sayPlace(name) {
  return name
    .replace(/\b([A-Za-z]+\d+[A-Za-z]?) pin (\w+)/g, (_, ref, pin) => `${sayName(ref)}, pin ${sayName(pin)}`)
    .replace(/(\d+)\.(\d+)/g, (_, whole, part) => `${number(whole)} point ${[...part].map(number).join(' ')}`)
    .replace(/\bmm\b/g, 'millimetres');
}

/** Where a via or land lies, which has no pin to count to. @param {{name: string, where?: string}} tip */
const sayWhere = ({ name, where }) => (where && /^(via|land|track)/.test(name) ? sayPlace(where) : '');

/** What the hand needs to know beyond the pin: a joint, a socket, a hole; a leg is the usual thing. @param {string} touch @param {string} name */
function sayTouch(touch, name) {
  if (!touch || touch === 'touch the leg' || /^(via|land|track)/.test(name)) return '';
  return touch.replace('touch the ', '').replace('touch ', '');
}

/**
 * The sentence for a check: tip A, tip B, and the side, said once when both tips are on it.
 * @param {{a: any, b: any, turn_over?: boolean, purpose?: string}} check tips with name, touch, side_words
 * @returns {string}
 * @example spoken({a: {name: 'U7 pin 30', touch: 'touch the leg', side_words: 'solder side'}, b: {name: 'J2 pin 4', touch: 'touch the leg', side_words: 'solder side'}})
 *   // 'Tip A: U seven, pin thirty. Tip B: J two, pin four. Solder side.'
 */
export function spoken({ a, b, turn_over, purpose }) {
  const one = a.side_words === b.side_words;
  const tip = (/** @type {string} */ which, /** @type {any} */ t) => `Tip ${which}: ${[sayPlace(t.name), sayWhere(t), sayTouch(t.touch, t.name), one ? '' : t.side_words].filter(Boolean).join(', ')}.`;
  const side = a.side_words[0].toUpperCase() + a.side_words.slice(1);
  return [turn_over ? 'Turn the board over.' : '', tip('A', a), tip('B', b), one ? `${side}.` : '', purpose === 'isolation' ? 'Must not beep.' : purpose === 'ohms' ? 'Read ohms.' : ''].filter(Boolean).join(' ');
}
