// @ts-check
/** Small helpers round the DOM. Text goes in as text, never as markup. */

/**
 * @param {string} tag "button.big.primary" @param {Record<string, any>|null} [attrs] `on*` are listeners; true/false/null set or drop an attribute
 * @param {...(Node|string|number|null|undefined|false|any[])} children @returns {HTMLElement}
 */
export function h(tag, attrs, ...children) {
  const [name, ...classes] = tag.split('.');
  const el = document.createElement(name || 'div');
  if (classes.length) el.className = classes.join(' ');
  for (const [key, value] of Object.entries(attrs ?? {})) put(el, key, value);
  el.append(.../** @type {(Node|string)[]} */ (children.flat(4).filter((c) => c !== null && c !== undefined && c !== false).map((c) => (c instanceof Node ? c : String(c)))));
  return el;
}

/** @param {Element} el @param {string} key @param {any} value */
function put(el, key, value) {
  if (key.startsWith('on')) el.addEventListener(key.slice(2), value);
  else if (value === true) el.setAttribute(key, '');
  else if (value !== false && value !== null && value !== undefined) el.setAttribute(key, String(value));
}

const SVG = 'http://www.w3.org/2000/svg';

/** @param {string} tag @param {Record<string, any>} attrs @param {...(Node|string)} children */
export function s(tag, attrs, ...children) {
  const el = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attrs)) put(el, key, value);
  el.append(...children);
  return el;
}

/** @param {string} id @returns {any} */
export const byId = (id) => document.getElementById(id);

/** @param {Element} el @param {...any} children */
export function fill(el, ...children) {
  el.replaceChildren(.../** @type {(Node|string)[]} */ (children.flat(4).filter(Boolean)));
}

/** Draw anew without taking the keyboard away: the same element (by id) has the focus again, with what was typed and where. @param {() => void} draw */
export function keepTyping(draw) {
  const was = /** @type {any} */ (document.activeElement);
  const id = was?.id, value = was?.value, from = was?.selectionStart;
  const typing = was?.tagName === 'INPUT' || was?.tagName === 'TEXTAREA';
  draw();
  const now = id ? /** @type {any} */ (document.getElementById(id)) : null;
  if (!now || now === document.activeElement) return;
  if (typing && value) now.value = value;
  now.focus({ preventScroll: true });
  if (typing && typeof from === 'number') now.setSelectionRange?.(from, from);
}

/** Was it changed since it was drawn? @param {any} f a field */
const changed = (f) => (f.tagName === 'SELECT' ? f.selectedIndex !== Math.max(0, [...f.options].findIndex((o) => o.defaultSelected)) : /^(checkbox|radio)$/.test(f.type) ? f.checked !== f.defaultChecked : f.value !== f.defaultValue);

/** Draw anew, and give every field under `el` with an id back what was typed into it, but for those that `sent` says are done with. @param {Element} el @param {() => void} draw @param {(field: Element) => boolean} [sent] */
export function keepFields(el, draw, sent = () => false) {
  const fields = () => /** @type {any[]} */ ([...el.querySelectorAll('input[id]:not([type="file"]), textarea[id], select[id]')]);
  const was = new Map(fields().filter((f) => changed(f) && !sent(f)).map((f) => [f.id, { value: f.value, checked: f.checked }]));
  draw();
  for (const f of fields()) {
    const old = was.get(f.id);
    if (old) Object.assign(f, f.tagName === 'INPUT' ? old : { value: old.value });
  }
}

/** Is somebody writing in there: a focused field, or one that is not empty? @param {Element} el */
export function typingIn(el) {
  const fields = /** @type {NodeListOf<HTMLInputElement>} */ (el.querySelectorAll('input, textarea'));
  return [...fields].some((f) => f === document.activeElement || (f.type !== 'file' && f.value !== ''));
}
