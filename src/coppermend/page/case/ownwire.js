// @ts-check
/** Plan wires under one's own conditions: a track to cut, ground to keep free, parts that may be crossed, a current; and keep the plan for the record. */
import { fill, h } from '../shared/dom.js';
import { findingOf, post } from '../shared/api.js';
import { plainly, sentence } from '../shared/words.js';
import { errorSheet } from './home.js';

/** What is typed as a list: parts between semicolons or lines. Pure. @param {FormDataEntryValue|null} typed */
export const several = (typed) => String(typed ?? '').split(/[;\n]/).map((one) => one.trim()).filter(Boolean);

/** Names between spaces, commas or semicolons. Pure. @param {FormDataEntryValue|null} typed */
export const names = (typed) => String(typed ?? '').split(/[\s,;]+/).filter(Boolean);

/** What the server is asked. Pure. @param {FormData} form */
export function asked(form) {
  return {
    net: String(form.get('net') ?? '').trim(), need: names(form.get('need')), side: String(form.get('side') ?? ''), current_a: Number(form.get('current_a') || 0),
    cut: several(form.get('cut')), allow: names(form.get('allow')), keep_out: several(form.get('keep_out')), scrape: form.get('scrape') === 'on', straight: form.get('straight') === 'on',
  };
}

/** @param {string} name @param {string} words @param {string} hint @param {Record<string, any>} [more] */
const field = (name, words, hint, more) => h('label.field', null, words, h('input', { name, id: `own-${name}`, placeholder: hint, autocomplete: 'off', spellcheck: 'false', ...more }));

/** A field whose places can be tapped on the board. @param {import('../main.js').App} app @param {string} name @param {string} words @param {string} hint */
const tapField = (app, name, words, hint) => h('div.tapped', null, field(name, words, hint), h('button.key.slim', { type: 'button', id: `own-tap-${name}`, onclick: () => app.do('wishPlace', name) }, 'Tap it on the board'));

/** @param {string} name @param {string} words @param {boolean} on */
const tick = (name, words, on) => h('label.tickbox', null, h('input', { type: 'checkbox', name, checked: on }), h('span', null, words));

/** The form of the case that is open, with what it found: the leaf is drawn anew after every entry, this is not. */
const kept = { id: '', el: /** @type {HTMLElement|null} */ (null) };

/** @param {import('../main.js').App} app @param {(plan: any, i: number) => HTMLElement} draw */
export function ownWire(app, draw) {
  if (kept.id !== app.id || !kept.el) Object.assign(kept, { id: app.id, el: made(app, draw) });
  return kept.el;
}

/** A field of the form of the open case, which lies open from now on. @param {import('../main.js').App} app @param {string} name */
export function ownField(app, name) {
  const el = kept.id === app.id ? kept.el : null;
  if (el instanceof HTMLDetailsElement) el.open = true;
  return el?.querySelector(`#own-${name}`) ?? null;
}

/** @param {import('../main.js').App} app @param {(plan: any, i: number) => HTMLElement} draw */
function made(app, draw) {
  const out = h('div', { id: 'own-plans', role: 'status' });
  const ask = async (/** @type {HTMLFormElement} */ form, /** @type {boolean} */ keep) => {
    fill(out, h('p', { 'aria-busy': 'true' }, 'Laying wires …'));
    try {
      const found = await post(app.url('wires/plan'), { ...asked(new FormData(form)), keep });
      fill(out, found.kept ? h('p', null, h('b', null, `Kept for the record: ${found.kept}`)) : null, h('h2', null, `Wires on net ${found.net}`), cutSheet(app, found), ...found.plans.map(draw),
        found.plans[0].wires.length || found.cuts.length ? h('button.key', { type: 'button', id: 'own-keep', disabled: !!found.kept, onclick: () => ask(form, true) }, found.kept ? 'Kept' : 'Keep this plan in the record') : null,
        found.cautions.length ? h('ul.cautions', null, found.cautions.map((/** @type {string} */ c) => h('li', null, c))) : null);
    } catch (err) {
      fill(out, errorSheet(findingOf(err), () => ask(form, keep)));
    }
  };
  const form = /** @type {HTMLFormElement} */ (h('form', { id: 'own-wire', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); ask(form, false); } },
    h('div.row', null, field('net', 'Net', 'A5', { required: true }), tapField(app, 'need', 'Pins that must join (none: all that hung together)', 'U1.3 U4.7'), h('label.field', null, 'Ends on', h('select', { name: 'side' }, [['', 'either side'], ['c', 'component side'], ['s', 'solder side']].map(([value, words]) => h('option', { value }, words)))), field('current_a', 'Current, A', '0', { inputmode: 'decimal', pattern: '[0-9]*[.]?[0-9]*' })),
    h('div.row', null, tapField(app, 'cut', 'Tracks to cut, X,Y/c or X,Y/s in mm; several between semicolons', '31.2,40.0/s'), tapField(app, 'keep_out', 'Keep free: boxes by two corners in mm, /c or /s for one side', '10,20 30,40/s; 50,5 60,12'), tapField(app, 'allow', 'May cross these parts', 'U4 C12')),
    tick('scrape', 'Wires may end on bared track', true), tick('straight', 'Straight wires, whatever lies between', false),
    h('div.row', null, h('button.key.hot', { id: 'own-go' }, 'Plan the wires'))));
  return h('details.sheet', { id: 'own' }, h('summary', null, h('b', null, 'Plan a wire yourself'), ': cut a track, keep ground free, a current'), form, out);
}

/** The cuts that come before the wires. @param {import('../main.js').App} app @param {any} found */
function cutSheet(app, found) {
  if (!found.cuts.length) return null;
  return h('div.plan', null, h('h3', null, 'Cut first'), h('p.mind', null, found.cut_words),
    found.cuts.map((/** @type {any} */ one, /** @type {number} */ i) => h('div.plan-wire', null, h('div', null, h('b', null, sentence(plainly(one.words)))), h('button.key.slim', { type: 'button', id: `own-cut-${i}`, onclick: () => app.do('cutDone', one) }, 'Cut: note it'))));
}
