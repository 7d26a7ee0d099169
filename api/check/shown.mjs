// How a check is shown: a word, a list of steps, and what is said beside them. Nothing foreign becomes markup: all text goes into
// text nodes, and no style or script stands in a page.

/** An element with a class, attributes and children (elements or text). */
export function make(tag, { class: name, ...attributes } = {}, ...children) {
  const element = document.createElement(tag);
  if (name !== undefined) element.className = name;
  for (const [attribute, value] of Object.entries(attributes)) element.setAttribute(attribute, value);
  element.append(...children);
  return element;
}

const MARKS = { true: 'holds', false: 'does not hold', null: 'cannot tell' };
/** In whole words, for whoever holds the piece. */
const OUTCOMES = {
  holds: 'The record holds.',
  does_not_hold: 'The record does not hold.',
  unreadable: 'The proof file cannot be read.',
  not_understood: 'The record holds something that this version does not understand. It is neither confirmed nor denied.',
  not_fetched: 'The server did not give the proof file, so nothing can be said.',
  cannot_check: 'This browser cannot check here. That says nothing against the record.',
};

/** What stands beside a conclusion that is not "holds". */
const ADVICE = {
  does_not_hold:
    'Do not rely on this record. Keep the proof file, and ask the workshop by a way that you know. Of the object in your hand ' +
    'this says nothing.',
  unreadable: 'The file was cut off, altered, saved anew by another program, or is no proof file. Fetch it again.',
  not_understood: 'A newer version of this check may understand it.',
  not_fetched: 'Ask again later, or have the proof file sent to you and check that.',
  cannot_check: 'Save the proof file, and check it with another browser or with the program pourbook-verify.',
};

/** One step: what was checked, whether it holds, what was found. */
export function stepItem({ name, checked, holds, found, evidence }) {
  const item = make(
    'li',
    { class: 'check-step', 'data-step': name, 'data-holds': String(holds) },
    make('span', { class: 'check-mark' }, MARKS[String(holds)]),
    ' ',
    make('span', { class: 'check-asked' }, checked),
    ': ',
    make('span', { class: 'check-found' }, found),
  );
  if (evidence !== undefined) {
    const notes = evidence.map((note) => make('pre', { tabindex: '0' }, note));
    const about = 'The two checkpoints, both signed by the log: keep them, they show anybody that it has two histories';
    item.append(make('details', { class: 'check-evidence' }, make('summary', {}, about), ...notes));
  }
  return item;
}

/** The word that is read out, and what it rests on. */
export function sayOutcome({ conclusion, size, why, what, open = [] }) {
  const word = OUTCOMES[conclusion];
  if (conclusion === 'holds') {
    const left = open.length === 0 ? '' : ' What could not be told is marked below.';
    return `${word} True as of size ${size} of the log.${left}`;
  }
  const detail = why ?? what;
  return detail === undefined ? word : `${word} ${detail[0].toUpperCase()}${detail.slice(1)}.`;
}

/** The parts of a shown check, in reading order: the word (read out when it changes), the steps, what no check can tell. */
export class Shown {
  word = make('p', { class: 'check-word', role: 'status', 'aria-live': 'polite' });
  steps = make('ol', { class: 'check-steps', 'aria-label': 'What was checked' });
  last = make('p', { class: 'check-last' });
  limit = make('p', { class: 'check-limit' });

  get parts() {
    return [this.word, this.steps, this.last, this.limit];
  }

  begin(word) {
    this.steps.replaceChildren();
    this.steps.setAttribute('aria-busy', 'true');
    this.last.replaceChildren();
    this.told?.remove();
    this.limit.replaceChildren();
    this.say(word, 'busy');
  }

  say(word, outcome) {
    this.word.replaceChildren(word);
    this.word.dataset.outcome = outcome;
  }

  step(step) {
    this.steps.append(stepItem(step));
  }

  /** More of what the record says, behind its last word. */
  tell(element) {
    this.last.after(element);
    this.told = element;
  }

  fresh() {
    this.steps.replaceChildren();
  }

  end(report, last, limit) {
    this.steps.setAttribute('aria-busy', 'false');
    this.say(sayOutcome(report), report.conclusion);
    if (report.conclusion === 'holds') this.last.replaceChildren(last);
    this.limit.replaceChildren(ADVICE[report.conclusion] ?? limit);
  }
}

/** A field for the thumbprint on the certificate; `taken` is told of one that has the form. */
export function thumbprintForm(isThumbprint, taken, idle) {
  const id = `check-thumbprint-${(thumbprintForm.count = (thumbprintForm.count ?? 0) + 1)}`;
  const error = make('span', { class: 'check-error', id: `${id}-error`, role: 'alert' });
  const field = make('input', {
    id, name: 'thumbprint', type: 'text', autocomplete: 'off', autocapitalize: 'none', spellcheck: 'false', maxlength: '60',
    'aria-describedby': error.id,
  });
  const form = make(
    'form',
    { class: 'check-root' },
    make('label', { for: id }, 'Thumbprint printed on the certificate'),
    field,
    make('button', { type: 'submit' }, idle),
    error,
  );
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    const typed = field.value.trim();
    const holds = isThumbprint(typed);
    const form = 'A thumbprint has 43 letters, digits, hyphens and underscores; capital and small letters differ.';
    error.replaceChildren(holds ? '' : `${form} This has ${typed.length}.`);
    field.setAttribute('aria-invalid', String(!holds));
    if (holds) taken(typed);
    else field.focus();
  });
  return form;
}

/** The thumbprint in the fragment of the address, `#k=…`, which is never sent; `given` but not of the form, it is a slip. */
export function fromFragment(isThumbprint) {
  const given = new URLSearchParams(globalThis.location.hash.slice(1)).get('k');
  return { given: given !== null, root: given !== null && isThumbprint(given) ? given : null };
}
