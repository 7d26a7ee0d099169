// Which entries must stand behind a piece, and how much of its metal they follow.
//
// Of a melt only the entry that weighed it out is read: it restates every input. Melts are taken newest first; since metal only
// flows from earlier melts into later ones, each is reached once, with its whole share. What comes from a refiner is a lot. A
// heel that went on with another weight than it was weighed out with was counted in between, so its stock-takes are read too.

import { correctionsOf, restated } from './evidence.mjs';
import { fail, must } from './fails.mjs';

/** After so many melts the walk stops and says what is left. */
const MELTS_MAX = 64;
/** Shares are counted in parts of this. */
const WHOLE = 1_000_000_000_000n;
/** Below this share (0.1 %) the rest need not be followed. */
const ENOUGH = WHOLE / 1000n;
/** A greater count than this is none. */
const U128_MAX = 2n ** 128n - 1n;

export const inputMass = (input) => (input.from === 'lot' || input.from === 'jar' ? input.mass.mass : input.mass);

const missing = (what) => fail(`${what} is referred to, but its entry is missing`);

/** The entries as some corrections have them. */
class AsCorrected {
  constructor(source, indexes) {
    this.source = source;
    this.corrections = correctionsOf([...indexes].sort(byIndex).map((index) => find(source, index)));
  }

  history(subject) {
    return this.source.history(subject);
  }

  said(index) {
    const said = this.source.said(index);
    return said && (this.corrections.get(index) ?? said);
  }

  keyEntries() {
    return this.source.keyEntries();
  }
}

const byIndex = (a, b) => (a < b ? -1 : a > b ? 1 : 0);

function find(source, index) {
  return source.said(index) ?? missing(`entry ${index}`);
}

/** The indexes of the corrections in some chains. */
function correctionsIn(source, subjects) {
  const indexes = [...subjects].flatMap((subject) => source.history(subject));
  return indexes.filter((index) => restated(find(source, index)).length > 0);
}

/**
 * Gathers the entries behind a piece, as corrected: also every correction in the chain of the piece, or of something behind it
 * that is read. What a correction says may lead to other things, so it is looked again until none is new.
 */
export function lineageOf(piece, source) {
  const corrections = new Set(correctionsIn(source, [piece]));
  for (;;) {
    const lineage = new Walk(piece, new AsCorrected(source, corrections)).run();
    const known = corrections.size;
    for (const index of correctionsIn(source, lineage.read)) corrections.add(index);
    if (corrections.size === known) {
      for (const index of corrections) lineage.indexes.add(index);
      return lineage;
    }
  }
}

/** The event that weighed a melt out, and its index. */
export function closing(source, melt) {
  for (const index of source.history(melt)) {
    const event = source.said(index)?.find((one) => one.kind === 'melt.closed' && one.melt === melt);
    if (event !== undefined) return { index, event };
  }
  return undefined;
}

/** Whoever signs lies can state shares that grow beyond counting: they stop there. */
function plus(a, b) {
  return a + b > U128_MAX ? U128_MAX : a + b;
}

function fraction(rest) {
  if (rest === 0n) return '1';
  const followed = rest > WHOLE ? 0n : ((WHOLE - rest) * 10_000n) / WHOLE;
  return followed === 0n ? '0' : `0.${followed.toString().padStart(4, '0')}`;
}

class Walk {
  indexes = new Set();
  /** Melts that were followed: the index of the entry that weighed each out. */
  melts = new Map();
  /** Share of the piece by lot, in parts of 10^12, rounded down. */
  lots = new Map();
  /** Lots, melts, series, sessions and scales that were read. */
  read = new Set();
  traced = '0';

  constructor(piece, source) {
    this.piece = piece;
    this.source = source;
  }

  run() {
    const own = this.source.history(this.piece);
    for (const index of [...this.source.keyEntries(), ...own]) this.indexes.add(index);
    const named = this.#named(own);
    for (const id of [...named.series].sort()) {
      this.read.add(id);
      this.indexes.add(this.#first(id, `series ${id}`));
    }
    if (named.now !== undefined) this.#addClose(named.now);
    for (const id of [named.boughtBack, named.immersed]) if (id !== undefined) this.#addSession(id, false);
    // Without a certificate nothing rests on the closing check, and its absence could not be told from a truncation.
    if (named.certified !== undefined) this.#addSession(named.certified, true);
    else if (named.session !== undefined) this.#addSession(named.session, false);
    if (named.melt !== undefined) this.#follow(named.melt);
    return this;
  }

  /** What the piece's own entries refer to; of each the newest. */
  #named(own) {
    const named = { series: new Set() };
    const joins = (series) => {
      named.series.add(series);
      named.now = series;
    };
    for (const event of own.flatMap((index) => find(this.source, index))) {
      if (event.piece !== this.piece) continue;
      if (event.kind === 'piece.poured') {
        named.melt = event.melt;
        joins(event.series);
      } else if (event.kind === 'piece.moved') joins(event.to);
      else if (event.kind === 'piece.weighed') named.session = event.session;
      else if (event.kind === 'piece.gravity') named.immersed = event.session;
      else if (event.kind === 'piece.bought_back') named.boughtBack = event.session;
      else if (event.kind === 'certificate.issued') named.certified = event.session;
    }
    return named;
  }

