// @ts-check
/** Speaks: in the browser's voice, or in the server's where the browser has none. Muted until the person wants it. */

/** @typedef {{on: boolean, speed: number}} VoiceSettings */

/** @param {string|null} text @returns {VoiceSettings} */
export function keptVoice(text) {
  let kept = /** @type {any} */ ({});
  try {
    kept = JSON.parse(text ?? '{}') ?? {};
  } catch {
    // not ours: start anew
  }
  return { on: kept.on === true, speed: typeof kept.speed === 'number' && kept.speed >= 0.5 && kept.speed <= 2 ? kept.speed : 1 };
}

const NONE = 'This browser has no voice, and the server has none: install its optional part "voice". The words are on the screen.';

export class Voice {
  words = '';
  /** The sentence that was spoken last. */ last = '';
  /** @type {AudioContext|null} */ context = null;
  /** @type {AudioBufferSourceNode|null} */ playing = null;
  turn = 0;
  /** Neither browser nor server spoke when it was asked to. */ dumb = false;

  /** @param {{changed: () => void}} on */
  constructor(on) {
    this.on = on;
    this.set = keptVoice(localStorage.getItem('voice'));
  }

  /** @param {Partial<VoiceSettings>} change */
  keep(change) {
    this.set = { ...this.set, ...change };
    localStorage.setItem('voice', JSON.stringify(this.set));
    if (!this.set.on) this.hush();
    this.on.changed();
  }

  /** Is our own voice sounding now? */
  get speaking() {
    return Boolean(this.playing) || Boolean(globalThis.speechSynthesis?.speaking);
  }

  /** One step slower; from the slowest back to the usual speed. */
  slower() {
    this.keep({ speed: this.set.speed > 0.8 ? 0.8 : this.set.speed > 0.6 ? 0.6 : 1 });
  }

  hush() {
    this.turn++;
    globalThis.speechSynthesis?.cancel();
    this.playing?.stop();
    this.playing = null;
  }

  /** A new check: spoken unless muted. @param {string} text */
  async tell(text) {
    if (text && this.set.on) await this.say(text);
  }

  /** Speak now, muted or not. @param {string} text */
  async say(text) {
    this.hush();
    const turn = this.turn;
    this.last = text;
    const own = await browserVoice();
    if (turn !== this.turn) return;
    if (own) {
      const words = new SpeechSynthesisUtterance(text);
      words.voice = own;
      words.lang = own.lang;
      words.rate = this.set.speed;
      this.dumb = false;
      this.tellState('The browser speaks.');
      return speechSynthesis.speak(words);
    }
    const said = await this.byServer(text, turn);
    this.dumb = !said.startsWith('The server speaks');
    this.tellState(said);
  }

  /** @param {string} words */
  tellState(words) {
    if (words === this.words) return;
    this.words = words;
    this.on.changed();
  }

  /** @param {string} text @param {number} turn @returns {Promise<string>} what to say about it */
  async byServer(text, turn) {
    try {
      const can = await (await fetch('/api/speech')).json();
      if (!can.available) return NONE;
      const answer = await fetch('/api/speech', { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ text, speed: this.set.speed }) });
      if (!answer.ok) return (await answer.json()).words ?? NONE;
      this.context ??= new AudioContext();
      const sound = await this.context.decodeAudioData(await answer.arrayBuffer());
      if (turn !== this.turn) return this.words;
      await this.context.resume();
      this.playing = new AudioBufferSourceNode(this.context, { buffer: sound });
      const playing = this.playing;
      playing.onended = () => { if (this.playing === playing) this.playing = null; };
      this.playing.connect(this.context.destination);
      this.playing.start();
      return 'The server speaks; this browser has no voice.';
    } catch {
      return 'The server did not answer for its voice. The words are on the screen.';
    }
  }
}

/** An English voice of this computer (none that needs a network), or null. Some browsers list their voices a moment late. @returns {Promise<SpeechSynthesisVoice|null>} */
async function browserVoice() {
  const synth = globalThis.speechSynthesis;
  if (!synth) return null;
  const local = () => synth.getVoices().filter((v) => v.localService && v.lang.toLowerCase().startsWith('en'));
  if (!local().length) await new Promise((done) => { synth.addEventListener('voiceschanged', done, { once: true }); setTimeout(done, 300); });
  return local().find((v) => v.default) ?? local()[0] ?? null;
}
