// Every kind of event, version 1: its public members in the order in which they are written, and how many digests of private
// members its `_sd` always has. The schemas in `api/events` say what each member means.

import { Members, refuse, writeText } from './json.mjs';
import {
  bool, day, difference, fineness, flag, hexHash, i64, list, mass, money, optional, reading, serial, seriesCode, shapeName, someOf,
  struct, tagged, temperature, text, u16, u32, u64, u8, uuid, word,
} from './shapes.mjs';

const metal = word('silver', 'gold', 'platinum', 'palladium', 'copper');
const basis = word('declared', 'assayed', 'hallmarked');
const scaleClass = word('I', 'II', 'III');
const mark = word('sponsor', 'fineness', 'office', 'date_letter', 'commemorative', 'other');
const hallmark = struct({ fineness, marks: list(struct({ mark, legible: bool })) });
const pieceMass = struct({ piece: uuid, mass });
const jarShare = struct({ melt: uuid, mass });
const check = { session: uuid, nominal: mass, reading };
const input = tagged('from', {
  lot: struct({ lot: uuid, mass: reading }),
  heel: struct({ melt: uuid, mass }),
  jar: struct({ jar: uuid, mass: reading, holds: list(jarShare) }),
  piece: struct({ piece: uuid, melt: uuid, mass }),
});
const prills = struct({ jar: uuid, mass: reading });
const counted = {
  stocktake: uuid, mass: reading, expected: mass, variance: difference, uncertainty: mass, explained: bool,
};
const ofPiece = { piece: uuid };
const ofSale = { piece: uuid, sale: uuid };

