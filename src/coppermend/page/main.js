// @ts-check
/** The page: joins the leaves, the map, the slip and the server. Every decision about the board is the server's. */
import { byId, fill, h, keepTyping, typingIn } from './shared/dom.js';
import { carefulOf, findingOf, follow, get, getBytes, GivenUp, insist, post, send, sendWaiting, write } from './shared/api.js';
import { icon } from './shared/icons.js';
import { KEYS, nameOf } from './shared/keys.js';
import { TakeBack } from './shared/takeback.js';
import { sentence } from './shared/words.js';
import { inPageWords } from './shared/pagewords.js';
import { BoardMap } from './map/map.js';
import { drawCompass } from './map/compass.js';
import { drawCard } from './map/card.js';
import { drawLegend } from './map/legend.js';
import { drawTwin } from './map/twin.js';
import { inside, readPoints } from './map/index.js';
import { ellipseRing } from './map/overlay.js';
import { drawInset } from './map/inset.js';
import { lyingWhere } from './map/rows.js';
import { FirstOfAll } from './round/first.js';
import { drawSlip } from './round/slip.js';
import { canAnswer, lastAnswer, notedAs, ohmsCheck, placeTip, spoken, tipsOf, toldShort } from './round/state.js';
import { drawHome } from './case/home.js';
import { drawStory } from './case/story.js';
import { ownField } from './case/ownwire.js';
import { drawWish, tapTaken, wishFor, withMore } from './case/tapplace.js';
import { drawWires } from './case/wires.js';
import { drawRecord } from './case/record.js';
import { drafted, drawAreaForm } from './case/areas.js';
import { openFinish } from './case/finish.js';
import { NOTHING_ASKED, drawOhms, howRead } from './case/ohms.js';
import { drawTrust } from './case/trust.js';
import { liesFree, pan, toScreen } from './map/view.js';
import { LaySheet } from './photo/lay.js';
import { drawUnderlay } from './photo/underlay.js';
import { MeterHand } from './meter/hand.js';
import { Hearing } from './sound/hearing.js';
import { freshenSound, openSheet } from './sound/panel.js';
import { spoken as sayCheck } from './speech/spoken.js';
import { Voice } from './speech/voice.js';
import { Listening } from './speech/listen.js';
import { keptPedal, learnt } from './shared/pedal.js';
import { sayLimits } from './shared/whoami.js';

const VIEWS = /** @type {const} */ (['bench', 'story', 'wires', 'ohms', 'trust', 'record']);
/** Words of a notice up to this long are shown as large as the check: they are read with both hands at the probes. */
const FAR_WORDS = 90;
const TITLES = { bench: 'Bench', story: 'Story', wires: 'Breaks', ohms: 'Ohms', trust: 'Map', record: 'Record' };

/** The focus leaves keys and ticks that were pressed by hand; fields that are typed into keep it. */
function letGo() {
  const held = document.activeElement;
  if (held instanceof HTMLElement && held.closest('#bench, #rail') && held.matches('button, summary, input[type="checkbox"]')) held.blur();
}

/** Kinds of entries as the slip says them. @type {Record<string, string>} */
const NAMES = { skip: 'can’t reach', undo: 'the last entry is taken back', patch: 'a wire is fitted' };

export class App {
  id = '';
  view = 'home';
  /** @type {any} */ bench = null;
  /** @type {any} */ scene = null;
  /** @type {any} */ net = null;
  /** @type {any} */ chosen = null;
  /** @type {{a: any, b: any}} */ own = { a: null, b: null };
  /** @type {any} */ area = null;
  /** Where the keyboard goes once the leaf is drawn. */ focusNext = '';
  /** @type {import('./case/tapplace.js').Wish|null} What is to be tapped on the board for a wire of one's own. */ wish = null;
  patient = { answer: /** @type {any} */ (null), attempt: 0, pair: '', auto: localStorage.getItem('auto') === 'yes' };
  busy = false;
  /** An entry that the server has not taken for a while: what it says, and how it is given up. @type {{words: string, given: {up: boolean}}|null} */ unsent = null;
  /** Does the server answer? */ up = true;
  /** This device was let in and is so no more. */ shut = false;
  /** Why the case could not be opened. @type {import('./shared/api.js').Finding|null} */ error = null;
  shownCheck = '';
  /** When the check in hand was shown, ms. */ shownAt = 0;
  /** The part whose work is folded out on the card. */ partOpen = '';
  stop = () => {};
  /** Away from the bench an entry is named before it goes. */ takeBack = new TakeBack(async () => (await get(this.url('story'))).timeline, (words) => { this.toast(sentence(words), '', true); byId('say').textContent = words; }, (entry) => this.note('undo', { undoes: entry }));
  /** Counts the openings of cases: what an earlier one waited for comes to nothing. */ openings = 0;
  hearing = new Hearing({ answer: (kind) => this.do(kind), changed: () => freshenSound(this) });
  meter = new MeterHand({ touched: (id, began) => this.do('meterTouch', id, began), changed: () => freshenSound(this) });
  voice = new Voice({ changed: () => freshenSound(this) });
  listening = new Listening({ act: (name) => this.heardSaid(name), changed: () => freshenSound(this), deaf: () => this.voice.speaking });
  /** Keys learnt for a pedal, act -> key, and the act whose key is awaited. */
  pedal = keptPedal(localStorage.getItem('pedal'));
  pedalFor = '';
  /** A tip cannot reach its place: which one is asked. */ skipping = false;
  /** How the board lay when the slip was drawn last. */ lie = '';
  /** @type {any} */ lieTimer = 0;
  /** The ellipse of a short as it was when shown, corners in mm. @type {number[][]} */ ring = [];
  /** What was asked on the ohms leaf. */ ohm = { ...NOTHING_ASKED };
  first = new FirstOfAll(this);

