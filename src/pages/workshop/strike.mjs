// Striking: tap a piece, then how it came out. Each strike is an entry of its own, through the queue.

import { begin, make } from './bench.mjs';
import { refusal, unkept } from './words.mjs';

/** How soon after a strike a tap is no tap, milliseconds. */
const BOUNCE = 700;
/** How many pieces are shown at once. */
const SHOWN = 18;

class Strikes {
  struck = 0;

  constructor(element, queue) {
    this.set = element.dataset;
    this.queue = queue;
    this.tray = `strikes/${this.set.die}`;
    this.list = element.querySelector('ol.pieces');
    this.says = make('p', { class: 'last', role: 'status' });
    this.head = make('p', { class: 'now' });
    const outcomes = element.querySelector('[data-outcomes]');
    outcomes.before(this.head);
    outcomes.after(this.says);
    this.outcomes = outcomes;
    this.count = element.querySelector('[data-strikes]');
    this.words = new Map();
    for (const button of outcomes.querySelectorAll('button')) {
      this.words.set(button.value, button.textContent);
      button.addEventListener('click', () => this.strike(button.value));
    }
    this.pieces = [...this.list.querySelectorAll('li')].map((item) => ({
      id: item.dataset.piece, name: item.dataset.pour, page: Number(item.dataset.version), version: Number(item.dataset.version), outcome: null, state: 'open',
    }));
    this.list.classList.add('strip');
    queue.addEventListener('changed', () => this.merge());
  }

  async merge() {
    const entries = (await this.queue.entries()).filter((one) => one.tray === this.tray);
    let since = 0;
    for (const piece of this.pieces) {
      Object.assign(piece, { version: piece.page, outcome: null, state: 'open', entry: null });
      for (const entry of entries.filter((one) => one.thing === piece.id)) {
        const version = entry.answer?.versions?.[piece.id] ?? piece.version;
        const now = entry.state !== 'recorded' || version > piece.page;
        if (now) Object.assign(piece, { outcome: entry.outcome, state: entry.state, entry, version });
        if (now && entry.state === 'recorded') since += 1;
      }
    }
    const strikes = Number(this.count.dataset.strikes) + since;
    this.count.textContent = strikes === 1 ? '1 strike' : `${strikes} strikes`;
    if (!this.open(this.chosen)) this.chosen = this.pieces.find((piece) => piece.state === 'open');
    this.show();
  }

  open(piece) {
    return piece && ['open', 'refused'].includes(piece.state);
  }

  /** The second of two quick taps is no strike of the next piece. */
  async strike(outcome) {
    const piece = this.chosen;
    if (!this.open(piece) || Date.now() - this.struck < BOUNCE) return;
    this.struck = Date.now();
    const refused = piece.state === 'refused' ? piece.entry : null;
    Object.assign(piece, { state: 'waiting', outcome });
    this.chosen = this.pieces.find((one) => one.state === 'open');
    if (refused) await this.queue.drop(refused.key);
    try {
      await this.queue.add({
        path: '/v1/strikes', items: true, body: { die: this.set.die, items: [{ piece: piece.id, outcome }] },
        sees: { [piece.id]: piece.version }, tray: this.tray, thing: piece.id, outcome, text: this.words.get(outcome),
      });
    } catch (error) {
      this.chosen = piece;
      await this.merge();
      this.says.textContent = unkept(`the strike of ${piece.name}`, error);
    }
  }

  show() {
    const { chosen } = this;
    this.outcomes.hidden = !this.open(chosen);
    this.head.replaceChildren(...(chosen ? [make('b', {}, chosen.name), this.open(chosen) ? ' is under the die' : ' was struck'] : ['Every piece here was struck.']));
    const at = this.pieces.indexOf(chosen);
    const middle = (at < 0 ? this.pieces.length : at) - SHOWN / 2;
    const from = Math.max(0, Math.min(middle, this.pieces.length - SHOWN));
    this.list.replaceChildren(...this.pieces.slice(from, from + SHOWN).map((piece) => {
      const says = { open: '', waiting: '…', refused: '!', recorded: piece.outcome === 'good' ? '✓' : '✗' }[piece.state];
      const told = piece.outcome ? ` ${this.words.get(piece.outcome)}${piece.state === 'waiting' ? ', not yet in the book' : ''}` : ' waits';
      const button = make('button', { type: 'button', 'data-state': piece.state, 'aria-current': piece === chosen && 'true' },
        make('span', {}, piece.name), make('span', { 'aria-hidden': 'true' }, ` ${says}`), make('span', { class: 'unseen' }, told));
      button.addEventListener('click', () => {
        this.chosen = piece;
        this.show();
      });
      return make('li', {}, button);
    }));
    const refused = this.pieces.find((piece) => piece.state === 'refused');
    this.says.textContent = refused ? `${refused.name}: ${refusal(refused.entry)}` : '';
  }
}

const element = document.querySelector('[data-strikes][data-die]');
if (element) {
  const queue = await begin(element);
  if (element.querySelector('ol.pieces li')) await new Strikes(element, queue).merge();
  element.dataset.ready = 'yes';
}
