// @ts-check
/** The story of a case: what happened in order, what the machine shows, and the way to power. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf, write } from '../shared/api.js';
import { clock, day, ohms, plainly, sentence } from '../shared/words.js';
import { errorSheet, waitingLeaf } from './home.js';

/** @typedef {import('../main.js').App} App */

/** @param {HTMLElement} el @param {App} app */
export async function drawStory(el, app) {
  let story, rails, accepted, waits;
  if (el.dataset.case !== app.id) fill(el, waitingLeaf('Story')); // never the story of another case
  el.dataset.case = app.id;
  try {
    [story, { rails }, accepted, { waits }] = await Promise.all([get(app.url('story')), get(app.url('rails')), get(app.url('acceptance')), get(app.url('waits'))]);
  } catch (err) {
    fill(el, h('div.leaf', null, errorSheet(findingOf(err), () => drawStory(el, app))));
    return;
  }
  const { state } = app.bench ? { state: app.bench.case } : { state: story.case };
  fill(el, h('div.leaf', null,
    h('h1', null, state.title),
    h('p.lead', null, state.complaint ? `The owner says: ${state.complaint}` : 'No complaint was noted.'),
    h('ul.where-was-i', { 'aria-label': 'Where you were' }, story.where_was_i.map((/** @type {string} */ line) => h('li', null, readable(line)))),
    h('div.two', null, gateSheet(app, story.gate, rails), seenSheet(app, story)),
    h('div.two', null, wordsSheet(app), photoSheet(app, story.photos)),
    app.scene && !app.scene.layers.length ? placesSheet(app) : null,
    h('div.two', null, testSheet(app, accepted), h('div', null, progressSheet(app, story.case), waitsSheet(app, waits, () => drawStory(el, app)))),
    h('p', null, h('a', { id: 'to-arrival', href: `/page/intake.html?case=${encodeURIComponent(app.id)}` }, 'Arrival: what the owner says and allows, the supply by itself, rails, limits')),
    h('p', null, h('a', { id: 'to-chips', href: `/page/chips.html?case=${encodeURIComponent(app.id)}` }, 'Chips: each piece and where it has been, out and in again, contacts tried by hand')),
    h('p', null, h('a', { id: 'to-rework', href: `/page/rework.html?case=${encodeURIComponent(app.id)}` }, 'Rework: take a part out, clean and protect, a short with a supply')),
    h('p', null, h('a', { id: 'to-solder', href: `/page/solder.html?case=${encodeURIComponent(app.id)}` }, 'Solder and heat: what a mixture melts at, doses of alloy for a part, warming the board')),
    h('p', null, h('a', { id: 'to-suspects', href: `/page/suspects.html?case=${encodeURIComponent(app.id)}` }, 'Suspects: what explains all that was seen under power, and what to measure next')),
    h('p', null, h('a', { id: 'to-schematic', href: `/page/schematic.html?case=${encodeURIComponent(app.id)}` }, 'Schematic: its pages beside the map, searched by part, pin and net')),
    h('p', null, h('a', { id: 'to-found', href: `/page/found.html?case=${encodeURIComponent(app.id)}` }, 'Starts, memory, ROMs, readings: what other work found, as evidence')),
    h('p', null, h('a', { id: 'to-look', href: `/page/look.html?case=${encodeURIComponent(app.id)}` }, 'Look over the board: a short tour over each side, what the eye finds noted where it is')),
    h('p', null, h('a', { id: 'to-waves', href: `/page/waves.html?case=${encodeURIComponent(app.id)}` }, 'Waves: take in and look at records of an oscilloscope or logic analyser')),
    h('h2', null, 'As it happened'),
    timeline(story.timeline)));
}

/** Instants in a line as local day and time. @param {string} line */
const readable = (line) => plainly(line).replace(/^(\d{4}-\d\d-\d\dT[\d:.]+Z)\s+/, (_, iso) => `${clock(iso)}  `).replace(/\d{4}-\d\d-\d\dT[\d:.]+Z/g, (iso) => `${day(iso)}, ${clock(iso)}`);

