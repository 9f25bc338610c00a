// Pure functions of the page of what other work found.
import assert from 'node:assert/strict';
import { countOf, hertzOf, linesOf, memoryRows, othersRows, partValue, startsWords } from '../../src/coppermend/page/found/words.js';
import { numberOf } from '../../src/coppermend/page/shared/numbers.js';

export const tests = {
  'counts of starts are read in two notations and nothing else': () => {
    assert.deepEqual(countOf('3/5'), { good: 3, of: 5 });
    assert.deepEqual(countOf(' 0 of 4 '), { good: 0, of: 4 });
    for (const bad of ['', 'often', '3', '3/', '-1/5', '3/5/7', '3.5/5']) assert.equal(countOf(bad), null, bad);
  },
  'a clock is read with its unit': () => {
    assert.equal(hertzOf('4MHz'), 4e6);
    assert.equal(hertzOf('3,5 M'), 3.5e6);
    assert.equal(hertzOf('985k'), 985e3);
    assert.ok(Number.isNaN(hertzOf('fast')));
  },
  'a small part shows its value with its unit': () => {
    const value = (kind, v) => partValue({ kind, value: v });
    assert.deepEqual([value('resistor', 4700), value('electrolytic', 22e-6), value('ceramic', 1e-7), value('crystal', 4e6), value('fuse', 0.5), value('resistor', 0), value('coil', null)],
      ['4.7 kΩ', '22 µF', '100 nF', '4 MHz', '500 mA', '0 Ω', '']);
  },
  'a number that is none is refused, not dropped': () => {
    assert.deepEqual([numberOf('', 'it'), numberOf(' 12,50 ', 'it'), numberOf('-3', 'it'), numberOf('.5', 'it')], [null, 12.5, -3, 0.5]);
    for (const bad of ['abc', '3 EUR', '1,2,3', '0x10', '1e5', '-']) assert.throws(() => numberOf(bad, 'the price'), /is no number/, bad);
  },
  'lines that were not read are left out': () => {
    assert.deepEqual(linesOf([[0, '500k'], [1, ''], [15, ' 0 ']]), ['A0=500k', 'A15=0']);
  },
  'what starts say': () => {
    assert.match(startsWords([], {})[0], /start it five times/);
    const said = startsWords([{ good: 3, of: 5, words: '3 of 5 starts good' }], { words: ['93 % that what is wrong comes and goes.'] });
    assert.deepEqual(said, ['3 of 5 starts good.', '93 % that what is wrong comes and goes.']);
    assert.equal(startsWords([], { words: ['2 more in a row'] })[1], '2 more in a row', 'after a mend what is left to prove is said before any start is counted');
  },
  'what another board reads otherwise, once a pin and without what is odd here': () => {
    const one = (pin, words) => ({ pin, net: 'D0', words });
    const groups = [{ members: [one('U1.1', 'odd'), one('U1.2', 'a difference'), one('U1.3', '')] }, { members: [one('U1.2', 'again')] }];
    assert.deepEqual(othersRows({ odd: [{ pin: 'U1.1' }], against: { groups } }), [['U1.2', 'D0', 'a difference']]);
  },
  'a memory suspect in a row': () => {
    const [row] = memoryRows([{ p: 0.973, unit: 'part U53', mode: 'a bit stuck', pins: ['U53.14'], for: ['all of D3'], against: ['x'] }]);
    assert.deepEqual(row, ['97.3 %', 'part U53', 'a bit stuck', 'U53.14', 'all of D3; against: x']);
  },
};
