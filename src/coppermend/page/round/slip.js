// @ts-check
/** The slip: the one thing to do now, large, with its answers. Draws; decides nothing. */
import { fill, h } from '../shared/dom.js';
import { icon, tipMark } from '../shared/icons.js';
import { ohms, seconds, sentence, sentences } from '../shared/words.js';
import { netName } from '../shared/netname.js';
import { inPageWords } from '../shared/pagewords.js';
import { drawInset } from '../map/inset.js';
import { lyingPlace } from '../map/rows.js';
import { soundLine } from '../sound/panel.js';
import { firstBody, firstLine } from './first.js';
import { canAnswer, lastAnswer, notedAs, ohmsCheck, patientWords, ticks, tipsOf, toldShort } from './state.js';

/** @typedef {import('../main.js').App} App */

/** @param {HTMLElement} el @param {App} app */
export function drawSlip(el, app) {
  const { bench, own } = app;
  if (app.error) {
    fill(el, h('p.step-words', { role: 'alert' }, app.error.words), h('p.why', null, app.error.remedy), h('p.why', null, h('code', null, app.error.code)), h('div.row', null, h('button.key.hot', { type: 'button', onclick: () => app.do('reopen') }, 'Try again'), h('a.key', { href: '#' }, 'All cases')));
    return;
  }
  if (!bench) {
    fill(el, h('p.step-words', { role: 'status' }, app.scene ? 'Planning the round …' : 'Reading the board …'), h('div.skeleton', null), h('div.skeleton', null), h('div.skeleton', null));
    return;
  }
  const tips = tipsOf(bench, own);
  const step = bench.step;
  const body = app.first.shown ? firstBody(app) : tips.own || step?.check ? checkBody(app, tips) : stepBody(app);
  fill(el, head(app, tips), app.first.shown ? null : firstLine(app), ...body, spike(app));
  for (const canvas of el.querySelectorAll('canvas[data-tip]')) {
    const which = /** @type {'a'|'b'} */ (canvas.getAttribute('data-tip'));
    drawInset(/** @type {HTMLCanvasElement} */ (canvas), app.map, which, tips[which]);
  }
}

/** @param {App} app @param {ReturnType<typeof tipsOf>} tips */
function head(app, tips) {
  const { bench } = app;
  const p = bench.progress;
  const strip = ticks(bench.readings, p.left, Boolean(tips.own || bench.step?.check));
  const name = app.first.shown ? 'First of all the work' : tips.own ? 'Your own check' : bench.step?.title ?? 'Next';
  const left = p.left ? `${p.left} to go, ${seconds(p.left_seconds)} modelled` : '';
  return h('div', null,
    h('div.ticks', { role: 'img', 'aria-label': `${p.done} readings, ${p.left} checks to go` }, strip.map((t) => h(`i.${t}`, null))),
    h('div.slip-head', null, h('b', null, name), tips.own ? h('button.key.slim', { type: 'button', id: 'not-own', onclick: () => app.do('clearOwn') }, 'Back to the proposed check') : h('span', null, left)),
    app.unsent ? h('p.need.unsent', { role: 'status' }, h('span', null, `Not noted yet: ${app.unsent.words}.`, h('span.more', null, ' It is kept in this browser and sent as soon as the server answers.')), h('button.key.slim', { type: 'button', id: 'give-up', onclick: () => app.do('back') }, 'Give it up', h('kbd', null, 'Z'))) : null);
}

