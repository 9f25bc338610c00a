import { STANDS_MS, TakeBack, entryOf, lastCounting } from '../../src/coppermend/page/shared/takeback.js';
import { same, yes } from './check.mjs';

const STORY = [
  { entry: 'a', ref: 1, kind: 'case', words: 'opened', undone: false },
  { entry: 'b', ref: 2, kind: 'symptom', words: 'symptom: black screen', undone: false },
  { entry: 'c', ref: 3, kind: 'closed', words: 'closed: U1.8 and U4.13', undone: false },
  { entry: 'd', ref: 4, kind: 'open', words: 'open: U1.9 and U4.14', undone: true },
  { entry: 'e', ref: 5, kind: 'undo', words: 'taken back: no. 4', undone: false },
];

const hand = (story) => {
  const told = [], taken = [];
  return { told, taken, back: new TakeBack(async () => story, (words) => told.push(words), (entry) => taken.push(entry)) };
};

export const tests = {
  'the last entry that counts is neither taken back nor what the case stands on': () => {
    same(lastCounting(STORY).entry, 'c');
    same(lastCounting(STORY.slice(0, 1)), null);
  },
  'the first press names the entry and takes nothing, the second takes that one even when another came between': async () => {
    const { told, taken, back } = hand([...STORY]);
    await back.press(0);
    same(taken, []);
    yes(/no\. 3, closed: U1\.8 and U4\.13/.test(told[0]), told[0]);
    back.timeline = async () => [...STORY, { entry: 'f', ref: 6, kind: 'closed', words: 'of another screen', undone: false }];
    await back.press(STANDS_MS - 1);
    same(taken, ['c']);
  },
  'a question that is too old, or that another leaf has put away, is asked anew': async () => {
    const { told, taken, back } = hand(STORY);
    await back.press(0);
    await back.press(STANDS_MS + 1);
    back.forget();
    await back.press(STANDS_MS + 2);
    same([taken.length, told.length], [0, 3]);
  },
  'nothing to take back is said': async () => {
    const { told, taken, back } = hand([STORY[0]]);
    await back.press(0);
    await back.press(1);
    same([taken, told], [[], ['Nothing to take back.', 'Nothing to take back.']]);
  },
  'the id of a noted entry is found in every form of answer': () => {
    same([{ entry: { id: 'x' } }, { entry: 'y' }, { noted: { entry: { id: 'z' } } }, {}, null].map(entryOf), ['x', 'y', 'z', '', '']);
  },
};
