// What the entries of a proof file claim: the looks into the file that every claim takes.

import { readSerial } from './amounts.mjs';
import { pieceOf } from './events.mjs';
import { fail, must, within } from './fails.mjs';
import { closing } from './lineage.mjs';

export class Claims {
  constructor(file, evidence, lineage) {
    this.file = file;
    this.evidence = evidence;
    this.lineage = lineage;
    /** The events of the piece, in the order of the log, with the indexes of their entries. */
    this.own = evidence.events.filter(([, event]) => pieceOf(event) === file.piece);
    /** Every melt behind the piece as it was weighed out, by id. */
    this.melts = new Map();
    for (const id of [...new Set(lineage.melts.values())].sort()) {
      const closed = closing(evidence, id);
      if (closed !== undefined) this.melts.set(id, closed.event);
    }
  }

  /** The events of one entry. */
  beside(index) {
    return this.evidence.said(index) ?? [];
  }

  /** The first event of a kind for which something holds, with the index of its entry. */
  find(kind, holds) {
    return this.evidence.events.find(([, event]) => event.kind === kind && holds(event));
  }

  series(id) {
    const [index] = this.evidence.history(id);
    const opened = index !== undefined && this.beside(index).find((one) => one.kind === 'series.opened' && one.series === id);
    return opened || fail(`series ${id} is missing`);
  }

  /** A lot: received, found, or come back from the refiner; what a refiner assayed is assayed, what was found is declared. */
  lot(id) {
    const kinds = ['lot.received', 'lot.outturned', 'lot.found'];
    const [, lot] = this.evidence.events.find(([, event]) => kinds.includes(event.kind) && event.lot === id) ?? [];
    if (lot === undefined) return undefined;
    const outturn = lot.kind === 'lot.outturned';
    return { ...lot, outturn, basis: lot.basis ?? (outturn ? 'assayed' : 'declared') };
  }

  scaleOf(session) {
    const [, opened] = this.find('session.opened', (event) => event.session === session) ?? [];
    return opened && this.find('scale.registered', (event) => event.scale === opened.scale)?.[1];
  }

  /** Checks of a session, in order. */
  checksOf(session) {
    const checks = this.evidence.events.filter(([, event]) => {
      return ['session.opened', 'session.checked', 'session.closed'].includes(event.kind) && event.session === session;
    });
    return checks.map(([index, event]) => ({ index, held: event.held ?? true, closing: event.kind === 'session.closed' }));
  }

  /** Whether a check that held came after a reading of the entry at an index. */
  isBracketed(session, index) {
    return this.checksOf(session).some((check) => check.held && check.index > index);
  }

  /** Whether a check failed after a reading, and none held in between, as far as the file holds the session. */
  isSuspect(session, index) {
    return this.checksOf(session).some((check) => !check.held) && !this.isBracketed(session, index);
  }

  poured() {
    const [, poured] = this.own.find(([, event]) => event.kind === 'piece.poured') ?? [];
    return poured ?? fail('the entry that poured the piece is missing');
  }

  /** The certificates of the piece, oldest first, with the indexes of their entries. */
  issued() {
    return this.evidence.events.filter(([, event]) => event.kind === 'certificate.issued' && event.piece === this.file.piece);
  }
}

/** The serial of the file is the one that the piece was given, in the series that it then was in; its number is of that edition. */
export function serial(claims) {
  const all = claims.own.filter(([, event]) => event.kind === 'piece.serialled');
  must(all.length === 1, `the piece was given ${all.length} serials`);
  const [[, given]] = all;
  must(given.serial === claims.file.serial, `the piece was given ${given.serial}, the file says ${claims.file.serial}`);
  const series = claims.series(given.series);
  const { code, number } = readSerial(given.serial);
  must(code === series.code && number.length === series.digits, `${given.serial} is no serial of series ${series.code}`);
  for (const [index, event] of claims.own) {
    if (event.kind === 'piece.numbered') within(`entry ${index}`, () => numberExists(claims, event));
  }
  return `${given.serial}, check digits hold`;
}

function numberExists(claims, { series, shape, number, of }) {
  const size = claims.series(series).shapes.find((one) => one.shape === shape)?.size;
  must(size === of && number !== 0 && number <= of, `gives number ${number} of ${of}`);
}
