// @ts-check
import { actOf } from './pedal.js';

/** One key each. The table is the help page, too. */

/** @type {{key: string[], name: string, words: string, cap: string}[]} */
export const KEYS = [
  { key: ['c'], name: 'closed', words: 'the meter beeps: closed', cap: 'C' },
  { key: ['o'], name: 'open', words: 'no beep: open', cap: 'O' },
  { key: ['a'], name: 'again', words: 'measure this one again', cap: 'A' },
  { key: ['n'], name: 'skip', words: 'a tip cannot reach its place', cap: 'N' },
  { key: ['b'], name: 'tipB', words: 'after N: tip B cannot reach (A: tip A; N again: both)', cap: 'B' },
  { key: ['d'], name: 'doIt', words: 'the step on the slip is done: note it', cap: 'D' },
  { key: ['e'], name: 'everything', words: 'what comes first of all the work, or the copper’s check', cap: 'E' },
  { key: ['z', 'Backspace'], name: 'back', words: 'take the last answer back; on another leaf it says first which entry, again: takes it', cap: 'Z' },
  { key: ['v'], name: 'value', words: 'type a value in ohms', cap: 'V' },
  { key: [' '], name: 'touch', words: 'practice: touch the tips and ask the patient', cap: 'Space' },
  { key: ['h'], name: 'hear', words: 'ear on or off: the meter’s beep answers', cap: 'H' },
  { key: ['x'], name: 'tipTest', words: 'touch the tips together: nothing is noted', cap: 'X' },
  { key: ['s'], name: 'say', words: 'say the check again', cap: 'S' },
  { key: ['q'], name: 'mute', words: 'voice on or mute', cap: 'Q' },
  { key: ['w'], name: 'slower', words: 'speak slower; again: as usual', cap: 'W' },
  { key: ['k'], name: 'listen', words: 'spoken answers on or off', cap: 'K' },
  { key: ['t'], name: 'turn', words: 'turn the board over like a page', cap: 'T' },
  { key: ['T'], name: 'turnLid', words: 'turn the board over like a lid', cap: 'Shift T' },
  { key: ['r'], name: 'rotate', words: 'quarter turn', cap: 'R' },
  { key: ['['], name: 'spinLeft', words: 'turn it a little to the left', cap: '[' },
  { key: [']'], name: 'spinRight', words: 'turn it a little to the right', cap: ']' },
  { key: ['p'], name: 'layPhoto', words: 'lay a photo of your board under the map', cap: 'P' },
  { key: ['+', '='], name: 'nearer', words: 'nearer', cap: '+' },
  { key: ['-'], name: 'further', words: 'further away', cap: '−' },
  { key: ['f', '0'], name: 'fit', words: 'the whole board', cap: 'F' },
  { key: ['g'], name: 'goto', words: 'go to the current check', cap: 'G' },
  { key: ['ArrowLeft'], name: 'left', words: 'look further left', cap: '←' },
  { key: ['ArrowRight'], name: 'right', words: 'look further right', cap: '→' },
  { key: ['ArrowUp'], name: 'up', words: 'look further up', cap: '↑' },
  { key: ['ArrowDown'], name: 'down', words: 'look further down', cap: '↓' },
  { key: ['/'], name: 'find', words: 'find a pin, part or net; in the list of cases: find a case', cap: '/' },
  { key: ['m'], name: 'marks', words: 'what the marks mean', cap: 'M' },
  { key: ['l'], name: 'list', words: 'the board as a list', cap: 'L' },
  { key: ['1'], name: 'view1', words: 'bench', cap: '1' },
  { key: ['2'], name: 'view2', words: 'story', cap: '2' },
  { key: ['3'], name: 'view3', words: 'breaks and wires', cap: '3' },
  { key: ['4'], name: 'view4', words: 'by ohms: shorts, two ways round', cap: '4' },
  { key: ['5'], name: 'view5', words: 'map and bench times', cap: '5' },
  { key: ['6'], name: 'view6', words: 'record', cap: '6' },
  { key: ['Escape'], name: 'clear', words: 'put away what is open', cap: 'Esc' },
  { key: ['?'], name: 'help', words: 'this page of keys', cap: '?' },
];

/** Does this field take the key for itself? A tick takes Space only, a slider the keys that move it; whatever is typed into takes all. @param {any} field @param {string} key */
function typedInto(field, key) {
  const tag = field?.tagName ?? '';
  if (tag !== 'INPUT') return tag === 'TEXTAREA' || tag === 'SELECT';
  if (field.type === 'checkbox') return false;
  if (field.type === 'radio' || field.type === 'range') return /^(Arrow|Page|Home|End)/.test(key);
  return true;
}

/** The name of a key press, or "". Typing in a field is never a command. Pure but for the event. @param {{key: string, ctrlKey: boolean, metaKey: boolean, altKey: boolean, target: any, repeat: boolean}} e @param {Record<string, string>} [pedal] keys learnt, act -> key; they come before the table */
export function nameOf(e, pedal = {}) {
  if (e.ctrlKey || e.metaKey || e.altKey) return '';
  const tag = e.target?.tagName ?? '';
  if (typedInto(e.target, e.key)) return e.key === 'Escape' ? 'clear' : '';
  const own = actOf(pedal, e.key);
  if (own) return e.repeat ? '' : own;
  if (e.key === ' ' && /^(BUTTON|A|SUMMARY|INPUT)$/.test(tag)) return '';
  const one = KEYS.find((k) => k.key.includes(e.key));
  if (!one) return '';
  const held = ['left', 'right', 'up', 'down', 'nearer', 'further', 'spinLeft', 'spinRight'];
  return e.repeat && !held.includes(one.name) ? '' : one.name;
}
