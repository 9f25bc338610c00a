// @ts-check
/** Short-time power in narrow bands and its peaks. Pure: samples in, numbers out. Levels are dB relative to a full-scale sine. */

/** @typedef {{hz: number, db: number, over_db: number}} Peak pitch, level, and how far it stands over the rest of its neighbourhood */

/** How far to each side the neighbourhood of a peak reaches, Hz. Voiced speech has its next harmonics inside it, a meter's tone has nothing. */
export const NEIGHBOURHOOD_HZ = 350;
/** Bins to each side of the largest that a windowed sine fills (the main lobe of the Hann window is 4 bins wide). */
const LOBE = 2;

/** Length of one look in samples: about 21 ms, a power of two (1024 at 44.1 and 48 kHz). @param {number} rate_hz @returns {number} */
export const lookLength = (rate_hz) => 2 ** Math.round(Math.log2(rate_hz * 0.0213));

/** A Hann-windowed Fourier transform of one length (radix 2, in place; Cooley and Tukey 1965). */
export class Bands {
  /** @param {number} rate_hz sample rate */
  constructor(rate_hz) {
    const n = lookLength(rate_hz);
    this.rate_hz = rate_hz;
    this.size = n;
    this.bin_hz = rate_hz / n;
    this.window = Float64Array.from({ length: n }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / n));
    this.cos = Float64Array.from({ length: n / 2 }, (_, i) => Math.cos((2 * Math.PI * i) / n));
    this.sin = Float64Array.from({ length: n / 2 }, (_, i) => Math.sin((2 * Math.PI * i) / n));
    const bits = Math.log2(n);
    this.order = Uint32Array.from({ length: n }, (_, i) => reversed(i, bits));
    this.re = new Float64Array(n);
    this.im = new Float64Array(n);
    this.power = new Float64Array(n / 2);
  }

  /** Power of each bin; a sine of amplitude 1 in the middle of a bin gives 1 there. The array is used again by the next call. @param {ArrayLike<number>} samples `size` of them @returns {Float64Array} */
  of(samples) {
    const { size: n, re, im, window, order, power } = this;
    for (let i = 0; i < n; i++) {
      re[order[i]] = samples[i] * window[i];
      im[order[i]] = 0;
    }
    for (let half = 1; half < n; half *= 2) this.stage(half);
    const scale = 16 / (n * n); // |X| of a Hann-windowed unit sine is n / 4
    for (let k = 0; k < n / 2; k++) power[k] = (re[k] * re[k] + im[k] * im[k]) * scale;
    return power;
  }

  /** One stage of butterflies. @param {number} half */
  stage(half) {
    const { size: n, re, im, cos, sin } = this;
    const step = n / (2 * half);
    for (let start = 0; start < n; start += 2 * half) {
      for (let j = 0, t = 0; j < half; j++, t += step) {
        const a = start + j, b = a + half;
        const xr = re[b] * cos[t] + im[b] * sin[t], xi = im[b] * cos[t] - re[b] * sin[t];
        re[b] = re[a] - xr;
        im[b] = im[a] - xi;
        re[a] += xr;
        im[a] += xi;
      }
    }
  }
}

/** @param {number} i @param {number} bits */
function reversed(i, bits) {
  let out = 0;
  for (let b = 0; b < bits; b++) out |= ((i >> b) & 1) << (bits - 1 - b);
  return out >>> 0;
}

/** @param {number} power */
export const decibel = (power) => 10 * Math.log10(power + 1e-20);

/**
 * The largest peak between two pitches. Pitch by a parabola through the logarithms of three bins (good to a few Hz for a Hann window).
 * @param {ArrayLike<number>} power @param {number} bin_hz @param {number} low_hz @param {number} high_hz @returns {Peak}
 */
export function peakBetween(power, bin_hz, low_hz, high_hz) {
  const from = Math.max(LOBE, Math.ceil(low_hz / bin_hz)), to = Math.min(power.length - 1 - LOBE, Math.floor(high_hz / bin_hz));
  let k = from;
  for (let i = from; i <= to; i++) if (power[i] > power[k]) k = i;
  return peakAt(power, bin_hz, k);
}

/** @param {ArrayLike<number>} power @param {number} bin_hz @param {number} k the bin of the peak @returns {Peak} */
function peakAt(power, bin_hz, k) {
  const l = Math.log(power[k - 1] + 1e-20), m = Math.log(power[k] + 1e-20), r = Math.log(power[k + 1] + 1e-20);
  const bend = l - 2 * m + r;
  const shift = bend < 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (l - r)) / bend)) : 0;
  let lobe = 0, rest = 0;
  const reach = Math.round(NEIGHBOURHOOD_HZ / bin_hz);
  for (let i = Math.max(1, k - reach); i <= Math.min(power.length - 1, k + reach); i++) {
    if (Math.abs(i - k) <= LOBE) lobe += power[i];
    else rest += power[i];
  }
  return { hz: (k + shift) * bin_hz, db: decibel(lobe / 1.5), over_db: decibel(lobe) - decibel(rest) }; // a sine's lobe sums to 1.5 (Hann's noise bandwidth)
}
