// @ts-check
/** The page "Solder and heat": what a joint melts at when an alloy is fed, doses for a part, warming the board of the case. */
import { inPageWords } from '../shared/pagewords.js';
import { byId, fill, h, s } from '../shared/dom.js';
import { linesOf, rests } from '../shared/rests.js';
import { noCase } from '../shared/nocase.js';
import { Refused, findingOf, get, post, write } from '../shared/api.js';
import { curve, minutes, several, typed } from './numbers.js';

const query = new URLSearchParams(location.search);
const id = query.get('case') ?? '';
const url = (/** @type {string} */ what) => `/api/cases/${encodeURIComponent(id)}/${what}`;

/** @param {string} words @param {Record<string, any>} attrs */
const field = (words, attrs) => h('label.field', null, words, h('input', { autocomplete: 'off', spellcheck: 'false', ...attrs }));
/** @param {string} words @param {string} name @param {[string, string][]} options */
const choice = (words, name, options) => h('label.field', null, words, h('select', { name }, options.map(([value, told]) => h('option', { value }, told))));
/** The server's words write degC, so that a terminal shows them. @param {string} words */
const shown = (words) => words.replaceAll('degC', '°C');
const degrees = (/** @type {number} */ c) => `${c.toFixed(0)} °C`;
/** The form's fields as trimmed text. @param {HTMLFormElement} form @returns {Record<string, string>} */
const textOf = (form) => Object.fromEntries([...new FormData(form)].map(([k, v]) => [k, String(v).trim()]));

/** Numbers of a form by name; throws where one is no number. @param {Record<string, string>} said @param {string[]} names @returns {Record<string, number>} */
function numbersOf(said, names) {
  /** @type {Record<string, number>} */
  const found = {};
  for (const name of names) {
    const value = typed(said[name] ?? '');
    if (value === null) continue;
    if (Number.isNaN(value)) throw new Error(`"${said[name]}" is no number.`);
    found[name] = value;
  }
  return found;
}

/** The rounds that only take off what was fed too much. @param {number} n */
const surplus = (n) => (n ? ` The first ${n === 1 ? 'one only takes' : `${n} only take`} off what was fed beyond the joint's own solder: nothing fresh goes in.` : '');

/** So many numbers of a field in mm, null where nothing is typed; throws where they are others. @param {string} text @param {number} count @param {string} what @param {string} such */
function places(text, count, what, such) {
  const found = several(text);
  if (found && (found.length !== count || found.some(Number.isNaN))) throw new Refused({ code: 'PAGE-003', severity: 'error', place: {}, words: `"${text}" is not ${what} in mm.`, remedy: `Write ${count} numbers, such as ${such}.` });
  return found;
}

/** A list under one tap. @param {string} head @param {string[]} lines @param {boolean} [open] */
const told = (head, lines, open = false) => (lines.length ? h('details', { open }, h('summary', null, head), h('ul', null, lines.map((one) => h('li', null, shown(inPageWords(one)))))) : null);

export class SolderPage {
  /** @type {string[]} */ names = [];
  /** Address of the diagram that is shown. */ shown = '';
  answers = { mix: h('div.solder-answer', { id: 'mix-answer', role: 'status' }), doses: h('div.solder-answer', { id: 'doses-answer', role: 'status' }), warm: h('div.solder-answer', { id: 'warm-answer', role: 'status' }) };

  async start() {
    byId('back').href = id ? `/#/case/${encodeURIComponent(id)}/story` : '/';
    try {
      this.names = (await get('/api/alloys')).alloys.map((/** @type {any} */ one) => one.name);
    } catch {
      // the list only helps typing
    }
    fill(byId('solder'), h('div.leaf', null, h('h1', null, 'Solder and heat'),
      h('p.lead', { id: 'mind-first' }, 'Lead is poisonous: wash your hands, no food at the bench, keep the dross. Draw the fumes off; eye protection, nothing that burns near hot air or a plate; the board unpowered, cells and batteries out. Your local rules go first; ask people qualified for it where you are not.'),
      h('datalist', { id: 'alloys' }, [...this.names, 'Bi52Pb32Sn16', 'Sn42Bi58'].map((one) => h('option', { value: one }))),
      this.mixSheet(), id ? this.dosesSheet() : null, id ? this.warmSheet() : noCase('Doses by part and warming a board need a case: its board and its parts. Choose the case, then open this page from there. The mixture above needs none.')));
  }

