import { canAnswer, lastAnswer, notedAs, ohmsCheck, placeTip, spoken, tickOf, ticks, tipsOf } from '../../src/coppermend/page/round/state.js';
import { distanceToLine, inside, pickNet, pickPoint, pointGrid, readPoints } from '../../src/coppermend/page/map/index.js';
import { Chunks } from '../../src/coppermend/page/map/chunks.js';
import { SITE_STYLE } from '../../src/coppermend/page/map/overlay.js';
import { byName } from '../../src/coppermend/page/map/card.js';
import { nameOf, KEYS } from '../../src/coppermend/page/shared/keys.js';
import { uuid7 } from '../../src/coppermend/page/shared/id.js';
import { chance, ohms, plainly, seconds } from '../../src/coppermend/page/shared/words.js';
import { actsFor } from '../../src/coppermend/page/map/partwork.js';
import { chapters, signed, waitAsked } from '../../src/coppermend/page/case/story.js';
import { learnedCells } from '../../src/coppermend/page/case/trust.js';
import { limits } from '../../src/coppermend/page/shared/whoami.js';
import { chipFrame } from '../../src/coppermend/page/map/chips.js';
import { patientAsked } from '../../src/coppermend/page/case/home.js';
import { near, same, yes } from './check.mjs';

const T = (id) => ({ id });
const none = { a: null, b: null };
const bench = { step: { check: { a: T('p'), b: T('q') } }, readings: [] };