/** The rails of the board, each with its figure to ground; a hand's own words where no net is named as a rail. @param {App} app @param {any[]} rails */
function railsForm(app, rails) {
  if (!rails.length) return h('form.row', { onsubmit: (/** @type {Event} */ e) => app.do('railsByHand', fieldsOf(e)) }, h('label.field', null, 'Rail', h('input', { name: 'rail', required: true, autocomplete: 'off' })), h('label.field', null, 'Ohms to ground', h('input', { name: 'value', required: true, autocomplete: 'off', inputmode: 'decimal' })), h('button.key.slim', null, 'Note'));
  return h('ul.rails', null, rails.map((r, i) => h('li', null, h('form.row', { onsubmit: (/** @type {Event} */ e) => app.do('railRead', r, String(fieldsOf(e).value)) },
    h('label.field', null, `${r.net} to ${r.ground}, ohms: ${r.tips[0].name} and ${r.tips[1].name}, ${r.tips[0].side_words}`, h('input', { name: 'value', id: `rail-${i}`, required: true, autocomplete: 'off', placeholder: '240, 1k2, OL' })),
    h('button.key.slim', { disabled: app.busy }, r.read ? 'Again' : 'Note')), r.read ? h('p', null, h('b', null, `Read ${r.ohm === null ? 'OL' : ohms(r.ohm)}${r.low ? ': too low, do not switch on' : ''}`)) : null)));
}

/** @param {App} app @param {any} gate @param {any[]} rails */
function gateSheet(app, gate, rails) {
  const row = (/** @type {any} */ item) => h(item.done ? 'li.done' : 'li', null, h('span.box', { 'aria-hidden': 'true' }, item.done ? '✓' : ''), h('span', null, h('b', null, item.title), item.words === 'done' ? null : [h('br', null), item.words]),
    item.done ? h('span', null, item.item === 'rails' && rails.some((r) => !r.read) ? `${rails.filter((r) => r.read).length} of ${rails.length}` : 'done') : item.item === 'rails' || item.by_word === false ? null : h('button.key.slim', { type: 'button', onclick: () => app.do('gate', item) }, 'Done'));
  const limit = gate.items.find((/** @type {any} */ i) => i.item === 'limit');
  return h('section.sheet', { 'aria-label': 'Before power' },
    h('h2', null, 'Before power'),
    h('p.need', null, gate.caution),
    h('ul.gate', null, gate.items.filter((/** @type {any} */ i) => i.item !== 'limit').map((/** @type {any} */ i) => (i.item === 'rails' ? [row(i), h('li.wide', null, railsForm(app, rails))] : row(i))), limit?.done ? row(limit) : null),
    limit && !limit.done ? h('form.form', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); app.do('limit', Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target)))); } },
      h('label.field', null, 'Current limit, A', h('input', { name: 'limit_a', required: true, inputmode: 'decimal' })), h('label.field', null, 'Switch off above, A', h('input', { name: 'abort_a', required: true, inputmode: 'decimal' })), h('button.key', null, 'Name the limit')) : null,
    h('p', null, h('b', null, gate.words)),
    h('div.row', null,
      gate.power_on ? h('button.key.hot', { type: 'button', onclick: () => app.do('power', 'off') }, 'Power is off again') : h('button.key.hot', { type: 'button', disabled: !gate.open, onclick: () => app.do('power', 'on') }, 'Power is on')),
    gate.open ? null : h('details.pass', null, h('summary', null, 'Power up all the same'),
      h('form.form', { onsubmit: (/** @type {Event} */ e) => app.do('override', fieldsOf(e)) },
        h('label.field.wide', null, 'Why, for the log', h('input', { name: 'why', required: true, autocomplete: 'off' })),
        h('button.key', null, 'Pass over what is left'))));
}

/** @param {App} app @param {any} story */
function seenSheet(app, story) {
  const last = story.power_ups.at(-1);
  const field = (/** @type {string} */ name, /** @type {string} */ words) => h('label.field', null, words, h('input', { name, autocomplete: 'off' }));
  return h('section.sheet', { 'aria-label': 'What it shows' },
    h('h2', null, 'What it shows'),
    last ? h('p', null, `Last power-up at ${clock(last.observed_at)}: ${last.seen_words || 'nothing noted yet'}${last.repairs_text ? `; after ${plainly(last.repairs_text)}` : ''}`) : h('p', null, 'It was not switched on in this case yet.'),
    h('form.form', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); app.do('seen', Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target)))); } },
      field('screen', 'Screen'), field('sound', 'Sound'), field('smell', 'Smell'), field('current_a', 'Current, A'), h('label.field.wide', null, 'In your words', h('textarea', { name: 'words', rows: 2 })), h('button.key', null, 'Note it')));
}

