// The assay office: what went there is what came back, and the marks are those that were claimed.

import { sayFineness, sayMass } from './amounts.mjs';
import { fail, must, within } from './fails.mjs';
import { sum } from './lineage.mjs';

/** What every hallmark has. */
const NEEDED = ['sponsor', 'fineness', 'office'];
const OUTCOMES = {
  'piece.hallmarked': 'marked',
  'piece.unmarked': 'unmarked',
  'piece.kept': 'kept',
  'piece.missing': 'missing',
};

/** Every consignment that the piece was in adds up: pieces, weights, and marked + unmarked + kept + missing = sent. */
export function office(claims) {
  let sent = 0;
  let hallmark;
  let reading;
  for (const [index, event] of claims.own) {
    within(`entry ${index}`, () => {
      if (event.kind === 'piece.weighed') reading = event.mass.mass;
      if (event.kind === 'piece.consigned') {
        went(claims, index, sentIn(claims, index, event.consignment), reading);
        sent += 1;
      }
      if (OUTCOMES[event.kind] !== undefined) cameBack(claims, index, event.consignment);
      if (event.kind === 'piece.hallmarked') {
        isWhole(event.hallmark.marks.map((seen) => seen.mark));
        hallmark = event.hallmark;
      }
    });
  }
  if (sent === 0) return 'it was never sent there';
  return `sent ${sent} times, ${hallmark === undefined ? 'not hallmarked' : `hallmarked ${sayHallmark(hallmark)}`}`;
}

/** A hallmark in words: its fineness and its marks. */
export function sayHallmark({ fineness, marks }) {
  const words = marks.map(({ mark, legible }) => (legible ? mark : `${mark} (not legible)`));
  return `${sayFineness(fineness)} (${words.join(', ')})`;
}

/** The event of a consignment in the entry that sent the piece. */
export function sentIn(claims, index, id) {
  const sent = claims.beside(index).find((event) => event.kind === 'consignment.sent' && event.consignment === id);
  return sent ?? fail(`consignment ${id} is not in its entry`);
}

function sameMembers(some, others) {
  return some.length === others.length && [...some].sort().join() === [...others].sort().join();
}

/** The list of a consignment is the pieces that its entry sends; the piece stands on it with its last reading. */
function went(claims, index, stated, reading) {
  const consigned = claims
    .beside(index)
    .filter((event) => event.kind === 'piece.consigned' && event.consignment === stated.consignment);
  const listed = stated.pieces.map((one) => one.piece);
  const same = sameMembers(consigned.map((event) => event.piece), listed);
  must(same, 'the consignment lists other pieces than are sent');
  const own = stated.pieces.find((one) => one.piece === claims.file.piece);
  must(own?.mass === reading, 'the consignment declares another weight than the last reading of the piece');
  const total = sum(stated.pieces.map((one) => one.mass));
  must(total === stated.mass, `the weights of the consignment do not sum to ${sayMass(stated.mass)} g`);
  isWhole(stated.marks);
}

/** Every piece that was sent is on a line of the return, and the counts are those of the lines. */
function cameBack(claims, index, id) {
  const beside = claims.beside(index);
  const returned =
    beside.find((event) => event.kind === 'consignment.returned' && event.consignment === id) ??
    fail(`the return of consignment ${id} is not in its entry`);
  const [, sent] =
    claims.find('consignment.sent', (event) => event.consignment === id) ?? fail(`consignment ${id} is missing`);
  const lines = beside.filter((event) => OUTCOMES[event.kind] !== undefined && event.consignment === id);
  const counted = { marked: 0, unmarked: 0, kept: 0, missing: 0 };
  for (const line of lines) counted[OUTCOMES[line.kind]] += 1;
  addsUp(returned, counted);
  const same = sameMembers(lines.map((line) => line.piece), sent.pieces.map((one) => one.piece));
  const ofAll = same && sent.pieces.length === returned.sent;
  must(ofAll, 'the pieces on the lines of the return are not those that were sent');
}

function addsUp(returned, counted) {
  const words = Object.keys(counted);
  const stated = words.reduce((total, name) => total + returned[name], 0);
  const same = words.every((name) => counted[name] === returned[name]) && stated === returned.sent;
  must(same, `${returned.sent} were sent; the lines say ${words.map((name) => `${counted[name]} ${name}`).join(', ')}`);
}

/** A hallmark has each of its marks once, and three of them always. */
function isWhole(marks) {
  const once = new Set(marks).size === marks.length;
  must(once && NEEDED.every((needed) => marks.includes(needed)), 'the marks do not make a hallmark');
}
