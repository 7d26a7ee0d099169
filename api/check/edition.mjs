// The series that the piece is in now and, if that was an edition that is closed, what its close says of the piece.

import { fail, must, within } from './fails.mjs';
import { follow } from './life.mjs';

/** A number whose piece is in one of these at the close is burned. */
const BURNED = ['lost', 'stolen', 'destroyed', 'condemned', 'remelted', 'refined'];
/** A piece in one of these is on its way to a certificate or to the crucible: nothing closes over it. */
const LOOSE = [
  'poured', 'graded', 'condemned', 'serialled', 'struck', 'mis_struck', 'at_office', 'hallmarked', 'unmarked', 'spare',
  'numbered',
];
const MAKING = [
  'piece.poured', 'piece.serialled', 'piece.numbered', 'piece.struck', 'piece.consigned', 'piece.spared', 'piece.moved',
];

/** The close of a series, with the index of its entry, if the file holds it. */
export const closeOf = (claims, id) => claims.find('series.closed', (event) => event.series === id);

/** The piece is not loose at the close of its edition, its number is counted, and burned only if the piece was gone. */
export function edition(claims, { life }) {
  const series = claims.series(life.series);
  const numbered = life.number === undefined ? 'without a number' : `${life.number.number} of ${life.number.of}`;
  const kind = series.kind_of === 'open' ? `open series ${series.code}` : `edition ${series.code}, ${numbered}`;
  const [index, closed] = closeOf(claims, life.series) ?? [];
  if (closed === undefined) return `${kind}; no close of it is told here`;
  must(series.kind_of !== 'open', `entry ${index}: an open series is not closed`);
  within(`entry ${index}`, () => tallies(series, closed));
  nothingAfter(claims, index);
  const then = follow(claims, index).life;
  return within(`entry ${index}`, () => {
    const loose = then.series === life.series && LOOSE.includes(then.state);
    must(!loose, `the edition closed while the piece was ${then.state}`);
    const tally =
      closed.shapes.find((one) => one.shape === then.shape) ?? fail('it does not count the shape of the piece');
    counted(series, tally, then);
    const burned = then.number !== undefined && tally.burned.includes(then.number.number);
    return `${kind}; closed: ${tally.given} given${burned ? ', the number is burned' : ''}`;
  });
}

/** The tallies are of the shapes of the edition, and no number is beyond what was given. */
function tallies(series, closed) {
  const same =
    series.shapes.length === closed.shapes.length &&
    series.shapes.every(({ shape, size }, at) => closed.shapes[at].shape === shape && closed.shapes[at].size === size);
  must(same, 'the tally is not of the shapes and sizes of the edition');
  for (const { shape, size, given, burned } of closed.shapes) {
    const ascending = burned.every((number, at) => at === 0 || burned[at - 1] < number);
    const within = burned.every((number) => number !== 0 && number <= given);
    must(given <= size && ascending && within, `the tally of ${shape} cannot be`);
  }
}

/** The piece's place is among those given, and burned if and only if the piece was gone at the close. */
function counted(series, { given, burned }, then) {
  if (then.number === undefined) {
    const placed = series.unnumbered && then.issues > 0;
    must(!placed || given > 0, 'it counts no certificate, and the piece had one');
    return;
  }
  const { number } = then.number;
  must(number <= given, `it counts ${given} numbers given, the piece had number ${number}`);
  const [is, should] = [burned.includes(number), BURNED.includes(then.state)];
  must(is === should, `number ${number} is ${is ? '' : 'not '}burned, and the piece was ${then.state}`);
}

/** Nothing is made for a closed edition. */
function nothingAfter(claims, close) {
  for (const [index, event] of claims.own) {
    const making = MAKING.includes(event.kind) || (event.kind === 'piece.certified' && event.issue === 1);
    const late = index >= close && making;
    must(!late, `entry ${index}, ${event.kind}: the edition was closed by entry ${close}`);
  }
}
