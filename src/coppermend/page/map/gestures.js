// @ts-check
/** Mouse, touch and pen on the map: drag moves, pinch and wheel bring nearer, a tap picks. */

/**
 * @param {HTMLElement} el
 * @param {{pan: (dx: number, dy: number) => void, zoom: (factor: number, x: number, y: number) => void, tap: (x: number, y: number) => void,
 *   hover: (x: number, y: number) => void, busy: (on: boolean) => void}} on
 */
export function listen(el, on) {
  /** @type {Map<number, {x: number, y: number}>} */
  const down = new Map();
  let moved = 0;
  let start = 0;
  const at = (/** @type {PointerEvent|WheelEvent} */ e) => {
    const box = el.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  };
  el.addEventListener('pointerdown', (e) => {
    if (e.button > 0) return;
    el.setPointerCapture(e.pointerId);
    down.set(e.pointerId, at(e));
    if (down.size === 1) {
      moved = 0;
      start = e.timeStamp;
    } else moved = 99;
    on.busy(true);
  });
  el.addEventListener('pointermove', (e) => {
    const old = down.get(e.pointerId), now = at(e);
    if (!old) {
      on.hover(now.x, now.y);
      return;
    }
    if (down.size === 1) {
      moved += Math.hypot(now.x - old.x, now.y - old.y);
      if (moved > 5) on.pan(now.x - old.x, now.y - old.y);
      else return; // keep the starting place until it is a drag
    } else if (down.size === 2) {
      const other = [...down].find(([id]) => id !== e.pointerId)?.[1];
      if (other) pinch(on, other, old, now);
    }
    down.set(e.pointerId, now);
  });
  const up = (/** @type {PointerEvent} */ e) => {
    const was = down.get(e.pointerId);
    if (!was) return;
    down.delete(e.pointerId);
    if (down.size === 0) {
      on.busy(false);
      if (e.type === 'pointerup' && moved <= 5 && e.timeStamp - start < 900) on.tap(was.x, was.y);
    }
  };
  el.addEventListener('pointerup', up);
  el.addEventListener('pointercancel', up);
  el.addEventListener('wheel', (e) => {
    e.preventDefault();
    const { x, y } = at(e);
    const step = e.deltaMode === 1 ? e.deltaY * 16 : e.deltaY;
    on.zoom(Math.exp(-Math.max(-240, Math.min(240, step)) * 0.0018), x, y);
  }, { passive: false });
}

/** @param {{pan: Function, zoom: Function}} on @param {{x: number, y: number}} other @param {{x: number, y: number}} old @param {{x: number, y: number}} now */
function pinch(on, other, old, now) {
  const before = Math.hypot(old.x - other.x, old.y - other.y) || 1;
  const after = Math.hypot(now.x - other.x, now.y - other.y) || 1;
  on.pan((now.x - old.x) / 2, (now.y - old.y) / 2);
  on.zoom(after / before, (now.x + other.x) / 2, (now.y + other.y) / 2);
}
