// Generated sounds of a bench, all from seeds: noise, hammering, a speech-like voice of our own, and a meter's beeps. Samples between -1 and 1.
export const RATE = 48000;
const dB = (v) => 10 ** (v / 20);

/** A small seeded generator (a 32-bit mix after Knuth's multiplicative hashing); numbers between 0 and 1. */
export function chance(seed) {
  let s = seed >>> 0;
  return () => {
    s = (s + 0x9e3779b9) >>> 0;
    let t = s ^ (s >>> 16);
    t = Math.imul(t, 0x21f0aaad);
    t ^= t >>> 15;
    t = Math.imul(t, 0x735a2d97);
    return ((t ^ (t >>> 15)) >>> 0) / 4294967296;
  };
}

/** 1/f noise: octaves of held random values added up. Adds to `out`. */
function pink(rand, rms_db) {
  const rows = new Float64Array(14).map(() => rand() - 0.5);
  let sum = rows.reduce((a, b) => a + b, 0), n = 0;
  const scale = dB(rms_db) / Math.sqrt(15 / 12);
  return (out) => {
    for (let i = 0; i < out.length; i++) {
      n = (n + 1) & 16383;
      if (n) {
        const k = 31 - Math.clz32(n & -n);
        const v = rand() - 0.5;
        sum += v - rows[k];
        rows[k] = v;
      }
      out[i] += scale * (sum + rand() - 0.5);
    }
  };
}

/** Shop noise: pink noise at -34 dBFS rms whose level wanders, mains hum with harmonics, a motor's whine that glides. */
export function noise(seed) {
  const rand = chance(seed), bed = pink(rand, -34);
  let t = 0, whine = 900, aim = 1200, phase = 0;
  return (out) => {
    bed(out);
    const wander = dB(6 * Math.sin(t / RATE / 7) - 3);
    if (rand() < 0.01) aim = 300 + 5000 * rand();
    for (let i = 0; i < out.length; i++, t++) {
      whine += (aim - whine) * 1e-5;
      phase += (2 * Math.PI * whine) / RATE;
      const hum = 2 * Math.PI * 50 * t / RATE;
      out[i] = out[i] * wander + dB(-45) * Math.sin(phase) + dB(-38) * Math.sin(2 * hum) + dB(-46) * Math.sin(6 * hum);
    }
  };
}

/** Hammering on metal: about two blows a second in bouts; each a click of noise and 3 to 8 ringing modes of 0.4 to 9 kHz that fall by 60 dB in 0.03 to 1.2 s; peaks -14 to -3 dBFS. */
export function hammering(seed) {
  const rand = chance(seed), bed = pink(rand, -55);
  let ring = [], next = 0, t = 0, work = [];
  const fresh = () => Array.from({ length: 3 + Math.floor(6 * rand()) }, () => ({ hz: 400 * (22.5 ** rand()), a: 0.3 + rand(), t60: 0.03 * 40 ** rand() }));
  const strike = () => {
    if (!work.length || rand() < 0.08) work = fresh();
    const loud = dB(-14 + 11 * rand()) / 3;
    for (const m of work) ring.push({ c: Math.cos((2 * Math.PI * m.hz) / RATE), s: Math.sin((2 * Math.PI * m.hz) / RATE), x: 0, y: loud * m.a, fall: 10 ** (-3 / (m.t60 * RATE)), left: Math.ceil(m.t60 * RATE) });
    ring.push({ noise: loud, fall: 10 ** (-3 / (0.03 * RATE)), left: Math.ceil(0.03 * RATE) });
    next = t + RATE * (rand() < 0.1 ? 1 + 4 * rand() : 0.12 + 0.7 * rand());
  };
  return (out) => {
    bed(out);
    for (let i = 0; i < out.length; i++, t++) {
      if (t >= next) strike();
      let v = 0;
      for (const m of ring) {
        if (m.left-- <= 0) continue;
        if (m.noise) {
          v += m.noise * (2 * rand() - 1);
          m.noise *= m.fall;
        } else {
          const x = (m.x * m.c - m.y * m.s) * m.fall;
          m.y = (m.x * m.s + m.y * m.c) * m.fall;
          m.x = x;
          v += x;
        }
      }
      out[i] += v;
    }
    ring = ring.filter((m) => m.left > 0);
  };
}

