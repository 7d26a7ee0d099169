// Pouring: one tap for each cavity that was filled. Each tap shows the number that the piece will get at the mould; the last one
// can be taken back until the pours are written. They go through the queue as one entry.

import { begin, make } from './bench.mjs';
import { fresh } from './keep.mjs';
import { refusal, unkept } from './words.mjs';

const POURS_MAX = 40;

class Pours {
  #chosen = [];
  #key = fresh();

  constructor(element, queue) {
    this.set = element.dataset;
    this.queue = queue;
    this.tray = `pours/${this.set.pours}`;
    this.place = element.querySelector('[data-poured]');
    this.list = make('ol', { class: 'poured' });
    this.says = make('p', { class: 'says', role: 'status' });
    this.undo = this.button('Undo the last', () => this.takeBack(), 'quiet');
    this.send = this.button('Write them in the book', () => this.write());
    this.place.replaceChildren(this.list, make('p', { class: 'line' }, this.undo, this.send), this.says);
    for (const cavity of element.querySelectorAll('.cavity')) cavity.addEventListener('click', () => this.tap(cavity.dataset));
    this.next = Number(this.set.next);
    queue.addEventListener('changed', () => this.merge());
  }

  button(text, act, kind = '') {
    const made = make('button', { type: 'button', class: kind }, text);
    made.addEventListener('click', act);
    return made;
  }

  number(place) {
    return `${this.set.number}-${String(this.next + place).padStart(2, '0')}`;
  }

  tap({ series, shape, words }) {
    if (this.waiting || this.#chosen.length >= POURS_MAX) return;
    this.#chosen.push({ series, shape, words });
    this.says.textContent = '';
    this.show();
  }

  takeBack() {
    this.#chosen.pop();
    this.show();
  }

  /** A second tap finds the same key in the queue and adds nothing. */
  async write() {
    const chosen = this.#chosen;
    if (chosen.length === 0) return;
    const pours = chosen.map(({ series, shape }) => ({ series, shape }));
    const melt = this.set.pours;
    try {
      await this.queue.add({
        key: this.#key, path: `/v1/melts/${melt}/pours`, body: { pours }, sees: { [melt]: Number(this.set.version) }, match: melt,
        tray: this.tray, thing: melt, text: `${pours.length} pours`, first: this.number(0), words: chosen.map(({ words }) => words),
      });
    } catch (error) {
      this.says.textContent = unkept('the pours', error);
    }
  }

  async merge() {
    const entries = (await this.queue.entries()).filter((one) => one.tray === this.tray);
    this.waiting = entries.find((one) => one.state === 'waiting');
    for (const entry of entries) {
      if (entry.state === 'recorded') this.recorded(entry);
      if (entry.state === 'refused') await this.refused(entry);
    }
    this.show();
  }

  recorded(entry) {
    const poured = entry.answer.events.filter((event) => event.kind === 'piece.poured').map((event) => event.pour);
    this.next = Math.max(this.next, Number(poured.at(-1).split('-')[1]) + 1);
    if (entry.key !== this.#key) return;
    const others = poured[0] === entry.first ? '' : ' Somebody else poured meanwhile: these are the numbers that hold.';
    this.says.textContent = `In the book: ${poured.join(', ')}.${others}`;
    this.#chosen = [];
    this.#key = fresh();
  }

  async refused(entry) {
    const stale = entry.answer.status === 412;
    this.says.textContent = stale
      ? 'This melt was closed or corrected meanwhile, so nothing of this was written: load the page anew.'
      : refusal(entry);
    this.#key = fresh();
    await this.queue.drop(entry.key);
  }

  show() {
    const shown = this.waiting ? this.waiting.words : this.#chosen.map(({ words }) => words);
    const item = (words, place) => make('li', {}, make('b', {}, this.number(place)), ` ${words}`);
    this.list.replaceChildren(...shown.map(item).slice(-8));
    this.undo.disabled = this.waiting || shown.length === 0;
    this.send.disabled = this.waiting || shown.length === 0;
    this.send.textContent = shown.length === 0 ? 'Write them in the book' : `Write ${shown.length} in the book`;
  }
}

const element = document.querySelector('[data-pours]');
if (element) {
  const queue = await begin(element);
  await new Pours(element, queue).merge();
  element.dataset.ready = 'yes';
}
