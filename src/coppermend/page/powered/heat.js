// @ts-check
/** A thermal picture taken in: shown as the camera made it, places tapped in it by finger, mouse or keys, its colour bar marked, what it is compared with; then read. */
import { fill, h, s } from '../shared/dom.js';
import { findingOf, get, sendForPicture } from '../shared/api.js';

/** @typedef {import('../shared/api.js').Field} Field */
/** @typedef {{url: string, size: [number, number], coloured: boolean}} Shown */

/** Four places fix how a flat thing is seen. */
const FEWEST = 4;

/** The words of a field, one each: pins with their pixels, marks on a scale. Pure. @param {string} text */
export const wordsOf = (text) => text.trim().split(/[\s;]+/).filter(Boolean);

/** Names with their pixels. Pure. @param {string} text @returns {{name: string, x: number, y: number}[]} */
export function placesOf(text) {
  const rows = wordsOf(text).map((one) => /^(.+)=(-?[\d.]+),(-?[\d.]+)$/.exec(one));
  return rows.flatMap((m) => (m ? [{ name: m[1], x: Number(m[2]), y: Number(m[3]) }] : []));
}

/** Marks on a colour bar. Pure. @param {string} text @returns {{name: string, x: number, y: number}[]} */
export function marksOf(text) {
  const rows = wordsOf(text).map((one) => /^(-?[\d.]+),(-?[\d.]+)=(-?[\d.]+)$/.exec(one));
  return rows.flatMap((m) => (m ? [{ name: `${m[3]} °C`, x: Number(m[1]), y: Number(m[2]) }] : []));
}

/** With this place; one that is tapped again moves. Pure. @param {string} text @param {string} name @param {number} x @param {number} y */
export const withPlace = (text, name, x, y) => [...wordsOf(text).filter((one) => !one.toUpperCase().startsWith(`${name.toUpperCase()}=`)), `${name}=${x.toFixed(1)},${y.toFixed(1)}`].join(' ');

/** With this mark on the bar; of more than two the oldest goes. Pure. @param {string} text @param {number} x @param {number} y @param {string} celsius */
export const withMark = (text, x, y, celsius) => [...wordsOf(text).slice(-1), `${x.toFixed(0)},${y.toFixed(0)}=${celsius.replace(',', '.')}`].join(' ');

/** The pixel under a place of the drawn picture, its middle being whole. Pure. @param {number} x share from the left @param {number} y share from the top @param {[number, number]} size */
export const pixelAt = (x, y, size) => /** @type {[number, number]} */ ([Math.min(Math.max(x * size[0], 0), size[0]) - 0.5, Math.min(Math.max(y * size[1], 0), size[1]) - 0.5]);

/** Pins of chips first: their bodies are what a thermal picture shows. Pure. @param {string[]} pins */
export const chipsFirst = (pins) => [...pins.filter((one) => /^(U|IC)\d/i.test(one)), ...pins.filter((one) => !/^(U|IC)\d/i.test(one))];

const STEPS = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] });

