import { Ear } from '../../src/coppermend/page/sound/ear.js';
import { Answers } from '../../src/coppermend/page/sound/answers.js';
import { lesson, tapLesson } from '../../src/coppermend/page/sound/learn.js';
import { Bands, peakBetween } from '../../src/coppermend/page/sound/bands.js';
import { SCENES, beep } from '../../benchmarks/beep_sounds/scenes.mjs';
import { near, same, yes } from './check.mjs';

const RATE = 48000;
const METER = { hz: 2730, db: -30 };

/** A quiet room with beeps [begin_s, length_ms, hz, db]; what an ear hears in it, as [kind, by, late_ms after the begin of the newest beep]. */
function hear(beeps, options = {}, seconds = 4, scene = 'silence', rate = RATE, act = () => {}) {
  const ear = new Ear(rate, { meter: METER, ...options });
  const fill = SCENES[scene](7), out = [];
  for (let n = 0; n < seconds * rate; n += 480) {
    const block = new Float32Array(480);
    fill(block);
    for (const [s, ms, hz, db] of beeps) beep(block, n, { begin: Math.round(s * rate), length: Math.round((ms * rate) / 1000), hz: hz ?? 2730, db: db ?? -30 }, rate);
    act(ear, n / rate);
    out.push(...ear.push(block));
  }
  return out;
}
const answers = (heard) => heard.filter((h) => ['closed', 'open'].includes(h.kind)).map((h) => [h.kind, h.by]);