const KINDS = {
  'lot.received': [4, {
    lot: uuid, number: u32, metal, fineness, basis, session: uuid, mass: reading, invoiced: optional(mass),
    owner: optional(uuid),
  }],
  'scale.registered': [2, {
    scale: uuid, class: scaleClass, e: mass, d: mass, max: mass, verified: bool, repeatability: mass,
  }],
  'session.opened': [0, { session: uuid, scale: uuid, nominal: mass, reading }],
  'session.checked': [0, { ...check, held: bool }],
  'session.closed': [0, { ...check, held: bool }],
  'jar.opened': [1, { jar: uuid, metal, fineness, residue: word('prills', 'lemel', 'sweeps') }],
  'jar.filled': [0, { jar: uuid, melt: uuid, mass }],
  'series.opened': [4, {
    series: uuid, code: seriesCode, kind_of: word('edition', 'open'), metal, fineness, unit: word('g', 'ozt'),
    shapes: someOf(struct({ shape: shapeName, size: u32 })),
    limits: optional(struct({ nominal: mass, lower: mass, upper: mass })),
    digits: u8, marking: word('required', 'exempt'),
    ground: optional(word('below_weight', 'bullion', 'export', 'other')),
    exempt_below: optional(mass), exempt_from: optional(day),
    unnumbered: flag, number_on_metal: flag, struck: flag, spares_sold: flag,
  }],
  'melt.charged': [1, {
    melt: uuid, number: u32, metal, session: uuid, inputs: list(input), charge: mass, fineness,
  }],
  'melt.closed': [1, {
    melt: uuid, metal, session: uuid, inputs: list(input), charge: mass, fineness, pieces: list(pieceMass), heel: reading,
    prills: optional(prills), loss: difference,
  }],
  'piece.poured': [0, {
    piece: uuid, melt: uuid, pour: text, series: uuid, shape: shapeName, mould: optional(shapeName),
  }],
  'piece.weighed': [0, {
    piece: uuid, session: uuid, stage: word('from_mould', 'finished', 'final', 'returned'), mass: reading,
  }],
  'piece.graded': [0, {
    piece: uuid, rule: word('guarded-1'), grade: word('accepted', 'under', 'over', 'borderline', 'faulty'),
    lower: optional(mass), upper: optional(mass), guard: optional(mass),
  }],
  'piece.gravity': [0, {
    piece: uuid, session: uuid, method: word('hung', 'cup'), in_air: reading, in_water: reading, water: temperature,
  }],
  'piece.photographed': [0, {
    piece: uuid, photograph: hexHash, thumbnail: hexHash, width: u32, height: u32,
    stage: word('from_mould', 'finished', 'hallmarked', 'as_sold', 'returned'),
    side: word('face', 'back', 'edge', 'marks', 'detail'),
  }],
  'piece.faulted': [1, {
    piece: uuid, fault: word('cold_shut', 'misrun', 'porosity', 'crack', 'inclusion', 'other'),
  }],
  'piece.finished': [0, { piece: uuid, jar: uuid, filed: mass }],
  'piece.moved': [1, { piece: uuid, from: uuid, to: uuid }],
  'piece.condemned': [1, {
    piece: uuid,
    reason: word('under', 'over', 'faulty', 'borderline', 'mis_struck', 'unmarked', 'damaged', 'unwanted'),
  }],
  'piece.remelted': [0, { piece: uuid, melt: uuid }],
  'piece.serialled': [0, { piece: uuid, series: uuid, serial }],
  'piece.numbered': [0, { piece: uuid, series: uuid, shape: shapeName, number: u32, of: u32 }],
  'piece.certified': [0, { piece: uuid, certificate: uuid, issue: u32 }],
  'certificate.issued': [1, {
    certificate: uuid, piece: uuid, issue: u32, serial, series: uuid, number: optional(u32), of: optional(u32), metal,
    fineness, basis, hallmark: word('not_hallmarked', 'hallmarked'), marks: optional(hallmark), session: uuid,
    mass: reading, uncertainty: mass, at_least: mass,
  }],
  'certificate.superseded': [1, {
    certificate: uuid, by: uuid, reason: word('damaged', 'reweighed', 'mistake', 'corrected'),
  }],
  'certificate.printed': [2, { certificate: uuid, piece: uuid, size: u64, paper: word('a6', 'a5'), template: u32 }],
  'die.registered': [2, { die: uuid, owner: word('workshop', 'commissioner'), series: optional(uuid) }],
  'die.disposed': [1, { die: uuid, how: word('returned', 'destroyed', 'retired'), strikes: u32 }],
  'piece.struck': [1, {
    piece: uuid, die: uuid,
    outcome: word('good', 'double', 'off_centre', 'weak', 'slipped', 'wrong_die', 'cracked', 'other'),
  }],
  'piece.archived': [1, ofPiece],
  'series.closed': [1, {
    series: uuid, shapes: list(struct({ shape: shapeName, size: u32, given: u32, burned: list(u32) })), dies: list(uuid),
  }],
  'consignment.sent': [3, {
    consignment: uuid, number: u32, fineness, marks: list(mark), pieces: list(pieceMass), mass,
  }],
  'consignment.returned': [1, { consignment: uuid, sent: u32, marked: u32, unmarked: u32, kept: u32, missing: u32 }],
  'piece.consigned': [0, { piece: uuid, consignment: uuid }],
  'piece.hallmarked': [0, { piece: uuid, consignment: uuid, hallmark }],
  'piece.unmarked': [0, {
    piece: uuid, consignment: uuid, reason: word('below_standard', 'damaged', 'no_room', 'withdrawn', 'other'),
    assay: optional(fineness),
  }],
  'piece.kept': [0, { piece: uuid, consignment: uuid, how: word('kept', 'cut'), assay: optional(fineness) }],
  'piece.missing': [0, { piece: uuid, consignment: uuid }],
  'piece.spared': [0, ofPiece],
  'order.recorded': [2, {
    order: uuid, number: u32, series: uuid, shapes: list(struct({ shape: shapeName, count: u32 })),
  }],
  'order.cancelled': [1, { order: uuid }],
  'piece.reserved': [2, { piece: uuid, order: optional(uuid) }],
  'piece.released': [1, ofPiece],
  'sale.made': [3, { sale: uuid, number: u32, pieces: list(uuid), order: optional(uuid) }],
  'sale.dispatched': [6, { sale: uuid, pieces: list(uuid) }],
  'piece.sold': [1, ofSale],
  'piece.unsold': [1, ofSale],
  'piece.dispatched': [0, ofSale],
  'piece.handed_over': [1, ofSale],
  'piece.delivered': [1, ofSale],
  'piece.lost': [1, ofSale],
  'piece.found': [1, ofPiece],
  'piece.sent_back': [1, ofSale],
  'piece.returned': [1, ofSale],
  'piece.restocked': [1, ofPiece],
  'piece.bought_back': [3, {
    piece: uuid, session: uuid, mass: reading, before: mass, difference, explained: bool,
  }],
  'piece.stolen': [2, ofPiece],
  'piece.recovered': [1, ofPiece],
  'piece.destroyed': [2, ofPiece],
  'owner.registered': [2, { owner: uuid }],
  'owner.agreed': [2, { owner: uuid }],
  'jar.swept': [0, { jar: uuid, session: uuid, mass: reading }],
  'jar.emptied': [0, { jar: uuid, refining: uuid }],
  'piece.refined': [0, { piece: uuid, refining: uuid }],
  'refining.sent': [4, {
    refining: uuid, number: u32, metal, session: uuid,
    jars: list(struct({ jar: uuid, mass: reading, holds: list(jarShare) })), pieces: list(pieceMass), mass,
  }],
  'refining.returned': [4, {
    refining: uuid, sent: mass, outturn: optional(uuid), returned: mass, settled: optional(struct({ mass, fineness })),
    loss: difference,
  }],
  'lot.outturned': [0, {
    lot: uuid, number: u32, refining: uuid, metal, fineness, session: uuid, mass: reading,
  }],
  'stocktake.taken': [1, {
    stocktake: uuid, number: u32, session: optional(uuid),
    pieces: optional(struct({
      series: optional(uuid), seen: list(uuid), unseen: list(uuid), unexpected: list(uuid),
    })),
  }],
  'lot.counted': [0, { lot: uuid, ...counted }],
  'melt.counted': [0, { melt: uuid, ...counted }],
  'jar.counted': [0, { jar: uuid, ...counted }],
  'lot.found': [1, { lot: uuid, number: u32, stocktake: uuid, metal, fineness, mass: reading }],
  'spot.recorded': [2, { spot: uuid, metal, price: money, priced_at: i64 }],
  'quote.made': [6, { quote: uuid, number: u32, metal, spot: uuid, piece: optional(uuid) }],
  'charge.recorded': [3, {
    charge: uuid, consignment: optional(uuid), die: optional(uuid), sale: optional(uuid),
  }],
  'entry.corrected': [1, {
    entries: list(struct({ index: u64, entry: text, asked: bool, events: list({ read: readTold, write: writeTold }) })),
    reason: word('mistyped', 'wrong_thing', 'recorded_twice', 'did_not_happen', 'other'),
  }],
  'key.added': [0, { kid: text, role: word('root', 'recorder', 'log'), x: text }],
  'key.revoked': [0, { kid: text }],
  'key.suspect': [0, { kid: text, from: u64 }],
  'clock.set': [0, { to: i64 }],
  'operator.revoked': [0, { operator: uuid }],
  'field.erased': [0, {
    index: u64, entry: text, event: u16, member: text, reason: word('request', 'expired', 'mistake'),
  }],
};

