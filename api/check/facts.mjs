// What the record says of a piece, for whoever reads a report; only meaningful when the check holds.

import { sayFineness, sayMass } from './amounts.mjs';
import { closeOf } from './edition.mjs';
import { sayHallmark } from './office.mjs';
import { place } from './states.mjs';
import { measuredOf } from './weight.mjs';

/** Facts of which nothing is known yet. Members without a value are null, so that every report has the same ones. */
export function noFacts(serial = '') {
  return {
    serial, pour: '', last_event: '', state: null, before: null, place: null, series: null, edition_closed: false,
    number_burned: false, hallmark: null, number: null, metal: null, density: null, density_uncertainty: null,
    weight_grams: null, fineness: null, uncertainty_grams: null, at_least_grams: null, certificate_issue: null,
    weight_suspect: false, lots: [], suspect_keys: [],
  };
}

export function factsOf(claims, keys, { life }) {
  const facts = noFacts(claims.file.serial);
  for (const [index, event] of claims.own) tell(claims, facts, index, event);
  tellLife(claims, facts, life);
  const [, newest] = claims.issued().at(-1) ?? [];
  if (newest !== undefined) {
    facts.metal = newest.metal;
    facts.fineness = sayFineness(newest.fineness);
    facts.uncertainty_grams = sayMass(newest.uncertainty);
    facts.at_least_grams = sayMass(newest.at_least);
    facts.certificate_issue = newest.issue;
  }
  facts.lots = lotsOf(claims);
  const suspects = [...claims.evidence.entries].filter(([index, { entry }]) => keys.isSuspect(entry.kid, index));
  facts.suspect_keys = [...new Set(suspects.map(([, { entry }]) => entry.kid))];
  return facts;
}

function tell(claims, facts, index, event) {
  facts.last_event = event.kind;
  if (event.kind === 'piece.poured') facts.pour = event.pour;
  if (event.kind === 'piece.weighed' || event.kind === 'piece.bought_back') {
    facts.weight_grams = event.mass.text;
    facts.weight_suspect = claims.isSuspect(event.session, index);
  }
  if (event.kind === 'piece.gravity') {
    const measured = measuredOf(claims, event);
    facts.density = measured?.density ?? null;
    facts.density_uncertainty = measured?.uncertainty ?? null;
  }
}

/** What it is now, where, and in which series. */
function tellLife(claims, facts, life) {
  facts.state = life.state;
  facts.place = place(life.state);
  facts.before = life.before ?? null;
  facts.series = claims.series(life.series).code;
  facts.number = life.number === undefined ? null : `${life.number.number} of ${life.number.of}`;
  facts.hallmark = life.hallmark === undefined ? null : sayHallmark(life.hallmark);
  const [, closed] = closeOf(claims, life.series) ?? [];
  if (closed === undefined) return;
  facts.edition_closed = true;
  const tallies = closed.shapes.filter((tally) => tally.shape === life.shape);
  facts.number_burned = life.number !== undefined && tallies.some((tally) => tally.burned.includes(life.number.number));
}

/** How much of the metal came from which lot, parts per million, rounded down. */
function lotsOf(claims) {
  const shares = [...claims.lineage.lots].sort(([a], [b]) => (a < b ? -1 : 1));
  const told = shares.flatMap(([id, share]) => {
    const { number, metal, outturn } = claims.lot(id) ?? {};
    return number === undefined ? [] : [{ number, metal, share_ppm: Number(share / 1_000_000n), outturn }];
  });
  return told.sort((a, b) => a.number - b.number);
}
