// @ts-check
/** The first leaf: the cases of this bench, and opening a new one. */
import { fill, h } from '../shared/dom.js';
import { findingOf } from '../shared/api.js';
import { caseList, firstPage } from './list.js';

/** @param {HTMLElement} el @param {import('../main.js').App} app */
export async function drawHome(el, app) {
  fill(el, waitingLeaf('On this bench'));
  let first;
  try {
    first = await firstPage();
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawHome(el, app))));
    return;
  }
  const none = h('div.empty', null, h('p', null, 'No machine is on the bench yet.'), h('p', null, 'Open a case below; the word demo stands for the demonstration machine.'));
  fill(el, h('div.leaf', null,
    h('h1', null, 'On this bench'),
    first.in_all > 3 ? h('div.row', null, ways('Open a case', 'new-case'), ways('Practise', 'practice')) : null,
    none, caseList(first, none),
    h('section.sheet', { id: 'practice' }, h('h2', { tabindex: -1 }, 'Practise'), h('p', null, 'The demonstration machine with a few breaks in it, and a practice patient that answers your tips. Nothing can go wrong.'), h('button.key', { type: 'button', id: 'practise', onclick: () => app.do('practise') }, 'Practise on the demonstration machine'), otherPatient(app)),
    newCase(app),
    h('section.sheet', null, h('h2', null, 'Meter'), h('p', null, 'A multimeter with a port of its own answers by itself: found, named, tried here.'), h('a.key', { href: '/page/meter.html', id: 'to-meter' }, 'Meter')),
    h('section.sheet', null, h('h2', null, 'Second screen'), h('p', null, 'A tablet by the board or a phone follows the same case live: let it in, or shut it out.'), h('a.key', { href: '/page/lan.html', id: 'to-lan' }, 'Second screen')),
    h('form.sheet', { onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); app.do('takeIn', e.target); } }, h('h2', null, 'Take in an exported case'), h('div.row', null, h('label.field', null, 'File', h('input', { type: 'file', name: 'file', accept: '.zip', required: true })), h('button.key', null, 'Take it in')))));
}

/** Shares in percent that a patient of one's own can be given; empty = as drawn. [field, words, value at first] */
const LIES = [['false_open', 'False open readings, %', ''], ['false_closed', 'False closed readings, %', ''], ['oxidised', 'Oxidised points, %', ''], ['slips', 'Tips on the neighbour pin, %', '0'], ['mixed_up', 'Answers of the check before, %', '0'], ['intermittent', 'Broken joints that close under a tip, %', '0']];

/** What the form of another patient asks for. Pure. @param {Record<string, any>} f */
export function patientAsked(f) {
  const rates = LIES.filter(([name]) => String(f[name] ?? '').trim() !== '').map(([name]) => [name, Number(f[name]) / 100]);
  return { breaks: Number(f.breaks), bridges: Number(f.bridges ?? 0), noise: f.noise, ...(String(f.seed ?? '').trim() ? { seed: Number(f.seed) } : {}), ...Object.fromEntries(rates) };
}

/** @param {import('../main.js').App} app */
function otherPatient(app) {
  const number = (/** @type {string} */ name, /** @type {string} */ words, /** @type {any} */ attrs) => h('label.field', null, words, h('input', { name, type: 'number', min: '0', step: 'any', ...attrs }));
  return h('details', { id: 'other-patient' }, h('summary', null, 'A patient of your own: how much is broken, how its readings lie'),
    h('form', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); app.do('practise', patientAsked(Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target))))); } },
      h('div.form', null, number('breaks', 'Broken sites', { value: '2', max: '20', step: '1', required: true }), number('bridges', 'Bridges of solder', { value: '0', max: '5', step: '1', required: true }), number('seed', 'Which patient (empty: one that shows the job well)', { step: '1' }),
        h('label.field', null, 'Meter and hand', h('select', { name: 'noise' }, h('option', { value: 'standard' }, 'err now and then'), h('option', { value: 'off' }, 'never err'))),
        LIES.map(([name, words, value]) => number(name, words, { max: '100', value }))),
      h('p', null, h('button.key', { type: 'submit' }, 'Practise on this patient'))));
}

/** Down to a sheet below a long list of cases. @param {string} words @param {string} id */
const ways = (words, id) => h('button.key.slim', { type: 'button', onclick: () => { const head = document.querySelector(`#${id} h2`); head?.scrollIntoView({ block: 'start' }); /** @type {HTMLElement|null} */ (head)?.focus({ preventScroll: true }); } }, words);

/** @param {import('../main.js').App} app */
function newCase(app) {
  const field = (/** @type {string} */ name, /** @type {string} */ words, attrs = {}) => h('label.field', null, words, h('input', { name, autocomplete: 'off', ...attrs }));
  return h('form.sheet', { id: 'new-case', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); app.do('newCase', Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target)))); } },
    h('h2', { tabindex: -1 }, 'Open a case'),
    h('div.form', null,
      field('title', 'Machine', { required: true, placeholder: 'what it is' }), field('serial', 'Serial number'), field('owner', 'Owner'),
      h('div.wide', null, field('board', 'Fabrication package: folder or zip', { required: true, placeholder: 'a path on this computer, or demo' })),
      h('label.field.wide', null, 'What the owner says', h('textarea', { name: 'complaint', rows: 2 }))),
    h('p', null, h('button.key.hot', { type: 'submit' }, 'Open the case')));
}

/** What a leaf shows while it waits for the server. @param {string} title */
export const waitingLeaf = (title) => h('div.leaf', null, h('h1', null, title), h('p.why', { role: 'status' }, 'Reading the log …'), h('div.skeleton', null));

/** @param {import('../shared/api.js').Finding} finding @param {() => void} again */
export function errorSheet(finding, again) {
  return h('div.sheet.error-sheet', { role: 'alert' }, h('h2', null, finding.words), h('p', null, finding.remedy), h('p', null, h('small.code', null, finding.code)), h('button.key', { type: 'button', onclick: again }, 'Try again'));
}
