// @ts-check
/** The list of cases: searched, filtered by state, in pages; each machine at a glance. */
import { fill, h } from '../shared/dom.js';
import { get, findingOf } from '../shared/api.js';
import { count, day, plainly } from '../shared/words.js';

/** @typedef {{q: string, states: string[], waits: boolean, order: string}} Asked what is asked for; kept while the page is open, so that coming back from a case shows the same list */

/** @type {Asked} */
const asked = { q: '', states: [], waits: false, order: 'number' };
const WAIT_MS = 250;

/** The address of a page of cases. Pure. @param {Asked} want @param {string} [after] */
export function address(want, after = '') {
  const p = new URLSearchParams();
  if (want.q.trim()) p.set('q', want.q.trim());
  for (const one of want.states) p.append('state', one);
  if (want.waits) p.set('waits', 'true');
  if (want.order !== 'number') p.set('order', want.order);
  if (after) p.set('after', after);
  const text = p.toString();
  return text ? `/api/cases?${text}` : '/api/cases';
}

/** Is anything asked for beyond the plain list? @param {Asked} want */
export const isAsked = (want) => want.q.trim() !== '' || want.states.length > 0 || want.waits;

/** What a line says below its title: serial number and owner, what was searched for, what it waits for, what fails, where it stands. Pure. @param {any} c @returns {[string, string][]} what it is, words */
export function linesOf(c) {
  /** @type {[string, string][]} */
  const all = [
    ['who', [c.serial, c.owner].filter(Boolean).join(', ')],
    ['hit', c.hit ? `${day(c.hit_at)}: ${plainly(c.hit)}` : ''],
    ['waits', c.waits ? `waits for ${c.waits}` : ''],
    ['fails', c.fails?.length ? `does not work: ${c.fails.join(', ')}` : ''],
    ['where', saidAbove(c) ? '' : plainly(c.where ?? '')],
    ['used', [c.parts?.length ? c.parts.join(', ') : '', c.wires ? count(c.wires, 'wire') : ''].filter(Boolean).join(', ')],
  ];
  return all.filter(([, words]) => words !== '');
}

/** Does the line say already what was told last: its state, or what it waits for? @param {any} c */
const saidAbove = (c) => c.where === `progress: ${c.state}` || (c.waits && c.where?.startsWith('waits for: '));

/** Hours at the bench, as one says them. @param {number} hours */
export const hoursWords = (hours) => (hours <= 0 ? '' : hours < 1 ? `${Math.max(1, Math.round(hours * 60))} min at the bench` : `${hours.toFixed(1)} h at the bench`);

/** The first page of what is asked for at this moment. */
export const firstPage = () => get(address(asked));