export class HeatSheet {
  /** @param {(what: string) => string} url @param {(file: File, fields: Record<string, Field>) => Promise<void>} take clears the sheet when it was noted */
  constructor(url, take) {
    this.url = url;
    this.take = take;
    /** @type {Record<string, Shown|null>} */ this.shown = { first: null, other: null };
    this.which = 'first';
    this.zoom = 1;
    /** @type {[number, number]} */ this.cross = [0, 0];
    /** @type {Record<string, string[]>} */ this.suggest = {};
    const field = (/** @type {string} */ id, /** @type {string} */ hint, /** @type {Record<string, any>} */ more = {}) => /** @type {HTMLInputElement} */ (h('input', { id, autocomplete: 'off', spellcheck: 'false', placeholder: hint, ...more }));
    const choice = (/** @type {string} */ id, /** @type {[string, string][]} */ rows, /** @type {() => void} */ act = () => {}) => /** @type {HTMLSelectElement} */ (h('select', { id, onchange: act }, rows.map(([v, words]) => h('option', { value: v }, words))));
    const accept = '.csv,.txt,.tif,.tiff,.png,.jpg,.jpeg', again = () => this.draw();
    this.file = field('heat-file', '', { type: 'file', required: true, accept, onchange: () => this.look('first', this.file) });
    this.other = field('heat-other', '', { type: 'file', accept, onchange: () => this.look('other', this.other) });
    this.side = choice('heat-side', [['c', 'component side'], ['s', 'solder side']], () => this.aimed());
    this.against = choice('heat-against', [['expected', 'what each chip’s power makes of it'], ['good', 'a good board’s picture'], ['before', 'this board before power']], again);
    this.unit = choice('heat-unit', [['', 'as its values look'], ['C', '°C'], ['K', 'kelvin'], ['dK', 'tenths of a kelvin'], ['cK', 'hundredths of a kelvin']]);
    this.taps = field('heat-taps', 'U1.1=120,45 U1.20=300,45 …', { oninput: again });
    this.otherTaps = field('heat-other-taps', 'empty: as in the first', { oninput: again });
    this.scale = field('heat-scale', '630,40=80.5 630,440=20', { oninput: again });
    this.point = field('heat-point', 'U1.1, or U1 for its middle');
    this.celsius = field('heat-celsius', '65', { inputmode: 'decimal' });
    this.aim = choice('heat-aim', [['place', 'a place on the board'], ['scale', 'a temperature of the colour bar']], () => this.draw());
    this.air = field('heat-air', 'the coldest of it', { inputmode: 'decimal' });
    this.emissivity = field('heat-emissivity', '0.9', { inputmode: 'decimal' });
    this.own = field('heat-own', 'Y1=0.95 U5=0.6');
    this.camera = field('heat-camera', '1', { inputmode: 'decimal' });
    this.mirrored = field('heat-mirrored', 'the air', { inputmode: 'decimal' });
    this.view = h('div', { id: 'heat-view' });
    this.compared = h('div.wide', { id: 'heat-compared' });
    this.said = h('p.need.wide', { id: 'heat-said', role: 'status', hidden: true });
    this.root = /** @type {HTMLDetailsElement} */ (h('details', { id: 'heat', ontoggle: () => this.opened(), onkeydown: (/** @type {KeyboardEvent} */ e) => { if (e.key !== 'Tab' && e.key !== 'Escape') e.stopPropagation(); } }, h('summary', null, 'A thermal picture'), this.form()));
  }