/** @param {App} app */
function wordsSheet(app) {
  return h('form.sheet', { 'aria-label': 'Remark', onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); const f = /** @type {HTMLFormElement} */ (e.target); app.do('words', Object.fromEntries(new FormData(f))); f.reset(); } },
    h('h2', null, 'A word for the log'),
    h('div.form', null, h('label.field', null, 'Kind', h('select', { name: 'kind' }, ['remark', 'symptom', 'look', 'clean', 'press'].map((k) => h('option', null, k)))), h('label.field.wide', null, 'Words', h('textarea', { name: 'words', rows: 2, required: true }))),
    h('p', null, h('button.key', null, 'Note it')));
}

/** @param {Event} e */
const fieldsOf = (e) => { e.preventDefault(); return Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target))); };

/** What must work before the machine goes back, each with its keys. @param {App} app @param {any} accepted */
function testSheet(app, accepted) {
  const key = (/** @type {any} */ one, /** @type {string} */ result, /** @type {string} */ name) => h('button.key.slim', { type: 'button', 'aria-label': `${one.name}: ${name}`, 'aria-pressed': String(one.result === result), disabled: app.busy, onclick: () => app.do('tested', { item: one.name, result }) }, name);
  const row = (/** @type {any} */ one) => h(one.open ? 'li' : 'li.done', { 'data-function': one.name }, h('span.box', { 'aria-hidden': 'true' }, one.result === 'works' ? '✓' : one.result === 'fails' ? '!' : ''),
    h('span', null, h('b', null, one.name), `: ${one.result}${one.words ? `, ${one.words}` : one.before ? ` (${one.before})` : ''}`, one.open && one.how ? [h('br', null), one.how] : null),
    h('span.row', null, key(one, 'works', 'Works'), key(one, 'fails', 'Fails')));
  return h('section.sheet', { 'aria-label': 'Before it goes back', id: 'acceptance' },
    h('h2', null, 'Before it goes back'),
    h('p', { role: 'status' }, accepted.words),
    h('p.need', null, accepted.caution),
    h('ul.gate', null, accepted.functions.map(row)),
    h('form.form', { 'aria-label': 'Function tested', onsubmit: (/** @type {Event} */ e) => app.do('tested', fieldsOf(e)) },
      h('label.field', null, 'Another function', h('input', { name: 'item', required: true, autocomplete: 'off' })), h('label.field', null, 'Result', h('select', { name: 'result' }, ['works', 'fails', 'not tested'].map((r) => h('option', null, r)))), h('button.key', null, 'Note it')));
}

/** @param {App} app @param {any} state */
function progressSheet(app, state) {
  return h('form.sheet', { 'aria-label': 'Where the machine is', onsubmit: (/** @type {Event} */ e) => app.do('progress', fieldsOf(e)) },
    h('h2', null, 'Where the machine is'),
    h('div.form', null, h('label.field', null, 'State', h('select', { name: 'state' }, ['waiting', 'on the bench', 'soak test', 'ready', 'returned'].map((r) => h('option', { selected: r === state.progress }, r)))), h('button.key', null, 'Note it')));
}

/** What the case waits for, and that a wait is over. @param {App} app @param {any[]} waits @param {() => Promise<void>} again */
function waitsSheet(app, waits, again) {
  const tell = async (/** @type {string} */ path, /** @type {any} */ body) => {
    try {
      await write(app.url(path), body);
      await again();
    } catch (err) {
      app.fail(err);
    }
  };
  const over = (/** @type {any} */ one) => (one.ended_at ? null : h('button.key.slim', { type: 'button', 'aria-label': `Over: ${one.line}`, onclick: () => tell('waits/over', { which: one.entry }) }, 'Over'));
  return h('section.sheet', { 'aria-label': 'What it waits for', id: 'waits' }, h('h2', null, 'What it waits for'),
    waits.length ? h('ul.gate', null, waits.map((one) => h(one.ended_at ? 'li.done' : 'li', null, h('span.box', { 'aria-hidden': 'true' }, one.ended_at ? '✓' : one.late ? '!' : ''), h('span', null, sentence(one.line)), over(one)))) : h('p', null, 'Nothing.'),
    h('form.form', { 'aria-label': 'It waits for', onsubmit: (/** @type {Event} */ e) => tell('waits', waitAsked(fieldsOf(e))) },
      h('label.field', null, 'For', h('select', { name: 'what' }, [['part', 'a part'], ['owner', 'the owner'], ['tool', 'a tool'], ['case', 'another case']].map(([k, words]) => h('option', { value: k }, words)))),
      h('label.field.wide', null, 'Which, in words; of another case its number', h('input', { name: 'words', required: true, autocomplete: 'off' })), h('label.field', null, 'Until', h('input', { name: 'until', type: 'date' })), h('button.key', null, 'It waits')));
}