/** Vowels as formant frequencies in Hz (first three; means over men, Peterson and Barney 1952, from memory). */
const VOWELS = [[730, 1090, 2440], [570, 840, 2410], [660, 1720, 2410], [530, 1840, 2480], [390, 1990, 2550], [270, 2290, 3010], [300, 870, 2240], [440, 1020, 2240], [490, 1350, 1690]];

/** A speech-like voice of our own: glottal pulses with pitch glides (85 to 320 Hz), four formants that move from vowel to vowel, hisses, pauses. No words. About -26 dBFS rms while it speaks. */
export function voice(seed) {
  const rand = chance(seed), bed = pink(rand, -58);
  let left = 0, kind = 'pause', f0 = 120, f0End = 120, base = 120, phase = 0, k = 0;
  const at = [500, 1500, 2500, 3500], aim = [...at], width = [80, 100, 130, 200];
  const mem = at.map(() => [0, 0]);
  let hiss = [0, 0], hissHz = 4000, coef = [];
  const begin = () => {
    const r = rand();
    kind = r < 0.62 ? 'vowel' : r < 0.85 ? 'hiss' : 'pause';
    left = Math.floor(RATE * (kind === 'pause' ? 0.05 + 0.5 * rand() * rand() : 0.05 + 0.2 * rand()));
    if (kind === 'pause' && rand() < 0.3) base = 85 + 200 * rand();
    f0End = base * (0.8 + 0.45 * rand());
    const v = VOWELS[Math.floor(VOWELS.length * rand())], s = base > 165 ? 1.15 : 1;
    [aim[0], aim[1], aim[2], aim[3]] = [v[0] * s, v[1] * s, v[2] * s, 3500 * s];
    hissHz = 2500 + 5000 * rand();
  };
  return (out) => {
    bed(out);
    for (let i = 0; i < out.length; i++) {
      if (left-- <= 0) begin();
      if (k++ % 48 === 0) {
        f0 += (f0End - f0) * 0.02 + (rand() - 0.5) * 0.8;
        at.forEach((_, j) => { at[j] += (aim[j] - at[j]) * 0.03; });
        coef = at.map((hz, j) => { const r = Math.exp((-Math.PI * width[j]) / RATE); return [2 * r * Math.cos((2 * Math.PI * hz) / RATE), -r * r, (1 - r) * [1, 0.7, 0.5, 0.3][j]]; });
      }
      phase += f0 / RATE;
      let drive = 0;
      if (phase >= 1) {
        phase -= 1;
        if (kind === 'vowel') drive = 7;
      }
      let v = 0;
      coef.forEach(([a, b, g], j) => { const y = g * (drive + (kind === 'vowel' ? 0.02 * (rand() - 0.5) : 0)) + a * mem[j][0] + b * mem[j][1]; mem[j][1] = mem[j][0]; mem[j][0] = y; v += y; });
      const n = (kind === 'hiss' ? 0.02 : 0) * (2 * rand() - 1), c = Math.exp((-Math.PI * 900) / RATE);
      const y = n + 2 * c * Math.cos((2 * Math.PI * hissHz) / RATE) * hiss[0] - c * c * hiss[1];
      hiss = [y, hiss[0]];
      out[i] += 0.5 * v + 0.5 * y;
    }
  };
}

export function silence(seed) {
  return pink(chance(seed), -66);
}

/** A beep of a meter's buzzer: sine with second and third harmonic, 2 ms to rise and fall. Adds to `out`, which starts at sample `from` of the whole. */
export function beep(out, from, { begin, length, hz, db }, rate = RATE) {
  const a = dB(db), edge = 0.002 * rate, last = begin + length;
  for (let i = Math.max(0, begin - from); i < Math.min(out.length, last - from); i++) {
    const t = i + from - begin, w = (2 * Math.PI * hz * t) / rate;
    out[i] += a * Math.min(1, t / edge, (last - from - i) / edge) * (Math.sin(w) + 0.3 * Math.sin(2 * w) + 0.15 * Math.sin(3 * w));
  }
}

export const SCENES = { silence, noise, hammering, voice };
