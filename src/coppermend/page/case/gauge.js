// @ts-check
/** What a gauge of wire is good for: diameter, resistance of a length, and the currents that melt it. */
import { fill, h } from '../shared/dom.js';
import { findingOf, get } from '../shared/api.js';
import { rests } from '../shared/rests.js';
import { filledIn, numbersIn } from '../rework/parts.js';

/** The form with what it found: the leaf is drawn anew after every entry, this is not. @type {HTMLElement|null} */
let kept = null;

export const gaugeForm = () => (kept ??= made());

function made() {
  const out = h('div', { id: 'gauge-answer', role: 'status' });
  const ask = async (/** @type {HTMLFormElement} */ form) => {
    try {
      const g = await get(`/api/wires/gauge?${new URLSearchParams(numbersIn(filledIn(form)))}`);
      fill(out, h('p', null, h('b', null, `${g.awg} AWG, ${g.length_mm} mm: ${(g.resistance_ohm * 1000).toFixed(2)} mΩ at 20 °C`), `, ${g.diameter_mm.toFixed(3)} mm across, ${g.section_mm2.toFixed(4)} mm².`), rests('size and resistance rest', g.assumed.slice(0, 1)),
        h('p', null, `Melts at about ${g.preece_a.toFixed(1)} A that stay on (Preece), at about ${g.onderdonk_a.toFixed(1)} A within a second (Onderdonk): no rating.`), rests('the currents rest', g.assumed.slice(1)));
    } catch (err) {
      const found = findingOf(err);
      fill(out, h('p.need', null, found.words, ' ', found.remedy));
    }
  };
  const field = (/** @type {string} */ words, /** @type {string} */ name, /** @type {string} */ value) => h('label.field', null, words, h('input', { name, id: `gauge-${name}`, value, required: true, inputmode: 'decimal', autocomplete: 'off' }));
  return h('details.sheet', { id: 'gauge' }, h('summary', null, h('b', null, 'What a gauge of wire is good for'), ': resistance, melting currents'),
    h('form', { onsubmit: (/** @type {SubmitEvent} */ e) => { e.preventDefault(); ask(/** @type {HTMLFormElement} */ (e.target)); } },
      h('div.row', null, field('Gauge, AWG', 'awg', '30'), field('Length, mm', 'length_mm', '100'), h('button.key.hot', { id: 'gauge-go' }, 'Reckon'))), out);
}
