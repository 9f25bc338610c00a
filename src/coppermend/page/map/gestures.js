// @ts-check
/** Mouse, touch and pen on the map: drag moves, pinch and wheel bring nearer, two fingers or Shift and wheel turn, a tap picks. */

/**
 * @param {HTMLElement} el
 * @param {{pan: (dx: number, dy: number) => void, zoom: (factor: number, x: number, y: number) => void, tap: (x: number, y: number) => void,
 *   hover: (x: number, y: number) => void, busy: (on: boolean) => void, spin: (degrees: number, x: number, y: number) => void, settled: () => void}} on
 */
export function listen(el, on) {
  /** @type {Map<number, {x: number, y: number}>} */
  const down = new Map();
  let moved = 0;
  let start = 0;
  let rest = 0;
  const twist = { angle: 0, on: false };
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
    } else {
      moved = 99;
      twist.angle = 0;
      twist.on = false;
    }
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
      if (other) pinch(on, other, old, now, twist);
    }
    down.set(e.pointerId, now);
  });
  const up = (/** @type {PointerEvent} */ e) => {
    const was = down.get(e.pointerId);
    if (!was) return;
    down.delete(e.pointerId);
    if (down.size === 1) on.settled();
    if (down.size === 0) {
      on.busy(false);
      if (e.type === 'pointerup' && moved <= 5 && e.timeStamp - start < SLOWEST_TAP_MS) on.tap(was.x, was.y);
    }
  };
  el.addEventListener('pointerup', up);
  el.addEventListener('pointercancel', up);
  el.addEventListener('wheel', (e) => {
    e.preventDefault();
    const { x, y } = at(e);
    const turn = e.deltaY || e.deltaX; // some systems send Shift and wheel as sideways
    const step = e.deltaMode === 1 ? turn * 16 : turn;
    if (e.shiftKey) {
      on.spin(Math.sign(step) * Math.min(5, Math.max(0.5, Math.abs(step) * 0.05)), x, y);
      clearTimeout(rest);
      rest = window.setTimeout(() => on.settled(), 250);
      return;
    }
    on.zoom(Math.exp(-Math.max(-240, Math.min(240, step)) * 0.0018), x, y);
  }, { passive: false });
}

/** A press held still for longer is no tap: a hand that rests on the glass. */
const SLOWEST_TAP_MS = 2500;

/** Two fingers turn the board only after this many degrees, so that a pinch leaves it straight. */
const TWIST_DEG = 8;

/** @param {{pan: Function, zoom: Function, spin: Function}} on @param {{x: number, y: number}} other @param {{x: number, y: number}} old @param {{x: number, y: number}} now @param {{angle: number, on: boolean}} twist */
function pinch(on, other, old, now, twist) {
  const before = Math.hypot(old.x - other.x, old.y - other.y) || 1;
  const after = Math.hypot(now.x - other.x, now.y - other.y) || 1;
  on.pan((now.x - old.x) / 2, (now.y - old.y) / 2);
  on.zoom(after / before, (now.x + other.x) / 2, (now.y + other.y) / 2);
  const turned = ((Math.atan2(now.y - other.y, now.x - other.x) - Math.atan2(old.y - other.y, old.x - other.x)) * 180) / Math.PI;
  const degrees = turned - 360 * Math.round(turned / 360);
  twist.angle += degrees;
  if (Math.abs(twist.angle) > TWIST_DEG) twist.on = true;
  if (twist.on) on.spin(degrees, (now.x + other.x) / 2, (now.y + other.y) / 2);
}