  mixSheet() {
    return h('form.sheet', { id: 'mix', 'aria-label': 'What a mixture melts at', onsubmit: (/** @type {SubmitEvent} */ e) => this.asked(e, 'mix', () => this.mix(e)) },
      h('h2', null, 'What a mixture melts at'),
      h('div.form', null, field('Old solder, % by mass', { name: 'base', required: true, value: 'Sn63Pb37', list: 'alloys' }), field('Fed to it', { name: 'add', required: true, value: 'Sn42Bi58', list: 'alloys' }), field('Its part of the joint, %', { name: 'share', required: true, inputmode: 'decimal', value: '50' })),
      h('button.key.hot', null, 'Melting'), this.answers.mix);
  }

  dosesSheet() {
    return h('form.sheet', { id: 'doses', 'aria-label': 'How much alloy a part takes', onsubmit: (/** @type {SubmitEvent} */ e) => this.asked(e, 'doses', () => this.doses(e)) },
      h('h2', null, 'How much alloy a part takes'),
      h('div.form', null, field('Part', { name: 'part', required: true, value: query.get('part') ?? '', placeholder: 'U1' }), field('Old solder', { name: 'base', required: true, value: 'Sn63Pb37', list: 'alloys' }), field('Fed to it', { name: 'add', required: true, value: 'Bi52Pb32Sn16', list: 'alloys' }),
        field('Joints shall stay liquid at, °C', { name: 'keep_c', required: true, inputmode: 'decimal', value: '110' }), field('Old solder per pin, mg', { name: 'old_mg', inputmode: 'decimal', placeholder: 'from the board' }), field('Alloy wire, mm', { name: 'wire_mm', inputmode: 'decimal', value: '1' })),
      h('button.key.hot', null, 'Doses'), this.answers.doses);
  }

  warmSheet() {
    return h('form.sheet', { id: 'warm', 'aria-label': 'Warm the board', onsubmit: (/** @type {SubmitEvent} */ e) => this.asked(e, 'warm', () => this.warm(e)) },
      h('h2', null, 'Warm the board'),
      h('div.form', null, h('label.field', null, 'Preheater', h('select', { name: 'heater' }, h('option', { value: 'air' }, 'hot air from below'), h('option', { value: 'plate' }, 'hot plate'))),
        field('Its temperature, °C', { name: 'heater_c', required: true, inputmode: 'decimal', value: '140' }), field('Board shall come to, °C', { name: 'target_c', required: true, inputmode: 'decimal', value: '100' }),
        field('Glass transition (Tg), °C', { name: 'tg_c', inputmode: 'decimal', placeholder: '120, old FR-4' }), field('Mass of the parts, g', { name: 'parts_g', inputmode: 'decimal', placeholder: '0' }),
        field('Size in mm, where no data is known', { name: 'size', placeholder: 'the board of the case' }), field('Then hot air at x, y, width in mm', { name: 'nozzle', placeholder: '100 80 15' }),
        h('label.field.wide', null, 'Readings of a thermocouple: seconds and °C, a pair a line', h('textarea', { name: 'readings', rows: 3, placeholder: '0 22\n30 41,5\n60 56', spellcheck: 'false' }))),
      h('details.rests', { id: 'warm-more' }, h('summary', null, 'Side, place of the thermocouple, room, films'), h('div.form', null,
        choice('Side that is warmed', 'side', [['s', 'solder side'], ['c', 'component side']]), field('Warmed area only: x, y of two corners, mm', { name: 'area', placeholder: 'the whole board' }),
        field('Thermocouple at x, y in mm', { name: 'at', placeholder: 'the middle of the board' }), choice('It lies on the', 'at_side', [['c', 'component side'], ['s', 'solder side']]),
        field('Room, °C', { name: 'room_c', inputmode: 'decimal', placeholder: '22' }), field('Heater passes on, W/m²K', { name: 'film_w_m2k', inputmode: 'decimal', placeholder: 'air 40, plate by its gap' }), field('Gap to the plate, mm', { name: 'gap_mm', inputmode: 'decimal', placeholder: '2' }), field('Air of the nozzle, °C', { name: 'nozzle_c', inputmode: 'decimal', placeholder: '350' }))),
      h('button.key.hot', null, 'Plan'), this.answers.warm);
  }

