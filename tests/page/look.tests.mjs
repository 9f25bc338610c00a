// Pure functions of the tour over a side.
import assert from 'node:assert/strict';
import { capOf, findingAt, firstOf, nameable, ordered, placesOf, windowAt } from '../../src/coppermend/page/look/tour.js';

const all = [{ name: 'corrosion', of: 'copper' }, { name: 'cracked joint', of: 'copper' }, { name: 'solder bridge', of: 'bridge' }, { name: 'wrong part', of: 'part' }];
const stop = { box: [10, 20, 20, 24], pins: ['U1.1', 'U1.2'], parts: ['U7'], expected: 0.1, ask: ['cracked joint', 'solder bridge'] };

export const tests = {
  'the findings asked for at a stop come first and have the first keys': () => {
    const rows = ordered(all, stop);
    assert.deepEqual(rows.map((f) => f.name), ['cracked joint', 'solder bridge', 'corrosion', 'wrong part']);
    assert.equal(findingAt(rows, '1').name, 'cracked joint');
    assert.equal(findingAt(rows, '0'), null);
    assert.equal(findingAt(rows, 'n'), null);
    assert.equal(findingAt(Array.from({ length: 10 }, (_, k) => ({ name: String(k) })), '0').name, '9');
    assert.equal(capOf(9), '0');
  },
  'a bridge takes two pins, a part finding a part': () => {
    assert.equal(placesOf(all[2]), 2);
    assert.equal(placesOf(all[0]), 1);
    assert.deepEqual(nameable(all[3], stop), ['U7', 'U1']);
    assert.deepEqual(nameable(all[0], stop), ['U1.1', 'U1.2']);
  },
  'the first side that was not looked over is the next': () => {
    assert.equal(firstOf([{ looked: true }, { looked: false }]), 1);
    assert.equal(firstOf([{ looked: true }]), 0);
  },
  'the window holds the field of view, mirrored on the solder side': () => {
    const bounds = [0, 0, 100, 60];
    for (const turned of [false, true]) {
      const [x, y, w, high] = windowAt(bounds, stop, turned);
      const [a, c] = turned ? [80, 90] : [10, 20];
      assert.ok(x <= a && x + w >= c && y <= -24 && y + high >= -20, String(turned));
    }
    assert.deepEqual(windowAt(bounds, undefined, false), [-4, -64, 108, 68]);
  },
};