  form() {
    const label = (/** @type {string} */ words, /** @type {HTMLElement} */ el, wide = false) => h(wide ? 'label.field.wide' : 'label.field', null, words, el);
    return h('form.form', { id: 'heat-form', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); this.send(); } },
      h('p.need.wide', null, 'Power is on for it: touch nothing, 5 to 10 minutes after power on, without draught. Bare metal shows the room, not itself: tape on it, and its own emissivity. Take it at a slant, and again from elsewhere: what moves is a reflection.'),
      label('Picture (CSV, TIFF; PNG or JPEG with a scale)', this.file), label('Side', this.side), label('Air, °C', this.air), label('Compare with', this.against), this.compared,
      h('div.wide', null, this.view), this.said,
      label('Places in it with their pixels, four or more, far apart; empty: it shows exactly the whole board', this.taps, true),
      label('PNG or JPEG: two pixels of its scale with their °C', this.scale, true),
      h('details.wide', { id: 'heat-more' }, h('summary', null, 'Emissivity, what is mirrored, unit'), h('div.form', null,
        label('Emissivity of packages', this.emissivity), label('The camera was set to', this.camera), label('It mirrors, °C', this.mirrored), label('Unit (CSV, TIFF)', this.unit), label('Emissivity of single parts (with tape on them)', this.own, true))),
      h('button.key', { id: 'heat-read' }, 'Read it'));
  }

  async opened() {
    if (!this.root.open || this.suggest.c) return;
    this.suggest = { c: [], s: [] };
    const laid = await get(this.url('laid')).catch(() => null); // a board without such pins: any name can be typed
    for (const side of ['c', 's']) this.suggest[side] = chipsFirst((laid?.suggest?.[side] ?? []).map((/** @type {any} */ p) => p.pin));
    if (!this.point.value) this.aimed(); // a name that was typed meanwhile stays
  }

  /** Where the taps of the picture shown are kept. */
  get kept() {
    return this.which === 'other' ? this.otherTaps : this.taps;
  }

  /** The next place worth tapping stands in the field. */
  aimed() {
    const have = placesOf(this.kept.value).map((one) => one.name.toUpperCase());
    this.point.value = (this.suggest[this.side.value] ?? []).find((pin) => !have.includes(pin.toUpperCase())) ?? '';
    this.draw();
  }

  /** Show a chosen file as the camera made it. @param {string} which @param {HTMLInputElement} from */
  async look(which, from) {
    const file = from.files?.[0], was = this.shown[which];
    if (was) URL.revokeObjectURL(was.url);
    this.shown[which] = null;
    (which === 'other' ? this.otherTaps : this.taps).value = '';
    if (which === 'first') this.scale.value = '';
    this.which = file || which === 'first' ? which : 'first';
    this.say('');
    if (file) {
      try {
        const url = URL.createObjectURL(await sendForPicture(this.url('heat/preview'), file));
        const image = new Image();
        image.src = url;
        await image.decode();
        const start = [...new Uint8Array(await file.slice(0, 3).arrayBuffer())];
        this.shown[which] = { url, size: [image.naturalWidth, image.naturalHeight], coloured: start[0] === 0x89 || start[0] === 0xff };
        this.cross = [image.naturalWidth / 2, image.naturalHeight / 2];
        this.zoom = 1;
      } catch (err) {
        const { words, remedy } = findingOf(err);
        this.say(`${words} ${remedy}`);
      }
    }
    this.aimed();
  }

  /** @param {string} words */
  say(words) {
    this.said.hidden = !words;
    this.said.textContent = words;
  }

  draw() {
    const more = this.against.value !== 'expected';
    if (!more) this.which = 'first';
    fill(this.compared, more ? [h('label.field', null, 'The picture to compare with', this.other), this.shown.other ? h('label.field', null, 'Places in that one, where it lies otherwise', this.otherTaps) : null] : null);
    const shot = this.shown[this.which];
    const focused = document.activeElement?.id === 'heat-picture';
    fill(this.view, shot ? [this.tools(shot), this.picture(shot), h('p', { id: 'heat-hint' }, this.hint())] : null);
    if (focused) document.getElementById('heat-picture')?.focus({ preventScroll: true });
  }

  hint() {
    const scale = this.aim.value === 'scale', count = placesOf(this.kept.value).length;
    const next = scale ? 'Tap the bar where it has that temperature; two marks, far apart.' : `Tap ${this.point.value || 'the named place'} in the picture${count >= FEWEST ? ', or read it now' : `; ${FEWEST - count} more at least`}.`;
    return `${next} By keys: arrows move the cross (Shift: ten pixels), Enter marks.`;
  }

  /** @param {Shown} shot */
  tools(shot) {
    const key = (/** @type {string} */ id, /** @type {string} */ words, /** @type {() => void} */ act, disabled = false) => h('button.key.slim', { type: 'button', id, disabled, onclick: act }, words);
    if (!shot.coloured) this.aim.value = 'place';
    const both = this.shown.first && this.shown.other;
    return h('div.row.heat-tools', null,
      both ? h('div.row', { role: 'group', 'aria-label': 'Picture shown' }, [['first', 'This picture'], ['other', 'The one to compare with']].map(([name, words]) => h('button.key.slim', { type: 'button', 'aria-pressed': String(this.which === name), onclick: () => { this.which = name; this.aimed(); } }, words))) : null,
      shot.coloured ? h('label.field', null, 'A tap marks', this.aim) : null,
      this.aim.value === 'scale' ? h('label.field', null, 'Its °C', this.celsius) : h('label.field', null, 'Place', this.point),
      key('heat-nearer', 'Nearer', () => { this.zoom = Math.min(6, this.zoom * 1.5); this.draw(); }), key('heat-further', 'Further', () => { this.zoom = Math.max(1, this.zoom / 1.5); this.draw(); }),
      key('heat-mark', 'Mark at the cross', () => this.mark(...this.cross)), key('heat-undo', 'Take the last away', () => this.drop()));
  }

  /** @param {Shown} shot */
  picture(shot) {
    const [w, t] = shot.size, r = w / 60;
    const sign = (/** @type {{name: string, x: number, y: number}} */ p, /** @type {string} */ name) => s('g', { class: `heat-sign ${name}` }, s('circle', { cx: p.x + 0.5, cy: p.y + 0.5, r: r * 0.7 }), s('text', { x: p.x + 0.5 + r, y: p.y + 0.5 - r * 0.6, 'font-size': r * 1.7 }, p.name));
    const [x, y] = this.cross;
    const svg = s('svg', { id: 'heat-picture', class: 'heat-picture', viewBox: `0 0 ${w} ${t}`, tabindex: 0, role: 'application', 'aria-label': `The picture, ${w} by ${t} pixels; the cross is at ${Math.round(x)}, ${Math.round(y)}` },
      s('image', { href: shot.url, width: w, height: t }),
      ...placesOf(this.kept.value).map((p) => sign(p, 'place')), ...(shot.coloured ? marksOf(this.scale.value) : []).map((p) => sign(p, 'bar')),
      s('path', { class: 'heat-cross', d: `M${x + 0.5 - 2 * r} ${y + 0.5}h${4 * r}M${x + 0.5} ${y + 0.5 - 2 * r}v${4 * r}` }));
    /** @type {SVGSVGElement} */ (svg).style.width = `${100 * this.zoom}%`;
    svg.addEventListener('click', (e) => {
      const box = svg.getBoundingClientRect(), at = /** @type {MouseEvent} */ (e);
      svg.focus({ preventScroll: true });
      this.cross = pixelAt((at.clientX - box.left) / box.width, (at.clientY - box.top) / box.height, shot.size);
      this.mark(...this.cross);
    });
    svg.addEventListener('keydown', (e) => this.key(/** @type {KeyboardEvent} */ (e), shot));
    const frame = h('div.heat-frame', null, svg);
    requestAnimationFrame(() => { if (this.zoom > 1) frame.scrollTo((x / w) * frame.scrollWidth - frame.clientWidth / 2, (y / t) * frame.scrollHeight - frame.clientHeight / 2); });
    return frame;
  }

  /** @param {KeyboardEvent} e @param {Shown} shot */
  key(e, shot) {
    const step = STEPS[e.key];
    if (step) this.cross = pixelAt((this.cross[0] + 0.5 + step[0] * (e.shiftKey ? 10 : 1)) / shot.size[0], (this.cross[1] + 0.5 + step[1] * (e.shiftKey ? 10 : 1)) / shot.size[1], shot.size);
    else if (e.key === '+' || e.key === '=') this.zoom = Math.min(6, this.zoom * 1.5);
    else if (e.key === '-') this.zoom = Math.max(1, this.zoom / 1.5);
    else if (e.key !== 'Enter') return;
    e.preventDefault();
    if (e.key === 'Enter') this.mark(...this.cross);
    else this.draw();
  }

  /** @param {number} x @param {number} y */
  mark(x, y) {
    if (this.aim.value === 'scale') {
      const celsius = this.celsius.value.trim();
      if (!/^-?[\d.,]+$/.test(celsius)) {
        this.say('Type the temperature that the bar has there first.');
        return this.draw();
      }
      this.say('');
      this.scale.value = withMark(this.scale.value, x, y, celsius);
      this.celsius.value = '';
      return this.draw();
    }
    const name = this.point.value.trim();
    if (!name || /[\s=;]/.test(name)) {
      this.say('Name the place first, like U1.1, or U1 for the middle of a part.');
      return this.draw();
    }
    this.say('');
    this.kept.value = withPlace(this.kept.value, name, x, y);
    this.aimed();
  }

  /** The last place, or the last mark on the bar, is taken away. */
  drop() {
    const from = this.aim.value === 'scale' ? this.scale : this.kept;
    from.value = wordsOf(from.value).slice(0, -1).join(' ');
    this.aimed();
  }

  async send() {
    const file = this.file.files?.[0], other = this.other.files?.[0];
    if (!file) return;
    const against = this.against.value, number = (/** @type {HTMLInputElement} */ el) => el.value.trim().replace(',', '.');
    if (against !== 'expected' && !other) return this.say('Choose the picture to compare with, or compare with what is expected.');
    /** @type {Record<string, Field>} */
    const fields = { side: this.side.value, against };
    const pins = wordsOf(this.taps.value), bar = wordsOf(this.scale.value), own = wordsOf(this.own.value), there = wordsOf(this.otherTaps.value);
    if (pins.length) fields.tap = pins;
    else fields.whole = 'true';
    if (bar.length) fields.scale = bar;
    if (own.length) fields.emissivity_of = own;
    if (against !== 'expected' && other) fields.other = other;
    if (fields.other && there.length) fields.other_tap = there;
    for (const [name, el] of /** @type {[string, HTMLInputElement][]} */ ([['air_c', this.air], ['emissivity', this.emissivity], ['camera_emissivity', this.camera], ['reflected_c', this.mirrored]])) if (number(el)) fields[name] = number(el);
    if (this.unit.value) fields.unit = this.unit.value;
    await this.take(file, fields);
  }

  /** It was noted: the next picture begins with an empty sheet; what holds for the bench (air, emissivity) stays. */
  clear() {
    for (const one of Object.values(this.shown)) if (one) URL.revokeObjectURL(one.url);
    this.shown = { first: null, other: null };
    for (const el of [this.file, this.other, this.taps, this.otherTaps, this.scale]) el.value = '';
    this.say('');
    this.aimed();
  }
}
