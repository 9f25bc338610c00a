import * as V from '../../src/coppermend/page/map/view.js';
import { Chunks } from '../../src/coppermend/page/map/chunks.js';
import { RIM_STYLE } from '../../src/coppermend/page/map/rim.js';
import { edgeMeets } from '../../src/coppermend/page/map/paint.js';
import { eachShape, readScene, shapesOfNet } from '../../src/coppermend/page/map/scenefile.js';
import { RIM, TILE, TileStore, baseLevel, keyOf, levelFor, levelScale, plan, tileBox, tileMatrix, tilePlace, tilesIn } from '../../src/coppermend/page/map/tiles.js';
import { pickNet } from '../../src/coppermend/page/map/index.js';
import { nearEnough, nextPin, withTap, without } from '../../src/coppermend/page/photo/taps.js';
import { clearOf, shortened } from '../../src/coppermend/page/map/overlay.js';
import { MARK } from '../../src/coppermend/page/map/palette.js';
import { near, same, yes } from './check.mjs';

const BOARD = [0, 0, 280, 200];
const views = () => {
  const out = [];
  for (const turn of [(v) => v, (v) => V.turnOver(v, 'upright'), (v) => V.turnOver(v, 'level')])
    for (const angle of [0, 90, 180, 270, 13, -37.5]) out.push({ ...V.spin(turn({ ...V.newView(900, 700), scale: 5.3, x: 120, y: 80 }), angle) });
  return out;
};
const packed = () => ({
  discs: Int32Array.of(7, 2000, 10000, 10000, 8, 500, 60000, 5000),
  strokes: Int32Array.of(3, 500, 2, 0, 0, 8000, 0, 4, 100, 3, 0, 0, 90000, 0, 90000, 50000),
  regions: Int32Array.of(5, 0, 2, 4, 100000, 100000, 140000, 100000, 140000, 140000, 100000, 140000, 4, 110000, 110000, 110000, 120000, 120000, 120000, 120000, 110000),
});

