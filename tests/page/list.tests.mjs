// Pure functions of the list of cases.
import assert from 'node:assert/strict';
import { address, hoursWords, linesOf, saidOf } from '../../src/coppermend/page/case/list.js';

const none = { q: '', states: [], waits: false, order: 'number' };

export const tests = {
  'the address says what is asked for and nothing else': () => {
    assert.equal(address(none), '/api/cases');
    assert.equal(address({ q: ' U1.8 d3:open ', states: ['ready', 'on the bench'], waits: true, order: 'last' }, '7@2026'), '/api/cases?q=U1.8+d3%3Aopen&state=ready&state=on+the+bench&waits=true&order=last&after=7%402026');
  },
  'a line says who, what was found, what it waits for, where it stands, what went in': () => {
    const c = { serial: 'E03', owner: 'Ash', hit: 'open: U1.8/leg and U7.3/leg', hit_at: '2026-03-01T09:00:00Z', waits: 'a socket', fails: ['video'], where: 'remark: cleaned', state: 'waiting', parts: ['U10 exchanged'], wires: 2 };
    assert.deepEqual(linesOf(c).map(([name]) => name), ['who', 'hit', 'waits', 'fails', 'where', 'used']);
    assert.ok(linesOf(c)[1][1].endsWith('open: U1.8 and U7.3'));
    assert.equal(linesOf(c)[5][1], 'U10 exchanged, 2 wires');
    assert.deepEqual(linesOf({ where: 'progress: ready', state: 'ready' }), []);
    assert.deepEqual(linesOf({ where: 'waits for: part, a socket', waits: 'part: a socket', state: 'waiting' }), [['waits', 'waits for part: a socket']]);
  },
  'hours as one says them': () => {
    assert.deepEqual([0, 0.01, 0.5, 2.25].map(hoursWords), ['', '1 min at the bench', '30 min at the bench', '2.3 h at the bench']);
  },
  'what stands above the list': () => {
    const page = (n, all, after = '', notes = []) => ({ cases: Array(n).fill({}), in_all: all, after, notes });
    assert.equal(saidOf(page(3, 3), none), '3 cases.');
    assert.equal(saidOf(page(50, 130, '81'), none), 'The first 50 of 130 cases.');
    assert.equal(saidOf(page(1, 130), { ...none, q: 'x' }), '1 of 130 cases.');
    assert.equal(saidOf(page(0, 130, '', ['Write more.']), { ...none, q: 'x' }), 'No case is like that; 130 cases in all. Write more.');
  },
};
