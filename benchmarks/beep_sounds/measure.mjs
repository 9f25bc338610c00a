// Measures the page's own ear (page/sound/ear.js) on generated sounds. Arguments: one JSON object; prints one JSON object.
// {"what": "alarms", "scene": "noise", "hours": 3, "seed": 1} or {"what": "beeps", "scene": "noise", "count": 1000, "length_ms": 300, "seed": 1}.
// The scene "spoken" reads 16-bit samples (little-endian, 48000 a second, mono) from standard input.
import { Ear } from '../../src/coppermend/page/sound/ear.js';
import { RATE, SCENES, beep, chance } from './scenes.mjs';

const job = JSON.parse(process.argv[2]);
const BLOCK = 4800;
const PITCHES = [2000, 2700, 3200, 4000];
const LEVELS = [-20, -30];
const GAIN = 10 ** ((job.gain_db ?? 0) / 20);
const METER = { hz: 2730, db: -30 };

/** Blocks of the scene: generated, or read from standard input over and over. */
async function* blocks(scene, seed, total) {
  if (scene !== 'spoken') {
    const fill = SCENES[scene](seed);
    for (let n = 0; n < total; n += BLOCK) {
      const out = new Float32Array(BLOCK);
      fill(out);
      if (GAIN !== 1) for (let i = 0; i < BLOCK; i++) out[i] *= GAIN;
      yield out;
    }
    return;
  }
  let held = Buffer.alloc(0), n = 0;
  for await (const piece of process.stdin) {
    held = held.length ? Buffer.concat([held, piece]) : piece;
    let at = 0;
    for (; held.length - at >= 2 * BLOCK; at += 2 * BLOCK) {
      yield Float32Array.from({ length: BLOCK }, (_, i) => held.readInt16LE(at + 2 * i) / 32768 * GAIN);
      n += BLOCK;
      if (n >= total) return;
    }
    held = held.subarray(at);
  }
}

async function alarms() {
  const ears = { learnt: new Ear(RATE, { meter: METER, answers: { taps: true } }) };
  const found = { learnt: { closed: 0, open: 0, tones: 0 } };
  const which = [];
  let samples = 0, cpu = 0;
  for await (const block of blocks(job.scene, job.seed, job.hours * 3600 * RATE)) {
    samples += block.length;
    const begun = process.cpuUsage().user;
    for (const [name, ear] of Object.entries(ears)) {
      for (const one of ear.push(block)) {
        if (one.kind === 'tone') found[name].tones++;
        if (one.kind !== 'closed' && one.kind !== 'open') continue;
        found[name][one.kind]++;
        if (which.length < 40) which.push([name, one.kind, Math.round(one.onset_ms), Math.round(one.hz), Math.round(one.db)]);
        ear.ready('round');
      }
    }
    cpu += process.cpuUsage().user - begun;
  }
  const hours = samples / RATE / 3600;
  return { hours: Number(hours.toFixed(3)), ...found, which, share_of_a_core_percent: Number((cpu / 1e6 / (hours * 3600) * 100).toFixed(2)) };
}

const quantile = (v, q) => (v.length ? Number(v[Math.min(v.length - 1, Math.ceil(q * v.length) - 1)].toFixed(1)) : null);

/** Beeps every 1.6 to 2.4 s; the ear is taught each beep's pitch (to 6 Hz) and level (to 2 dB). */
async function beeps() {
  const rand = chance(job.seed ^ 0x5bd1e995), plan = [];
  let at = RATE;
  for (let i = 0; i < job.count; i++) {
    plan.push({ begin: Math.floor(at), length: Math.round((job.length_ms * RATE) / 1000), hz: PITCHES[i % 4], db: LEVELS[(i >> 2) % 2] });
    at += RATE * (1.6 + 0.8 * rand());
  }
  const out = {};
  for (const db of LEVELS) out[`${db}`] = { beeps: 0, learnt: [], wrong: 0 };
  const ears = { learnt: new Ear(RATE) };
  let from = 0, k = 0, taught = -1;
  for await (const block of blocks(job.scene, job.seed, at + RATE)) {
    while (k + 1 < plan.length && plan[k + 1].begin - RATE * 1.2 < from) k++;
    const one = plan[k];
    if (taught !== k) {
      taught = k;
      out[one.db].beeps++;
      ears.learnt.setUp({ meter: { hz: one.hz + 12 * (rand() - 0.5), db: one.db + 4 * (rand() - 0.5) } });
    }
    beep(block, from, one);
    if (k > 0) beep(block, from, plan[k - 1]);
    from += block.length;
    for (const [name, ear] of Object.entries(ears)) {
      for (const heard of ear.push(block)) {
        if (heard.kind !== 'closed') continue;
        const late = heard.at_ms - (1000 * one.begin) / RATE;
        if (late > 0 && late < job.length_ms + 100) out[one.db][name].push(late);
        else out[one.db].wrong++;
        ear.ready('round');
      }
    }
  }
  const table = {};
  for (const [db, row] of Object.entries(out)) {
    table[db] = { beeps: row.beeps, answers_without_a_beep: row.wrong };
    for (const name of ['learnt']) {
      const v = row[name].sort((a, b) => a - b);
      table[db][name] = { heard: v.length, missed_percent: Number((100 * (1 - v.length / row.beeps)).toFixed(2)), p50_ms: quantile(v, 0.5), p95_ms: quantile(v, 0.95), max_ms: quantile(v, 1) };
    }
  }
  return { length_ms: job.length_ms, levels_dbfs: table };
}

console.log(JSON.stringify({ ...job, ...(job.what === 'alarms' ? await alarms() : await beeps()) }));
