// @ts-check
/** The meter's state in words. Pure. */

/** @typedef {{state: string, address: string, name: string, wires: number, where: string, shown: string, touch: string, touch_words: string, trouble: import('../shared/api.js').Finding|null}} Watch */

/** What the tips do, for a person. @param {Watch} w */
export function tipsWords(w) {
  if (w.state === 'lost') return w.trouble?.words ?? 'The meter is gone.';
  if (w.state !== 'on') return 'No meter is being read.';
  if (w.trouble) return w.trouble.words;
  if (w.where === 'lift') return w.touch_words ? `Read ${w.touch_words}. Lift the tips.` : 'Lift the tips once.';
  return w.where === 'landing' ? 'Hold still …' : 'Touch two points.';
}

/** Its readings are made up: they go into practice cases alone (INS-017). @param {Watch} w */
export const madeUp = (w) => w.address === 'sim:meter';

/** What becomes of its touches, said where it is chosen. @param {Watch} w */
export const fateWords = (w) => (madeUp(w) ? 'It makes its readings up: its touches answer the checks of practice cases; in a real case none is noted.' : 'Each touch answers the check on the bench of this browser.');

/** The same on the bench of a case, where it is not what is hoped for; else "". @param {Watch} w @param {boolean} practice */
export const unheardWords = (w, practice) => (madeUp(w) && w.state === 'on' && !practice ? 'Simulated meter: nothing it reads is noted in this real case.' : '');

/** The touch that is new since the last state, or "". The first state after joining tells of no touch: it is old. @param {Watch|null} before @param {Watch} now */
export const newTouch = (before, now) => (before && now.touch && now.touch !== before.touch ? now.touch : '');