  /** @param {SubmitEvent} e @param {'mix'|'doses'|'warm'} which @param {() => Promise<any[]>} act */
  async asked(e, which, act) {
    e.preventDefault();
    const button = /** @type {HTMLFormElement} */ (e.target).querySelector('button');
    if (button?.disabled) return;
    button?.setAttribute('disabled', '');
    fill(this.answers[which], h('p', null, 'Computing …'));
    try {
      fill(this.answers[which], await act());
    } catch (err) {
      const plain = err instanceof Error && err.name === 'Error' && err.message.endsWith('is no number.');
      const found = plain ? { words: /** @type {Error} */ (err).message, remedy: 'Write it with digits.' } : findingOf(err);
      fill(this.answers[which], h('p.need', null, shown(inPageWords(found.words)), ' ', shown(inPageWords(found.remedy ?? ''))));
    } finally {
      button?.removeAttribute('disabled');
    }
  }

  /** A button that keeps the plan in the case's log as a remark; the story shows its words, the record its diagram. @param {string} name @param {string} words @param {any} plan */
  keep(name, words, plan) {
    const button = h('button.key.slim', { type: 'button', id: `keep-${name}`, onclick: async () => {
      button.setAttribute('disabled', '');
      try {
        await write(url('entries'), { kind: 'remark', words, options: { plan } });
        button.textContent = 'Noted in the case';
        byId('say').textContent = 'Noted in the case.';
      } catch (err) {
        const found = findingOf(err);
        button.removeAttribute('disabled');
        button.after(h('p.need', null, found.words, ' ', found.remedy));
      }
    } }, 'Note this plan in the case');
    return h('p', null, button);
  }

  /** @param {SubmitEvent} e */
  async mix(e) {
    const said = textOf(/** @type {HTMLFormElement} */ (e.target));
    const { share } = numbersOf(said, ['share']);
    const found = await post('/api/alloys/mix', { base: said.base, add: said.add, share: share / 100 });
    return [h('p.told', { id: 'melts' }, `${found.name}: begins to melt at ${degrees(found.solidus_c)}, all liquid above ${degrees(found.liquidus_c)}.`),
      h('p', null, `Give or take ${found.solidus_uncertainty_c} and ${found.liquidus_uncertainty_c} K against experiment.${found.melting_enthalpy_j_g === null ? '' : ` Melting takes ${found.melting_enthalpy_j_g.toFixed(0)} J/g.`}`),
      rests('the melting points rest', [...linesOf(found.assumed, 'Melting', 'Give or take'), ...found.notes]), rests('the heat of melting rests', linesOf(found.assumed, 'Heat of melting')),
      found.published ? h('p', null, `Published: ${found.published.solidus_c} to ${found.published.liquidus_c} °C (${found.published.source}).`) : null,
      told('Mind', found.warnings, true), rests('the part that stays liquid rests', linesOf(found.assumed, 'Stays liquid'))];
  }