/** @param {App} app @param {ReturnType<typeof tipsOf>} tips */
function checkBody(app, tips) {
  const { bench } = app;
  const check = tips.own ? null : bench.step.check;
  const ready = canAnswer(bench, app.own);
  const looks = [
    needs(check, bench.states).length ? h('p.need', null, needs(check, bench.states).join('; ')) : null,
    ...sideBand(app, tips, Boolean(check?.turn_over)),
    ...[tips.a, tips.b].filter((t) => tips.own && t && !t.reachable).map((t) => h('p.need.reach', null, `A tip cannot get to ${t.name} there: ${t.why_not}`)),
    tipBlock(app, 'a', tips.a, tips),
    tipBlock(app, 'b', tips.b, tips),
    expectLine(check, tips),
    check ? h('p.why', null, sentences(bench.step.reason || check.reason)) : h('p.why', null, ready ? 'Any two points may be measured; the round shrinks by what it proves.' : 'Tap the place of the other tip on the board.'),
  ];
  return [
    h('div.first', null, h('div.looks', null, looks), answers(app, ready)),
    app.skipping || ohmsCheck(bench, app.own) ? null : valueForm(app, ready),
    ready && app.own.a ? betweenTwo(app) : null,
    soundLine(app),
  ];
}

/** Part states that the check needs and that are not so now. @param {any} check @param {Record<string, string>} states @returns {string[]} */
const needs = (check, states) => (check?.needs ?? []).filter((/** @type {string} */ n) => { const [ref, ...state] = n.split(' '); return states[ref] !== state.join(' '); });

/** Are both tips on one side? Then it is said once. @param {ReturnType<typeof tipsOf>} tips */
const oneSide = (tips) => Boolean(tips.a && tips.b && tips.a.side === tips.b.side);

/** The side where both tips go, large, over the pattern of its edge; two sides are said at their tips. @param {App} app @param {ReturnType<typeof tipsOf>} tips @param {boolean} over the board is to be turned over */
function sideBand(app, tips, over) {
  if (!oneSide(tips)) return over ? [h('p.need', null, 'Turn the board over')] : [];
  const other = over || tips.a.side !== app.map.view.face; // the map lies as the board lies: its other side is the board's
  return [h(other ? 'p.face.other' : 'p.face', { 'data-side': tips.a.side }, sentence(`${other ? 'turn over: ' : ''}${tips.a.side_words}`))];
}

/** @param {App} app @param {'a'|'b'} which @param {any} tip @param {ReturnType<typeof tipsOf>} tips */
function tipBlock(app, which, tip, tips) {
  if (!tip) return h('div.tip', null, h('div.name', null, tipMark(which), h('span', null, 'tap a place')));
  const { name, thing, place } = lyingPlace(tip, app.map.view);
  return h('div.tip', null,
    h('div.name', null, tipMark(which, 36), h('span', null, name, thing ? h('span.thing', null, ` ${thing}`) : null)),
    place ? h('div.where', null, place.replace(' row,', '\u00a0row,')) : null,
    oneSide(tips) ? null : h(tip.side !== app.map.view.face ? 'div.where.side.other' : 'div.where.side', null, tip.side_words),
    thing || tip.kind === 'via' || tip.kind === 'land' ? null : h('div.touch', null, sentence(tip.touch)),
    h('canvas', { 'data-tip': which, role: 'img', 'aria-label': `close look at ${tip.name}`, onclick: () => app.do('showTip', tip) }));
}

/** @param {any} check @param {ReturnType<typeof tipsOf>} tips */
function expectLine(check, tips) {
  if (!check) {
    if (!tips.a || !tips.b) return null;
    const same = tips.a.net === tips.b.net;
    return h('div.expect', null, same ? 'should beep' : 'should not beep', h('small', null, same ? ['one net: ', netName(tips.a.net_name ?? '')] : [netName(tips.a.net_name ?? ''), ' and ', netName(tips.b.net_name ?? ''), ': two nets']));
  }
  if (check.purpose === 'isolation') return h('div.expect', null, 'should not beep', check.net_a === check.net_b ? h('small', null, netName(check.net_a), ' was cut between these two') : h('small', null, netName(check.net_a), ' and ', netName(check.net_b), ' run close here'));
  if (check.purpose === 'ohms') return h('div.expect.in-ohms', null, 'read ohms', h('span.ohm', null, `sound ${ohms(check.expected_ohm)}, else ${ohms(check.broken_ohm)}`), h('small', null, 'net ', netName(check.net_a), check.meter ? `; ${check.meter.words}` : ''));
  return h('div.expect', null, 'should beep', check.expected_ohm ? h('span.ohm', null, `about ${ohms(check.expected_ohm)}`) : null, h('small', null, 'net ', netName(check.net_a)));
}

