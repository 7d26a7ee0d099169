// The table of a piece's life: from which states each event may follow, and where a piece in a state is. Common practice, no
// source.

/** In the workshop, weighed, and not at its end: it can be weighed in water. */
const IN_HAND = [
  'graded', 'condemned', 'serialled', 'struck', 'mis_struck', 'archived', 'hallmarked', 'unmarked', 'spare', 'numbered',
  'certified', 'reserved', 'sold', 'returned', 'bought_back',
];
/** In the workshop or with its buyer: it can be stolen. */
const HELD = [...IN_HAND, 'delivered'];
export const CAME_HOME = ['returned', 'bought_back'];
/** Where nobody has it to show, or there is nothing left of it. In every other state it can be photographed. */
export const UNSEEN = ['kept', 'missing', 'lost', 'stolen', 'remelted', 'refined', 'destroyed'];
/** Weighed, and neither certified nor at its end: it may be given up. */
const IN_WORK = [
  'graded', 'serialled', 'struck', 'mis_struck', 'hallmarked', 'unmarked', 'spare', 'numbered', ...CAME_HOME,
];
/** Everything but a piece that is not yet weighed, and one that is at its end. */
const DESTROYED_FROM = [...HELD, 'at_office', 'kept', 'missing', 'dispatched', 'lost', 'stolen'];
/** Ready for the last steps: finally weighed there, numbered, set aside, certified. */
const READY = ['serialled', 'struck', 'hallmarked', 'spare', 'numbered'];

const WEIGHED_FROM = {
  from_mould: ['poured', 'graded'],
  finished: ['graded', 'struck'],
  final: [...READY, 'certified', 'reserved'],
  returned: CAME_HOME,
};

const FOLLOWS = {
  'piece.gravity': IN_HAND,
  'piece.faulted': ['poured', ...IN_WORK],
  'piece.finished': ['graded'],
  'piece.moved': ['graded', 'serialled', 'struck', 'hallmarked', 'unmarked'],
  'piece.condemned': IN_WORK,
  'piece.remelted': ['condemned'],
  'piece.refined': ['condemned'],
  'piece.serialled': ['graded', 'struck'],
  'piece.struck': ['graded', 'serialled', 'struck'],
  'piece.archived': ['mis_struck'],
  'piece.consigned': ['serialled', 'struck', 'unmarked'],
  'piece.hallmarked': ['at_office'],
  'piece.unmarked': ['at_office'],
  'piece.kept': ['at_office'],
  'piece.missing': ['at_office', 'destroyed'],
  'piece.spared': ['serialled', 'struck', 'hallmarked'],
  'piece.numbered': ['serialled', 'struck', 'hallmarked', 'spare'],
  'piece.reserved': ['certified'],
  'piece.released': ['reserved', 'stolen', 'destroyed'],
  'piece.sold': ['certified', 'reserved'],
  'piece.unsold': ['sold', 'lost', 'stolen', 'destroyed'],
  'piece.dispatched': ['sold'],
  'piece.handed_over': ['sold'],
  'piece.delivered': ['dispatched'],
  'piece.lost': ['dispatched'],
  'piece.sent_back': ['dispatched'],
  'piece.found': ['lost'],
  'piece.returned': ['delivered'],
  'piece.bought_back': ['delivered'],
  'piece.restocked': CAME_HOME,
  'piece.stolen': HELD,
  'piece.recovered': ['stolen'],
  'piece.destroyed': DESTROYED_FROM,
};

/**
 * From which states an event follows as a rule; undefined where it is not held to a state (it says what another one in its
 * entry has made of the piece).
 */
export function follows(event) {
  if (event.kind === 'piece.weighed') return WEIGHED_FROM[event.stage];
  if (event.kind === 'piece.certified') return event.issue === 1 ? READY : undefined;
  return FOLLOWS[event.kind];
}

const PLACES = {
  at_office: 'at the assay office',
  kept: 'kept or cut by the assay office',
  missing: 'sent to the assay office, and not among what came back',
  dispatched: 'on its way to its buyer',
  delivered: 'with its buyer',
  lost: 'lost in transit',
  stolen: 'stolen, and not back',
  destroyed: 'destroyed before a witness: it no longer exists',
  remelted: 'melted: it no longer exists',
  refined: 'gone to the refiner: it no longer exists',
};

/** Where a piece in a state is, for a reader. */
export const place = (state) => PLACES[state] ?? 'in the workshop';
