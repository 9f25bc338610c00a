// What the browser gives to modules of the audio thread, beyond the DOM types: from the Web Audio API (W3C Recommendation, AudioWorkletGlobalScope).
declare const sampleRate: number;
declare class AudioWorkletProcessor {
  readonly port: MessagePort;
}
declare function registerProcessor(name: string, processor: new (...options: any[]) => AudioWorkletProcessor): void;
