import { answerWords } from '../../src/coppermend/page/arrival/intake.js';
import { aloneWords, readWords, volts } from '../../src/coppermend/page/arrival/supply.js';
import { cardWords } from '../../src/coppermend/page/chips/cards.js';
import { options } from '../../src/coppermend/page/chips/work.js';
import { same } from './check.mjs';

const answer = (more = {}) => ({ yes: null, amount: null, currency: '', words: '', ...more });
const form = (fields) => new Map(Object.entries(fields));

export const tests = {
  'what a rail read to ground'() {
    same(readWords({ read: false, ohm: null, diode_v: null, low: false }), '');
    same(readWords({ read: true, ohm: null, diode_v: 0.45, low: false }), '; read OL, 450 mV in diode mode');
    same(readWords({ read: false, ohm: null, diode_v: 0.02, low: true }), '; read 20 mV in diode mode: too low, do not switch on');
  },
  'an answer of the intake in a line'() {
    same(answerWords(null, 0), '');
    same(answerWords(answer({ yes: true, words: 'own monitor' }), 0), 'yes, own monitor');
    same(answerWords(answer({ amount: 80, currency: 'EUR' }), 2), '80 EUR, 2 photos');
    same(answerWords(answer(), 0), 'noted');
  },
  'volts and how a rail stands by itself'() {
    same([volts(5.0203), volts(0.031), volts(-0.25), volts(0), volts(null)], ['5.02 V', '31 mV', '-250 mV', '0 V', 'overload']);
    same(aloneWords({ alone: null, faults: [], proven: false }), 'not measured by itself');
    same(aloneWords({ alone: { volt: 5.02, load_a: 1.5 }, faults: [], proven: true }), 'proven: 5.02 V under 1.5 A');
    same(aloneWords({ alone: { volt: 5.02, load_a: null }, faults: [], proven: false }), '5.02 V without a load proves little');
    same(aloneWords({ alone: { volt: 5.9, load_a: 1 }, faults: ['VCC 5.9 V, wanted 4.75 to 5.25 V'], proven: false }), 'VCC 5.9 V, wanted 4.75 to 5.25 V');
  },
  'a chip in a line'() {
    same(cardWords({ type: '4164', speed: '150 ns', goodness: 'known good', place: 'stock', origin: 'donor', price: 4 }), '4164 150 ns, known good, now stock, from donor, price 4');
    same(cardWords({ type: '', speed: '', goodness: 'unknown', place: '', origin: '', price: null }), 'type not told, unknown');
  },
  'chips and the try belong to a swap alone'() {
    same(options('swap', form({ effect: 'none', with: 'C7', out: 'C1', trial: 'on' })), { effect: 'none', with: 'C7', out: 'C1', trial: true });
    same(options('press', form({ effect: 'changed', with: 'C7', out: 'C1', trial: 'on' })), { effect: 'changed' });
    same(options('piggyback', form({ effect: '', with: 'C7', out: 'C1' })), { with: 'C7' });
  },
};
