// @ts-check
/** The page "Second screen", at the bench computer or on a device that may manage: a code and its picture, the devices that are let in, what each may, shutting one out. */
import { byId, fill, h, s } from '../shared/dom.js';
import { findingOf, get, post, remove } from '../shared/api.js';
import { day } from '../shared/words.js';
import { pathOf } from './qr.js';
import { takeLight } from '../shared/light.js';

/** @type {any} */ let state = null;
/** @type {{code: string, role: string, qr: string[]}|null} */ let code = null;
let role = 'work';
/** What a device may, in words. @type {[string, string][]} */
const ROLES = [['look', 'look only'], ['work', 'look and work on the cases'], ['manage', 'manage too: devices, import and export, numbers']];
/** @type {{words: string, remedy: string}|null} */ let wrong = null;

/** @param {() => Promise<void>} act */
async function doing(act) {
  try {
    wrong = null;
    await act();
  } catch (err) {
    wrong = findingOf(err);
  }
  draw();
}

const look = () => doing(async () => { state = await get('/api/lan'); });
const fresh = () => doing(async () => { code = await post('/api/lan/code', { role }); });
const giveRole = (/** @type {string} */ id, /** @type {string} */ to) => doing(async () => { state.devices = (await post(`/api/lan/devices/${encodeURIComponent(id)}/role`, { role: to })).devices; });
const shutOut = (/** @type {string} */ id) => doing(async () => { state.devices = (await remove(`/api/lan/devices/${encodeURIComponent(id)}`)).devices; });

function draw() {
  fill(byId('lan'), h('div.leaf', null, h('h1', null, 'Second screen'),
    wrong ? h('div.sheet', { role: 'alert' }, h('b', null, wrong.words), h('p', null, wrong.remedy)) : null,
    state && !state.open ? h('section.sheet', { id: 'shut' }, h('p', null, 'This bench is open on this computer only.'), h('p', null, 'For a tablet or phone on the same network start it with: ', h('code', null, 'coppermend serve --lan'))) : null,
    state?.open ? h('section.sheet', null, h('h2', null, 'Let a device in'),
      h('p', null, 'On the tablet open ', h('code', { id: 'lan-address' }, state.address), ' and type the code, or scan the picture.'),
      h('label.field', null, 'That device may', choice({ id: 'role' }, role, (to) => { role = to; code = null; draw(); byId('role').focus(); })),
      code ? [h('p.pair-code', { id: 'pair-code', role: 'status' }, code.code), picture(code.qr), h('p.why', null, `Good for five minutes and for one device, which may ${wordsOf(code.role)}.`)] : null,
      h('button.key.hot', { type: 'button', id: 'fresh', onclick: fresh }, code ? 'Another code' : 'Show a code'),
      h('p', null, 'The browser there asks about the certificate. Its SHA-256 must be:'), h('p.finger', { id: 'finger' }, state.fingerprint)) : null,
    state?.open ? h('section.sheet', null, h('h2', null, 'Let in'),
      state.devices.length ? h('ul', null, state.devices.map((/** @type {any} */ one) => h('li', null, h('span', null, h('b', null, one.name), ` since ${day(one.made_at)}`), h('label.field', null, `${one.name} may`, choice({ 'data-device': one.id }, one.role, (to) => giveRole(one.id, to))), h('button.key.slim', { type: 'button', 'aria-label': `Shut out: ${one.name}`, onclick: () => shutOut(one.id) }, 'Shut out')))) : h('p', null, 'No device yet.'),
      h('button.key.slim', { type: 'button', id: 'look', onclick: look }, 'Look again')) : null));
}

const wordsOf = (/** @type {string} */ one) => ROLES.find(([name]) => name === one)?.[1] ?? one;

/** @param {Record<string, string>} attrs @param {string} now @param {(to: string) => void} chosen */
const choice = (attrs, now, chosen) => h('select', { ...attrs, onchange: (/** @type {Event} */ e) => chosen(/** @type {HTMLSelectElement} */ (e.target).value) }, ROLES.map(([name, words]) => h('option', { value: name, selected: name === now }, words)));

/** @param {string[]} rows */
const picture = (rows) => s('svg', { id: 'qr', viewBox: `0 0 ${rows.length} ${rows.length}`, role: 'img', 'aria-label': 'The address with the code, as a QR picture', 'shape-rendering': 'crispEdges' }, s('path', { d: pathOf(rows) }));

takeLight();
look();
