import { leadOf, saidWords } from '../../src/coppermend/page/case/wires.js';
import { same } from './check.mjs';

export const tests = {
  'wires: a reading as expected is good only where it proves the wire'() {
    same(saidWords({ said: 'closed', expect: 'closed', proves: true }), 'Read closed: good');
    same(saidWords({ said: 'closed', expect: 'closed', proves: false }), 'Read closed: no proof yet');
    same(saidWords({ said: 'open', expect: 'closed', proves: true }), 'Read open');
  },
  'wires: a net that reads open is not called mended'() {
    same(leadOf({ spans: [], open: ['Net D reads open'], fitted: [{}] }), 'A net reads open, and nobody knows yet where.');
    same(leadOf({ spans: [], open: [], fitted: [{}] }), 'No unmended break is known now.');
    same(leadOf({ spans: [], open: [], fitted: [] }), 'No break is known yet.');
  },
};