/** @param {App} app */
function patientBox(app) {
  const { answer, auto } = app.patient;
  return h('div.patient', null,
    h('button.key.hot', { type: 'button', onclick: () => app.do('touch'), id: 'touch' }, 'Touch the tips', h('kbd', null, 'Space')),
    h('output', { 'aria-live': 'polite' }, answer ? patientWords(answer) : ''),
    h('label', null, h('input', { type: 'checkbox', checked: auto, onchange: (/** @type {any} */ e) => app.do('auto', e.target.checked) }), 'note it'));
}

/** @param {App} app @param {boolean} ready */
function answers(app, ready) {
  const fine = ohmsCheck(app.bench, app.own), told = app.patient.answer;
  const said = told ? notedAs(told, fine)[0] : '';
  const big = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ cap) =>
    h(`button.key${said === name ? '.chosen' : ''}`, { type: 'button', disabled: !ready || app.busy, onclick: () => app.do(name), id: `answer-${name}` }, icon(name, 28), words, h('kbd', null, cap));
  if (app.skipping) return whichTip(app);
  const small = (/** @type {string} */ name, /** @type {string} */ words, /** @type {string} */ cap, ok = true) =>
    h('button.key', { type: 'button', disabled: !ok || app.busy, onclick: () => app.do(name), id: `answer-${name}` }, icon(name, 20), words, h('kbd', null, cap));
  return h('div.stack.hands', null,
    app.bench.practice && ready ? patientBox(app) : null,
    fine ? valueForm(app, ready, told ? notedAs(told, fine)[1] : '') : null,
    fine ? h('p.why', null, 'A beep tells nothing here. No such meter: Closed, it goes on.') : null,
    h(fine ? 'div.answers.less' : 'div.answers', { role: 'group', 'aria-label': 'Answer' },
      big('closed', 'Closed', 'C'), big('open', 'Open', 'O'),
      h('div.three', null, small('again', 'Again', 'A', ready), small('skip', 'Can’t reach', 'N', ready), small('back', 'Back', 'Z', Boolean(lastAnswer(app.bench))))));
}

/** A value instead of a beep; where only ohms tell something, `shown` is what the practice patient's meter shows. @param {App} app @param {boolean} ready @param {string} [shown] */
function valueForm(app, ready, shown) {
  const main = shown !== undefined;
  return h('form.value', { onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); const { ohms: value, unit } = /** @type {any} */ (e.target).elements; app.do(unit.value, value.value); } },
    h('label.quiet', { for: 'ohms' }, 'Value from the meter'),
    h('input', { id: 'ohms', name: 'ohms', placeholder: '0.3, 4k7, OL', autocomplete: 'off', inputmode: 'text', disabled: !ready, value: shown || null }),
    h('select', { name: 'unit', id: 'value-unit', 'aria-label': 'What was read', disabled: !ready }, h('option', { value: 'ohms' }, 'ohms'), h('option', { value: 'diode' }, 'diode, V')),
    h(`button.key.${main ? 'hot' : 'slim'}${shown ? '.chosen' : ''}`, { disabled: !ready || app.busy, id: main ? 'answer-ohms' : null, 'data-main': main || null }, 'Note', main ? h('kbd', null, 'D') : null));
}

