// @ts-check
/** Daylight or lamp, as it was chosen on the bench; else as the device says. */

/** Put a page of its own under the light that was chosen. */
export function takeLight() {
  document.documentElement.dataset.light = localStorage.getItem('light') ?? (matchMedia('(prefers-color-scheme: dark)').matches ? 'lamp' : 'day');
}
