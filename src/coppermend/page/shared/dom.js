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
