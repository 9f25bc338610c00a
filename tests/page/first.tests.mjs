globalThis.localStorage ??= { getItem: () => null, setItem() {}, removeItem() {} };
globalThis.document ??= { getElementById: () => ({ textContent: '' }) };
const { FirstOfAll, leafOf } = await import('../../src/coppermend/page/round/first.js');
import { same, yes } from './check.mjs';

const T = (id) => ({ id });
const app = () => ({ id: '1', own: { a: null, b: null }, bench: { mark: '7', everything: true, step: { check: { a: T('p'), b: T('q') } } }, shownAt: performance.now(), url: (x) => x, redraw() {}, voice: { speaking: false, said: [], tell(w) { this.said.push(w); } } });
const other = { weighed: true, own: false, mark: '7', kind: 'look', words: 'Look at U5.3.', reason: '', seconds: 12, notes: [], tips: null, done: null, leaf: 'suspects', part: '' };
/** What the server says, in the place of the network. */
const answers = (first) => { globalThis.fetch = async () => new Response(JSON.stringify(first), { status: 200, headers: { 'content-type': 'application/json' } }); };

export const tests = {
  'every kind of work has its leaf, unknown ones none'() {
    same(leafOf('suspects', 'a b'), ['/page/suspects.html?case=a%20b', 'To the suspects']);
    same(leafOf('', '1'), null);
  },
  async 'what comes first takes the slip at once, but no check that is in hand'() {
    answers(other);
    const fresh = app(), one = new FirstOfAll(fresh);
    await one.ask();
    yes(one.other && one.shown);
    same(fresh.voice.said, ['First of all the work: Look at U5.3.']);
    const held = app(), late = new FirstOfAll(held);
    held.shownAt = performance.now() - 10_000;
    await late.ask();
    yes(late.other && !late.shown);
    held.bench.step.check = null; // nothing is in hand
    await late.ask();
    yes(late.shown);
  },
  async 'put away it stays a line until the bench is come to anew'() {
    answers(other);
    const mine = app(), one = new FirstOfAll(mine);
    await one.ask();
    one.toggle();
    yes(!one.shown);
    one.heed({ ...mine.bench, mark: '8' });
    clearTimeout(one.timer);
    same(one.found, null);
    mine.bench.mark = '7';
    await one.ask();
    yes(one.other && !one.shown);
    one.arrive();
    yes(one.shown);
  },
  async 'tips that the person chose go before it, and its own step is no news'() {
    answers(other);
    const mine = app(), one = new FirstOfAll(mine);
    mine.own = { a: T('x'), b: null };
    await one.ask();
    yes(!one.shown);
    one.toggle(); // asked for, they are put down
    yes(one.shown);
    same(mine.own, { a: null, b: null });
    const same_ = app(), two = new FirstOfAll(same_);
    answers({ ...other, own: true });
    await two.ask();
    yes(!two.other && !two.shown && two.found.own);
    two.toggle();
    yes(!two.shown);
  },
  async 'an answer for another state of the case is asked for again'() {
    answers({ ...other, mark: '6' });
    const mine = app(), one = new FirstOfAll(mine);
    await one.ask();
    same(one.found, null);
    yes(one.timer);
    clearTimeout(one.timer);
  },
};
