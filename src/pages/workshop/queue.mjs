// The queue of the bench: what was entered is kept first (keep.mjs), then sent in order, and marked with what the book answered.
//
// An entry:
//   key      its Idempotency-Key: however often it is sent, it is recorded once
//   by       who entered it; it is sent only while that operator is signed in
//   path, query, body, media   the request; a body that is an object is sent as JSON
//   sees     {id: version} of what it was decided on; `match` names the one that goes into If-Match, `items` of a tray get theirs
//   thing, tray, text          what it is about: for whoever shows it
//   typed    when it was entered, milliseconds of this device
//   state    waiting | recorded | refused, and then `answer`
//
// One tab sends at a time: by a Web Lock where there is one, else by a lease in the database. While a request is under way its
// entry is marked `sent`, so that nobody takes it back: what became of it is known only by sending the same again.
//
// Events: `answered` (detail: an entry that the book has just taken, before it is marked here), `changed` (entries moved), `line`
// (detail: 'up' | 'down' | 'sign-in' | 'busy').

import { fresh } from './keep.mjs';

const NAME = 'pourbook-bench';
const PATIENCE = 20_000;
const LEASE = 30_000;
const AGAIN_FIRST = 2_000;
const AGAIN_MAX = 30_000;
/** From this age on an entry says when it was done. */
const OLD = 60_000;
/** How long recorded entries are kept for a tray that is loaded without a line. */
const RECORDED_KEPT = 24 * 3600 * 1000;
/** Answers after which the same request is sent again later. */
const LATER = [408, 425, 429, 500, 502, 503, 504];

export class Queue extends EventTarget {
  #tab = fresh();
  #pending = false;
  #missed = false;
  #adding = null;
  #again = null;
  #wait = AGAIN_FIRST;
  #channel = 'BroadcastChannel' in globalThis ? new BroadcastChannel(NAME) : null;

  /** `who` is the signed-in page: { operator, header, token }. */
  constructor(keep, who) {
    super();
    this.keep = keep;
    this.who = who;
    this.line = 'up';
    this.#channel?.addEventListener('message', () => this.#tell());
    addEventListener('online', () => this.run());
    document.addEventListener('visibilitychange', () => document.hidden || this.run());
  }

  entries() {
    return this.keep.all();
  }

  /** Keeps an entry and begins to send. False when it is there already. */
  async add(entry) {
    const whole = { key: fresh(), by: this.who.operator, typed: Date.now(), state: 'waiting', sees: {}, ...entry };
    const adding = this.keep.add(whole);
    // Whoever sends waits for it; until then the turn to send can be asked for.
    this.#adding = adding.catch(() => false);
    this.run();
    const added = await adding;
    if (added) this.#changed();
    return added;
  }

  /** Takes an entry away that nobody needs any more. One that may have reached the book stays, and then this is false. */
  async drop(key) {
    let dropped = false;
    await this.keep.change([key], (entry) => {
      dropped = !(entry.state === 'waiting' && entry.sent);
      return dropped ? null : entry;
    });
    this.#changed();
    return dropped;
  }

