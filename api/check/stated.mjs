// What a page says in its own words, held against what the checked record says: a server could give a true proof under a false page.
//
// A page marks each figure that the record holds: `<span data-stated="weight_grams">50.42</span>`; its text must be the fact of that
// name, digit for digit. A page that lies could leave the marks out, so the facts are shown beside the check too, by `factList`.

import { make } from './shown.mjs';

/** The facts that a reader is shown, each with the word for it, in reading order. */
const WORDS = {
  serial: 'Serial',
  series: 'Series',
  number: 'Number',
  metal: 'Metal',
  fineness: 'Fineness, parts per thousand',
  weight_grams: 'Weight, g',
  uncertainty_grams: 'Uncertainty (k = 2), g',
  at_least_grams: 'At least, g',
  hallmark: 'Marks',
  certificate_issue: 'Certificate issue',
  state: 'State',
};

const textOf = (value) => (value === null || value === undefined || value === '' ? null : String(value));

/** The step that compares a page with the facts of a record that holds. */
export function comparePage(facts, page) {
  const step = { name: 'page', checked: 'The figures of this page are those of the record' };
  const marked = [...page.querySelectorAll('[data-stated]')];
  if (marked.length === 0) return { ...step, holds: null, found: 'this page marks no figure that could be compared' };
  for (const element of marked) {
    const name = element.dataset.stated;
    const says = element.textContent.trim();
    const holds = Object.hasOwn(WORDS, name) ? textOf(facts[name]) : null;
    if (says !== holds) {
      const word = WORDS[name] ?? name;
      return { ...step, holds: false, found: `${word}: the page says ${says}, the record ${holds ?? 'says nothing'}` };
    }
  }
  return { ...step, holds: true, found: `${marked.length} figures are the same` };
}

/** The facts of a record that holds, as this browser read them out of it. */
export function factList(facts) {
  const told = Object.entries(WORDS).filter(([name]) => textOf(facts[name]) !== null);
  const rows = told.map(([name, word]) => make('div', {}, make('dt', {}, word), make('dd', {}, textOf(facts[name]))));
  return make('dl', { class: 'check-facts' }, ...rows);
}
