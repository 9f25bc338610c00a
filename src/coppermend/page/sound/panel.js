// @ts-check
/** The sound line under the answers (ear, voice) and the sheet with its settings. */
import { byId, fill, h } from '../shared/dom.js';
import { icon } from '../shared/icons.js';
import { PEDAL_ACTS, keyWords } from '../shared/pedal.js';
import { WORDS } from '../speech/listen.js';
import { tipsWords, unheardWords } from '../meter/words.js';
import { stateWords } from './hearing.js';

/** @typedef {import('../main.js').App} App */

/** @param {App} app @returns {HTMLElement} */
export function soundLine(app) {
  const { hearing, voice } = app;
  const on = hearing.state !== 'off' && hearing.state !== 'trouble';
  return h('div.sound', null,
    h('button.key.slim', { type: 'button', id: 'hear', 'aria-pressed': String(on), 'data-state': hearing.state, onclick: () => app.do('hear') }, icon('ear', 20), `Ear: ${stateWords(hearing)}`, h('kbd', null, 'H')),
    h('button.key.slim', { type: 'button', id: 'say-again', onclick: () => app.do('say') }, icon('voice', 20), voice.dumb ? 'No voice' : voice.set.on ? 'Say again' : 'Voice off', h('kbd', null, 'S')),
    h('button.key.slim', { type: 'button', id: 'sound-more', onclick: () => app.do('sound') }, 'Sound'),
    meterLine(app),
    h('output.sound-words', { id: 'sound-words', 'aria-live': 'polite' }, hearing.heardWords || hearing.words || app.listening.words || (voice.dumb ? voice.words : '')));
}

/** The meter, where this browser reads one; else the way to its page. @param {App} app */
function meterLine(app) {
  const { now } = app.meter;
  const page = `/page/meter.html?case=${encodeURIComponent(app.id)}`;
  if (!now || now.state === 'off') return h('a.key.slim', { href: page, id: 'meter-page' }, 'Meter');
  return h('div.meter-line', { 'data-state': now.state },
    h('button.key.slim', { type: 'button', id: 'meter-now', disabled: now.state !== 'on' || Boolean(unheardWords(now, Boolean(app.bench?.practice))), onclick: () => app.do('meterNow') }, 'Meter: take it now'),
    h('a', { href: page, id: 'meter-page' }, now.name || 'Meter'), h('span', { id: 'meter-words' }, unheardWords(now, Boolean(app.bench?.practice)) || tipsWords(now)));
}

/** Only what changes while listening; the slip is not drawn anew. @param {App} app */
export function freshenSound(app) {
  const old = document.querySelector('#slip .sound');
  if (old && app.holding) app.late = true;
  else if (old) {
    const held = /** @type {any} */ (document.activeElement)?.id;
    old.replaceWith(soundLine(app));
    if (held && document.activeElement?.id !== held) byId(held)?.focus({ preventScroll: true });
  }
  const sheet = document.getElementById('sound-sheet');
  if (sheet instanceof HTMLDialogElement && sheet.open) drawSheet(sheet, app);
}

/** @param {App} app */
export function openSheet(app) {
  let sheet = /** @type {HTMLDialogElement|null} */ (document.getElementById('sound-sheet'));
  if (!sheet) {
    sheet = /** @type {HTMLDialogElement} */ (h('dialog', { id: 'sound-sheet', 'aria-label': 'Sound' }));
    let byHand = false; // a sheet that is closed by a press leaves the keyboard free; who closes it by a key is back where it was opened
    sheet.addEventListener('click', (e) => { byHand = e.detail > 0; }, true);
    sheet.addEventListener('keydown', () => { byHand = false; }, true);
    sheet.addEventListener('close', () => { if (!byHand) byId('sound-more')?.focus({ preventScroll: true }); });
    document.body.append(sheet);
  }
  if (sheet.open) return sheet.close();
  drawSheet(sheet, app);
  sheet.showModal();
}

