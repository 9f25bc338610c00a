import { number, sayName, sayPlace, spoken } from '../../src/coppermend/page/speech/spoken.js';
import { keptVoice } from '../../src/coppermend/page/speech/voice.js';
import { Hearing, keptSettings, stateWords } from '../../src/coppermend/page/sound/hearing.js';
import { microphoneWords } from '../../src/coppermend/page/sound/microphone.js';
import { same, yes } from './check.mjs';

const leg = (name, side_words = 'solder side', touch = 'touch the leg') => ({ name, side_words, touch });
const heard = (kind, more = {}) => ({ kind, at_ms: 0, onset_ms: 0, length_ms: 300, hz: 2730, db: -30, by: 'beep', ...more });

/** A Hearing on a microphone that is not there: what it sends, what it answers. */
async function ear(kept = {}) {
  const sent = [], answers = [], store = { hearing: JSON.stringify(kept) };
  const one = new Hearing({
    answer: (kind, by) => answers.push([kind, by]), changed: () => {}, storage: { getItem: (k) => store[k] ?? null, setItem: (k, v) => { store[k] = v; } },
    open: async () => ({ send: (m) => sent.push(m), close: () => sent.push('closed') }),
  });
  one.ready('first');
  await one.toggle();
  return { one, sent, answers, store };
}

export const tests = {
  'a check is spoken as the issue wants it, with our names of the tips'() {
    same(spoken({ a: leg('U7 pin 30'), b: leg('J2 pin 4') }), 'Tip A: U seven, pin thirty. Tip B: J two, pin four. Solder side.');
    yes(spoken({ a: leg('U7 pin 13', 'solder side'), b: leg('U7 pin 4', 'solder side'), purpose: 'ohms' }).endsWith('Solder side. Read ohms.'));
    same(spoken({ a: leg('U7 pin 13', 'component side'), b: leg('U7 pin 4', 'solder side', 'touch the solder joint'), turn_over: true, purpose: 'isolation' }), 'Turn the board over. Tip A: U seven, pin one three, component side. Tip B: U seven, pin four, solder joint, solder side. Must not beep.');
  },
  'no two numbers up to 999 are spoken alike, nor end alike in -teen and -ty'() {
    const all = Array.from({ length: 1000 }, (_, n) => number(String(n)));
    same(new Set(all).size, 1000);
    same(all.filter((w) => w.includes('teen')), []);
    same([number('104'), number('021'), number('12'), number('48')], ['one zero four', 'zero two one', 'twelve', 'forty eight']);
  },
  'letters that sound alike are said by their word'() {
    // ITU Radio Regulations, Appendix 14: the code words, from memory
    same(['B1', 'C1', 'D1', 'M1', 'N1', 'RN13', 'IC7'].map(sayName), ['Bravo one', 'Charlie one', 'Delta one', 'Mike one', 'November one', 'R November one three', 'India Charlie seven']);
    same(sayPlace('via near U5 pin A12'), 'via near U five, pin Alfa twelve');
    same(sayPlace('via at 109.9, 96.5'), 'via at one zero nine point nine, ninety six point five');
  },
  'kept settings are made fit'() {
    same(keptSettings('no json'), { meter: null, hold_ms: 100, taps: false, wait_s: 0 });
    same(keptSettings('{"meter":{"hz":2730,"db":-30},"hold_ms":140,"taps":true,"wait_s":4}'), { meter: { hz: 2730, db: -30, wander_hz: 0, wander_db: 0 }, hold_ms: 140, taps: true, wait_s: 4 });
    same(keptSettings('{"meter":{"hz":9e9,"db":-30},"hold_ms":1,"taps":true,"wait_s":0.1}'), { meter: null, hold_ms: 100, taps: false, wait_s: 0 });
    same([keptVoice(null), keptVoice('{"on":true,"speed":0.8}'), keptVoice('7')], [{ on: false, speed: 1 }, { on: true, speed: 0.8 }, { on: false, speed: 1 }]);
  },
  async 'without a learnt meter nothing is an answer; two beeps teach it'() {
    const { one, answers, store, sent } = await ear();
    same([one.state, sent.at(-1).mode], ['learning', 'test']);
    one.take({ heard: heard('closed'), token: 'first' });
    one.take({ heard: heard('tested'), token: '' });
    one.take({ heard: heard('tested', { hz: 2734 }), token: '' });
    same([one.state, answers, JSON.parse(store.hearing).meter.hz, sent.at(-1).mode], ['listening', [], 2732, 'round']);
    yes(stateWords(one) === 'heard', 'the lesson is shown');
  },
  async 'an answer of a check that is gone is dropped'() {
    const { one, answers } = await ear({ meter: { hz: 2730, db: -30 } });
    one.take({ heard: heard('closed'), token: 'first' });
    one.ready('second');
    one.take({ heard: heard('closed'), token: 'first' });
    one.ready('');
    one.take({ heard: heard('closed'), token: '' });
    same(answers, [['closed', 'beep']]);
  },
  async 'in the tip test nothing is an answer'() {
    const { one, answers, sent } = await ear({ meter: { hz: 2730, db: -30 } });
    one.test();
    one.take({ heard: heard('tested'), token: '' });
    one.take({ heard: heard('closed'), token: 'first' });
    same([one.state, sent.at(-1).mode, one.heardWords, answers], ['test', 'test', 'The tips work: it beeps.', []]);
    one.test();
    same([one.state, sent.at(-1).mode, sent.at(-1).token], ['listening', 'round', 'first']);
  },
  async 'taps are learnt, and forgotten with another meter'() {
    const { one, store } = await ear({ meter: { hz: 2730, db: -30 } });
    one.learnTaps();
    for (const ms of [110, 90, 95, 105]) one.take({ heard: heard('brush', { length_ms: ms }), token: '' });
    same([one.state, one.set.taps, one.set.hold_ms], ['listening', true, 150]);
    one.learn();
    for (const hz of [3100, 3102]) one.take({ heard: heard('tested', { hz }), token: '' });
    same([JSON.parse(store.hearing).taps, one.set.hold_ms], [false, 100]);
  },
  async 'switched off, the microphone is let go'() {
    const { one, sent } = await ear({ meter: { hz: 2730, db: -30 } });
    await one.toggle();
    same([one.state, sent.at(-1)], ['off', 'closed']);
  },
  async 'after three answers by silence in a row silence is no answer, until a key or a beep'() {
    const { one, sent, answers } = await ear({ meter: { hz: 2730, db: -30 }, wait_s: 4 });
    for (const token of ['first', 'b', 'c']) {
      one.ready(token);
      one.take({ heard: heard('open', { by: 'silence' }), token });
      one.ready('');
    }
    const waits = () => sent.filter((m) => m.options).at(-1).options.answers.wait_ms;
    same(waits(), 4000);
    one.ready('d');
    same([waits(), answers.length], [0, 3]);
    one.ready('');
    one.ready('e'); // answered by key
    same(waits(), 4000);
  },
  'why there is no microphone is said in words'() {
    const words = ['Insecure', 'NotAllowedError', 'NotFoundError', 'NotReadableError', 'Other'].map((name) => microphoneWords(Object.assign(new Error('x'), { name })));
    same(new Set(words).size, 5);
  },
};
