import { MARGIN, inWords, moved, range, scaleOf, ticks, withUnit } from '../../src/coppermend/page/waves/scale.js';
import { near } from '../../src/coppermend/page/waves/pin.js';
import { same, yes } from './check.mjs';

const picture = (more = {}) => ({ kind: 'line', channel: 'CH1', begin_s: 0, end_s: 1e-6, first_s: 0, last_s: 1e-5, time_s: [0, 1e-6], volt: [0.2, 3.6], low_v: 0.2, high_v: 3.6, ...more });

const dip = (side) => ({ side, x_mm: 10, y_mm: 20, pins: [['1', 10, 20, ''], ['2', 10, 17.46, 'rail'], ['14', 17.62, 20, ''], ['7', 10, 4.76, 'ground']] });

export const tests = {
  'pins near the tip lie as they are seen from the side that is touched'() {
    same(near(dip('c')).map((p) => [p.number, Number(p.x.toFixed(2)), Number(p.y.toFixed(2)), p.supply]), [['1', 0, 0, ''], ['2', 0, 2.54, 'rail'], ['14', 7.62, 0, '']]);
    same(near(dip('s')).map((p) => Number(p.x.toFixed(2))), [-0, 0, -7.62].map((x) => x + 0));
  },
  'ticks are round and within the ends'() {
    same(ticks(0, 1, 5), [0, 0.2, 0.4, 0.6, 0.8, 1]);
    same(ticks(-1e-6, 1e-6, 4), [-1e-6, -5e-7, 0, 5e-7, 1e-6]);
    same(ticks(1, 1, 5), []);
    yes(ticks(0, 7.3e-7, 8).every((t) => t >= 0 && t <= 7.3e-7), 'within');
  },
  'values carry the unit that suits them'() {
    same(withUnit(2.5e-7, 's'), '250 ns');
    same(withUnit(4000000, 'Hz'), '4 MHz');
    same(withUnit(3.6, 'V'), '3.6 V');
    same(withUnit(0, 's', 1e-6), '0 µs');
    same(withUnit(1.0204845e6, 'Hz'), '1.0204845 MHz');
    same(withUnit(0, 's'), '0 s');
  },
  'the picture holds wave, levels and thresholds'() {
    const [low, high] = range(picture({ volt: [1, 1], low_v: 1, high_v: 1, thresholds: { family: 'TTL', low_v: 0.8, high_v: 2 } }));
    yes(low < 0.8 && high > 2, 'thresholds inside');
    const s = scaleOf(picture(), 800, 300);
    same(s.x(0), MARGIN.left);
    same(s.x(1e-6), 800 - MARGIN.right);
    yes(s.y(3.6) < s.y(0.2), 'high is above low');
    same(range(picture({ kind: 'steps', volt: undefined })), [-0.2, 1.2]);
  },
  'nearer and further stay within the record'() {
    let p = picture();
    for (const how of ['later', 'later', 'nearer', 'earlier', 'further', 'further', 'further', 'further', 'later']) {
      const [a, b] = moved(p, how);
      yes(a >= p.first_s - 1e-18 && b <= p.last_s + 1e-18 && b > a, how);
      p = { ...p, begin_s: a, end_s: b };
    }
    same(moved(p, 'whole'), [0, 1e-5]);
    const [a, b] = moved(picture(), 'nearer', 0);
    same(a, 0);
    yes(Math.abs(b - 4e-7) < 1e-15, 'the left end stays');
  },
  'the picture is said in words'() {
    same(inWords(picture({ words: 'right, 4 MHz', edges_s: [1e-7, 2e-7] })), 'CH1, 0 µs to 1 µs: right, 4 MHz, 2 edges marked');
  },
};
