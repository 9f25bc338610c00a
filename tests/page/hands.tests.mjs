import { question, howRead, NOTHING_ASKED } from '../../src/coppermend/page/case/ohms.js';
import { againstPlanner, fate } from '../../src/coppermend/page/case/finish.js';
import { actOf as pedalAct, keptPedal, keyWords, learnt } from '../../src/coppermend/page/shared/pedal.js';
import { nameOf } from '../../src/coppermend/page/shared/keys.js';
import { Listening, actOf } from '../../src/coppermend/page/speech/listen.js';
import { spoken } from '../../src/coppermend/page/speech/spoken.js';
import { carefulOf, late, pause } from '../../src/coppermend/page/shared/api.js';
import { drop, keep, waiting } from '../../src/coppermend/page/shared/outbox.js';
import { pieces } from '../../src/coppermend/page/shared/netname.js';
import { same, yes } from './check.mjs';

const press = (key, more = {}) => ({ key, ctrlKey: false, metaKey: false, altKey: false, repeat: false, target: { tagName: 'BODY' }, ...more });

/** A recogniser that is not there: says what it was asked for, and lets the test speak. */
function recogniser(available) {
  const made = [];
  class Fake {
    constructor() { this.started = 0; made.push(this); }
    start() { this.started++; }
    abort() { this.aborted = true; }
    say(...texts) { this.onresult({ resultIndex: 0, results: [Object.assign(texts.map(([transcript, confidence]) => ({ transcript, confidence })), { isFinal: true })] }); }
  }
  if (available) Fake.available = available;
  return { Fake, made };
}
async function listener(available, deaf = () => false) {
  const { Fake, made } = recogniser(available), acts = [];
  const one = new Listening({ act: (a) => acts.push(a), changed: () => {}, Recognition: available === null ? undefined : Fake, deaf });
  await one.toggle();
  return { one, made, acts };
}