  /** @param {SubmitEvent} e */
  async doses(e) {
    const said = textOf(/** @type {HTMLFormElement} */ (e.target));
    const found = await post(url('alloys'), { part: said.part, base: said.base, add: said.add, ...numbersOf(said, ['keep_c', 'old_mg', 'wire_mm']) });
    if (this.shown) URL.revokeObjectURL(this.shown);
    this.shown = URL.createObjectURL(new Blob([found.diagram], { type: 'image/svg+xml' }));
    const clean = found.cleaning, on = (/** @type {string[]} */ ...names) => linesOf(found.plan.assumed, ...names);
    return [found.of_part.length ? told(`First: ${found.part} itself`, found.of_part, true) : null, told('First: the board', found.of_board, true), h('p.told', { id: 'dose' }, shown(found.words)),
      h('p', null, `${found.joint_words} ${found.dose_mg_per_pin > 0 ? `Per pin ${found.dose_wire_mm_per_pin.toFixed(1)} mm of ${found.wire_diameter_mm} mm wire; ${found.pins} pins take ${found.total_g.toFixed(2)} g.` : ''}`),
      rests('the dose rests', on('Dose', 'Old solder')), rests('the length of wire rests', on('Wire')),
      h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'Dose by dose' }, h('table.table', null, h('thead', null, h('tr', null, ['Dose', 'mg so far', 'Share', 'Begins to melt', 'All liquid'].map((one) => h('th', { scope: 'col' }, one)))),
        h('tbody', null, found.steps.map((/** @type {any} */ one, /** @type {number} */ i) => h('tr', null, [`${i}`, one.dose_mg.toFixed(1), `${(100 * one.share).toFixed(0)} %`, degrees(one.solidus_c), degrees(one.liquidus_c)].map((cell) => h('td.number', null, cell))))))),
      rests('the melting points rest', [...on('Melting', 'Give or take'), ...found.melt.notes]),
      h('img', { src: this.shown, alt: `Diagram: solidus and liquidus from ${found.base} to ${found.add} with the doses numbered, and the way over the triangle of tin, lead and bismuth` }),
      h('p', { id: 'cleaning' }, `After: ${clean.rounds} rounds of wick and fresh solder bring bismuth from ${clean.bismuth_wt[0].toFixed(1)} to ${clean.bismuth_wt.at(-1).toFixed(2)} % (limit ${clean.limit_wt} %).${surplus(clean.surplus_rounds)}`), rests('the rounds rest', on('Rounds')),
      told('Mind', found.warnings.slice(found.of_part.length + found.of_board.length), true),
      rests('the part that stays liquid rests', on('Stays liquid')),
      this.keep('doses', `${found.part}: ${found.words} ${found.pins} pins, ${found.total_g.toFixed(2)} g. After: ${clean.rounds} rounds of wick and fresh solder bring bismuth to ${clean.bismuth_wt.at(-1).toFixed(2)} %.`, found.plan)];
  }

  /** @param {SubmitEvent} e */
  async warm(e) {
    const said = textOf(/** @type {HTMLFormElement} */ (e.target));
    const nozzle = places(said.nozzle, 3, 'x, y and width', '100 80 15'), size = places(said.size, 2, 'width and height', '250 200'), at_mm = places(said.at, 2, 'x and y', '100 80'), area_mm = places(said.area, 4, 'x and y of two corners', '0 0 120 90');
    const { nozzle_c, ...more } = numbersOf(said, ['heater_c', 'target_c', 'tg_c', 'parts_g', 'room_c', 'film_w_m2k', 'gap_mm', 'nozzle_c']);
    const blown = nozzle && { x_mm: nozzle[0], y_mm: nozzle[1], diameter_mm: nozzle[2], ...(nozzle_c === undefined ? {} : { celsius: nozzle_c }) };
    const found = await post(url('preheat'), { size_mm: size, heater: said.heater, readings: said.readings, side: said.side, at_mm, at_side: said.at_side, area_mm, ...more, nozzle: blown });
    const range = found.time_range_s, on = (/** @type {string[]} */ ...names) => linesOf(found.assumed, ...names);
    return [told('First', found.on_board, true), h(found.holds ? 'p.told' : 'p.told.need', { id: 'warming' }, shown(found.words)),
      range ? h('p', null, `That time is open from ${minutes(range[0])} to ${minutes(range[1])}${range[1] >= 2400 ? ' or never' : ''}: what the heater passes on is the least certain. A thermocouple narrows it.`) : null,
      rests('the time rests', [...on('Time', 'Heater', 'Losses', 'Board'), found.fit?.follows && 'A thermocouple corrected film, heat and losses.']), rests('the setting rests', on('Setting', 'Losses')), rests('the cooling rests', on('Cooling', 'Board')),
      found.fit ? h(found.fit.follows ? 'p' : 'p.need', { id: 'fit' }, found.fit.words) : null,
      this.picture(found),
      h('p', null, `On the way the faces differ by up to ${found.through_k.toFixed(0)} K (a free board bows ${found.bow_mm.toFixed(1)} mm).`), rests('difference and bow rest', on('Bow', 'Heater', 'Board')),
      found.spot ? h(found.spot.time_s === null ? 'p.need' : 'p', { id: 'spot' }, shown(found.spot.words)) : null,
      found.spot ? rests('the spot rests', on('Spot', 'Heater')) : null,
      found.spot ? h('p', { id: 'held-words' }, shown(`${found.held_words}.`)) : null,
      h('div.scroll', { tabindex: 0, role: 'region', 'aria-label': 'Limits' }, h('table.table', null, h('thead', null, h('tr', null, ['Limit', 'Found', 'Allowed', 'Kept', 'Source'].map((one) => h('th', { scope: 'col' }, one)))),
        h('tbody', null, found.held.map((/** @type {any} */ one) => h(one.kept ? 'tr' : 'tr.broken', null, h('td', null, one.name), h('td.number', null, one.found.toFixed(one.unit === 'K/s' ? 2 : 1)), h('td.number', null, shown(`${one.limit} ${one.unit}`)), h('td', null, one.kept ? 'yes' : 'NO'), h('td', null, shown(one.source))))))),
      rests('the limits and rates rest', [...on('Rates'), 'Each limit has its source beside it.']),
      told('Mind', found.cautions.slice(found.on_board.length), true),
      this.keep('warming', `Warming, ${said.heater === 'air' ? 'hot air' : 'hot plate'} at ${said.heater_c} degC: ${found.words}${found.spot ? ` ${found.spot.words}` : ''}`, found.plan)];
  }

  /** @param {any} found */
  picture(found) {
    const p = curve(found.curve, found.tg_c - 10, 760, 300);
    return s('svg', { class: 'warm-curve', viewBox: '0 0 760 300', role: 'img', 'aria-label': `The board's coldest place: component side ${degrees(found.curve.at(-1)[3])} and solder side ${degrees(found.curve.at(-1)[1])} after ${minutes(p.last)}` },
      ...p.levels.flatMap((one) => [s('line', { class: 'grid', x1: p.left, x2: p.right, y1: one.y, y2: one.y }), s('text', { x: p.left - 6, y: one.y + 4, 'text-anchor': 'end' }, `${one.c}`)]),
      s('line', { class: 'limit', x1: p.left, x2: p.right, y1: p.limit, y2: p.limit }), s('text', { x: p.left + 6, y: p.limit - 5 }, `limit of the laminate, ${(found.tg_c - 10).toFixed(0)} °C`),
      s('polyline', { class: 'solder-side', points: p.solder }), s('polyline', { class: 'component-side', points: p.component }),
      s('text', { x: p.right, y: 292, 'text-anchor': 'end' }, `${minutes(p.last)}`), s('text', { x: p.left, y: 292 }, 'full line: component side, broken: solder side'));
  }
}

if (typeof document !== 'undefined' && document.body?.dataset.view === 'solder') {
  document.documentElement.dataset.light = localStorage.getItem('light') ?? (matchMedia('(prefers-color-scheme: dark)').matches ? 'lamp' : 'day');
  const page = new SolderPage();
  Object.assign(window, { solderPage: page });
  page.start();
}
