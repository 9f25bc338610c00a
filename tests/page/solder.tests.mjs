import { curve, minutes, several, typed } from '../../src/coppermend/page/solder/numbers.js';
import { same, yes } from './check.mjs';

export const tests = {
  'solder: numbers as typed, comma or point'() {
    same(typed(' 41,5 '), 41.5);
    same(typed('.5'), 0.5);
    same(typed(''), null);
    yes(Number.isNaN(typed('warm')), 'a word is no number');
    yes(Number.isNaN(typed('1e5x')), 'nor is half a one');
  },
  'solder: several numbers'() {
    same(several('100 80 15'), [100, 80, 15]);
    same(several('100, 80; 15'), [100, 80, 15]);
    same(several('  '), null);
    yes(several('100 wide').some(Number.isNaN), 'a word among them shows');
  },
  'solder: seconds below a minute and a half, minutes above'() {
    same(minutes(45), '45 s');
    same(minutes(252), '4.2 min');
    same(minutes(1200), '20 min');
  },
  'solder: the curve keeps within its picture and rises upwards'() {
    const rows = [[0, 22, 22, 22, 22], [60, 60, 62, 50, 52], [120, 100, 108, 95, 97]];
    const p = curve(rows, 110, 760, 300);
    const points = p.component.split(' ').map((one) => one.split(',').map(Number));
    same(points[0][0], p.left);
    same(points[2][0], p.right);
    yes(points[0][1] > points[1][1] && points[1][1] > points[2][1], 'warmer is higher');
    yes(p.limit >= p.top && p.limit < points[2][1], 'the limit lies above the curve, within the picture');
    same(p.last, 120);
  },
};