const SHAPES = new Map(Object.entries(KINDS).map(([kind, [, members]]) => [kind, struct(members)]));

export const isKnown = (kind) => SHAPES.has(kind);
export const digestSlots = (kind) => KINDS[kind]?.[0] ?? 0;
export const isAboutKeys = (event) => event.kind.startsWith('key.');

/** Reads the members of an event of a known kind, without `kind`, `v` and `_sd`. */
export function readEvent(kind, pairs) {
  return { kind, ...SHAPES.get(kind).readMembers(pairs) };
}

/** Writes an event with its kind and version in front. */
export function writeTold(event, after = '') {
  return `{"kind":${writeText(event.kind)},"v":1,${SHAPES.get(event.kind).writeMembers(event)}${after}}`;
}

/** An event inside a correction: private members stay those of the event that stood in its place. */
function readTold(value) {
  if (!(value instanceof Members)) refuse('want an event');
  const [[name, kind] = [], [version, v] = [], ...rest] = value.list;
  if (name !== 'kind' || version !== 'v' || v !== 1n || !isKnown(kind)) refuse('an event begins with its kind and version 1');
  return readEvent(kind, rest);
}

const inputSubject = (one) => one[one.from === 'heel' ? 'melt' : one.from];

/** The chains that an event moves; a correction those of all that holds from now on. */
export function subjects(event) {
  switch (event.kind) {
    case 'melt.charged':
      return [event.melt, ...event.inputs.map(inputSubject)];
    case 'entry.corrected':
      return event.entries.flatMap((restated) => restated.events.flatMap(subjects));
    case 'clock.set':
    case 'operator.revoked':
    case 'field.erased':
      return [];
    default:
      return isAboutKeys(event) ? [] : [event[event.kind.split('.')[0]]];
  }
}

/** The piece that an event is about, if it is about one. */
export function pieceOf(event) {
  return event.kind.startsWith('piece.') ? event.piece : undefined;
}
