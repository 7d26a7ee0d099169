// A tray on the scale: one piece at a time, its digits and Enter, and its grade stands there.
//
// The page gives in <section data-bench data-tray="…"> a list of pieces (li[data-piece], see tray.rs) and an empty
// <div data-scale>. What the book has of a piece comes with the page; what was entered since comes from the queue, so a page that
// is loaded without a line shows the same.

import { begin, make, put } from './bench.mjs';
import { UNTAKEN, digits, doubt, grams, question, units } from './grams.mjs';
import { SIGNS, reason, refusal, unkept } from './words.mjs';

/** How many pieces are shown at once; on a phone one row of them. */
const shown = () => (matchMedia('(max-width: 34rem)').matches ? 5 : 10);
/** One gram in units of a mass. */
const GRAM = 100_000n;
/** How soon after a reading an empty line is no line, and the same reading asked about, milliseconds. */
const BOUNCE = 700;
const TWICE = 2_000;

class Tray {
  #asked = null;
  #again = false;
  #last = null;
  #taken = { text: '', pour: '', at: 0 };
  #answered = new Map();

  constructor(element, items, queue) {
    this.element = element;
    this.queue = queue;
    this.set = element.dataset;
    this.pieces = items.map((item) => fromPage(item.dataset));
    this.chosen = null;
    this.build(element.querySelector('[data-scale]'));
    queue.addEventListener('changed', () => this.merge());
    queue.addEventListener('answered', (event) => this.answered(event.detail));
  }

  build(place) {
    this.input = make('input', {
      id: 'reading', type: 'text', inputmode: 'decimal', enterkeyhint: 'next', autocomplete: 'off', autocapitalize: 'none',
      spellcheck: 'false', maxlength: '40', 'aria-describedby': 'reading-says', autofocus: true,
    });
    this.head = make('h2', { class: 'now' });
    this.hint = make('p', { class: 'hint' });
    this.says = make('p', { id: 'reading-says', class: 'says', role: 'alert' });
    this.lastSays = make('p', { class: 'last', role: 'status' });
    this.strip = make('ol', { class: 'strip' });
    this.more = make('p', { class: 'choices' });
    const take = make('button', { type: 'submit' }, 'Take it');
    const label = make('label', { for: 'reading' }, 'What the scale shows, g');
    this.form = make('form', { class: 'reading', novalidate: true }, label, make('div', { class: 'line' }, this.input, take), this.says);
    this.form.addEventListener('submit', (event) => {
      event.preventDefault();
      this.enter();
    });
    this.input.addEventListener('input', () => this.say(''));
    place.replaceChildren(this.head, this.hint, this.form, this.more, this.lastSays, this.strip);
    // A scale types into whatever has the focus: its figures belong here, wherever somebody tapped last.
    document.addEventListener('keydown', (event) => {
      const typed = /^[0-9.,+-]$/.test(event.key) && !event.ctrlKey && !event.metaKey && !event.altKey;
      if (typed && !document.activeElement?.matches('input, select, textarea')) this.input.focus();
    });
  }

  /** The grade stands there as soon as the book has answered. */
  answered(entry) {
    const piece = this.pieces.find((one) => one.id === entry.thing);
    if (!piece || entry.tray !== this.set.tray) return;
    this.#answered.set(entry.key, entry);
    Object.assign(piece, recorded(piece, entry), { waiting: null });
    this.show();
  }

