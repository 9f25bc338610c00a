import * as V from '../../src/coppermend/page/map/view.js';
import { placeOf, covers } from '../../src/coppermend/page/map/sheet.js';
import { insetView } from '../../src/coppermend/page/map/inset.js';
import { beside, lyingPlace, lyingWhere, uprightWhere } from '../../src/coppermend/page/map/rows.js';
import { near as nearPins } from '../../src/coppermend/page/waves/pin.js';
import { barLength } from '../../src/coppermend/page/map/compass.js';
import { near, same, yes } from './check.mjs';

const BOX = [10, 20, 290, 220];
const views = () => {
  const out = [];
  let v = V.fit({ ...V.newView(800, 600) }, BOX);
  for (const turn of [(x) => x, (x) => V.turnOver(x, 'upright'), (x) => V.turnOver(x, 'level')])
    for (let q = 0, w = turn(v); q < 4; q++, w = V.rotate(w)) out.push(w);
  return out;
};

/** A 14-pin dual in-line part (JEDEC MS-001: notch up, pin 1 upper left, down one row and up the other), turned on the board by quarters. */
const dip = (/** @type {number} */ quarters) => {
  const pins = [];
  for (let n = 1; n <= 14; n++) {
    let [x, y] = n <= 7 ? [-3.81, -2.54 * (n - 1)] : [3.81, -2.54 * (14 - n)];
    for (let q = 0; q < quarters; q++) [x, y] = [-y, x];
    pins.push({ n, x: 120 + x, y: 90 + y });
  }
  return pins;
};

