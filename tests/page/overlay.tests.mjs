import { ellipseRing } from '../../src/coppermend/page/map/overlay.js';
import { near, same } from './check.mjs';

export const tests = {
  'overlay: every corner of an ellipse lies on it, and its ends lie where its axes end'() {
    // (u/a)^2 + (v/b)^2 = 1 along its own axes: the ellipse's definition
    const e = { x_mm: 40, y_mm: 10, half_long_mm: 5, half_short_mm: 2, angle_deg: 30 };
    const ring = ellipseRing(e, 72), c = Math.cos(Math.PI / 6), s = 0.5;
    same(ring.length, 72);
    for (const [x, y] of ring) {
      const u = (x - 40) * c + (y - 10) * s, v = -(x - 40) * s + (y - 10) * c;
      near((u / 5) ** 2 + (v / 2) ** 2, 1, 1e-9);
    }
    near(ring[0][0], 40 + 5 * c, 1e-9);
    near(ring[0][1], 12.5, 1e-9);
    near(ring[18][0], 39, 1e-9);
  },
};
