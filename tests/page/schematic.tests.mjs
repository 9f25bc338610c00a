// Pure functions of the schematic's page.
import assert from 'node:assert/strict';
import { pagesOf, shareOf, stepTo } from '../../src/coppermend/page/schematic/places.js';

export const tests = {
  'a box in points is a share of its page': () => {
    assert.deepEqual(shareOf([100, 50, 120, 60], { width: 200, height: 100 }, 0), [50, 50, 10, 10]);
    assert.deepEqual(shareOf([100, 50, 120, 60], { width: 200, height: 100 }), [49, 48, 12, 14]);
  },
  'all pages in one row, each with its schematic': () => {
    const rows = pagesOf([{ entry: 'a', name: 'A', note: '', pages: [{ number: 1, width: 1, height: 1, words: 0 }] }, { entry: 'b', name: 'B', note: '', pages: [{ number: 1, width: 1, height: 1, words: 3 }] }]);
    assert.deepEqual(rows.map((r) => [r.entry, r.number, r.words]), [['a', 1, 0], ['b', 1, 3]]);
  },
  'hits go round': () => {
    assert.equal(stepTo(2, 3, 1), 0);
    assert.equal(stepTo(0, 3, -1), 2);
    assert.equal(stepTo(-1, 0, 1), -1);
  },
};