/** The list with its search and filters. `empty` is shown where the store holds no case at all. @param {any} first the first page, as the server gave it @param {HTMLElement} empty @param {() => void} counted called with every page, for what hangs on how many there are */
export function caseList(first, empty, counted = () => {}) {
  const rows = h('ul.cases'), said = h('p.why', { role: 'status', id: 'cases-said' }), more = h('p'), chips = h('div.row.states', { role: 'group', 'aria-label': 'State' });
  const search = /** @type {HTMLInputElement} */ (h('input', { id: 'case-search', type: 'search', value: asked.q, autocomplete: 'off', maxlength: '400', placeholder: 'machine, serial, owner, part, net, reading, remark …', 'aria-describedby': 'cases-said' }));
  const order = /** @type {HTMLSelectElement} */ (h('select', { id: 'case-order' }, h('option', { value: 'number' }, 'newest first'), h('option', { value: 'last' }, 'last worked on first')));
  order.value = asked.order;
  const whole = h('div.stack', { id: 'case-list' },
    h('form.form.case-tools', { role: 'search', onsubmit: (/** @type {Event} */ e) => { e.preventDefault(); load(); } },
      h('label.field.wide', null, h('span', null, 'Find in everything that was ever noted ', h('kbd', null, '/')), search), h('label.field', null, 'Order', order)),
    chips, said, rows, more);
  let turn = 0, timer = 0, /** @type {any} */ page = first;

  /** @param {string} [after] the page after this place is added; without it the list begins anew */
  async function load(after = '') {
    clearTimeout(timer);
    const mine = ++turn;
    rows.setAttribute('aria-busy', 'true');
    try {
      const found = await get(address(asked, after));
      if (mine !== turn) return;
      page = after ? { ...found, cases: [...page.cases, ...found.cases] } : found;
      draw(after ? found.cases[0]?.id : '');
    } catch (err) {
      if (mine !== turn) return;
      const finding = findingOf(err);
      fill(said, `${finding.words} ${finding.remedy}`);
      fill(more, h('button.key', { type: 'button', id: 'cases-again', onclick: () => load(after) }, 'Try again'));
    } finally {
      if (mine === turn) rows.removeAttribute('aria-busy');
    }
  }

  /** @param {string} focusOn the id of the case whose line takes the keyboard: the first that was added */
  function draw(focusOn = '') {
    const total = page.in_all, held = chips.contains(document.activeElement) ? document.activeElement?.id : '';
    whole.hidden = total === 0;
    empty.hidden = total !== 0;
    fill(chips, Object.entries(/** @type {Record<string, number>} */ (page.states)).map(([name, n]) => chip(name, n)), chipWaits());
    if (held) document.getElementById(held)?.focus();
    fill(said, saidOf(page, asked));
    fill(rows, page.cases.map(row));
    fill(more, page.after ? h('button.key', { type: 'button', id: 'more-cases', onclick: () => load(page.after) }, 'More cases') : '');
    if (focusOn) /** @type {HTMLElement|null} */ (rows.querySelector(`a[href="#/case/${focusOn}/bench"]`))?.focus();
    counted();
  }

  /** @param {string} name @param {number} n */
  function chip(name, n) {
    const on = asked.states.includes(name);
    return h('button.key.slim', { type: 'button', id: `state-${name.replace(/\W/g, '-')}`, 'aria-pressed': String(on), onclick: () => { asked.states = on ? asked.states.filter((s) => s !== name) : [...asked.states, name]; pressed(); } }, `${name} ${n}`);
  }

  const chipWaits = () => h('button.key.slim', { type: 'button', id: 'state-waits', 'aria-pressed': String(asked.waits), onclick: () => { asked.waits = !asked.waits; pressed(); } }, 'waits for something');

  /** A filter was pressed: it shows at once, the answer follows. */
  function pressed() {
    draw();
    load();
  }

  search.addEventListener('input', () => { asked.q = search.value; clearTimeout(timer); timer = window.setTimeout(load, WAIT_MS); });
  search.addEventListener('keydown', (e) => { if (e.key === 'ArrowDown') { e.preventDefault(); /** @type {HTMLElement|null} */ (rows.querySelector('a'))?.focus(); } });
  order.addEventListener('change', () => { asked.order = order.value; load(); });
  rows.addEventListener('keydown', (e) => step(e, rows, search));
  draw();
  return whole;
}

/** Up and down walk through the lines; above the first is the search. @param {KeyboardEvent} e @param {HTMLElement} rows @param {HTMLElement} search */
function step(e, rows, search) {
  if (e.key !== 'ArrowDown' && e.key !== 'ArrowUp') return;
  const all = /** @type {HTMLElement[]} */ ([...rows.querySelectorAll('a')]);
  const at = all.indexOf(/** @type {HTMLElement} */ (document.activeElement));
  if (at < 0) return;
  e.preventDefault();
  const next = at + (e.key === 'ArrowDown' ? 1 : -1);
  (next < 0 ? search : all[Math.min(next, all.length - 1)]).focus();
}

/** What stands above the lines. Pure. @param {any} page @param {Asked} want */
export function saidOf(page, want) {
  const shown = page.cases.length;
  const notes = (page.notes ?? []).join(' ');
  if (shown === 0 && page.in_all > 0) return `No case is like that; ${count(page.in_all, 'case')} in all. ${notes}`.trim();
  const some = page.after ? `The first ${shown}` : `${shown}`;
  return `${isAsked(want) || page.after ? `${some} of ${count(page.in_all, 'case')}` : count(page.in_all, 'case')}. ${notes}`.trim();
}

/** @param {any} c */
function row(c) {
  return h('li', null, h('a', { href: `#/case/${c.id}/bench` },
    h('div.no', null, c.number),
    h('div.what', null, h('b', null, c.title), ...linesOf(c).map(([name, words]) => h(`span.${name}`, null, words))),
    h('div.when', null, h('b.state', { 'data-state': c.state }, c.state), h('span', null, day(c.last_at)), h('span', null, [hoursWords(c.hours), count(c.entries, 'entry', 'entries')].filter(Boolean).join(', ')))));
}