export const tests = {
  // Against the matrix the close look is drawn with: where the pin comes to lie on the canvas beside the pin that faces it, and pin 1 beside pin 7.
  'the row in words is the row in the close look, for four turns, both sides and a chip lying any way'() {
    let seen = 0;
    for (let quarters = 0; quarters < 4; quarters++)
      for (const map of views())
        for (const side of ['c', 's'])
          for (const no of [1, 3, 12, 14]) {
            const pins = dip(quarters), at = (/** @type {number} */ n) => pins[n - 1];
            const unit = (/** @type {any} */ p, /** @type {any} */ q) => { const l = Math.hypot(p.x - q.x, p.y - q.y); return [(p.x - q.x) / l, (p.y - q.y) / l]; };
            const rank = '3rd from it';
            const tip = { where: '', side, x_mm: at(no).x, y_mm: at(no).y, row: { up: unit(at(1), at(7)), out: unit(at(no), at(15 - no)), rank } };
            const [a, b, c, d, e, f] = V.matrix(insetView(map, tip, 132, 124));
            const drawn = (/** @type {any} */ p) => [a * p.x + c * p.y + e, b * p.x + d * p.y + f];
            const way = (/** @type {any} */ p, /** @type {any} */ q, /** @type {string[]} */ [l, r, u, w]) => { const [px, py] = drawn(p), [qx, qy] = drawn(q); return Math.abs(px - qx) > Math.abs(py - qy) ? (px < qx ? l : r) : (py < qy ? u : w); };
            const notch = way(at(1), at(7), ['left', 'right', 'up', 'down']);
            const row = way(at(no), at(15 - no), ['left', 'right', 'upper', 'lower']);
            same(lyingWhere(tip, map), `notch ${notch}: ${row} row, ${rank}`);
            same(lyingPlace({ ...tip, name: 'U1 pin 3', touch: 'touch the leg' }, map), { name: 'U1 pin 3', thing: 'leg', place: `notch ${notch}: ${row} row, 3rd from it` });
            same(lyingPlace({ ...tip, touch: 'touch the solder joint', row: { ...tip.row, rank: '3rd from last' } }, map), { name: '', thing: 'joint', place: `notch ${notch}: ${row} row, 3rd from last` });
            seen++;
          }
    same(seen, 4 * 12 * 2 * 4);
    same(lyingWhere({ where: 'towards the top', side: 'c', row: null }, views()[0]), 'towards the top');
  },
  // Against the pins that the card draws (near: x right, y down, seen from the touched side): pin 1 beside pin 7, the pin beside the one that faces it.
  'under power a pin is named as the card shows its row, for a chip lying any way and both sides'() {
    const far = (/** @type {number} */ x, /** @type {number} */ y, /** @type {string[]} */ [l, r, u, w]) => (Math.abs(x) > Math.abs(y) ? (x < 0 ? l : r) : y < 0 ? u : w);
    const heard = new Set();
    for (let quarters = 0; quarters < 4; quarters++)
      for (const side of ['c', 's'])
        for (const no of [1, 3, 12]) {
          const pins = dip(quarters), at = (/** @type {number} */ n) => pins[n - 1];
          const unit = (/** @type {any} */ p, /** @type {any} */ q) => { const l = Math.hypot(p.x - q.x, p.y - q.y); return [(p.x - q.x) / l, (p.y - q.y) / l]; };
          const tip = { where: '', side, x_mm: at(no).x, y_mm: at(no).y, row: { up: unit(at(1), at(7)), out: unit(at(no), at(15 - no)), rank: '3rd from it' } };
          const drawn = (/** @type {number} */ n) => nearPins(/** @type {any} */ ({ ...tip, x_mm: 120, y_mm: 82, pins: [[`${n}`, at(n).x * 0.2 + 120 * 0.8, at(n).y * 0.2 + 82 * 0.8, '']] }))[0];
          const step = (/** @type {number} */ p, /** @type {number} */ q) => [drawn(p).x - drawn(q).x, drawn(p).y - drawn(q).y];
          const [ux, uy] = step(1, 7), [ox, oy] = step(no, 15 - no);
          const said = `notch ${far(ux, uy, ['left', 'right', 'up', 'down'])}: ${far(ox, oy, ['left', 'right', 'upper', 'lower'])} row, 3rd from it`;
          same(uprightWhere(tip), said);
          heard.add(said);
        }
    same(heard.size, 8, 'four ways of the notch, two rows each');
    same(uprightWhere({ where: 'towards the top', side: 's', row: null }), 'towards the top');
  },
  // Against the matrix the close look is drawn with: a place 3 mm to one side of a pin on the canvas is said to be on that side of it, in every lie.
  'a loose place and the end of a part are said as they lie in the close look'() {
    const words = { '1,0': 'right of', '-1,0': 'left of', '0,-1': 'above', '0,1': 'below', '1,-1': 'above right of', '-1,1': 'below left of' };
    for (const map of views())
      for (const side of ['c', 's']) {
        const tip = { name: 'via 3.0 mm from U9 pin 4', kind: 'via', where: 'towards the top', side, x_mm: 120, y_mm: 90, by: { pin: 'U9 pin 4', far: '3.0' } };
        const [a, b, c, d] = V.matrix(insetView(map, tip, 132, 124)), det = a * d - b * c;
        for (const [key, said] of Object.entries(words)) {
          const [sx, sy] = key.split(',').map(Number); // a step on the canvas; the inverse of the matrix brings it to the board
          const step = [(d * sx - c * sy) / det, (a * sy - b * sx) / det], l = Math.hypot(step[0], step[1]);
          const way = step.map((n) => n / l);
          same(lyingPlace({ ...tip, way }, map).name, `via 3.0 mm ${said} U9 pin 4`);
          if (!key.includes('1,-1') && key !== '-1,1') same(lyingPlace({ name: 'R1 pin 2', where: 'the end towards the top edge', side, x_mm: 120, y_mm: 90, by: null, way }, map).place, { '1,0': 'right end', '-1,0': 'left end', '0,-1': 'upper end', '0,1': 'lower end' }[key]);
        }
      }
    same(lyingPlace({ name: 'J1 pin 3', where: '3rd of 5, counted from pin 1', side: 'c', row: null }, views()[0]).place, '3rd of 5, counted from pin 1');
    same(beside(views()[0], [0, 1]), 'above');
  },
  'screen and board are each other’s inverse in all twelve lies'() {
    for (const v of views()) {
      const [sx, sy] = V.toScreen(v, 33.3, 77.7);
      const [x, y] = V.toBoard(v, sx, sy);
      near(x, 33.3);
      near(y, 77.7);
    }
  },
  'the canvas matrix says the same as toScreen'() {
    for (const v of views()) {
      const [a, b, c, d, e, f] = V.matrix(v, 2);
      const [sx, sy] = V.toScreen(v, 50, 60);
      near(a * 50 + c * 60 + e, 2 * sx, 1e-6);
      near(b * 50 + d * 60 + f, 2 * sy, 1e-6);
    }
  },
  // A board seen from the component side is a plain look (y up on the board, down on the screen: determinant -1); from the other side a mirrored one.
  'the component side is never mirrored and the solder side always is'() {
    for (const v of views()) {
      const [a, b, c, d] = v.turn;
      same(a * d - b * c, v.face === 'c' ? -1 : 1);
    }
  },
  'turned over like a page: left and right change, the top edge stays'() {
    const v = views()[0], w = V.turnOver(v, 'upright');
    same([V.topEdge(v), V.topEdge(w), w.face], ['up', 'up', 's']);
    const [x0] = V.toScreen(v, 20, 100), [x1] = V.toScreen(w, 20, 100);
    near(x0 + x1, 800);
  },
  'turned over like a lid: the top edge comes towards the person'() {
    const w = V.turnOver(views()[0], 'level');
    same([V.topEdge(w), w.face], ['down', 's']);
  },
  'turning over twice about one axis gives the first lie again'() {
    for (const v of views()) for (const axis of ['upright', 'level']) same(V.turnOver(V.turnOver(v, axis), axis), v);
  },
  'four quarter turns are none, and one sends the top edge to the right'() {
    const v = views()[0];
    same(V.topEdge(V.rotate(v)), 'right');
    same(V.rotate(V.rotate(V.rotate(V.rotate(v)))), v);
  },
  'what lies in the middle stays in the middle when turned or rotated'() {
    const v = { ...views()[0], x: 70, y: 90 };
    for (const w of [V.turnOver(v), V.rotate(v)]) same(V.toScreen(w, 70, 90), [400, 300]);
  },
  'zoom keeps the place under the finger'() {
    for (const v of views()) {
      const at = V.toBoard(v, 123, 45);
      const w = V.zoomAt(v, 1.7, 123, 45);
      near(V.toBoard(w, 123, 45)[0], at[0], 1e-9);
      near(V.toBoard(w, 123, 45)[1], at[1], 1e-9);
    }
  },
  'fit shows every corner with its margin in the part of the window that is given'() {
    for (const v of views()) {
      const w = V.fit(v, BOX, 20, [90, 0, 800, 510]);
      for (const [x, y] of [[10, 20], [290, 20], [290, 220], [10, 220]]) {
        const [sx, sy] = V.toScreen(w, x, y);
        yes(sx >= 110 - 1e-6 && sx <= 780 + 1e-6 && sy >= 20 - 1e-6 && sy <= 490 + 1e-6, `corner ${sx}, ${sy}`);
      }
    }
  },
  // A judge found the turned board under the compass and the tools, and on a phone under both.
  'the whole board, and places that are shown, lie beside what lies over the window, in every lie and window'() {
    const over = ([l, t, r, b], x, y) => x > l && x < r && y > t && y < b;
    let passed = 0;
    for (const [w, h] of [[800, 600], [390, 250], [820, 400], [560, 700]])
      for (const from of views()) {
        const v = { ...from, w, h };
        for (const covers of [[[14, h - 110, 290, h - 14], [w - 260, h - 120, w - 14, h - 14]], [[8, 8, 120, 64], [8, h - 54, w - 8, h - 8]]]) {
          const whole = V.fit(v, BOX, 8, V.freeOf(v, BOX, covers, 8));
          for (let k = 0; k <= 20; k++)
            for (const [x, y] of [[10 + 14 * k, 20], [10 + 14 * k, 220], [10, 20 + 10 * k], [290, 20 + 10 * k]]) {
              const [sx, sy] = V.toScreen(whole, x, y);
              yes(!covers.some((c) => over(c, sx, sy)), `edge ${x}, ${y} under a cover of ${w} x ${h}`);
              yes(sx >= 8 - 1e-6 && sy >= 8 - 1e-6 && sx <= w - 8 + 1e-6 && sy <= h - 8 + 1e-6, 'in the window');
            }
          const places = [[40, 50], [60, 90]], near = V.frame(v, places, covers);
          for (const [x, y] of places) yes(V.liesFree(near, ...V.toScreen(near, x, y), covers), `place ${x}, ${y} in ${w} x ${h}`);
          passed++;
        }
      }
    yes(passed >= 4 * 8 * 2, String(passed));
  },
  'a bitmap goes where its board places go, and only while the board lies alike'() {
    const old = { ...views()[0], w: 1200, h: 900 };
    const now = V.zoomAt(V.pan(views()[0], 31, -17), 1.5, 200, 100);
    const place = placeOf(old, now);
    const [ox, oy] = V.toScreen(old, 100, 100), [nx, ny] = V.toScreen(now, 100, 100);
    near(place.x + ox * place.factor, nx, 1e-6);
    near(place.y + oy * place.factor, ny, 1e-6);
    same(placeOf(old, V.rotate(now)), null);
    yes(!covers({ x: 10, y: 0, factor: 1 }, old, now) && covers({ x: -10, y: -10, factor: 1 }, old, now));
  },
  'an inset looks at the tip’s own side, the way the map lies'() {
    const map = V.rotate(views()[0]);
    const tip = { x_mm: 40, y_mm: 50, side: 's' };
    const v = insetView(map, tip, 120, 120);
    same([v.face, V.toScreen(v, 40, 50)], ['s', [60, 60]]);
    same(insetView(map, { ...tip, side: 'c' }, 120, 120).turn, map.turn);
  },
  'the scale bar is a round length of 40 px or more'() {
    for (const scale of [0.6, 1, 3, 8, 20, 60, 150]) yes(barLength(scale) * scale >= 40 || barLength(scale) === 200);
  },
};
