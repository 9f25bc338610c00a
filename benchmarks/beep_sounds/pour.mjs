// Pours a scene with beeps every 10 s (from 5 s on, 300 ms, 2730 Hz, -20 dBFS) to standard output as 16-bit samples. Argument: {"scene", "seed", "seconds"}.
import { RATE, SCENES, beep } from './scenes.mjs';

const job = JSON.parse(process.argv[2]);
const fill = SCENES[job.scene](job.seed);
for (let n = 0; n < job.seconds * RATE; n += 4800) {
  const block = new Float32Array(4800);
  fill(block);
  for (let s = 5; s < job.seconds; s += 10) beep(block, n, { begin: s * RATE, length: 0.3 * RATE, hz: 2730, db: -20 });
  const out = Int16Array.from(block, (v) => Math.max(-32768, Math.min(32767, Math.round(v * 32767))));
  process.stdout.write(Buffer.from(out.buffer));
}