/** Answers by the person's own voice, where the browser understands it without sending it anywhere. @param {App} app @param {(id: string, words: string, act: () => any, ok?: boolean) => HTMLElement} button */
function spokenAnswers(app, button) {
  const { listening } = app;
  const on = listening.state === 'listening' || listening.state === 'opening';
  return [h('h2', null, 'Spoken answers'), h('p', { role: 'status', id: 'listen-words' }, listening.words || `Say ${WORDS}.`), h('div.row', null, button('listen-switch', on ? 'Stop listening for words' : 'Listen for words', () => app.do('listen')))];
}

/** Which key of a pedal means what. @param {App} app @param {(id: string, words: string, act: () => any, ok?: boolean) => HTMLElement} button */
function pedal(app, button) {
  const waiting = PEDAL_ACTS.find(([act]) => act === app.pedalFor);
  return [h('h2', null, 'Pedal'), h('p', { role: 'status', id: 'pedal-words' }, waiting ? `Press the pedal for "${waiting[1]}" now. Esc leaves it.` : 'A pedal sends keys as a keyboard does. Choose what it means, then press it.'),
    h('div.row', null, PEDAL_ACTS.map(([act, words]) => button(`pedal-${act}`, `${words}: ${app.pedal[act] ? keyWords(app.pedal[act]) : 'none'}`, () => app.do('pedalLearn', act))), Object.keys(app.pedal).length ? button('pedal-forget', 'Forget all', () => app.do('pedalForget')) : null)];
}

/** @param {HTMLDialogElement} sheet @param {App} app */
function drawSheet(sheet, app) {
  const { hearing, voice } = app;
  const held = /** @type {any} */ (document.activeElement)?.id;
  const live = Boolean(hearing.mic), { meter, taps, wait_s, hold_ms } = hearing.set;
  const button = (/** @type {string} */ id, /** @type {string} */ words, /** @type {() => any} */ act, ok = true) => h('button.key.slim', { type: 'button', id, disabled: !ok, onclick: act, 'aria-pressed': id === `pedal-${app.pedalFor}` ? 'true' : null }, words);
  fill(sheet, h('h2', null, 'Ear'),
    h('p', null, meter ? `Your meter: ${Math.round(meter.hz)} Hz. A beep counts from ${hold_ms} ms on.` : 'Your meter is not known yet. Switch the ear on and beep twice.'),
    h('p', { role: 'status' }, hearing.heardWords || hearing.words),
    h('div.row', null,
      button('ear-switch', live ? 'Switch the ear off' : 'Switch the ear on', () => app.do('hear')),
      button('ear-learn', 'Learn my meter', () => hearing.learn(), live),
      button('ear-test', hearing.state === 'test' ? 'End the tip test' : 'Test the tips', () => app.do('tipTest'), live && Boolean(meter))),
    h('div.row', null,
      taps ? button('ear-taps', 'Double tap is open: forget it', () => hearing.keep({ taps: false, hold_ms: 100 })) : button('ear-taps', 'Learn a double tap for "open"', () => hearing.learnTaps(), live && Boolean(meter)),
      h('label.field', null, 'Silence means open after', h('select', { id: 'ear-wait', onchange: (/** @type {any} */ e) => hearing.keep({ wait_s: Number(e.target.value) }) }, [0, 3, 4, 6, 8, 12].map((s) => h('option', { value: s, selected: s === wait_s }, s ? `${s} s` : 'never'))))),
    h('p.why', null, 'Nothing is recorded; the sound stays in this window.'),
    spokenAnswers(app, button),
    pedal(app, button),
    h('h2', null, 'Voice'),
    h('p', { role: 'status' }, voice.words),
    h('div.row', null,
      button('voice-switch', voice.set.on ? 'Mute' : 'Speak the checks', () => app.do('mute')),
      h('label.field', null, 'Speed', h('select', { id: 'voice-speed', onchange: (/** @type {any} */ e) => voice.keep({ speed: Number(e.target.value) }) }, [0.6, 0.8, 1, 1.3].map((s) => h('option', { value: s, selected: s === voice.set.speed }, { 0.6: 'slow', 0.8: 'calm', 1: 'usual', 1.3: 'quick' }[String(s)]))))),
    h('form', { method: 'dialog' }, h('button.key.hot', null, 'Good')));
  if (held) byId(held)?.focus({ preventScroll: true });
}