export const tests = {
  'the transform agrees with the sum that defines it'() {
    // X[k] = sum x[n] w[n] exp(-2 pi i k n / N), the definition of the discrete Fourier transform, at a few bins
    const s = new Bands(RATE), x = Float64Array.from({ length: s.size }, (_, i) => Math.sin(i * i * 0.01) + 0.3 * Math.cos(i * 0.7));
    const power = s.of(x);
    for (const k of [1, 57, 200, 511]) {
      let re = 0, im = 0;
      for (let n = 0; n < s.size; n++) {
        re += x[n] * s.window[n] * Math.cos((2 * Math.PI * k * n) / s.size);
        im -= x[n] * s.window[n] * Math.sin((2 * Math.PI * k * n) / s.size);
      }
      near(power[k], ((re * re + im * im) * 16) / s.size ** 2, 1e-9, `bin ${k}`);
    }
  },
  'a sine is found at its pitch and level, between bins too'() {
    // closed form: a sine of amplitude 10^(-20/20) is -20 dB relative to a full-scale sine
    const s = new Bands(RATE);
    for (const hz of [1805, 2730, 3199, 4444.4]) {
      const p = peakBetween(s.of(Float64Array.from({ length: s.size }, (_, i) => 0.1 * Math.sin((2 * Math.PI * hz * i) / RATE + 1))), s.bin_hz, 1800, 4500);
      near(p.hz, hz, 4, 'pitch');
      near(p.db, -20, 0.3, 'level');
    }
  },
  'a beep that lasts is closed, once, within 150 ms'() {
    for (const [rate, begin] of [[44100, 1], [48000, 1.0037], [96000, 1.0071], [16000, 1]]) {
      const heard = hear([[begin, 500]], {}, 3, 'silence', rate);
      same(answers(heard), [['closed', 'beep']], `at ${rate}`);
      const late = heard.find((h) => h.kind === 'closed').at_ms - 1000 * begin;
      yes(late > 90 && late <= 150, `at ${rate} Hz heard after ${late} ms, so 90 to 150`);
    }
  },
  'a brush is never an answer'() {
    for (const ms of [20, 40, 60, 80]) same(answers(hear([[1, ms], [2, ms], [3, ms]])), [], `${ms} ms`);
    yes(hear([[1, 80]]).some((h) => h.kind === 'brush'), 'a brush of 80 ms is noticed');
  },
  'silence is no answer unless a waiting time was chosen'() {
    same(answers(hear([], {}, 20)), []);
    const heard = hear([], { answers: { wait_ms: 3000 } }, 8);
    same(answers(heard), [['open', 'silence']]);
    near(heard[0].at_ms, 3800, 40); // 0.8 s to move the tips, then the time chosen
    same(answers(hear([[2, 60]], { answers: { wait_ms: 3000 } }, 4.8)), []); // a brush: the wait begins anew
  },
  'a dead microphone is no silence'() {
    const ear = new Ear(RATE, { meter: METER, answers: { wait_ms: 1000 } });
    same(ear.push(new Float32Array(6 * RATE)).length, 0);
  },
  'tips touched together for a test are not noted'() {
    const heard = hear([[1, 600]], {}, 3, 'silence', RATE, (ear, s) => s === 0 && ear.ready('test'));
    same([answers(heard), heard.some((h) => h.kind === 'tested')], [[], true]);
    same(answers(hear([[1, 600]], {}, 3, 'silence', RATE, (ear, s) => s === 0 && ear.ready('off'))), []);
  },
  'two taps mean open when learnt; one, three, or slow ones mean nothing'() {
    const taps = { answers: { taps: true } };
    same(answers(hear([[1, 70], [1.22, 75]], taps)), [['open', 'taps']]);
    same(answers(hear([[1, 70], [1.22, 75]])), []);
    same(answers(hear([[1, 70]], taps)), []);
    same(answers(hear([[1, 70], [1.22, 70], [1.44, 70]], taps)), []);
    same(answers(hear([[1, 70], [2, 70]], taps)), []);
    same(answers(hear([[1, 70], [1.2, 500]], taps)), [['closed', 'beep']]); // a brush, then contact
  },
  'chatter after an answer is not the next answer'() {
    same(answers(hear([[1, 400], [1.45, 200], [1.7, 150]])), [['closed', 'beep']]);
    same(answers(hear([[1, 400], [2.6, 400]])), [['closed', 'beep'], ['closed', 'beep']]);
  },
  'a beep that was there before the check is not its answer'() {
    same(answers(hear([[1, 600]], {}, 3, 'silence', RATE, (ear, s) => Math.abs(s - 1.06) < 1e-9 && ear.ready('round'))), []); // answered by key while it beeps
  },
  'another pitch, another level, a ring that dies away are not the meter'() {
    same(answers(hear([[1, 500, 2900]])), []);
    same(answers(hear([[1, 500, 2730, -48]])), []);
    const ear = new Ear(RATE, { meter: METER }), x = Float32Array.from({ length: RATE }, (_, i) => 0.05 * 10 ** (-3 * i / RATE / 0.8) * Math.sin((2 * Math.PI * 2730 * i) / RATE)); // 60 dB in 0.8 s
    ear.push(new Float32Array(RATE).fill(1e-6));
    same(answers(ear.push(x)), []);
  },
  'struck metal on the pitch of the meter is no beep: it dies away, beats, or is struck again'() {
    // levels of the made sounds follow from their formulas: a mode falls 60 dB in t60; two modes 8 Hz apart beat with a swing of 20 log10((1 + r) / (1 - r)) dB
    const ring = (level) => {
      const ear = new Ear(RATE, { meter: METER, answers: { taps: true } }), x = Float32Array.from({ length: RATE }, (_, i) => level(i / RATE));
      ear.push(new Float32Array(RATE).fill(1e-6));
      return answers([...ear.push(x), ...ear.push(new Float32Array(RATE).fill(1e-6))]);
    };
    const sine = (t, hz = 2730) => Math.sin(2 * Math.PI * hz * t);
    for (const t60 of [0.2, 0.8, 1.2, 2, 3]) same(ring((t) => 0.04 * 10 ** (-3 * t / t60) * sine(t)), [], `rings ${t60} s`);
    for (const r of [0.2, 0.3]) same(ring((t) => 0.03 * (sine(t, 2726) + r * sine(t, 2734))), [], `beats, ${r}`);
    for (const gap of [0.15, 0.2]) same(ring((t) => 0.04 * 10 ** (-3 * (t % gap) / 1.2) * sine(t)), [], `struck every ${gap} s`);
    same(ring((t) => (t % 0.25 < 0.06 && t < 0.5 ? 0.04 * 10 ** (-3 * (t % 0.25) / 0.35) * sine(t) : 0)), [], 'two dull blows are no double tap');
    same(ring((t) => (t < 0.4 ? 0.0316 * sine(t) : 0)), [['closed', 'beep']]); // and the meter itself is heard
  },
  'a meter whose own beep wanders is learnt so, and heard'() {
    // level +-1 dB and pitch +-4 Hz at 11 Hz: a cheap buzzer
    const wobbling = (ear, from_s) => {
      const out = [];
      let phase = 0;
      const x = Float32Array.from({ length: RATE / 2 }, (_, i) => { const w = Math.sin(2 * Math.PI * 11 * i / RATE); phase += 2 * Math.PI * (2730 + 4 * w) / RATE; return 0.0316 * 10 ** (w / 20) * Math.sin(phase); });
      out.push(...ear.push(new Float32Array(Math.round(from_s * RATE)).fill(1e-6)), ...ear.push(x), ...ear.push(new Float32Array(RATE / 2).fill(1e-6)));
      return out;
    };
    const pupil = new Ear(RATE);
    pupil.ready('test');
    const taught = [...wobbling(pupil, 1), ...wobbling(pupil, 1)].filter((h) => h.kind === 'tested');
    same(taught.length, 2);
    const { meter } = lesson(taught);
    yes(meter.wander_db > 0.5 && meter.wander_hz > 2, `it wanders by ${meter.wander_db} dB, ${meter.wander_hz} Hz`);
    same(answers(wobbling(new Ear(RATE, { meter }), 1)), [['closed', 'beep']]);
    same(answers(wobbling(new Ear(RATE, { meter: { hz: meter.hz, db: meter.db } }), 1)), [], 'a steady meter is not this one');
  },
  'a tone that never ends answers once and is told'() {
    const heard = hear([[1, 15000]], {}, 14);
    same([answers(heard), heard.filter((h) => h.kind === 'stuck').length], [[['closed', 'beep']], 1]);
  },
  'a few minutes of noise, hammering and a voice are no answer'() {
    for (const scene of ['noise', 'hammering', 'voice']) same(answers(hear([], { answers: { taps: true } }, 60, scene)), [], scene);
  },
  'beeps are heard in noise, hammering and beside a voice'() {
    const beeps = Array.from({ length: 20 }, (_, i) => [2 + 2 * i, 300, 2730, -22]);
    for (const scene of ['noise', 'hammering', 'voice']) {
      const closed = answers(hear(beeps, { meter: { hz: 2730, db: -22 } }, 44, scene)).length;
      yes(closed >= 19 && closed <= 20, `${closed} of 20 in ${scene}`);
    }
  },
  'the meter is learnt from two like beeps'() {
    const two = lesson([{ hz: 2730, db: -30, length_ms: 400 }, { hz: 2734, db: -31, length_ms: 380 }]);
    same(two.meter, { hz: 2732, db: -30.5, wander_hz: 0, wander_db: 0 });
    same(lesson([{ hz: 2730, db: -30, wander_hz: 4, wander_db: 1 }, { hz: 2730, db: -30, wander_hz: 90, wander_db: 9 }]).meter, { hz: 2730, db: -30, wander_hz: 10, wander_db: 2 });
    same([lesson([]).meter, lesson([{ hz: 2730, db: -30 }, { hz: 3100, db: -30 }]).meter, lesson([{ hz: 2730, db: -30 }, { hz: 2731, db: -45 }]).meter], [null, null, null]);
  },
  'taps that are slow make a beep longer, too slow ones are refused'() {
    same([tapLesson([60, 50, 58, 61]).hold_ms, tapLesson([120, 110, 118, 121]).hold_ms, tapLesson([60]).hold_ms, tapLesson([300, 300, 300, 300]).hold_ms], [100, 160, 0, 0]);
  },
  'answers in step: nothing twice for one check'() {
    const a = new Answers({ taps: true });
    const tone = (kind, at, onset) => ({ kind, at_ms: at, onset_ms: onset, length_ms: at - onset, hz: 2730, db: -30, sure: true });
    same(a.step([], 1000).length, 0);
    same(a.step([tone('on', 1050, 1000)], 1050).map((h) => h.kind), ['tone']);
    same(a.step([tone('lasting', 1110, 1000)], 1110).map((h) => h.kind), ['closed']);
    same(a.step([tone('lasting', 1120, 1000)], 1120).map((h) => h.kind), []);
  },
};