  /** Sends what waits, if nothing is sending. */
  run() {
    if (this.#pending) {
      this.#missed = true;
      return;
    }
    this.#pending = true;
    this.#missed = false;
    clearTimeout(this.#again);
    this.#alone(() => this.#drain())
      .catch(() => this.#later())
      .finally(() => {
        this.#pending = false;
        // What was entered after the last look at what waits is not left for the next time.
        if (this.#missed && this.line === 'up') this.run();
      });
  }

  async #alone(work) {
    if (navigator.locks) return navigator.locks.request(NAME, work);
    if (await this.keep.lease(this.#tab, LEASE)) return work();
    return this.#later();
  }

  async #drain() {
    for (;;) {
      this.#missed = false;
      await this.#adding;
      if (!navigator.locks && !(await this.keep.lease(this.#tab, LEASE))) return this.#later();
      const next = (one) => one.state === 'waiting' && one.by === this.who.operator;
      // What is fresh is found and marked in one step: nobody can take it back in between.
      const entry = await this.keep.first(next, (one) => {
        const date = this.#dated(one);
        return date === undefined ? null : { ...one, sent: true, date };
      });
      if (!entry) break;
      if (!(await this.#send(entry))) return undefined;
    }
    await this.#forget();
    return undefined;
  }

  /** Sends one; whether to go on with the next. */
  async #send(entry) {
    let ready = entry.sent ? entry : null;
    if (!ready) {
      const date = await this.#done(entry);
      if (date === null) return this.#stop('down');
      // It may have been taken back meanwhile; and what it was decided on may be newer.
      await this.keep.change([entry.key], (now) => {
        ready = now.state === 'waiting' ? { ...now, sent: true, date } : null;
        return ready ?? now;
      });
    }
    if (!ready) return true;
    let reply;
    let said;
    try {
      reply = await fetch(address(ready), { ...request(ready, this.who), signal: AbortSignal.timeout(PATIENCE) });
      said = await reply.json().catch(() => ({}));
    } catch {
      return this.#stop('down');
    }
    if (reply.status === 201) await this.#recorded(ready, said);
    else if (reply.status === 401) return this.#stop('sign-in');
    else if (LATER.includes(reply.status)) return this.#stop('busy', Number(reply.headers.get('retry-after')) * 1000);
    else await this.#refused(ready, reply.status, said);
    this.#wait = AGAIN_FIRST;
    this.#say('up');
    return true;
  }

  /**
   * When an old entry was done, by the server's clock: '' for one that is fresh, null while nobody answers. It is fixed before an
   * entry is first sent, since the same key must say the same. While the line is down the book is asked for its clock first, so
   * that what is typed meanwhile is neither taken for sent nor dated by when the line came back.
   */
  async #done(entry) {
    const age = Date.now() - entry.typed;
    try {
      const reply = await fetch('/healthz', { method: 'HEAD', cache: 'no-store', signal: AbortSignal.timeout(PATIENCE) });
      const now = Date.parse(reply.headers.get('date') ?? '');
      return age < OLD || Number.isNaN(now) ? '' : new Date(now - age).toISOString().replace(/\.\d+Z$/, 'Z');
    } catch {
      return null;
    }
  }

  /** The same where nobody need be asked; else undefined. */
  #dated(entry) {
    if (entry.date !== undefined) return entry.date;
    return Date.now() - entry.typed < OLD && this.line !== 'down' ? '' : undefined;
  }

  async #recorded(entry, said) {
    const versions = Object.fromEntries((said.subjects ?? []).map((one) => [one.id, one.version]));
    const answer = { index: said.index, versions, events: told(said.events ?? []) };
    const marks = { state: 'recorded', body: null, answer, recorded: Date.now() };
    // The book has it: who shows that need not wait until this device has noted it.
    this.dispatchEvent(new CustomEvent('answered', { detail: { ...entry, ...marks } }));
    await this.keep.change([entry.key], (now) => ({ ...now, ...marks }));
    this.#changed();
    // What this same queue entered later was decided on what it had entered before.
    const waiting = (await this.keep.all()).filter((one) => one.state === 'waiting' && !one.sent && one.by === entry.by);
    if (waiting.length === 0) return;
    await this.keep.change(waiting.map((one) => one.key), (later) => {
      const sees = { ...later.sees };
      for (const [id, version] of Object.entries(entry.sees)) {
        if (sees[id] === version && versions[id] !== undefined) sees[id] = versions[id];
      }
      return { ...later, sees };
    });
  }

  async #refused(entry, status, said) {
    const answer = { status, code: (said.type ?? '').split('/').pop(), detail: said.detail ?? said.title ?? '' };
    await this.keep.change([entry.key], (now) => ({ ...now, state: 'refused', answer }));
    this.#changed();
  }

  async #forget() {
    const old = (await this.keep.all()).filter((one) => one.state === 'recorded' && Date.now() - one.recorded > RECORDED_KEPT);
    if (old.length > 0) await this.keep.change(old.map((one) => one.key), () => null);
  }

  #stop(line, wait) {
    this.#say(line);
    if (line !== 'sign-in') this.#later(wait);
    return false;
  }

  #later(wait) {
    clearTimeout(this.#again);
    this.#again = setTimeout(() => this.run(), wait > 0 ? wait : this.#wait);
    this.#wait = Math.min(this.#wait * 2, AGAIN_MAX);
  }

  #say(line) {
    this.line = line;
    this.dispatchEvent(new CustomEvent('line', { detail: line }));
  }

  #changed() {
    this.#channel?.postMessage('changed');
    this.#tell();
  }

  #tell() {
    this.dispatchEvent(new Event('changed'));
  }
}

/** Of what the book answered, what is shown at the bench: kinds, masses and grades. Nothing private comes back to the bench. */
function told(events) {
  const wanted = ['piece.weighed', 'piece.graded', 'piece.poured', 'piece.struck', 'melt.closed', 'melt.charged'];
  const inner = events.flatMap((event) => (event.kind === 'entry.corrected' ? event.entries.flatMap((one) => one.events) : [event]));
  return inner.filter((event) => wanted.includes(event.kind));
}

function address(entry) {
  const query = new URLSearchParams(entry.query ?? {});
  if (entry.date && entry.media) query.set('at', entry.date);
  return query.size > 0 ? `${entry.path}?${query}` : entry.path;
}

function request(entry, who) {
  const headers = { 'Idempotency-Key': entry.key, [who.header]: who.token, Accept: 'application/json' };
  if (entry.match) headers['If-Match'] = `"${entry.sees[entry.match]}"`;
  headers['Content-Type'] = entry.media ?? 'application/json';
  return { method: 'POST', credentials: 'same-origin', cache: 'no-store', redirect: 'error', headers, body: body(entry) };
}

function body(entry) {
  if (entry.media) return entry.body;
  const whole = { ...entry.body };
  if (entry.items) whole.items = whole.items.map((item) => ({ ...item, version: entry.sees[item.piece] }));
  if (entry.date) whole.at = entry.date;
  return JSON.stringify(whole);
}