  constructor() {
    this.map = new BoardMap(byId('map'), {
      tap: (point, net, xy) => this.tapped(point, net, xy),
      covers: () => this.covers(),
      moved: (view) => {
        drawCompass(byId('compass'), view, this.map ? this.map.box : [0, 0, 1, 1]);
        if (this.map) drawUnderlay(byId('underlay'), this);
        this.lies(view);
      },
    });
    this.chrome();
    addEventListener('keydown', (e) => {
      if (this.pedalFor) return this.learnPedal(e);
      const sheet = /** @type {HTMLDialogElement|null} */ (document.querySelector('dialog[open]'));
      if (sheet) return void (sheet.id === 'help' && e.key === '?' && sheet.close()); // what lies open has the keyboard, and closes by Esc as every dialog does
      const name = nameOf(e, this.pedal);
      if (!name || (this.view === 'home' && !['help', 'clear', 'find'].includes(name))) return;
      e.preventDefault();
      this.do(name);
    });
    document.addEventListener('close', () => this.lendEar(), true);
    addEventListener('hashchange', () => this.route());
    this.heedPresses();
    byId('find').addEventListener('submit', (/** @type {Event} */ e) => {
      e.preventDefault();
      this.do('find', byId('find-text').value);
    });
    this.route();
  }

  /** @param {string} what */
  url(what) {
    return `/api/cases/${encodeURIComponent(this.id)}/${what}`;
  }