/** Which tip cannot reach its place: only that point is left out of the plan. @param {App} app */
function whichTip(app) {
  const tips = tipsOf(app.bench, app.own);
  const one = (/** @type {'a'|'b'} */ which) => h('button.key', { type: 'button', id: `skip-${which}`, disabled: app.busy, onclick: () => app.do('skipTip', which) }, tipMark(which, 28), h('span', null, tips[which].name), h('kbd', null, which.toUpperCase()));
  return h('div.stack.hands', null, h('div.answers', { role: 'group', 'aria-label': 'Which tip cannot reach?' }, h('p.ask-tip', null, 'Which tip can’t reach?', h('small', null, 'The plan leaves its place out.')), one('a'), one('b'),
    h('div.three', null, h('button.key', { type: 'button', id: 'skip-both', disabled: app.busy, onclick: () => app.do('skipTip', 'both') }, 'Both', h('kbd', null, 'N')), h('button.key', { type: 'button', id: 'skip-none', onclick: () => app.do('skipNone') }, 'They can', h('kbd', null, 'Esc')))));
}

/** What else may be between two points that the person chose. @param {App} app */
function betweenTwo(app) {
  return h('details.cautions', null, h('summary', null, 'Something was done between these two'),
    h('div.row', null, h('button.key.slim', { type: 'button', id: 'cut-here', disabled: app.busy, onclick: () => app.do('cutHere', false) }, 'The track was cut'), h('button.key.slim', { type: 'button', id: 'cut-stays-here', disabled: app.busy, onclick: () => app.do('cutHere', true) }, 'Cut, and it stays so'), h('button.key.slim', { type: 'button', id: 'wire-here', disabled: app.busy, onclick: () => app.do('wireHere') }, 'A wire was fitted')));
}

/** Anything that is not a check: an area to mark, a wire to fit, the gate, the end. @param {App} app */
function stepBody(app) {
  const { bench } = app;
  const step = bench.step;
  if (step.kind === 'area') return [h('p.step-words', null, step.words), h('p.why', null, step.reason), h('button.key.hot', { type: 'button', onclick: () => app.do('newArea') }, icon('area'), 'Mark a work area'), h('p.why', null, 'Then tap a part on the board, or the corners of the damaged place.')];
  const broken = step.kind === 'patch' && step.span;
  return [
    h('p.step-words', null, broken ? ['Net ', netName(step.span.net), step.cuts?.length ? ' is in pieces by a cut' : ' is broken'] : sentence(inPageWords(untitled(step)))),
    broken ? h('p.where-broken', null, sentence(step.span.words)) : null,
    step.reason ? h('p.why', null, sentences(inPageWords(step.reason))) : null,
    broken ? null : numbers(bench.progress),
    step.remedy ? h('button.key.hot', { type: 'button', 'data-main': true, disabled: app.busy, onclick: () => app.do('remedy', step.remedy) }, step.remedy.done, h('kbd', null, 'D')) : null,
    step.wire && !step.remedy ? wireBox(app, step.wire) : null,
    actions(app, step),
    step.notes?.length ? h('details.cautions', null, h('summary', null, step.kind === 'gate' ? 'What is to be done' : `${step.notes.length} more to know`), h('ul', null, step.notes.map((/** @type {string} */ n) => h('li', null, inPageWords(n))))) : null,
  ];
}

/** The step's words without its title before them: the title stands above. Pure. @param {{title: string, words: string}} step */
export const untitled = ({ title, words }) => (title && words.startsWith(`${title}: `) ? words.slice(title.length + 2) : words);

/** @param {any} p */
function numbers(p) {
  const cell = (/** @type {string} */ t, /** @type {any} */ v) => h('div', null, h('dt', null, t), h('dd', null, v));
  return h('dl.numbers', null, cell('proven', p.proven), cell('not proven', p.unproven), cell('can’t be proven', p.unprovable));
}

/** Where no wire is to go round a cut. @param {App} app @param {any[]} cuts */
export const staysKey = (app, cuts) => h('button.key.slim', { type: 'button', id: `stays-${cuts[0].entry}`, disabled: app.busy, onclick: () => app.do('cutStays', cuts) }, cuts.length > 1 ? `The ${cuts.length} cuts stay: no wire` : 'It stays cut: no wire');