export const tests = {
  'a tile’s px and the board’s mm agree: its corners, with its rim'() {
    for (const t of [{ face: 'c', level: 5, i: 3, j: -2 }, { face: 's', level: -2, i: 0, j: 0 }]) {
      const [a, b, c, d, e, f] = tileMatrix(t), [x0, y0, x1, y1] = tileBox(t);
      same([b, c], [0, 0]);
      near(a * x0 + e, RIM, 1e-6);
      near(d * y1 + f, RIM, 1e-6);
      near(a * x1 + e, RIM + TILE, 1e-6);
      near(d * y0 + f, RIM + TILE, 1e-6);
    }
  },
  'a laid tile covers on the screen what it shows of the board, in every lie, within half a pixel'() {
    for (const v of views()) {
      const t = { face: v.face, level: levelFor(v.scale), i: 1, j: 1 }, [a, b, c, d, e, f] = tilePlace(v, 1, t);
      const [x0, y0, x1, y1] = tileBox(t);
      for (const [x, y, px, py] of [[x0, y1, 0, 0], [x1, y1, TILE, 0], [x0, y0, 0, TILE], [(x0 + x1) / 2, (y0 + y1) / 2, TILE / 2, TILE / 2]]) {
        const [sx, sy] = V.toScreen(v, x, y);
        near(a * px + c * py + e, sx, 0.51);
        near(b * px + d * py + f, sy, 0.51);
      }
    }
  },
  'neighbours meet on whole pixels when the board lies along a quarter'() {
    for (const v of views().filter(V.isStraight)) {
      const one = tilePlace(v, 1.5, { face: v.face, level: 4, i: 2, j: 3 }), next = tilePlace(v, 1.5, { face: v.face, level: 4, i: 3, j: 3 });
      same([one[0] * TILE + one[4], one[1] * TILE + one[5]].map(Math.round), [next[4], next[5]]);
      near(one[0] * TILE + one[4], next[4], 1e-6);
    }
  },
  'tiles are never enlarged by more than 5 % nor shrunk below the next level'() {
    for (let s = 0.7; s < 400; s *= 1.01) {
      const share = s / levelScale(levelFor(s));
      yes(share <= 1.05 && share > 0.7, `scale ${s}: ${share}`);
    }
  },
  'the tiles for a window cover all of it that is board, nearest the middle first'() {
    const win = [30, 40, 130, 110], list = tilesIn('c', 6, win, BOARD);
    for (const [x, y] of [[30, 40], [130, 110], [77, 60], [129.9, 40.1]])
      yes(list.some((t) => { const b = tileBox(t); return b[0] <= x && x <= b[2] && b[1] <= y && y <= b[3]; }), `${x}, ${y}`);
    const b = tileBox(list[0]);
    yes(b[0] <= 80 && b[2] >= 80 && b[1] <= 75 && b[3] >= 75, 'the first holds the middle');
    same(tilesIn('c', 6, [300, 300, 400, 400], BOARD), []);
  },
  'until a tile is there a coarser one is laid, and old ones stay until new ones come'() {
    const store = new TileStore(50), view = { ...V.newView(900, 700), scale: 6, x: 100, y: 100 }, base = baseLevel(BOARD);
    same(plan(store, view, 1, BOARD, 1, base).lay, []);
    for (const t of tilesIn('c', base, BOARD, BOARD)) store.put(keyOf(t), {}, 1);
    const some = plan(store, view, 1, BOARD, 1, base);
    yes(some.lay.length > 0 && some.lay.every((t) => t.level === base) && some.missing.length > 0 && !some.sharp);
    for (const t of some.missing) store.put(keyOf(t), {}, 1);
    const full = plan(store, view, 1, BOARD, 1, base);
    yes(full.sharp && full.lay.every((t) => t.level === levelFor(6)));
    const later = plan(store, view, 1, BOARD, 2, base);
    yes(!later.sharp && later.lay.length === full.lay.length, 'the old tiles are still laid');
  },
  'the store lets go of what was used longest ago and closes it'() {
    let closed = 0;
    const store = new TileStore(3), bitmap = () => ({ close: () => closed++ });
    for (const k of 'abc') store.put(k, bitmap(), 1);
    store.get('a');
    store.put('d', bitmap(), 1);
    same([...store.kept.keys(), closed], ['c', 'a', 'd', 1]);
  },
  'squares hold every shape once and give back those near a window'() {
    const shapes = packed(), chunks = new Chunks(shapes);
    let all = 0;
    eachShape(shapes, () => all++);
    const held = [...chunks.cells.values()].flatMap((c) => [...c.discs, ...c.strokes.map((i) => `s${i}`), ...c.regions.map((i) => `r${i}`)]);
    same([held.length, new Set(held).size], [all, all]);
    const found = chunks.meeting([58, 3, 62, 7]).flatMap((c) => [...c.discs]);
    same(found, [4]);
    same([pickNet(chunks, 105, 105, 1), pickNet(chunks, 115, 115, 1), pickNet(chunks, 90.05, 20, 1)], [5, -1, 4]);
  },
  'the shapes of one net are its own'() {
    const mine = shapesOfNet(packed(), 4);
    same([mine.discs.length, [...mine.strokes], mine.regions.length], [0, [4, 100, 3, 0, 0, 90000, 0, 90000, 50000], 0]);
  },
  'a packed scene is read back, holes as discs and slots as strokes'() {
    const head = JSON.stringify({ layers: [{ key: 'c', discs: [12, 4], strokes: [16, 7], regions: [23, 0] }], silk: {}, mask: {}, holes: [0, 12], parts: [], nets: ['A'], bounds_mm: [0, 0, 1, 1], outline: [] });
    const text = new TextEncoder().encode(head + ' '.repeat((4 - (head.length % 4)) % 4));
    const body = Int32Array.of(1000, 2000, 1000, 2000, 800, 1, 0, 0, 5000, 0, 1000, 0, 0, 300, 5, 6, -1, 150, 2, 0, 0, 9, 9);
    const all = new Uint8Array(12 + text.length + body.byteLength);
    all.set(new TextEncoder().encode('CMSC'));
    new DataView(all.buffer).setUint32(4, 1, true);
    new DataView(all.buffer).setUint32(8, text.length, true);
    all.set(text, 12);
    all.set(new Uint8Array(body.buffer), 12 + text.length);
    const scene = readScene(all.buffer);
    same([[...scene.layers[0].discs], [...scene.layers[0].strokes], [...scene.holes.discs], [...scene.holes.strokes]], [[0, 300, 5, 6], [-1, 150, 2, 0, 0, 9, 9], [-1, 400, 1000, 2000], [-1, 500, 2, 0, 0, 5000, 0]]);
    let wrong = '';
    try {
      readScene(new ArrayBuffer(16));
    } catch (err) {
      wrong = err.message;
    }
    yes(wrong.includes('Load the page again'));
  },
  'the edge is known to run through a box or not'() {
    const ring = [[0, 0, 100, 0, 100, 80, 0, 80]];
    same([edgeMeets(ring, [10, 10, 20, 20]), edgeMeets(ring, [-5, 10, 5, 20]), edgeMeets(ring, [99, 79, 120, 90])], [false, true, true]);
  },
  'the two sides differ by the pattern of their edge, not by colour'() {
    yes(JSON.stringify(RIM_STYLE.c.dash) !== JSON.stringify(RIM_STYLE.s.dash) && RIM_STYLE.s.width > 1.5 * RIM_STYLE.c.width);
  },
  'a board turned by any angle stays a board: no skew, no scale, the place under the finger stays'() {
    for (const v of views()) {
      const [a, b, c, d] = v.turn;
      near(a * a + b * b, 1, 1e-9);
      near(a * c + b * d, 0, 1e-9);
      near(a * d - b * c, v.face === 'c' ? -1 : 1, 1e-9);
      const at = V.toBoard(v, 200, 150), w = V.spin(v, 71, 200, 150);
      near(V.toScreen(w, ...at)[0], 200, 1e-6);
      near(V.toScreen(w, ...at)[1], 150, 1e-6);
    }
  },
  'spinning four quarters gives the first lie; a small rest is laid straight, a large one only when asked'() {
    const v = { ...V.newView(800, 600), scale: 3 };
    let w = v;
    for (let i = 0; i < 36; i++) w = V.spin(w, 10);
    same(V.straighten(w).turn, v.turn);
    near(V.askew(V.spin(v, 20)), 20, 1e-9);
    near(V.askew(V.spin(v, 70)), -20, 1e-9);
    same([V.isStraight(V.straighten(V.spin(v, 1.2))), V.isStraight(V.straighten(V.spin(v, 5))), V.straighten(V.spin(v, 80), true).turn], [true, false, V.rotate(v).turn]);
  },
  'which way is up is said with the angle'() {
    const v = V.newView(800, 600);
    same(V.lieWords(V.spin(v, 20)), 'Component side, top edge away from you, turned 20° clockwise');
    same(V.lieWords(V.spin(v, 80)), 'Component side, top edge at your right, turned 10° anticlockwise');
  },
  'fit shows the whole board at any angle'() {
    for (const angle of [0, 33, 45, 90, 211]) {
      const v = V.fit(V.spin(V.newView(900, 500), angle), BOARD, 20);
      for (const [x, y] of [[0, 0], [280, 0], [280, 200], [0, 200]]) {
        const [sx, sy] = V.toScreen(v, x, y);
        yes(sx >= 20 - 1e-6 && sx <= 880 + 1e-6 && sy >= 20 - 1e-6 && sy <= 480 + 1e-6, `${angle}: ${sx}, ${sy}`);
      }
    }
  },
  'pins are tapped one after the other, tapped again they move, taken away they come next'() {
    let taps = withTap(withTap([], 'U1.1', [5, 6]), 'U2.7', [50, 60]);
    same(nextPin(['U1.1', 'U2.7', 'U3.2'], taps), 'U3.2');
    taps = withTap(taps, 'U1.1', [7, 8]);
    same([taps.length, taps.find((t) => t.pin === 'U1.1').px], [2, [7, 8]]);
    same([nextPin(['U1.1', 'U2.7'], taps), nextPin(['U1.1', 'U2.7'], without(taps, 'U1.1'))], ['', 'U1.1']);
    same([nearEnough(0.2), nearEnough(1)], [false, true]);
  },
  'names of areas are cut to the window and do not lie on each other'() {
    const width = (s) => s.length * 7;
    same([shortened('short', width, 70), shortened('around the leaked cell', width, 70)], ['short', 'around th…']);
    same(clearOf([10, 10, 50, 18], [[30, 12, 50, 18]]), [10, 30, 50, 18]);
  },
  // Simulation of full dichromacy in linear RGB: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE TVCG 15 (2009) 1291, table at severity 1.0 (from memory);
  // difference in CIELAB (CIE 1976, D65). 20 is several times what is just noticed (about 2.3, Mahy et al. 1994, from memory).
  'the two tips stay far apart in colour for every colour deficiency, besides their shapes'() {
    const SEE = {
      none: [1, 0, 0, 0, 1, 0, 0, 0, 1],
      protan: [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
      deutan: [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
      tritan: [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039],
    };
    const lab = (hex, m) => {
      const lin = [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16) / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
      const [r, g, b] = [0, 3, 6].map((i) => Math.min(1, Math.max(0, m[i] * lin[0] + m[i + 1] * lin[1] + m[i + 2] * lin[2])));
      const f = (t) => (t > 216 / 24389 ? Math.cbrt(t) : (24389 / 27 * t + 16) / 116);
      const [x, y, z] = [(0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505, 0.2126 * r + 0.7152 * g + 0.0722 * b, (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089].map(f);
      return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
    };
    const far = (a, b, m) => Math.hypot(...lab(a, m).map((v, i) => v - lab(b, m)[i]));
    for (const [name, m] of Object.entries(SEE)) {
      yes(far(MARK.a, MARK.b, m) > 20, `tips, ${name}: ${far(MARK.a, MARK.b, m)}`);
      yes(far(MARK.span, '#3a8a5f', m) > 15, `a break on copper, ${name}: ${far(MARK.span, '#3a8a5f', m)}`);
      yes(far(MARK.net, '#3a8a5f', m) > 40, `lit net on copper, ${name}`);
    }
  },
};