  chrome() {
    fill(byId('tabs'), VIEWS.map((v, i) => h('button', { type: 'button', id: `tab-${v}`, onclick: () => this.do('view', v), title: `key ${i + 1}` }, TITLES[v])));
    fill(byId('rail-tools'),
      h('span.live', { id: 'live', role: 'img', 'aria-label': 'live' }),
      h('button.round-key', { type: 'button', id: 'lamp', 'aria-label': 'Daylight or lamp', title: 'daylight or lamp', onclick: () => this.do('lamp') }, icon('lamp')),
      h('button.round-key', { type: 'button', 'aria-label': 'Keys', title: 'keys', onclick: () => this.do('help') }, icon('help')));
    const tool = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ ic) => h('button.key', { type: 'button', onclick: () => this.do(name), 'aria-label': words, id: `tool-${name}` }, icon(ic, 24), h('span', null, words));
    fill(byId('tools'), tool('newArea', 'work area', 'area'), tool('marks', 'marks', 'marks'), tool('list', 'list', 'list'), tool('goto', 'check', 'goto'), tool('layPhoto', 'photo', 'photo'), tool('turn', 'turn over', 'turn'), tool('turnLid', 'like a lid', 'lid'), tool('rotate', 'quarter', 'rotate'), tool('fit', 'whole', 'fit'), tool('nearer', 'nearer', 'nearer'), tool('further', 'further', 'further'));
    fill(byId('help'), h('h2', { tabindex: -1, autofocus: true }, 'Keys'), h('div.keytable', null, KEYS.map((k) => [h('kbd', null, k.cap), h('span', null, k.words)])), h('p', null, 'Tap a pin to light its net. Put tip A and tip B on any two points and answer: the round follows you. A pedal’s keys are learnt under Sound.'), h('form', { method: 'dialog' }, h('button.key.hot', null, 'Good')));
    drawLegend(byId('legend'));
    this.light(localStorage.getItem('light') ?? (matchMedia('(prefers-color-scheme: dark)').matches ? 'lamp' : 'day'));
  }

  /** @param {string} which */
  light(which) {
    document.documentElement.dataset.light = which;
    byId('lamp')?.setAttribute('aria-pressed', String(which === 'lamp'));
    localStorage.setItem('light', which);
  }

  async route() {
    const m = location.hash.match(/^#\/case\/([^/]+)\/(\w+)/);
    if (!m) return this.goHome();
    const id = decodeURIComponent(m[1]);
    const view = VIEWS.includes(/** @type {any} */ (m[2])) ? m[2] : 'bench';
    if (id !== this.id) await this.open(id);
    if (this.id === id && !this.error) this.show(view);
  }

  goHome() {
    this.stop();
    this.id = '';
    this.bench = null;
    fill(byId('title'));
    this.show('home');
  }

  /** @param {string} view */
  show(view) {
    this.view = view;
    this.takeBack.forget();
    if (view !== 'bench') this.skipping = false; // the question stands on the bench alone
    this.lendEar();
    this.meter.follow();
    document.body.dataset.view = view;
    for (const v of ['home', ...VIEWS]) byId(v === 'ohms' ? 'ohms-leaf' : v).hidden = v !== view;
    for (const v of VIEWS) {
      byId(`tab-${v}`).toggleAttribute('hidden', view === 'home');
      if (v === view) byId(`tab-${v}`).setAttribute('aria-current', 'page');
      else byId(`tab-${v}`).removeAttribute('aria-current');
    }
    byId('find').hidden = view === 'home';
    byId('live').hidden = view === 'home';
    if (view === 'home') drawHome(byId('home'), this);
    if (view === 'story') drawStory(byId('story'), this);
    if (view === 'wires') drawWires(byId('wires'), this);
    if (view === 'ohms') drawOhms(byId('ohms-leaf'), this);
    if (view === 'trust') drawTrust(byId('trust'), this);
    if (view === 'record') drawRecord(byId('record'), this);
    if (view === 'bench') {
      this.first.arrive();
      this.map.resize();
      this.redraw();
    }
  }

  /** A photo that serves as the map of a side; without it the map is drawn. @param {string} id @param {string} side */
  async photo(id, side) {
    const image = new Image();
    image.src = this.url(`board-photo/${side}`);
    try {
      await image.decode();
    } catch {
      return;
    }
    if (this.id === id) this.map.setPhoto(side, image);
  }

  /** The person's own photos, laid under the board. */
  async layPhotos() {
    const id = this.id, laid = (await get(this.url('laid'))).laid;
    for (const side of ['c', 's']) {
      const one = laid[side];
      if ((one?.entry ?? '') === (this.laidNow[side] ?? '')) continue;
      this.laidNow[side] = one?.entry ?? '';
      if (!one) this.map.setPhoto(side, null);
      else {
        const image = new Image();
        image.src = this.url(`laid/${side}?entry=${one.entry}`);
        await image.decode();
        if (this.id === id) this.map.setPhoto(side, image);
      }
    }
    drawUnderlay(byId('underlay'), this);
  }

  /** @type {LaySheet|null} */ laySheet = null;

  /** Entries of the photos that lie under the board now. @type {Record<string, string>} */ laidNow = {};

  /** @param {string} id */
  async open(id) {
    this.stop();
    this.id = id;
    const opening = ++this.openings, left = () => this.id !== id || this.openings !== opening;
    this.bench = this.scene = this.net = this.chosen = this.error = null;
    this.own = { a: null, b: null };
    this.ring = [];
    this.shownCheck = '';
    this.first.forget();
    byId('mat').classList.add('bare'); // the board of another case is not this one's
    this.show('bench');
    try {
      // the board first, so that there is something to see while the round is planned
      const bytes = await getBytes(this.url('scene.bin'));
      if (left()) return; // a board may be built for minutes: another case may have been opened meanwhile
      this.scene = this.map.setScene(bytes);
      const scene = this.scene;
      byId('mat').classList.remove('bare');
      this.redraw();
      const late = await sendWaiting(`${this.url('')}`);
      const [points, bench] = await Promise.all([get(this.url('points')), get(this.url('bench'))]);
      if (left()) return;
      this.map.setPoints(readPoints(points.rows));
      for (const side of scene.photos ?? []) this.photo(id, side);
      this.laidNow = {};
      fill(byId('find-names'), [...scene.parts.map((/** @type {any} */ p) => p.ref), ...scene.nets.slice(0, 600)].map((n) => h('option', { value: n })));
      await this.take(bench);
      for (const one of late) one.refused ? this.toast(`Kept in this browser since before, and not noted now: ${one.words}. ${one.refused.words}`, one.refused.remedy, true) : this.toast(`Noted now, kept in this browser since before: ${one.words}`, one.careful.map((/** @type {string} */ said) => `Careful: ${said}`).join(' '), one.careful.length > 0);
    } catch (err) {
      if (left()) return;
      this.error = findingOf(err);
      this.show('bench');
      return;
    }
    this.stop = follow(id, (mark) => { if (this.bench && mark !== this.bench.mark && !this.busy) this.refresh(); }, (up, shut) => this.live(up, shut));
  }

  /** @param {boolean} up @param {import('./shared/api.js').Finding} [shut] this device is let in no more */
  live(up, shut) {
    this.up = up;
    if (up || shut) this.shut = Boolean(shut);
    byId('live').classList.toggle('down', !up);
    byId('live').setAttribute('aria-label', up ? 'connected to the bench server' : 'the bench server does not answer; trying again');
    this.matNote();
  }

  /** What is said large over the map while the server does not answer. */
  matNote() {
    if (this.shut) return fill(byId('mat-note'), 'This device was shut out. ', h('a', { href: '/page/pair.html' }, 'Let it in again'));
    byId('mat-note').textContent = this.unsent ? 'Not noted yet: the bench server does not answer. Hold the next answer.' : this.up ? '' : 'The bench server does not answer. Trying again …';
  }

  async refresh() {
    try {
      await this.take(await get(this.url('bench')));
      if (this.view === 'story' && !typingIn(byId('story'))) drawStory(byId('story'), this);
    } catch (err) {
      this.fail(err);
    }
  }

  /** A new state of the case from the server. @param {any} bench */
  async take(bench) {
    const old = this.bench;
    this.bench = bench;
    this.first.heed(bench);
    if (old && JSON.stringify(old.states) !== JSON.stringify(bench.states)) this.map.setPoints(readPoints((await get(this.url('points'))).rows));
    this.map.setStates(bench.states);
    // a photo laid or taken back at any screen
    if (['c', 's'].some((side) => (bench.laid[side] ?? '') !== (this.laidNow[side] ?? ''))) this.layPhotos().catch((err) => this.fail(err));
    if (old && this.net) await this.light_net(this.net.net, this.chosen?.id ?? '');
    fill(byId('title'), h('b', null, bench.case.title), h('span', null, [bench.case.serial, bench.case.progress].filter(Boolean).join('; ')));
    document.title = `${bench.case.title}: Coppermend`;
    this.patient.answer = null;
    const key = bench.step?.check ? bench.step.check.a.id + bench.step.check.b.id + bench.acts : bench.step?.words ?? '';
    if (key !== this.shownCheck) {
      this.shownCheck = key;
      this.shownAt = performance.now();
      this.skipping = false;
      byId('say').textContent = spoken(bench, this.own, (t) => lyingWhere(t, this.map.view));
      this.voice.tell(this.sentence());
      this.follow();
    }
    this.redraw();
    document.body.dataset.ready = 'yes';
  }

  /** Turn and move the board only when the check is out of sight. */
  follow() {
    const tips = tipsOf(this.bench, this.own);
    const spanPath = (this.bench.step?.span?.path ?? []).flatMap((/** @type {any} */ p) => p[1]);
    const places = tips.a && tips.b ? [[tips.a.x_mm, tips.a.y_mm], [tips.b.x_mm, tips.b.y_mm]] : spanPath;
    if (!this.map.ready) return;
    if (!places.length) return void (this.bench.step?.check ? 0 : this.map.fit());
    const wire = this.bench.step?.wire;
    const sides = tips.a && tips.b ? [tips.a.side, tips.b.side] : wire ? [wire.a.side, wire.b.side] : [];
    const face = sides.length && !sides.includes(this.map.view.face) ? sides[0] : undefined;
    if (face || !this.inSight(places)) this.map.show(places, face).then(() => this.redraw());
  }

  /** What lies over the map: compass, tools, slider, and the card or form that is open. @returns {number[][]} left, top, right, bottom in px of the map */
  covers() {
    const at = byId('map').getBoundingClientRect();
    return ['compass', 'tools', 'underlay', 'card', 'area-form'].map((id) => byId(id).getBoundingClientRect()).filter((r) => r.width && r.height && r.top < at.bottom && r.bottom > at.top).map((r) => [r.left - at.left, r.top - at.top, r.right - at.left, r.bottom - at.top]);
  }

  /** @param {number[][]} places */
  inSight(places) {
    const covers = this.covers();
    return places.every(([x, y]) => liesFree(this.map.view, ...this.toScreen(x, y), covers));
  }

  /** @param {number} x @param {number} y */
  toScreen(x, y) {
    return toScreen(this.map.view, x, y);
  }

  /** The check in hand as it is spoken; what is to be done, where it is no check. */
  sentence() {
    const { a, b, own } = tipsOf(this.bench, this.own);
    const check = own ? null : this.bench?.step?.check;
    if (this.first.shown) return this.first.words;
    if (!a || !b) return inPageWords(this.bench?.step?.words ?? '');
    return sayCheck({ a, b, turn_over: Boolean(check?.turn_over), purpose: check?.purpose });
  }

  /** Say the check aloud; where nobody can, say why on the screen. */
  async speak() {
    await this.voice.say(this.sentence());
    if (this.voice.dumb) this.toast(this.voice.words, '', true);
    return !this.voice.dumb;
  }

  /** Tells the ear which check a beep would answer now. */
  lendEar() {
    const can = this.view === 'bench' && !this.first.shown && !document.querySelector('dialog[open]') && !this.busy && !this.skipping && canAnswer(this.bench, this.own);
    const { a, b } = tipsOf(this.bench, this.own);
    this.hearing.ready(can ? `${this.id} ${a.id} ${b.id} ${this.bench.acts}` : '');
  }

  /** A board turned by hand: the slip's close looks and words turn with it, as soon as the hand rests. @param {import('./map/view.js').View} view */
  lies(view) {
    const lie = `${view.face} ${view.turn.join(' ')}`;
    if (lie === this.lie) return;
    this.lie = lie;
    clearTimeout(this.lieTimer);
    this.lieTimer = setTimeout(() => { if (this.bench) { this.redraw(); this.tellLie(); } }, 150);
  }

  /** The live region says where the tips go as the board lies now; what it says already is not said again. */
  tellLie() {
    const words = spoken(this.bench, this.own, (t) => lyingWhere(t, this.map.view));
    if (this.view === 'bench' && canAnswer(this.bench, this.own) && byId('say').textContent !== words) byId('say').textContent = words;
  }

  /** A finger or button is down on a key of the slip or a card: drawing anew under it would lose the press. */
  holding = false;
  /** What was to be drawn meanwhile. */ late = false;

  /** Holds drawing back from the press to the click that follows it; a press that becomes no click ends a little after the finger is lifted. */
  heedPresses() {
    const ended = () => {
      this.holding = false;
      if (this.late) this.redraw();
    };
    addEventListener('pointerdown', (e) => { this.holding = e.target instanceof Element && Boolean(e.target.closest('#slip button, #card button, #area-form button, #twin button')); });
    addEventListener('click', () => { this.holding = false; }, true);
    for (const end of ['pointerup', 'pointercancel']) addEventListener(end, () => setTimeout(ended, 60));
    // a key that was pressed by hand does not keep the keyboard: Space and Enter, which a pedal may send, would press it again at the next check
    addEventListener('click', (e) => {
      if (e.detail > 0 && e.target instanceof Element && e.target.closest('#bench, #rail')) setTimeout(letGo, 0);
    });
  }

  redraw() {
    const bench = this.bench;
    this.lendEar();
    if (this.view !== 'bench') return;
    this.late = this.holding;
    if (this.late) return;
    this.tellOwn();
    keepTyping(() => {
      drawSlip(byId('slip'), this);
      drawCard(byId('card'), this);
      drawAreaForm(byId('area-form'), this);
      drawWish(byId('area-form'), this);
      drawTwin(byId('twin'), this);
    });
    if (!bench) return;
    const tips = this.first.shown ? { a: null, b: null } : tipsOf(bench, this.own);
    const wires = [...bench.wires, ...(bench.step?.wire?.a ? [{ a: [bench.step.wire.a.x_mm, bench.step.wire.a.y_mm], b: [bench.step.wire.b.x_mm, bench.step.wire.b.y_mm], side: bench.step.wire.a.side, planned: true, path: bench.step.wire.path, dots: bench.step.wire.dots }] : [])];
    const spans = bench.step?.span ? [...bench.spans.filter((/** @type {any} */ s) => s.words !== bench.step.span.words), bench.step.span] : bench.spans;
    this.map.lay({ tips: { a: tips.a, b: tips.b }, areas: bench.areas, sites: bench.sites, spans, ring: this.ring, wires, cuts: bench.cuts, net: this.net ? this.net.net : -1, chosen: this.chosen ? { ...this.chosen, x: this.chosen.x_mm, y: this.chosen.y_mm } : null, draft: this.area ? drafted(this.area, this.scene.parts) : this.wish?.corners ?? [] });
    for (const c of byId('slip').querySelectorAll('canvas[data-end]')) {
      const wire = bench.step?.wire;
      if (wire) drawInset(c, this.map, c.getAttribute('data-end') === 'from' ? 'a' : 'b', c.getAttribute('data-end') === 'from' ? wire.a : wire.b);
    }
  }

  /** The pair that was said last, of points the person chose. */
  ownSaid = '';

  /** A pair of one's own is read out as a proposed check is, and so is the proposed one when it comes back. */
  tellOwn() {
    const { a, b } = this.own, pair = a && b ? `${a.id} ${b.id}` : '';
    if (pair === this.ownSaid || !this.bench) return;
    this.ownSaid = pair;
    byId('say').textContent = spoken(this.bench, pair ? this.own : { a: null, b: null }, (t) => lyingWhere(t, this.map.view));
    if (pair) this.voice.tell(this.sentence());
  }

  /** @param {any} point @param {number} net @param {[number, number]} xy */
  async tapped(point, net, xy) {
    if (!this.bench) return;
    if (this.area) return this.areaTap(xy);
    if (this.wish) return this.wishTap(point, xy);
    if (net < 0) return this.do('clear', true);
    try {
      await this.light_net(net, point?.id ?? '');
      if (this.chosen) {
        const next = placeTip(this.own, this.chosen, null);
        if (next !== this.own) this.own = next;
      }
    } catch (err) {
      this.fail(err);
    }
    this.redraw();
  }

  /** @param {number} net @param {string} pointId */
  async light_net(net, pointId) {
    this.net = await get(this.url(`nets/${net}`));
    const pin = pointId.split('/')[0];
    // a part that was taken out shows other points at the same pin
    this.chosen = this.net.points.find((/** @type {any} */ p) => p.id === pointId) ?? this.net.points.find((/** @type {any} */ p) => p.part && `${p.part}.${p.pin}` === pin) ?? null;
  }

  /** @param {[number, number]} xy */
  areaTap(xy) {
    const draft = this.area;
    if (draft.mode === 'polygon') draft.corners = [...draft.corners, xy];
    else {
      const part = this.partAt(xy);
      draft.missed = !part;
      draft.part = part ?? draft.part;
    }
    this.redraw();
  }

  /** A tap for a wire of one's own: into its field, and back to the leaf. @param {any} point @param {[number, number]} xy */
  wishTap(point, xy) {
    const wish = /** @type {import('./case/tapplace.js').Wish} */ (this.wish);
    const taken = tapTaken(wish, { xy, face: this.map.view.face, point, part: this.partAt(xy) });
    this.wish = taken.wish;
    if (!taken.text) return this.redraw();
    const field = /** @type {HTMLInputElement} */ (ownField(this, wish.what));
    field.value = withMore(field.value, taken.text, wish.what);
    this.toast(`Taken: ${taken.text}`);
    this.acts.wishCancel();
  }

  /** The narrowest part whose outline holds the place. @param {[number, number]} xy */
  partAt([x, y]) {
    const hit = this.scene.parts.filter((/** @type {any} */ p) => p.outline.length && inside(p.outline, x, y));
    const width = (/** @type {any} */ p) => { const xs = p.outline.filter((/** @type {number} */ _, /** @type {number} */ i) => i % 2 === 0); return Math.max(...xs) - Math.min(...xs); };
    return hit.sort((/** @type {any} */ a, /** @type {any} */ b) => width(a) - width(b))[0]?.ref;
  }

  /** Write one entry, then take the new state. @param {string} kind @param {{points?: string[], value?: string, words?: string, part?: string, undoes?: string, options?: any, after?: string}} [rest] */
  note(kind, rest = {}) {
    const given = { up: false };
    return this.writing(kind, () => write(this.url('entries'), { kind, points: [], value: '', words: '', options: {}, ...rest }, given), { words: this.saying(kind, rest), given });
  }

  /** An entry in words before it is in the log. @param {string} kind @param {{points?: string[], value?: string}} rest */
  saying(kind, { points = [], value = '' }) {
    const { a, b } = tipsOf(this.bench, this.own);
    const names = points.map((id) => [a, b].find((t) => t?.id === id)?.name).filter(Boolean).join(' and ');
    return [kind === 'ohms' || kind === 'diode' ? value : NAMES[kind] ?? kind, names].filter(Boolean).join(': ');
  }

  /** @param {string} kind @param {() => Promise<any>} send @param {{words: string, given: {up: boolean}}} [unsent] */
  async writing(kind, send, unsent) {
    if (this.busy) {
      if (this.unsent || !['closed', 'open', 'ohms', 'skip'].includes(kind)) this.toast('Not noted: the entry before it is still being written. Once more, please.');
      return;
    }
    this.busy = true;
    this.lendEar();
    const waiting = setTimeout(() => {
      this.unsent = unsent ?? null;
      this.matNote();
      this.redraw();
      if (unsent) this.voice.tell('Not noted yet. Hold the next answer.');
    }, 1200);
    try {
      const out = await send();
      this.unsent = null;
      this.own = { a: null, b: null };
      const row = out.bench.readings.at(-1);
      const careful = carefulOf(out);
      const noted = kind === 'undo' ? sentence(out.words) : out.already ? `Noted at another screen already: ${out.words}` : `Noted: ${row && row.kind === kind ? toldShort(row) : out.words}`;
      this.toast(noted, careful.map((one) => `Careful: ${one}`).join(' '), careful.length > 0);
      this.busy = false;
      this.ring = [];
      await this.take(out.bench);
    } catch (err) {
      if (err instanceof GivenUp) this.toast('Given up: it is not noted, unless the server had it already. Look at the ones noted last.');
      else this.fail(err, 'Not noted. ');
    } finally {
      clearTimeout(waiting);
      this.unsent = null;
      this.matNote();
      this.busy = false;
      this.redraw();
      if (this.view === 'story') drawStory(byId('story'), this);
      if (this.view === 'wires') drawWires(byId('wires'), this);
      if (this.view === 'ohms') drawOhms(byId('ohms-leaf'), this);
      if (this.view === 'trust') drawTrust(byId('trust'), this);
    }
  }

  /** A word was understood as an answer or a wish. @param {string} name */
  heardSaid(name) {
    if (this.view !== 'bench') return;
    this.do(name);
  }

  /** The next key is the pedal's. @param {KeyboardEvent} e */
  learnPedal(e) {
    e.preventDefault();
    e.stopPropagation();
    if (e.key !== 'Escape') {
      this.pedal = learnt(this.pedal, this.pedalFor, e.key);
      localStorage.setItem('pedal', JSON.stringify(this.pedal));
    }
    this.pedalFor = '';
    freshenSound(this);
  }

  /** The slip shows other work than the check: what is answered now would be a check that nobody sees. */
  notNow() {
    if (this.first.shown) this.toast('Not noted: the slip shows what comes first of all the work. E goes back to the copper.', '', true);
    return this.first.shown;
  }

  /** @param {string} kind @param {string} [value] */
  answer(kind, value = '') {
    if (this.view !== 'bench' || this.notNow() || !canAnswer(this.bench, this.own)) return;
    const tips = tipsOf(this.bench, this.own);
    const options = kind === 'ohms' ? ohmsCheck(this.bench, this.own)?.meter?.options ?? {} : {};
    return this.note(kind, { points: [tips.a.id, tips.b.id], value, options, after: this.bench.readings.at(-1)?.entry ?? '' });
  }

  /** A touch of the meter answers the check in hand, as a key would; one that began before the check was shown answers nothing. @param {string} touch @param {number} [began] */
  meterTouch(touch, began = performance.now()) {
    if (this.view !== 'bench' || this.notNow() || !canAnswer(this.bench, this.own)) return;
    if (this.busy || began < this.shownAt) return this.toast('That touch began before this check was shown: it is not noted. Lift the tips and touch again.');
    const tips = tipsOf(this.bench, this.own);
    return this.writing('ohms', () => insist(this.url('meter/readings'), { touch, points: [tips.a.id, tips.b.id], mark: this.bench.mark }));
  }

  async touch() {
    if (!this.bench?.practice || this.notNow() || !canAnswer(this.bench, this.own)) return;
    const tips = tipsOf(this.bench, this.own);
    try {
      const pair = tips.a.id + tips.b.id + this.bench.acts;
      this.patient.attempt = pair === this.patient.pair ? this.patient.attempt + 1 : 0;
      this.patient.pair = pair;
      this.patient.answer = await post(this.url('practice/ask'), { points: [tips.a.id, tips.b.id], attempt: this.patient.attempt, wires: ohmsCheck(this.bench, this.own)?.meter?.options.wires ?? 2 });
      this.redraw();
      if (this.patient.auto) await this.answer(...notedAs(this.patient.answer, ohmsCheck(this.bench, this.own)));
    } catch (err) {
      this.fail(err);
    }
  }

  /** One door for keys, buttons and touches. @param {string} name @param {any} [x] @param {any} [y] @param {any} [z] */
  async do(name, x, y, z) {
    const act = this.acts[name];
    if (!act) return;
    try {
      await act(x, y, z);
    } catch (err) {
      this.fail(err);
    }
    if (document.querySelector('dialog[open]')) this.lendEar(); // nothing answers behind what lies open
  }

  /** @type {Record<string, (x?: any, y?: any, z?: any) => any>} */
  acts = {
    closed: () => this.answer('closed'),
    open: () => this.answer('open'),
    ohms: (v) => v && this.answer('ohms', v),
    skip: () => { if (this.view !== 'bench' || this.notNow() || !canAnswer(this.bench, this.own)) return; if (this.skipping) return this.acts.skipTip('both'); this.skipping = true; this.lendEar(); this.redraw(); },
    tipB: () => this.view === 'bench' && this.skipping && this.acts.skipTip('b'),
    skipTip: (/** @type {'a'|'b'|'both'} */ which) => { const t = tipsOf(this.bench, this.own); this.skipping = false; return this.note('skip', { points: which === 'both' ? [t.a.id, t.b.id] : [t[which].id] }); },
    skipNone: () => { this.skipping = false; this.redraw(); },
    diode: (v) => v && this.answer('diode', v),
    cutHere: (/** @type {boolean} */ stays) => { const t = tipsOf(this.bench, this.own); return this.note('cut', { points: [t.a.id, t.b.id], options: stays ? { stays } : {} }); },
    wireHere: () => { const t = tipsOf(this.bench, this.own); return this.note('patch', { points: [t.a.id, t.b.id] }); },
    listen: async () => { await this.listening.toggle(); if (this.listening.state === 'trouble') this.toast(this.listening.words, '', true); },
    pedalLearn: (act) => { this.pedalFor = this.pedalFor === act ? '' : act; freshenSound(this); },
    pedalForget: () => { this.pedal = {}; localStorage.removeItem('pedal'); freshenSound(this); },
    slower: () => { this.voice.slower(); return this.speak(); },
    askOhms: (f) => { this.ohm = { ...this.ohm, ...f }; return drawOhms(byId('ohms-leaf'), this); },
    ohmsZeroed: (on) => this.acts.askOhms({ zeroed: on }),
    ohmsRead: (/** @type {any[]} */ force, /** @type {any[]} */ sense, /** @type {string} */ value) => this.note('ohms', { points: force.map((/** @type {any} */ p) => p.id), value, options: { ...howRead(this.ohm), ...(sense.length ? { sense: sense.map((/** @type {any} */ p) => p.id), wires: 4 } : {}) } }),
    showPlace: async (one) => { await this.acts.view('bench'); this.show('bench'); await this.map.show([[one.x_mm, one.y_mm]], ['c', 's'].includes(one.layer) ? one.layer : undefined); },
    showEllipse: async (e) => { const ring = ellipseRing(e); await this.acts.view('bench'); this.show('bench'); await this.map.show(ring); this.ring = ring; this.redraw(); },
    useTimes: async () => { await post(this.url('times'), {}); this.toast('Noted: this case is planned with these times.'); await this.refresh(); return drawTrust(byId('trust'), this); },
    mapFix: (f) => this.note('map', { value: f.says, words: f.words ?? '', points: f.says === 'agreed' ? [] : [f.a, f.says === 'apart' ? '' : f.b].filter(Boolean) }),
    railRead: (rail, value) => this.note('ohms', { points: [rail.point_a, rail.point_b], value }),
    railsByHand: (f) => this.note('gate', { words: `${f.rail} to ground ${f.value} ohm`, options: { item: 'rails' } }),
    meterTouch: (id, began) => this.meterTouch(id, began),
    meterNow: async () => this.meterTouch((await post('/api/meters/now', {})).touch),
    hear: async () => { await this.hearing.toggle(); if (this.hearing.state === 'trouble') this.toast(this.hearing.words, '', true); },
    tipTest: () => this.hearing.test(),
    say: () => this.speak(),
    mute: async () => { this.voice.keep({ on: !this.voice.set.on }); if (this.voice.set.on && !(await this.speak())) this.voice.keep({ on: false }); },
    sound: () => openSheet(this),
    again: () => { if (this.view !== 'bench') return; if (this.skipping) return this.acts.skipTip('a'); this.hearing.again(); this.patient.answer = null; byId('say').textContent = spoken(this.bench, this.own, (t) => lyingWhere(t, this.map.view)); this.toast('Lift both tips, set them again, then answer.'); this.redraw(); },
    back: () => { if (this.unsent) return void (this.unsent.given.up = true); if (this.view !== 'bench') return this.takeBack.press(); const last = lastAnswer(this.bench); return last ? this.note('undo', { undoes: last.entry }) : this.toast('Nothing to take back.'); },
    value: () => byId('ohms')?.focus(),
    touch: () => this.touch(),
    auto: (on) => { this.patient.auto = on; localStorage.setItem('auto', on ? 'yes' : 'no'); },
    layPhoto: () => (this.laySheet ??= new LaySheet(this)).open(),
    turn: () => this.map.turn('upright').then(() => this.redraw()),
    turnLid: () => this.map.turn('level').then(() => this.redraw()),
    rotate: () => { this.map.rotate(); this.redraw(); },
    spinLeft: () => { this.map.spin(-5); this.redraw(); },
    spinRight: () => { this.map.spin(5); this.redraw(); },
    nearer: () => this.map.zoom(1.35),
    further: () => this.map.zoom(1 / 1.35),
    fit: () => this.map.fit(),
    left: () => this.map.move(pan(this.map.view, 60, 0)),
    right: () => this.map.move(pan(this.map.view, -60, 0)),
    up: () => this.map.move(pan(this.map.view, 0, 60)),
    down: () => this.map.move(pan(this.map.view, 0, -60)),
    reopen: () => this.open(this.id),
    goto: () => { const t = tipsOf(this.bench, this.own); if (t.a && t.b) return this.map.show([[t.a.x_mm, t.a.y_mm], [t.b.x_mm, t.b.y_mm]], t.a.side === this.map.view.face || t.b.side === this.map.view.face ? undefined : t.a.side).then(() => this.redraw()); this.follow(); },
    showTip: (tip) => this.map.show([[tip.x_mm, tip.y_mm]], tip.side).then(() => this.redraw()),
    showWire: async (w) => { location.hash = `#/case/${this.id}/bench`; this.show('bench'); await this.map.show(w.path, w.a.side); this.map.lay({ wires: [...this.map.laid.wires, { a: w.path[0], b: w.path[w.path.length - 1], side: w.a.side === w.b.side ? w.a.side : '', planned: true, path: w.path, dots: w.dots }] }); },
    showSpan: async (span) => { location.hash = `#/case/${this.id}/bench`; this.show('bench'); await this.map.show(span.path.flatMap((/** @type {any} */ p) => p[1]), ['c', 's'].includes(span.path[0]?.[0]) ? span.path[0][0] : undefined); this.map.lay({ spans: [span] }); },
    tip: (point, which) => { this.own = placeTip(this.own, point, which); this.patient.answer = null; this.redraw(); },
    measure: (c) => { this.own = { a: c.a, b: c.b }; this.first.open = false; this.patient.answer = null; this.acts.view('bench'); this.redraw(); this.shownCheck = ''; setTimeout(() => this.follow(), 50); },
    clearOwn: () => { this.own = { a: null, b: null }; this.patient.answer = null; this.redraw(); },
    choose: async (p) => { this.chosen = p; this.own = placeTip(this.own, p, null); if (p.side !== this.map.view.face) await this.map.turn('upright'); if (!this.inSight([[p.x_mm, p.y_mm]])) await this.map.show([[p.x_mm, p.y_mm]]); this.redraw(); },
    clear: (/** @type {boolean} */ keepTips) => { this.skipping = false; this.ring = []; if (!keepTips) this.own = { a: null, b: null }; if (byId('help').open) byId('help').close(); this.net = this.chosen = null; this.area = null; if (this.wish) return this.acts.wishCancel(); byId('twin').hidden = byId('legend').hidden = true; byId('tool-marks').setAttribute('aria-pressed', 'false'); if (document.activeElement instanceof HTMLElement) document.activeElement.blur(); this.redraw(); },
    view: (v) => { location.hash = `#/case/${this.id}/${v}`; },
    view1: () => this.acts.view('bench'), view2: () => this.acts.view('story'), view3: () => this.acts.view('wires'), view4: () => this.acts.view('ohms'), view5: () => this.acts.view('trust'), view6: () => this.acts.view('record'),
    lamp: () => this.light(document.documentElement.dataset.light === 'lamp' ? 'day' : 'lamp'),
    help: () => (byId('help').open ? byId('help').close() : byId('help').showModal()),
    marks: () => { byId('legend').hidden = !byId('legend').hidden; byId('tool-marks').setAttribute('aria-pressed', String(!byId('legend').hidden)); },
    list: () => { byId('twin').hidden = !byId('twin').hidden; this.redraw(); },
    find: async (text) => this.find(String(text ?? '').trim()),
    newArea: () => { this.area = { mode: 'part', part: '', margin: '3', corners: [], kind: 'rework', severity: 2 }; this.net = this.chosen = null; this.redraw(); byId('mat-note').textContent = ''; },
    areaMode: (mode) => { this.area.mode = mode; this.redraw(); },
    wishPlace: (what) => { this.wish = wishFor(what); this.area = null; this.net = this.chosen = null; this.acts.view('bench'); this.show('bench'); byId('mat-note').textContent = ''; },
    wishCancel: () => { const what = this.wish?.what; this.wish = null; this.redraw(); this.acts.view('wires'); this.focusNext = what ? `own-tap-${what}` : ''; },
    areaCancel: () => { this.area = null; this.redraw(); },
    areaSave: () => this.saveArea(),
    wireFitted: (w) => this.note('patch', { points: [w.a.id, w.b.id], words: w.words_short ?? '', options: w.options ?? {} }),
    cutStays: async (cuts) => {
      for (const one of cuts) {
        await this.note('undo', { undoes: one.entry });
        if (this.bench.cuts.some((/** @type {any} */ c) => c.entry === one.entry)) return; // it was not taken: the message says so
        await this.note('cut', { points: [`${one.x_mm},${one.y_mm}/${one.side}`], options: { stays: true } });
      }
    },
    cutDone: (one) => this.note('cut', { points: [`${one.x_mm.toFixed(2)},${one.y_mm.toFixed(2)}/${one.side}`] }),
    partAct: (kind, part) => this.note(kind, { part }),
    pinValue: (f, point) => this.note(f.kind, f.kind === 'heat' ? { part: point.part, value: f.value } : { points: [point.id], value: f.value }),
    progress: (f) => this.note('progress', { value: f.state }),
    tested: (f) => this.note('test', { value: f.result, options: { item: f.item } }),
    takeIn: async (form) => { const out = await send('/api/import', /** @type {File} */ (new FormData(form).get('file')), {}); this.toast(`Taken in: ${out.new} new entries.`); location.hash = `#/case/${out.case}/bench`; },
    remedy: (r) => this.note(r.kind, { points: r.points, part: r.part, words: r.words, ...(r.undoes ? { undoes: r.undoes } : {}) }),
    doIt: () => this.view === 'bench' && !this.own.a && /** @type {HTMLElement|null} */ (document.querySelector('#slip [data-main]:not(:disabled)'))?.click(),
    everything: () => { if (this.view !== 'bench') return; this.first.toggle(); if (this.first.other) byId('say').textContent = this.first.shown ? this.first.words : spoken(this.bench, this.own, (t) => lyingWhere(t, this.map.view)); this.redraw(); },
    act: (step) => this.note(step.kind === 'short' ? 'clean' : step.kind, { words: step.words }),
    gate: (item) => this.note('gate', { options: { item: item.item } }),
    limit: (f) => this.note('gate', { options: { item: 'limit', limit_a: f.limit_a, abort_a: f.abort_a } }),
    power: (how) => this.note('power', { value: how || 'on' }),
    override: (f) => this.note('gate', { words: f.why, options: { item: 'override' } }),
    seen: (f) => this.note('seen', { words: f.words, options: { screen: f.screen, sound: f.sound, smell: f.smell, current_a: f.current_a } }),
    words: (f) => this.note(f.kind, { words: f.words }),
    photo: async (form) => { const data = new FormData(form); await send(this.url('photos'), /** @type {File} */ (data.get('file')), { words: String(data.get('words') ?? '') }); this.toast('Photo kept.'); await this.refresh(); },
    practise: async (asked) => { this.toast('Setting up the demonstration machine …'); const out = await post('/api/practice', asked ?? {}); location.hash = `#/case/${out.id}/bench`; },
    newCase: async (f) => { const out = await post('/api/cases', f); location.hash = `#/case/${out.id}/bench`; },
    truth: async () => { byId('help').addEventListener('close', () => this.chrome(), { once: true }); await openFinish(byId('help'), this); },
  };

  async saveArea() {
    const d = this.area;
    this.busy = true;
    byId('mat-note').textContent = 'Planning the round …';
    try {
      const body = d.mode === 'part' ? { part: d.part, margin_mm: d.margin, polygon: [], kind: d.kind, severity: d.severity } : { part: '', polygon: d.corners, kind: d.kind, severity: d.severity };
      const out = await post(this.url('areas'), body);
      this.area = null;
      this.busy = false;
      this.toast(`Noted: ${out.words}`);
      await this.take(out.bench);
    } finally {
      this.busy = false;
      byId('mat-note').textContent = '';
    }
  }

  /** @param {string} text */
  async find(text) {
    if (this.view === 'home') return byId('case-search')?.select();
    if (!text) return byId('find-text').select();
    const found = await get(this.url(`find?text=${encodeURIComponent(text)}`));
    byId('find-text').blur();
    if (this.view !== 'bench') location.hash = `#/case/${this.id}/bench`;
    if (found.net >= 0) await this.light_net(found.net, found.point ?? '');
    this.redraw(); // the card is there before the net is brought beside it
    await this.map.show(found.places, found.side || undefined);
    this.redraw();
  }

  /** @param {string} words @param {string} [more] */
  toast(words, more = '', bad = false) {
    const el = byId('toast');
    el.className = [bad ? 'bad' : '', this.view === 'bench' && words.length <= FAR_WORDS ? 'far' : ''].filter(Boolean).join(' ');
    fill(el, h('span', null, words, more ? h('small', null, more) : null));
    el.hidden = false;
    clearTimeout(this.toastTimer);
    this.toastTimer = setTimeout(() => { el.hidden = true; }, bad ? 9000 : 2600);
  }

  toastTimer = 0;

  /** @param {unknown} err @param {string} [before] */
  fail(err, before = '') {
    const f = findingOf(err);
    this.toast(before + f.words, `${f.remedy} (${f.code})`, true);
  }
}

/** @type {any} */ (window).bench = new App();
sayLimits();
