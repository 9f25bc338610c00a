export function same(found, wanted, what = '') {
  const a = JSON.stringify(found), b = JSON.stringify(wanted);
  if (a !== b) throw new Error(`${what} found ${a}, expected ${b}`);
}
export function near(found, wanted, tolerance = 1e-9, what = '') {
  if (!(Math.abs(found - wanted) <= tolerance)) throw new Error(`${what} found ${found}, expected ${wanted}`);
}
export function yes(value, what = 'it') {
  if (!value) throw new Error(`${what} does not hold`);
}
