// @ts-check
/** The ear in the audio thread: takes the microphone's blocks, posts what was heard. Served from our own origin, as the page's policy wants it. */
import { Ear } from './ear.js';

class EarProcessor extends AudioWorkletProcessor {
  constructor() {
    super();
    this.ear = new Ear(sampleRate);
    this.ear.ready('off');
    this.token = '';
    this.blocks = 0;
    this.loudest = 0;
    this.port.onmessage = ({ data }) => {
      if (data.options) this.ear.setUp(data.options);
      if (data.mode) {
        this.token = data.token ?? '';
        this.ear.ready(data.mode);
      }
    };
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const block = inputs[0]?.[0] ?? new Float32Array(128);
    for (const heard of this.ear.push(block)) this.port.postMessage({ heard, token: this.token });
    this.loudest = Math.max(this.loudest, this.ear.loudest);
    if (++this.blocks % 75 === 0) { // five times a second
      this.port.postMessage({ level_db: 20 * Math.log10(this.loudest + 1e-9), dead: this.ear.dead_ms > 1000 });
      this.loudest = 0;
    }
    return true;
  }
}

registerProcessor('coppermend-ear', EarProcessor);
