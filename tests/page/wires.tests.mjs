import { saidWords } from '../../src/coppermend/page/case/wires.js';
import { same } from './check.mjs';

export const tests = {
  'wires: a reading as expected is good only where it proves the wire'() {
    same(saidWords({ said: 'closed', expect: 'closed', proves: true }), 'Read closed: good');
    same(saidWords({ said: 'closed', expect: 'closed', proves: false }), 'Read closed: no proof yet');
    same(saidWords({ said: 'open', expect: 'closed', proves: true }), 'Read open');
  },
};
