// @ts-check
/** Taking an entry back away from the bench: the first press says which one it would be, the second takes that one and no other. */

/** How long the question stands, ms. */
export const STANDS_MS = 9_000;

const STAY = ['undo', 'case', 'board', 'basis', 'practice'];

/** The newest entry of a story that counts and can be taken back. @param {{entry: string, ref?: number, kind: string, words: string, undone: boolean}[]} timeline */
export const lastCounting = (timeline) => timeline.filter((one) => !one.undone && !STAY.includes(one.kind)).at(-1) ?? null;

/** The id of the entry that an answer of the server tells of, "" without one. @param {any} out */
export function entryOf(out) {
  const found = out?.entry ?? out?.noted?.entry;
  return (typeof found === 'string' ? found : found?.id) ?? '';
}

export class TakeBack {
  /** @type {{entry: string, words: string}|null} */ asked = null;
  until = 0;

  /** @param {() => Promise<any[]>} timeline the case's story @param {(words: string) => void} tell @param {(entry: string) => any} take */
  constructor(timeline, tell, take) {
    this.timeline = timeline;
    this.tell = tell;
    this.take = take;
  }

  forget() {
    this.asked = null;
  }

  /** One press. @param {number} [now] ms */
  async press(now = performance.now()) {
    const one = this.asked;
    this.asked = null;
    if (one && now < this.until) return this.take(one.entry);
    const last = lastCounting(await this.timeline());
    if (!last) return this.tell('Nothing to take back.');
    this.asked = last;
    this.until = now + STANDS_MS;
    return this.tell(`Z again takes back ${last.ref ? `no. ${last.ref}, ` : ''}${last.words}`);
  }
}