/** What the form of a wait says to the server. Pure. @param {Record<string, any>} f */
export const waitAsked = (f) => (f.what === 'case' ? { what: 'case', case: String(f.words).trim().replace(/^(case|no\.|#)\s*/i, ''), until: f.until } : { what: f.what, words: f.words, until: f.until });

/** A board without copper data: its parts are placed by marks in a photo. @param {App} app */
function placesSheet(app) {
  const left = (app.scene.made_up ?? []).length;
  return h('section.sheet', null, h('h2', null, 'Where the parts sit'),
    h('p', null, left ? `${left} parts have no place yet; they are drawn in rows.` : 'Every part has a place.'),
    h('p', null, h('a', { id: 'to-places', href: `/page/places.html?case=${encodeURIComponent(app.id)}` }, 'Mark pins in a photo')));
}

/** @param {App} app @param {any[]} photos */
function photoSheet(app, photos) {
  return h('section.sheet', { 'aria-label': 'Photos' }, h('h2', null, 'Photos'),
    photos.length ? h('div.photos', null, photos.map((p) => h('figure', null, h('a', { href: app.url(`photos/${p.sha256}`), target: '_blank', rel: 'noopener' }, h('img', { src: app.url(`photos/${p.sha256}/small?edge=640`), alt: p.words || p.name || 'photo of the machine', loading: 'lazy' })), h('figcaption', null, p.words || p.name)))) : h('p', null, 'None yet. A picture of each side, before any work, is worth its minute.'),
    h('form.row', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); app.do('photo', e.target); } },
      h('label.field', null, 'Picture', h('input', { type: 'file', name: 'file', accept: 'image/*', required: true })), h('label.field', null, 'What it shows', h('input', { name: 'words' })), h('button.key', null, 'Attach')));
}

const READINGS = ['closed', 'open', 'ohms', 'skip', 'undo'];

/** Runs of readings gathered, so that the story can be read; everything else by itself. Pure. @param {any[]} items @returns {any[][]} */
export function chapters(items) {
  /** @type {any[][]} */
  const out = [];
  for (const item of items) {
    const last = out.at(-1);
    if (last && READINGS.includes(item.kind) && READINGS.includes(last[0].kind) && day(last[0].observed_at) === day(item.observed_at)) last.push(item);
    else out.push([item]);
  }
  return out;
}

/** Who wrote: one name for all, or each entry with its own where several did. Pure. @param {any[]} items @returns {{line: string, items: any[]}} */
export function signed(items) {
  const names = [...new Set(items.map((i) => i.author ?? ''))];
  if (names.length < 2) return { line: names[0] ? `All noted by ${names[0]}.` : '', items };
  return { line: '', items: items.map((i) => ({ ...i, by: i.author || 'nobody named' })) };
}

/** @param {any} item */
const row = (item) => h(`li.${item.kind}${item.undone ? '.gone' : ''}`, null, h('time', { datetime: item.observed_at }, clock(item.observed_at)), h('span', null, plainly(item.words)), h('span.kind', null, [item.undone ? 'taken back' : '', item.by].filter(Boolean).join(', ')));

/** @param {any[]} items */
function timeline(items) {
  if (!items.length) return h('div.empty', null, 'Nothing noted yet.');
  const { line, items: told } = signed(items);
  const out = [line ? h('p.why', null, line) : null];
  let today = '';
  let list = null;
  for (const part of chapters(told)) {
    const d = day(part[0].observed_at);
    if (d !== today) {
      today = d;
      list = h('ol.line', null);
      out.push(h('p.dayhead', null, d), list);
    }
    const open = part.filter((i) => i.kind === 'open' && !i.undone).length;
    list?.append(part.length < 4 ? h('li.many', null, h('ol.line.bare', null, part.map(row))) : h('li.run', null, h('time', null, clock(part[0].observed_at)), h('details', null, h('summary', null, `${part.length} readings, ${open} of them open, until ${clock(part[part.length - 1].observed_at)}`), h('ol.line.bare', null, part.map(row)))));
  }
  return h('div.sheet', null, out);
}