  /** Puts what the queue knows over what the page says. */
  async merge() {
    const marked = (one) => (one.state === 'waiting' && this.#answered.get(one.key)) || one;
    const entries = (await this.queue.entries()).map(marked).filter((one) => one.tray === this.set.tray);
    const old = [];
    for (const piece of this.pieces) {
      Object.assign(piece, piece.page, { waiting: null, refused: null });
      for (const entry of entries.filter((one) => one.thing === piece.id)) {
        if (entry.state === 'waiting') piece.waiting = entry;
        else if (entry.state === 'refused') piece.refused = entry;
        else if (entry.answer.versions[piece.id] <= piece.page.version) old.push(entry.key);
        else Object.assign(piece, recorded(piece, entry));
      }
    }
    if (old.length > 0) await this.queue.keep.change(old, () => null);
    await this.lookUp();
    if (!this.piece || (this.isDone(this.piece) && !this.#again && !this.isPicked)) this.next();
    this.show();
  }

  get piece() {
    return this.pieces.find((piece) => piece.id === this.chosen);
  }

  isDone(piece) {
    return piece.waiting !== null || (piece.mass !== null && piece.refused === null);
  }

  /** The next piece that has no reading yet, from the chosen one on. */
  next() {
    const at = this.pieces.findIndex((piece) => piece.id === this.chosen);
    const order = [...this.pieces.slice(at + 1), ...this.pieces.slice(0, at + 1)];
    const open = order.filter((piece) => !this.isDone(piece));
    this.choose((open.find((piece) => !piece.refused) ?? open[0])?.id ?? null, false);
  }

  choose(id, picked = true) {
    this.chosen = id;
    this.isPicked = picked;
    this.#again = false;
    this.#asked = null;
    this.input.value = '';
    this.say('');
    this.show();
    this.input.focus();
  }

  say(text, kind = '') {
    this.says.textContent = joined(text);
    this.says.dataset.kind = kind;
    if (text === '') this.#asked = null;
    this.input.toggleAttribute('aria-invalid', kind === 'wrong');
  }

  /** Enter: the reading is understood, held against what is likely, and kept. */
  async enter() {
    const piece = this.piece;
    if (!piece) return undefined;
    const typed = this.input.value;
    // A scale may end a line with two signs, and a key may bounce.
    if (typed.trim() === '' && Date.now() - this.#taken.at < BOUNCE) return undefined;
    const read = digits(typed);
    if (read.wrong) return this.ask(`${capital(UNTAKEN[read.wrong])}.`, 'wrong');
    const likely = piece.likely && { ...piece.likely, round: BigInt(this.set.round) * GRAM };
    const asked = likely && doubt(likely, units(read.text));
    const about = `${piece.id} ${read.text}`;
    if (asked && this.#asked !== about) {
      this.ask(question(likely, read.text, asked), asked.kind);
      this.#asked = about;
      return undefined;
    }
    if (read.text === this.#taken.text && Date.now() - this.#taken.at < TWICE && this.#asked !== about) {
      this.ask(`${read.text} g again, a moment after ${this.#taken.pour}: is ${piece.pour} on the pan? Enter takes it; or type it anew.`, 'twice');
      this.#asked = about;
      return undefined;
    }
    if (units(read.text) === 0n) return this.ask('Nothing is on the pan: a piece weighs more than that.', 'wrong');
    return this.take(piece, read.text);
  }

  ask(text, kind) {
    this.say(text, kind);
    this.input.focus();
    this.input.select();
  }

  async take(piece, text) {
    const { waiting, refused } = piece;
    if (waiting && !(await this.queue.drop(waiting.key))) {
      return this.ask('The reading before may have reached the book already. Once the book has answered, correct it.', 'wrong');
    }
    if (refused) await this.queue.drop(refused.key);
    const corrects = piece.mass !== null && !this.#again && !refused;
    if (corrects && this.set.corrects !== 'yes') {
      return this.ask(`It is in the book (entry ${piece.entry}). Only the office can correct it: tell them.`, 'wrong');
    }
    if (corrects && !piece.alone) {
      return this.ask('It was weighed together with others in one entry: correct it on the piece’s page.', 'wrong');
    }
    this.#last = piece.id;
    this.#taken = { text, pour: piece.pour, at: Date.now() };
    this.input.value = '';
    this.isPicked = false;
    this.#again = false;
    this.say('');
    const entry = corrects ? this.correction(piece, text) : this.weighing(piece, text);
    piece.waiting = { text: `${text} g` };
    // On its way before the next piece is drawn.
    const kept = this.queue.add({ ...entry, ...this.about(piece, text) });
    this.next();
    try {
      await kept;
    } catch (error) {
      this.choose(piece.id);
      this.ask(unkept(`${text} g`, error), 'wrong');
    }
    return undefined;
  }

  about(piece, text) {
    return { thing: piece.id, tray: this.set.tray, text: `${text} g`, mass: text, sees: { [piece.id]: piece.version } };
  }

  weighing(piece, mass) {
    const { session, stage, jar } = this.set;
    const items = [{ piece: piece.id, mass }];
    const how = { session, stage, jar };
    if (jar) return { path: '/v1/finishings', items: true, body: { session, jar, items }, how };
    return { path: '/v1/weighings', items: true, body: { session, stage, items }, how };
  }

  /** What the entry of the slip should have said. */
  correction(piece, mass) {
    const { session, stage, jar } = piece.how;
    const items = [{ piece: piece.id, mass }];
    const instead = jar
      ? { command: 'finish_pieces', session, jar, items }
      : { command: 'weigh_pieces', session, stage, items };
    const corrections = [{ index: piece.entry, instead }];
    return { path: '/v1/corrections', body: { corrections, reason: 'mistyped' }, how: piece.how, corrects: piece.entry };
  }

  /** Takes a reading back that belongs to another piece. */
  async takeBack(piece) {
    const about = `back ${piece.id}`;
    if (this.#asked !== about) {
      this.say(`Take ${piece.mass} g of ${piece.pour} out of the book? It stays to be read as taken back. Press once more.`, 'light');
      this.#asked = about;
      return;
    }
    const body = { corrections: [{ index: piece.entry }], reason: 'wrong_thing' };
    const entry = { path: '/v1/corrections', body, corrects: piece.entry, back: true };
    this.say('');
    await this.queue.add({ ...entry, ...this.about(piece, piece.mass), text: 'taken back' });
  }

  /** What the book has of pieces that somebody else was at: asked once for each refusal. */
  async lookUp() {
    const { header, token } = this.set;
    for (const piece of this.pieces.filter((one) => one.refused?.answer.status === 412 && !one.refused.now)) {
      try {
        const reply = await fetch(`/v1/pieces/${piece.id}`, { headers: { [header]: token }, cache: 'no-store' });
        if (!reply.ok) continue;
        const row = await reply.json();
        const last = row.readings.filter((one) => one.stage === this.set.stage).at(-1);
        piece.refused.now = { mass: last?.mass ?? null, entry: last?.index ?? null, graded: row.grading, version: row.version };
        await this.queue.keep.change([piece.refused.key], () => piece.refused);
      } catch {
        // Without a line the refusal says only that there is something newer.
      }
    }
    for (const piece of this.pieces.filter((one) => one.refused?.now)) {
      const { mass, entry, graded, version } = piece.refused.now;
      if (version <= piece.version) continue;
      Object.assign(piece, { mass, entry, version, graded: mass ? graded : null, alone: false });
    }
  }

  show() {
    const { piece } = this;
    const at = this.pieces.indexOf(piece);
    put(this.head, ...(piece ? [make('b', {}, piece.pour), ` ${piece.shape}`, make('small', {}, ` ${at + 1} of ${this.pieces.length}`)] : [this.summary()]));
    this.hint.textContent = joined(piece ? hint(piece, this.#again, this.set.corrects) : (this.element.dataset.done ?? ''));
    this.form.hidden = !piece;
    this.showChoices(piece);
    this.showLast();
    const count = shown();
    const from = Math.max(0, Math.min((at < 0 ? this.pieces.length : at) - Math.floor(count / 2), this.pieces.length - count));
    // The pour numbers of chips differ, so one that is alike chooses the same piece.
    put(this.strip, ...this.pieces.slice(from, from + count).map((one) => this.chip(one)));
    this.element.dataset.left = this.pieces.filter((one) => !this.isDone(one)).length;
  }

  showChoices(piece) {
    const choices = [];
    const button = (text, act) => {
      const made = make('button', { type: 'button', class: 'quiet' }, text);
      made.addEventListener('click', act);
      choices.push(made);
    };
    if (piece?.refused) button('Seen', () => this.seen(piece));
    else if (piece?.mass && !piece.waiting) {
      if (!this.#again) button('Weigh it again instead', () => this.weighAgain());
      if (piece.alone && this.set.corrects === 'yes') button('It was another piece: take it back', () => this.takeBack(piece));
    }
    if (piece && this.isPicked) choices.push(make('a', { class: 'button quiet', href: `/bench/pieces/${piece.id}/photograph` }, 'Photograph it'));
    if (this.isPicked) button('Back to the tray', () => this.next());
    this.more.replaceChildren(...choices);
  }

  weighAgain() {
    this.#again = true;
    this.show();
    this.input.focus();
  }

  async seen(piece) {
    await this.queue.drop(piece.refused.key);
    this.next();
  }

  showLast() {
    const refused = this.pieces.find((piece) => piece.refused);
    const piece = refused ?? this.pieces.find((one) => one.id === this.#last);
    const state = piece ? stateOf(piece) : '';
    this.lastSays.dataset.state = state;
    this.lastSays.dataset.piece = piece?.pour ?? '';
    put(this.lastSays, ...(piece ? [make('b', {}, `${piece.pour} `), joined(says(piece))] : []));
  }

  chip(piece) {
    const state = stateOf(piece);
    const button = make('button', { type: 'button', 'data-state': state, 'aria-current': piece.id === this.chosen && 'true' },
      make('span', {}, piece.pour), make('span', { 'aria-hidden': 'true' }, sign(piece, state)), make('span', { class: 'unseen' }, ` ${says(piece)}`));
    button.addEventListener('click', () => this.choose(piece.id));
    return make('li', {}, button);
  }

  summary() {
    const counts = new Map();
    for (const piece of this.pieces) counts.set(stateOf(piece), (counts.get(stateOf(piece)) ?? 0) + 1);
    const words = { waiting: 'not yet in the book', refused: 'not taken', open: 'not weighed' };
    const told = [...counts].map(([state, count]) => `${count} ${words[state] ?? state}`);
    return this.pieces.length === 0 ? 'Nothing to weigh here' : `The tray is weighed: ${told.join(', ')}`;
  }
}

/** A piece as the page has it. */
function fromPage(data) {
  const page = {
    version: Number(data.version), mass: data.mass ?? null, entry: data.entry === undefined ? null : Number(data.entry),
    graded: data.grade ? { grade: data.grade, lower: data.lower, upper: data.upper, guard: data.guard } : null,
    alone: data.alone === 'yes', how: { session: data.readSession, stage: data.readStage, jar: data.readJar },
  };
  const likely = data.low ? { low: units(data.low), near: units(data.near), high: units(data.high), by: data.by, count: data.count } : null;
  return { id: data.piece, pour: data.pour, shape: data.shape, likely, page, ...page, waiting: null, refused: null };
}

/** What a recorded entry makes of a piece. */
function recorded(piece, entry) {
  const { versions, index, events } = entry.answer;
  const version = versions[piece.id] ?? piece.version;
  if (entry.back) return { version, mass: null, graded: null, entry: null };
  const graded = events.filter((event) => event.kind === 'piece.graded' && event.piece === piece.id).at(-1) ?? null;
  return { version, mass: entry.mass, graded, entry: entry.corrects ?? index, alone: true, how: entry.how };
}

function stateOf(piece) {
  if (piece.refused) return 'refused';
  if (piece.waiting) return 'waiting';
  return piece.mass === null ? 'open' : piece.graded?.grade ?? 'weighed';
}

const sign = (piece, state) => ({ refused: '!', waiting: '…', open: '' })[state] ?? SIGNS[state] ?? '✓';

function says(piece) {
  if (piece.refused) return refusal(piece.refused, piece.refused.now);
  if (piece.waiting) return `${piece.waiting.text}: not yet in the book`;
  if (piece.mass === null) return 'not weighed';
  return piece.graded ? `${piece.mass} g, ${reason(piece.graded)}` : `${piece.mass} g`;
}

function hint(piece, again, corrects) {
  if (piece.refused) return 'Type it anew, or say that you have seen it.';
  if (piece.waiting) return `${piece.waiting.text} is not yet in the book: what you type takes its place.`;
  if (piece.mass !== null && !again) {
    if (corrects !== 'yes') return `The book has ${piece.mass} g. A slip is corrected by the office: tell them.`;
    return `The book has ${piece.mass} g. What you type corrects that slip; both stay to be read.`;
  }
  const { likely } = piece;
  const ground = { mould: `by ${likely?.count} readings from the mould`, limits: 'by the limits', last: 'by its last reading' };
  return likely ? `About ${nearText(likely)} g, ${ground[likely.by]}` : 'Nothing is known yet of what it should weigh';
}

const nearText = ({ near }) => grams(((near + 500n) / 1000n) * 1000n);
/** A figure and its unit stay on one line. */
const joined = (text) => text.replace(/(\d) g\b/g, '$1\u00a0g');
const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

const element = document.querySelector('[data-tray]');
if (element) {
  const items = [...element.querySelectorAll('li[data-piece]')];
  const queue = await begin(element);
  const tray = new Tray(element, items, queue);
  await tray.merge();
  element.dataset.ready = 'yes';
}
