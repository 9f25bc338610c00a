import { asked, names, several } from '../../src/coppermend/page/case/ownwire.js';
import { tapTaken, wishFor, withMore } from '../../src/coppermend/page/case/tapplace.js';
import { same } from './check.mjs';

export const tests = {
  'own wire: lists as typed, with their spaces'() {
    same(several(' 10,20 30,40/s; 50,5 60,12 ;'), ['10,20 30,40/s', '50,5 60,12']);
    same(names('U1.3, U4.7  U2.1'), ['U1.3', 'U4.7', 'U2.1']);
    same([several(null), names('')], [[], []]);
  },
  'own wire: what the server is asked is what the command takes'() {
    const form = new FormData();
    for (const [key, value] of Object.entries({ net: ' A5 ', need: 'U1.3', side: 's', current_a: '1.5', cut: '31.2,40.0/s', allow: '', keep_out: '', scrape: 'on' })) form.set(key, value);
    same(asked(form), { net: 'A5', need: ['U1.3'], side: 's', current_a: 1.5, cut: ['31.2,40.0/s'], allow: [], keep_out: [], scrape: true, straight: false });
  },
  'own wire: a tap gives what would be typed; a box takes two, a tap beside everything asks again'() {
    const tap = { xy: /** @type {[number, number]} */ ([31.204, 40]), face: 's', point: null, part: undefined };
    same(tapTaken(wishFor('cut'), tap).text, '31.2,40/s');
    const first = tapTaken(wishFor('keep_out'), tap);
    same([first.text, first.wish.corners.length], ['', 1]);
    same(tapTaken(first.wish, { ...tap, xy: [5, 6.5] }).text, '31.2,40 5,6.5');
    same(tapTaken(wishFor('need'), { ...tap, point: { id: 'U1.3/joint-s', part: 'U1', pin: '3' } }).text, 'U1.3');
    same(tapTaken(wishFor('need'), { ...tap, point: { id: 'via@1000,2000/s', part: '' } }).text, 'via@1000,2000/s');
    same([tapTaken(wishFor('need'), tap).wish.missed, tapTaken(wishFor('allow'), tap).wish.missed, tapTaken(wishFor('allow'), { ...tap, part: 'U4' }).text], [true, true, 'U4']);
    same([withMore('', 'a', 'cut'), withMore('a;', 'b', 'cut'), withMore('U1.3', 'U4.7', 'need')], ['a', 'a; b', 'U1.3 U4.7']);
  },
};