  #first(subject, what) {
    return this.source.history(subject)[0] ?? missing(what);
  }

  /** The entry that closed a series, if it is there. That it is left out cannot be told from a series that is open. */
  #addClose(series) {
    const closes = (event) => event.kind === 'series.closed' && event.series === series;
    for (const index of this.source.history(series)) {
      if (find(this.source, index).some(closes)) {
        this.indexes.add(index);
        return;
      }
    }
  }

  #addSession(session, whole) {
    const opened = this.#first(session, `session ${session}`);
    this.read.add(session);
    this.indexes.add(opened);
    if (whole) for (const index of this.source.history(session)) this.indexes.add(index);
    const opening = find(this.source, opened).find((event) => event.kind === 'session.opened' && event.session === session);
    if (opening === undefined) return;
    this.read.add(opening.scale);
    this.indexes.add(this.#first(opening.scale, `scale ${opening.scale}`));
  }

  /** The stock-takes of a heel that did not go on as it was weighed out: then a count says what it weighed. */
  #addCountsOfHeel({ melt, mass }) {
    const closed = closing(this.source, melt);
    if (closed === undefined || closed.event.heel.mass === mass) return;
    const counts = (event) => event.kind === 'melt.counted' && event.melt === melt;
    for (const index of this.source.history(melt)) {
      if (this.source.said(index)?.some(counts)) this.indexes.add(index);
    }
  }

  #follow(start) {
    /** By the index of the entry that weighed a melt out. */
    const waiting = new Map();
    // Shares of melts that are not weighed out yet: they cannot be followed.
    let lost = 0n;
    const first = closing(this.source, start);
    if (first === undefined) lost = WHOLE;
    else waiting.set(first.index, { event: first.event, share: WHOLE });
    const restOf = () => [...waiting.values()].reduce((total, { share }) => plus(total, share), lost);
    while (waiting.size > 0) {
      if (this.melts.size >= MELTS_MAX || (this.melts.size > 0 && restOf() < ENOUGH)) break;
      const index = [...waiting.keys()].reduce((a, b) => (a > b ? a : b));
      const { event, share } = waiting.get(index);
      waiting.delete(index);
      this.indexes.add(index);
      this.melts.set(index, event.melt);
      this.read.add(event.melt);
      event.inputs.filter((input) => input.from === 'heel').forEach((input) => this.#addCountsOfHeel(input));
      for (const { lot, melt, part } of this.#parts(event, share)) {
        if (lot !== undefined) this.#addLot(lot, part);
        else lost = plus(lost, this.#wait(waiting, event, index, melt, part));
      }
    }
    this.traced = fraction(restOf());
  }

  #addLot(lot, part) {
    this.read.add(lot);
    this.indexes.add(this.#first(lot, `lot ${lot}`));
    this.lots.set(lot, plus(this.lots.get(lot) ?? 0n, part));
  }

  /** Lets an earlier melt wait for its turn with its share; what cannot be followed is given back. */
  #wait(waiting, later, index, melt, part) {
    const closed = closing(this.source, melt);
    if (closed === undefined) return part;
    must(closed.index < index, `melt ${later.melt} takes metal from a later melt`);
    const slot = waiting.get(closed.index) ?? { event: closed.event, share: 0n };
    slot.share = plus(slot.share, part);
    waiting.set(closed.index, slot);
    return 0n;
  }

  /** Splits a melt's share over its inputs, by mass. */
  #parts(event, share) {
    const portion = (of, mass, whole) => {
      const cannotBe = mass > whole || whole === 0n || of * mass > U128_MAX;
      return cannotBe ? fail(`melt ${event.melt} states masses that cannot be`) : (of * mass) / whole;
    };
    return event.inputs.flatMap((input) => {
      const part = portion(share, inputMass(input), event.charge);
      if (input.from === 'lot') return [{ lot: input.lot, part }];
      if (input.from !== 'jar') return [{ melt: input.melt, part }];
      const whole = sum(input.holds.map((hold) => hold.mass)) ?? fail(`melt ${event.melt} states masses that cannot be`);
      return input.holds.map((hold) => ({ melt: hold.melt, part: portion(part, hold.mass, whole) }));
    });
  }
}

/** The sum of masses; undefined beyond 100 tonnes. */
export function sum(masses) {
  let total = 0n;
  for (const mass of masses) {
    total += mass;
    if (total > 10_000_000_000_000n) return undefined;
  }
  return total;
}