export const tests = {
  'a patient of one’s own: percent become rates, what is left empty is drawn'() {
    const form = { breaks: '3', bridges: '1', seed: '', noise: 'off', false_open: ' ', false_closed: '0.2', oxidised: '', slips: '0', mixed_up: '1', intermittent: '50' };
    const asked = patientAsked(form);
    same(Object.keys(asked).sort(), ['breaks', 'bridges', 'false_closed', 'intermittent', 'mixed_up', 'noise', 'slips']);
    near(asked.false_closed, 0.002);
    same([asked.breaks, asked.bridges, asked.intermittent, asked.slips], [3, 1, 0.5, 0]);
    same(patientAsked({ ...form, seed: '0' }).seed, 0);
  },
  'the proposal stands until the person chooses'() {
    same(tipsOf(bench, none).own, false);
    same(tipsOf(bench, { a: T('x'), b: null }), { a: T('x'), b: null, own: true });
    yes(canAnswer(bench, none) && !canAnswer(bench, { a: T('x'), b: null }) && canAnswer(bench, { a: T('x'), b: T('y') }));
  },
  'a check in ohms is noted as the ohms that the meter shows, any other as closed or open'() {
    const asked = { step: { check: { a: { ...T('p'), name: 'P', side_words: '', where: '' }, b: { ...T('q'), name: 'Q', side_words: '', where: '' }, purpose: 'ohms' } }, readings: [] };
    yes(ohmsCheck(asked, none) === asked.step.check && ohmsCheck(bench, none) === null && ohmsCheck(asked, { a: T('x'), b: T('y') }) === null);
    same(notedAs({ says: 'closed', ohms: 0.00304217 }, asked.step.check), ['ohms', '0.003042']);
    same(notedAs({ says: 'open', ohms: null }, asked.step.check), ['open', '']);
    same(notedAs({ says: 'closed', ohms: 0.3 }, null), ['closed', '']);
    yes(spoken(asked, none).endsWith('Read ohms.'));
  },
  'a second tap takes the free tip, one point is never under both'() {
    same(placeTip(none, T('x'), null), none);
    const one = placeTip(none, T('x'), 'a');
    same(placeTip(one, T('y'), null), { a: T('x'), b: T('y') });
    same(placeTip(one, T('x'), 'b'), { a: null, b: T('x') });
  },
  'ticks tell copper from bridges, and fit the strip'() {
    same(tickOf({ kind: 'closed', one_net: true }), 'closed');
    same(tickOf({ kind: 'open', one_net: true }), 'open');
    same(tickOf({ kind: 'open', one_net: false }), 'apart');
    same(tickOf({ kind: 'ohms', value: 0.2, one_net: false }), 'bridge');
    same(tickOf({ kind: 'ohms', value: null, one_net: true }), 'open');
    const many = Array(300).fill({ kind: 'closed', undone: false, one_net: true });
    same(ticks(many, 500, true).length, 90);
    same(ticks([{ kind: 'closed', undone: true }, { kind: 'open', undone: false, one_net: true }], 2, true), ['open', 'now', 'left', 'left']);
  },
  'back takes the last answer that still counts'() {
    const rows = [{ entry: '1', kind: 'closed', undone: false }, { entry: '2', kind: 'open', undone: true }, { entry: '3', kind: 'look', undone: false }];
    same(lastAnswer({ readings: rows }).entry, '1');
    same(lastAnswer({ readings: [] }), null);
  },
  'picking prefers what can be reached, then the nearest'() {
    const points = readPoints([['far', 0, 1.2, 0, 'c', '', '', 'leg', true], ['near', 1, 0.1, 0, 'c', '', '', 'via', true], ['covered', 2, 0, 0, 'c', '', '', 'leg', false], ['under', 3, 0, 0, 's', '', '', 'joint', true]]);
    const grid = pointGrid(points);
    same(pickPoint(grid, 'c', 0, 0, 2).id, 'near');
    same(pickPoint(grid, 's', 0, 0, 2).id, 'under');
    same(pickPoint(grid, 'c', 5, 5, 2), null);
    same(pickPoint(pointGrid(points.slice(2, 3)), 'c', 0, 0, 2).id, 'covered');
  },
  'copper is picked by its edge, not by its centre line'() {
    const grid = new Chunks({ discs: Int32Array.of(7, 2000, 10000, 10000), strokes: Int32Array.of(3, 500, 2, 0, 0, 8000, 0), regions: Int32Array.of() });
    same([pickNet(grid, 4, 0.9, 0.5), pickNet(grid, 10, 11.9, 0.1), pickNet(grid, 4, 3, 1)], [3, 7, -1]);
  },
  'distance to a line and inside of a ring'() {
    near(distanceToLine([0, 0, 4, 0], 2, 3), 3);
    near(distanceToLine([0, 0, 4, 0], 7, 4), 5); // 3-4-5 triangle
    yes(inside([0, 0, 4, 0, 4, 4, 0, 4], 1, 1) && !inside([0, 0, 4, 0, 4, 4, 0, 4], 5, 1));
  },
  'what is known of a site shows by its line pattern alone'() {
    const dashes = Object.values(SITE_STYLE).map((s) => s.dash.join());
    same(new Set(dashes).size, dashes.length);
  },
  'a chip’s frame points to its notch'() {
    // DIP-8 with the notch up, 7.62 mm wide: pin 1 upper left, pin 8 upper right (JEDEC MS-001, from memory)
    const pins = [1, 2, 3, 4].map((k) => [String(k), -3.81, -(k - 1) * 2.54]).concat([5, 6, 7, 8].map((k) => [String(k), 3.81, -(8 - k) * 2.54]));
    const f = chipFrame({ pins });
    same(f.up, [0, 1]);
    same(f.right, [1, -0]);
    near(f.row, 3.81);
  },
  'points of one pin stand together'() {
    same(byName([{ name: 'U1 pin 1', id: 1 }, { name: 'U2 pin 1', id: 2 }, { name: 'U1 pin 1', id: 3 }]).map(([n, p]) => [n, p.length]), [['U1 pin 1', 2], ['U2 pin 1', 1]]);
  },
  'one key each: no key means two things'() {
    const all = KEYS.flatMap((k) => k.key);
    same(new Set(all).size, all.length);
  },
  'typing in a field and held modifiers are no commands'() {
    const press = (key, more = {}) => nameOf({ key, ctrlKey: false, metaKey: false, altKey: false, repeat: false, target: { tagName: 'DIV' }, ...more });
    same([press('c'), press('o'), press(' '), press('c', { ctrlKey: true }), press('c', { target: { tagName: 'INPUT' } }), press('c', { repeat: true }), press(' ', { target: { tagName: 'BUTTON' } })], ['closed', 'open', 'touch', '', '', '', '']);
  },
  'ids are version 7 with the time first'() {
    // the example of RFC 9562, appendix A.6: 2022-02-22 14:22:22 in milliseconds 0x017F22E279B0, rand 0xCC3 and 0x18C4DC0C0C07398F
    const chance = Uint8Array.from([0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f]);
    same(uuid7(0x017f22e279b0, chance), '017f22e2-79b0-7cc3-98c4-dc0c0c07398f');
  },
  'values as a person reads them'() {
    same([ohms(0.0634), ohms(0.004), ohms(0.31), ohms(47), ohms(4700), ohms(1.2e6), ohms(null)], ['63 mΩ', '4.0 mΩ', '0.31 Ω', '47 Ω', '4.70 kΩ', '1.20 MΩ', '']);
    same([seconds(44), seconds(300), seconds(7500)], ['44 s', '5 min', '2 h 5 min']);
    same([chance(0.999), chance(0.5), chance(0.001)], ['almost certain', '50 %', 'under 1 %']);
  },
  'ids in the log are said as places'() {
    same(plainly('open: via@109855,96520/c and U1.8/leg'), 'open: via at 109.9, 96.5 mm component side and U1.8');
    same(plainly('closed: U2.1/joint-s'), 'closed: U2.1 joint solder side');
  },
  'runs of readings make one chapter, other acts stand alone'() {
    const at = '2026-03-01T09:00:00.000Z';
    const items = ['remark', 'closed', 'open', 'undo', 'patch', 'closed'].map((kind) => ({ kind, observed_at: at }));
    same(chapters(items).map((c) => c.length), [1, 3, 1, 1]);
  },
  'one author is said once, several at their entries'() {
    same(signed([{ author: 'ada' }, { author: 'ada' }]).line, 'All noted by ada.');
    const two = signed([{ author: 'ada' }, { author: 'ada (tablet)' }, { author: '' }]);
    same([two.line, ...two.items.map((/** @type {any} */ i) => i.by)], ['', 'ada', 'ada (tablet)', 'nobody named']);
    same([signed([]).line, signed([{ author: '' }]).line], ['', '']);
  },
  'a learned prior stands beside its counts'() {
    const one = { site: 'joint', damage: 'rework', broken: 2, sites: 100, other_broken: 0.5, other_sites: 40, default: 0.008, rate: 0.0097, low: 0.002, high: 0.02, factor: 1.2 };
    same(learnedCells(one), ['joint, rework', '2.0 of 100', '0.5 of 40', '0.80 %', '0.97 % (0.20 % to 2.00 %)', '× 1.20']);
    same(learnedCells({ ...one, site: '4164', damage: 'part' })[0], 'part 4164');
  },
  'a wait for another case names it by its number'() {
    same(waitAsked({ what: 'case', words: ' Case 12', until: '' }), { what: 'case', case: '12', until: '' });
    same(waitAsked({ what: 'part', words: 'EPROM', until: '2026-12-01' }), { what: 'part', words: 'EPROM', until: '2026-12-01' });
  },
  'only a device that looks is told its limits'() {
    same(limits({ role: 'look', device: 'phone' }).startsWith('phone may look only'), true);
    same([limits({ role: 'work', device: 'x' }), limits({ role: 'bench', device: '' })], ['', '']);
  },
  'a part offers what its state allows'() {
    same(actsFor('out').map((a) => a[0]), ['fit']);
    same(actsFor('socketed').map((a) => a[0]), ['remove', 'reseat', 'swap']);
    same(actsFor('soldered').map((a) => a[0]), ['remove', 'swap']);
  },
};
