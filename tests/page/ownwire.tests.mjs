import { asked, names, several } from '../../src/coppermend/page/case/ownwire.js';
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
};
