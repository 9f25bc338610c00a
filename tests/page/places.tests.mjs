import { cornersOf, howFar, nextPin, pinNamed, withMark } from '../../src/coppermend/page/places/marks.js';
import { isPlaced } from '../../src/coppermend/page/map/photo.js';
import { same, yes } from './check.mjs';

const pins = (n) => Array.from({ length: n }, (_, k) => String(k + 1));
const part = (ref, n, pkg, placed = false) => ({ ref, side: 'c', package: pkg, placed, pins: pins(n) });
const parts = [part('R1', 2, 'AXIAL-10.16'), part('U1', 40, 'DIP-40'), part('U2', 14, 'DIP-14')];
const at = (pin) => ({ pin, px: [1, 2] });

export const tests = {
  'the corners of a chip are the ends of its rows'() {
    same(cornersOf(parts[1]), ['U1.1', 'U1.20', 'U1.21', 'U1.40']);
    same(cornersOf(parts[0]), ['R1.1', 'R1.2']);
  },
  'the largest chip is asked for first, then two pins of each part'() {
    const asked = [];
    let marks = [];
    for (let pin = nextPin(parts, marks); pin; pin = nextPin(parts, marks, pin)) {
      asked.push(pin);
      marks = withMark(marks, at(pin));
      yes(asked.length < 20, 'it ends');
    }
    same(asked, ['U1.1', 'U1.20', 'U1.21', 'U1.40', 'U2.1', 'U2.8', 'R1.1', 'R1.2']);
  },
  'a pin is found as typed, and no other'() {
    same(pinNamed(parts, ' u1.8 '), 'U1.8');
    same(pinNamed(parts, 'U1.41'), '');
    same(pinNamed(parts, 'U1'), '');
  },
  'a pin marked twice moves'() {
    same(withMark([at('U1.1')], { pin: 'U1.1', px: [5, 6] }), [{ pin: 'U1.1', px: [5, 6] }]);
  },
  'what is missing is said'() {
    yes(howFar([], parts).includes('4 more'));
    yes(howFar([at('U1.1'), at('U1.20')], parts).includes('2 more'));
    yes(!howFar([], [part('U1', 40, 'DIP-40', true)]).includes('more corner'));
  },
  'made-up parts are told from placed ones'() {
    same([isPlaced({ made_up: ['R1'] }, 'R1'), isPlaced({}, 'R1')], [false, true]);
  },
};
