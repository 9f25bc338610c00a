import { answerOf, kindOf, lookedWith } from '../../src/coppermend/page/powered/answers.js';
import { chipsFirst, marksOf, pixelAt, placesOf, withMark, withPlace, wordsOf } from '../../src/coppermend/page/powered/heat.js';
import { factorWords, perMinute, share } from '../../src/coppermend/page/powered/lists.js';
import { nearest, pathOf, spread, strength, windowOf } from '../../src/coppermend/page/powered/map.js';
import { oddFirst, verdictWords } from '../../src/coppermend/page/powered/thermal.js';
import { answersOf } from '../../src/coppermend/page/powered/tries.js';
import { near, same, yes } from './check.mjs';

const BOARD = [0, 0, 200, 100];
const view = (more = {}) => ({ turned: false, zoom: 1, x: 100, y: 50, ...more });

export const tests = {
  'a swap for a try says whether it then started, and one that stays is another answer'() {
    const rows = answersOf({ kind: 'swap', part: 'U4', points: [] });
    same(rows.map((one) => one.body.options?.effect ?? 'stays'), ['cured', 'none', 'stays']);
    same(rows[0].body, { kind: 'swap', part: 'U4', options: { effect: 'cured', trial: true } });
  },
  'millivolts along a net: one key for each pin, one for none'() {
    const rows = answersOf({ kind: 'sink', part: '', points: ['U4.12/leg', 'U5.12/leg'] });
    same(rows.map((one) => [one.body.points[0], one.body.value]), [['U4.12/leg', 'holds'], ['U5.12/leg', 'holds'], ['U4.12/leg', 'even']]);
    same(answersOf({ kind: 'look', part: '', points: ['U1.6/leg'] }), []);
  },
  'hot and cold parts come before the even ones, by name within each'() {
    const parts = [{ part: 'U10', verdict: 'even' }, { part: 'U2', verdict: 'even' }, { part: 'U9', verdict: 'cold' }, { part: 'U29', verdict: 'hot' }, { part: 'R1', verdict: 'unknown' }];
    same(oddFirst(parts).map((one) => one.part), ['U29', 'U9', 'U2', 'U10', 'R1']);
  },
  'a thermal picture is told in one sentence'() {
    const row = { entry: '', ref: 1, observed_at: '', side: 'c', against: '', hot: ['U29'], cold: ['U4', 'U5'], even: ['U1'] };
    same(verdictWords(row), 'hot: U29; cold: U4, U5; 1 even');
    same(verdictWords({ ...row, hot: [], cold: [] }), 'nothing hot, nothing cold; 1 even');
  },
  'the whole board with its edge is the window at zoom 1, wherever it is centred'() {
    same(windowOf(BOARD, view()), [-4, -104, 208, 108]);
    same(windowOf(BOARD, view({ x: 0, y: 0 })), [-4, -104, 208, 108]);
  },
  'a window never leaves the board, and mirrors with it'() {
    same(windowOf(BOARD, view({ zoom: 4, x: 0, y: 0 })), [-4, -23, 52, 27]);
    same(windowOf(BOARD, view({ zoom: 4, x: 0, y: 0, turned: true })), [152, -23, 52, 27]);
    const [x, y, w, h] = windowOf(BOARD, view({ zoom: 2, x: 60, y: 40 }));
    near(x + w / 2, 60);
    near(y + h / 2, -40);
  },
  'a press finds the nearest place within reach, or none'() {
    const marks = [{ x_mm: 10, y_mm: 10 }, { x_mm: 12.54, y_mm: 10 }];
    same(nearest(marks, 12, 10, 3), marks[1]);
    same(nearest(marks, 40, 10, 3), null);
  },
  'numbers of suspects never lie on each other'() {
    const put = spread([[0, 0], [0, 0], [0, 0], null, [0.5, 0]], 3);
    same(put[0], [0, 0]);
    same(put[3], null);
    const there = put.filter(Boolean);
    same(there.length, 4);
    for (const a of there) for (const b of there) yes(a === b || Math.hypot(a[0] - b[0], a[1] - b[1]) >= 3, 'apart');
  },
  'y of the board points up, y of a picture down'() {
    same(pathOf([[1, 2], [3, 4]]), 'M1 -2L3 -4Z');
    same(pathOf([[1, 2], [3, 4]], false), 'M1 -2L3 -4');
  },
  'an unlikely suspect can still be seen'() {
    yes(strength(0) >= 0.3 && strength(1) <= 1 && strength(0.2) < strength(0.9), 'strength');
  },
  'a typed value is a frequency by its unit, else a voltage'() {
    same(['4.000 MHz', '50Hz', '4.95', '4.95 V', '-5 V', '12 mV'].map(kindOf), ['hertz', 'hertz', 'volts', 'volts', 'volts', 'volts']);
  },
  'pins with their pixels come one each'() {
    same(wordsOf(' U1.1=120,45  U1.20=300,45;U2.3=1,2 '), ['U1.1=120,45', 'U1.20=300,45', 'U2.3=1,2']);
    same(wordsOf('  '), []);
  },
  'a place tapped again moves, and the bar keeps its last two marks'() {
    same(withPlace('U1.1=10,20 U2.3=1,2', 'u1.1', 30.04, 40), 'U2.3=1,2 u1.1=30.0,40.0');
    same(withPlace('', 'U1', 0.5, 7), 'U1=0.5,7.0');
    same(placesOf('U1.1=10,20.5 rubbish U2=1,2'), [{ name: 'U1.1', x: 10, y: 20.5 }, { name: 'U2', x: 1, y: 2 }]);
    same(withMark('630,20=65 630,460=15', 631.4, 455, '14,5'), '630,460=15 631,455=14.5');
    same(marksOf('630,20=65 x'), [{ name: '65 °C', x: 630, y: 20 }]);
  },
  'pins of chips are proposed first'() {
    same(chipsFirst(['RN3.1', 'U14.7', 'J1.2', 'IC3.8']), ['U14.7', 'IC3.8', 'RN3.1', 'J1.2']);
  },
  'the middle of the first pixel is nought, and nothing lies beyond the picture'() {
    same(pixelAt(0.5 / 160, 0.5 / 120, [160, 120]), [0, 0]);
    same(pixelAt(1.2, -0.1, [160, 120]), [159.5, -0.5]);
  },
  'one key each, by the kind of step'() {
    same(answerOf('h', false), { kind: 'level', value: 'high' });
    same(answerOf('F', false), { kind: 'level', value: 'floating' });
    same(answerOf('c', false), null);
    same(answerOf('c', true), { kind: 'closed', value: '' });
    same(answerOf('h', true), null);
  },
  'a level says what it was looked at with, where that was chosen, and nothing else does'() {
    same(lookedWith('level', 'probe'), { options: { with: 'probe' } });
    same(lookedWith('level', ''), {});
    same(lookedWith('volts', 'probe'), {});
  },
  'what is not certain is never called 100 %'() {
    same([0.0012, 0.5, 0.9951, 0.99999].map(share), ['0.12 %', '50.0 %', '99.51 %', 'over 99.9 %']);
  },
  'evidence in words'() {
    same([12.4, 0.25, 5000].map(factorWords), ['12 times likelier', '4.0 times less likely', 'over 1000 times likelier']);
    near(perMinute({ gain_bits: 3, seconds: 90 }), 2);
  },
};