export const tests = {
  'a word said alone is an answer; a sentence that holds it is not'() {
    same(['Closed.', 'it is closed', 'open', "It's open", 'no beep', 'again', 'Can’t reach', 'take that back', 'repeat'].map(actOf), ['closed', 'closed', 'open', 'open', 'open', 'again', 'skip', 'back', 'say']);
    same(['open the window', 'is the shop closed today', 'the lid is open', '', 'opening'].map(actOf), ['', '', '', '', '']);
  },
  async 'spoken answers are asked for on this computer only, else it is said why not'() {
    const asked = [];
    const { one, made, acts } = await listener(async (q) => { asked.push(q); return 'available'; });
    same([asked[0].processLocally, made[0].processLocally, made[0].started, one.state], [true, true, 1, 'listening']);
    made[0].say(['open', 0.9]);
    made[0].say(['closed', 0.3]); // not sure enough
    made[0].say(['closed', 0.8], ['open', 0.8]); // means two things
    made[0].say(['what a day', 0.9]);
    same(acts, ['open']);
    const words = [];
    for (const way of [null, undefined, async () => 'unavailable', async () => 'downloadable', async () => { throw new Error('x'); }]) {
      const { one: other, made: none } = await listener(way);
      same([other.state, none.length], ['trouble', 0]);
      words.push(other.words);
    }
    same(new Set(words).size, 4); // no recogniser, only by sending, not here (twice), not fetched yet
  },
  async 'our own voice is no answer, and a browser that stops is begun again'() {
    let speaking = true;
    const { one, made, acts } = await listener(async () => 'available', () => speaking);
    made[0].say(['open', 1]);
    speaking = false;
    made[0].onend();
    made[0].say(['closed', 1]);
    same([acts, made[0].started], [['closed'], 2]);
    await one.toggle();
    made[0].say(['open', 1]);
    made[0].onend();
    same([one.state, made[0].aborted, made[0].started, acts.length], ['off', true, 2, 1]);
  },
  async 'an error ends it in words, silence does not'() {
    const { one, made } = await listener(async () => 'available');
    made[0].onerror({ error: 'no-speech' });
    same(one.state, 'listening');
    made[0].onerror({ error: 'network' });
    same(one.state, 'trouble');
    yes(one.words.includes('elsewhere'), one.words);
  },
  'a pedal key is learnt for one act, and comes before the table of keys'() {
    let pedal = learnt({}, 'open', 'PageDown');
    pedal = learnt(pedal, 'closed', 'c');
    same(learnt(pedal, 'again', 'PageDown'), { closed: 'c', again: 'PageDown' });
    same([learnt(pedal, 'open', 'Tab'), learnt(pedal, 'open', 'F13').open], [pedal, 'F13']);
    same([pedalAct(pedal, 'PageDown'), pedalAct(pedal, 'x')], ['open', '']);
    same([nameOf(press('PageDown'), pedal), nameOf(press('PageDown')), nameOf(press('PageDown', { repeat: true }), pedal)], ['open', '', '']);
    same(nameOf(press('PageDown', { target: { tagName: 'INPUT' } }), pedal), ''); // who types is not answering
    same(nameOf(press('a'), learnt({}, 'open', 'a')), 'open');
    same([keptPedal('nonsense'), keptPedal('{"open":"Tab","closed":"b","other":"q"}')], [{}, { closed: 'b' }]);
    same([keyWords(' '), keyWords('b'), keyWords('F13')], ['Space', 'B', 'F13']);
  },
  'ticks and sliders take their own keys only; what is typed into takes all'() {
    const at = (/** @type {string} */ key, /** @type {string} */ type, tagName = 'INPUT') => nameOf(press(key, { target: { tagName, type } }));
    same([at('c', 'checkbox'), at('o', 'checkbox'), at(' ', 'checkbox'), at('c', 'range'), at('ArrowLeft', 'range'), at('ArrowLeft', 'checkbox')], ['closed', 'open', '', 'closed', '', 'left']);
    same([at('c', 'text'), at('c', 'number'), at('c', 'file'), at('c', '', 'SELECT'), at('c', '', 'TEXTAREA'), at('Escape', 'text')], ['', '', '', '', '', 'clear']);
    same([at(' ', 'submit', 'BUTTON'), at('c', 'submit', 'BUTTON')], ['', 'closed']);
  },
  'what the server has not acknowledged stays in the store, in its order, until it is dropped'() {
    const held = new Map(), shelf = { getItem: (k) => held.get(k) ?? null, setItem: (k, v) => held.set(k, v), removeItem: (k) => held.delete(k) };
    keep(shelf, '/api/cases/1/entries', { entry_id: 'a', kind: 'closed' }, 5);
    keep(shelf, '/api/cases/12/entries', { entry_id: 'b', kind: 'open' }, 6);
    same([waiting(shelf).map((w) => w.body.entry_id), waiting(shelf, '/api/cases/1/').map((w) => w.body.kind)], [['a', 'b'], ['closed']]);
    drop(shelf, 'a');
    same([waiting(shelf).length, waiting(shelf, '/api/cases/1/').length], [1, 0]);
    drop(shelf, 'b');
    same(held.size, 0);
    held.set('not-noted-yet', '{"no":"list"}');
    same(waiting(shelf), []);
    const full = { ...shelf, setItem: () => { throw new Error('QuotaExceededError'); } };
    keep(full, '/x', { entry_id: 'c' }, 1); // a full store: no complaint, the entry is sent all the same
    same(Array.from({ length: 9 }, (_, i) => pause(i + 1)), [400, 800, 1200, 1600, 2000, 2000, 2000, 2000, 2000]);
  },
  'a late answer says how long it waited, and what the other screen said is told'() {
    same(late('/api/cases/1/entries', { kind: 'open' }, 1000, 3500), { kind: 'open', waited_s: 2.5 });
    same([late('/api/cases/1/intake', { a: 1 }, 1000, 3500), late('/api/cases/1/entries', { a: 1 }, 9000, 3500)], [{ a: 1 }, { a: 1 }]);
    same([carefulOf({}), carefulOf({ careful: ['hot'], differs: 'closed: U1.1 to U1.2' })], [[], ['hot', 'another screen answered this check otherwise (closed: U1.1 to U1.2); both are kept. Measure again']]);
  },
  'a bar over a name of a net is drawn, not written'() {
    same(pieces('/cpu/~{RD}'), [{ text: '/cpu/', bar: false }, { text: 'RD', bar: true }]);
    same(pieces('~{A}~{B}x'), [{ text: 'A', bar: true }, { text: 'B', bar: true }, { text: 'x', bar: false }]);
    same([pieces('D0'), pieces('~RD'), pieces('')], [[{ text: 'D0', bar: false }], [{ text: '~RD', bar: false }], []]);
  },
  'a via is spoken with where it lies'() {
    const via = { name: 'via 5.9 mm from R9 pin 1', where: 'towards the top', touch: 'touch the via', side_words: 'solder side' };
    const leg = { name: 'U7 pin 30', where: 'notch up: left row, 10th from it', touch: 'touch the leg', side_words: 'solder side' };
    same(spoken({ a: leg, b: via }), 'Tip A: U seven, pin thirty. Tip B: via five point nine millimetres from R nine, pin one, towards the top. Solder side.');
  },
  'what the ohms leaf asks the server, and how a reading was taken'() {
    same(question('short', NOTHING_ASKED), 'short?meter=four-wire&step_ohm=0.01');
    same(question('short', { ...NOTHING_ASKED, net_a: 'A&B', net_b: 'GND' }), 'short?meter=four-wire&step_ohm=0.01&net_a=A%26B&net_b=GND');
    same(question('short', { ...NOTHING_ASKED, net_a: 'A' }), 'short?meter=four-wire&step_ohm=0.01&net_a=A&net_b=');  // the server says that the other one is missing
    same(question('ways', { ...NOTHING_ASKED, net: '+5V', meter: 'two-wire', step_ohm: '0.1' }), 'ways?meter=two-wire&step_ohm=0.1&net=%2B5V');
    same(howRead({ ...NOTHING_ASKED, meter: 'two-wire', zeroed: true }), { wires: 2, step_ohm: 0.01, lead_ohm: 0 });
    same([howRead(NOTHING_ASKED), howRead({ ...NOTHING_ASKED, meter: 'two-wire', step_ohm: '0.1' })], [{ wires: 4 }, { wires: 2, step_ohm: 0.1 }]);
  },
  'how a break of the patient came out'() {
    same([fate({ found: true, mended: true }), fate({ found: true, mended: false }), fate({ found: false, mended: false })], ['mended', 'found, not mended', 'not found']);
  },
  'a round against the planner counts the readings between two nets where the planner has such'() {
    same(againstPlanner({ readings: 32, planner_checks: 31, apart: 36, planner_apart: 31 }), '6 readings more than the planner.');
    same(againstPlanner({ readings: 31, planner_checks: 31, apart: 4, planner_apart: 0 }), 'As many as the planner.');
    yes(againstPlanner({ readings: 30, planner_checks: 31 }).startsWith('1 reading fewer'));
  },
};
