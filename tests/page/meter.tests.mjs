import { fateWords, newTouch, tipsWords, unheardWords } from '../../src/coppermend/page/meter/words.js';
import { pathOf } from '../../src/coppermend/page/lan/qr.js';
import { same, yes } from './check.mjs';

const off = { state: 'off', address: '', name: '', wires: 2, where: '', shown: '', touch: '', touch_words: '', trouble: null };
const on = { ...off, state: 'on', where: 'apart', name: 'M' };
const trouble = { code: 'INS-006', severity: 'error', words: 'It broke off.', remedy: 'Plug it in.', place: {} };

export const tests = {
  'a touch is new once, and never when the window has just joined'() {
    same(newTouch(null, { ...on, touch: 'a' }), '');
    same(newTouch(on, { ...on, touch: 'a' }), 'a');
    same(newTouch({ ...on, touch: 'a' }, { ...on, touch: 'a', where: 'lift' }), '');
    same(newTouch({ ...on, touch: 'a' }, { ...on, touch: 'b' }), 'b');
    same(newTouch({ ...on, touch: 'a' }, off), '');
  },
  'a simulated meter says that a real case notes nothing of it, and only there'() {
    const sim = { ...on, address: 'sim:meter' };
    yes(fateWords(sim).includes('in a real case none is noted'));
    yes(fateWords(on).startsWith('Each touch answers'));
    yes(unheardWords(sim, false).includes('nothing it reads is noted'));
    same(unheardWords(sim, true), '');
    same(unheardWords(on, false), '');
    same(unheardWords({ ...sim, state: 'off' }, false), '');
  },
  'a QR picture is drawn run by run'() {
    same(pathOf(['0110', '0000', '1001']), 'M1 0h2v1h-2zM0 2h1v1h-1zM3 2h1v1h-1z');
  },
  'what the tips do is said in words, trouble first'() {
    same(tipsWords(off), 'No meter is being read.');
    same(tipsWords(on), 'Touch two points.');
    yes(tipsWords({ ...on, where: 'landing' }).startsWith('Hold still'));
    same(tipsWords({ ...on, where: 'lift', touch_words: '0.4 Ω' }), 'Read 0.4 Ω. Lift the tips.');
    same(tipsWords({ ...on, where: 'lift' }), 'Lift the tips once.');
    same(tipsWords({ ...off, state: 'lost', trouble }), 'It broke off.');
  },
};
