// @ts-check
/** Pairing a tablet or phone: the code from the bench computer, once. The token comes as a cookie that no script can read. */
import { byId, fill, h } from '../shared/dom.js';
import { findingOf, post } from '../shared/api.js';
import { takeLight } from '../shared/light.js';

/** The code in the address of the QR picture, taken out of the address at once: no secret stays in a URL or in the history. */
function codeFromAddress() {
  const code = decodeURIComponent(location.hash.slice(1));
  if (code) history.replaceState(null, '', location.pathname);
  return /^[A-Za-z0-9-]{1,40}$/.test(code) ? code : '';
}

/** @param {{words: string, remedy: string}|null} wrong @param {string} code @param {string} name */
function draw(wrong, code, name) {
  fill(byId('pair'), h('div.leaf', null, h('h1', null, 'Pair this device'),
    h('form.sheet', { onsubmit: submit },
      h('p', null, 'The bench computer shows a code: on its page under “Second screen”, or in its terminal.'),
      h('label.field', null, 'Code', h('input', { id: 'code', name: 'code', required: true, value: code, autocomplete: 'off', autocapitalize: 'characters', spellcheck: 'false', maxlength: 12, placeholder: 'ABC-DEF' })),
      h('label.field', null, 'What this device is called', h('input', { id: 'name', name: 'name', value: name, maxlength: 40, autocomplete: 'off' })),
      wrong ? h('p', { role: 'alert', id: 'wrong' }, h('b', null, wrong.words), ` ${wrong.remedy}`) : null,
      h('button.key.hot', { id: 'pair-now' }, 'Pair')),
    h('section.sheet', null, h('h2', null, 'Without a question about the certificate'), h('p', null, 'The bench made its certificate itself. Compare the SHA-256 that your browser shows with the one at the bench computer. Or let this device trust the bench’s own authority; it can then vouch for any address on this device, so do that on a device of the workshop only: ', h('a', { href: '/lan/authority.crt' }, 'its certificate'), '.'))));
}

/** @param {SubmitEvent} e */
async function submit(e) {
  e.preventDefault();
  const f = Object.fromEntries(new FormData(/** @type {HTMLFormElement} */ (e.target)));
  try {
    await post('/api/pair', { code: String(f.code), name: String(f.name) });
    location.replace('/');
  } catch (err) {
    draw(findingOf(err), '', String(f.name));
    byId('code').focus();
  }
}

takeLight();
draw(null, codeFromAddress(), matchMedia('(pointer: coarse)').matches ? 'tablet' : 'second screen');
addEventListener('hashchange', () => draw(null, codeFromAddress(), byId('name').value));