/** @param {App} app @param {any} wire */
export function wireBox(app, wire) {
  return h('div.stack', null,
    tipLine(app, 'from', wire.a), tipLine(app, 'to', wire.b),
    h('div.expect', null, `${wire.awg} AWG`, h('small', null, `wire ${wire.diameter_mm.toFixed(2)} mm thick, cut to ${Math.round(wire.cut_mm)} mm`)),
    h('button.key.hot', { type: 'button', 'data-main': true, disabled: app.busy, onclick: () => app.do('wireFitted', wire) }, 'Wire is fitted: note it', h('kbd', null, 'D')),
    h('details.cautions', { open: true }, h('summary', null, 'Before you solder'), h('ul', null, (wire.cautions ?? []).map((/** @type {string} */ c) => h('li', null, c)))),
    h('details.cautions', null, h('summary', null, 'Why this wire'), h('p', null, wire.words)));
}

/** One end of a wire. @param {App} app @param {string} word @param {any} tip */
function tipLine(app, word, tip) {
  const { name, thing, place } = lyingPlace(tip, app.map.view);
  return h('div.tip.end', null, h('div.name', null, h('small', null, word), h('span', null, name, thing ? h('span.thing', null, ` ${thing}`) : null)), h('div.where', null, [place, tip.side_words].filter(Boolean).join('; ')), h('canvas', { 'data-end': word, role: 'img', 'aria-label': `close look at ${tip.name}`, onclick: () => app.do('showTip', tip) }));
}

/** @param {App} app @param {any} step */
function actions(app, step) {
  const key = (/** @type {string} */ words, /** @type {string} */ what, hot = true) => h(hot ? 'button.key.hot' : 'button.key', { type: 'button', onclick: () => app.do('view', what) }, words);
  if (step.kind === 'gate' || step.kind === 'power') return h('div.row', null, key('Before power and power-up', 'story'), key('Record', 'record', false), bench(app));
  if (step.kind === 'patch') return h('div.row', null, key(step.remedy?.kind === 'undo' ? 'Breaks and wires' : step.remedy ? 'Or a wire: all proposals' : 'All wire proposals', 'wires', !step.wire && !step.remedy), step.cuts?.length ? staysKey(app, step.cuts) : null);
  if (step.kind === 'done') return h('div.row', null, key('Before power and power-up', 'story'), key('Hand over: the record', 'record', false), bench(app));
  if (step.kind === 'short') return h('div.row', null, key('Where it is, by ohms', 'ohms', false), h('a.key', { href: `/page/rework.html?case=${encodeURIComponent(app.id)}&tab=short` }, 'By a limited supply'), step.remedy ? null : h('button.key.hot', { type: 'button', 'data-main': true, onclick: () => app.do('act', step) }, 'Done: note it', h('kbd', null, 'D')));
  if (!step.remedy && ['look', 'clean'].includes(step.kind)) return h('button.key.hot', { type: 'button', 'data-main': true, onclick: () => app.do('act', step) }, 'Done: note it', h('kbd', null, 'D'));
  return null;
}

/** @param {App} app */
const bench = (app) => (app.bench.practice ? h('button.key', { type: 'button', onclick: () => app.do('truth') }, 'What was really broken?') : null);

/** @param {App} app */
function spike(app) {
  const list = app.bench.readings.filter((/** @type {any} */ r) => !['look', 'clean'].includes(r.kind)).slice(-5).reverse();
  if (!list.length) return null;
  return h('ol.spike', { 'aria-label': 'Noted last', reversed: true }, list.map((/** @type {any} */ r) =>
    h(r.undone ? 'li.gone' : 'li', null, icon(r.kind === 'closed' || r.kind === 'open' ? r.kind : 'again', 16), h('span', { title: toldShort(r) }, toldShort(r)))));
}
