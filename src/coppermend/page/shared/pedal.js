// @ts-check
/** Learnt keys: a pedal is a keyboard to the computer; the person says which of its keys means what. Pure but for the store. */

/** What a pedal can do, in the order it is offered. @type {[string, string][]} */
export const PEDAL_ACTS = [['closed', 'closed'], ['open', 'open'], ['again', 'once more'], ['back', 'take back'], ['say', 'say again'], ['touch', 'practice: touch the tips']];

const NEVER = ['Tab', 'Enter', 'Escape', 'Shift', 'Control', 'Alt', 'Meta', 'Unidentified', 'Dead', 'Process'];

/** Kept keys made fit: act -> key. @param {string|null} text @returns {Record<string, string>} */
export function keptPedal(text) {
  let kept = /** @type {any} */ ({});
  try {
    kept = JSON.parse(text ?? '{}') ?? {};
  } catch {
    // not ours: start anew
  }
  return Object.fromEntries(PEDAL_ACTS.map(([act]) => [act, kept[act]]).filter(([, key]) => typeof key === 'string' && key && !NEVER.includes(key)));
}

/** The table with a key learnt for an act; a key means one thing only. @param {Record<string, string>} pedal @param {string} act @param {string} key @returns {Record<string, string>} */
export function learnt(pedal, act, key) {
  if (NEVER.includes(key)) return pedal;
  const rest = Object.entries(pedal).filter(([a, k]) => a !== act && k !== key);
  return Object.fromEntries([...rest, [act, key]]);
}

/** Which act a key is learnt for, or "". @param {Record<string, string>} pedal @param {string} key */
export const actOf = (pedal, key) => Object.entries(pedal).find(([, k]) => k === key)?.[0] ?? '';

/** A key as it is shown. @param {string} key */
export const keyWords = (key) => (key === ' ' ? 'Space' : key.length === 1 ? key.toUpperCase() : key);

/** Can this key be learnt? @param {string} key */
export const fits = (key) => !NEVER.includes(key);
