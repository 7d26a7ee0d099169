// The weighings of the piece: every grading follows from reading, scale and limits, for every scale that the file describes.

import { sayMass } from './amounts.mjs';
import { fail, must, within } from './fails.mjs';
import { density, displaced, gradeOf, isFineEnough, isMultiple, uncertaintyFine } from './measures.mjs';

/** Any step shows what cannot be of a piece that sinks. */
const ANY_STEP = 10_000_000_000_000n;

/** Gradings follow from reading, scale and limits; a weighing at buying back names the reading before it. */
export function weight(claims) {
  const seen = { series: claims.poured().series, faulty: false, reading: undefined, gravity: undefined, regraded: 0 };
  for (const [index, event] of claims.own) {
    within(`entry ${index}`, () => TAKE[event.kind]?.(claims, seen, event, index));
  }
  const { reading, gravity, regraded } = seen;
  must(reading !== undefined, 'the piece was never weighed');
  const measured = gravity && measuredOf(claims, gravity);
  const inWater = measured ? `; in water ${measured.density} g/cm3, +-${measured.uncertainty} at k = 2` : '';
  const suspect = claims.isSuspect(reading.session, reading.index);
  const word = suspect ? '; SUSPECT: a check of the scale failed after it' : '';
  return `${reading.shown.text} g; ${regraded} gradings recomputed${inWater}${word}`;
}

const TAKE = {
  'piece.faulted'(claims, seen) {
    seen.faulty = true;
  },
  'piece.moved'(claims, seen, { to }) {
    seen.series = to;
  },
  'piece.weighed'(claims, seen, { session, mass }, index) {
    seen.reading = { session, shown: mass, index };
  },
  'piece.gravity'(claims, seen, event) {
    immersed(claims, weighedBefore(seen), event);
    seen.gravity = event;
  },
  'piece.bought_back'(claims, seen, event, index) {
    boughtBack(claims, weighedBefore(seen), event);
    seen.reading = { session: event.session, shown: event.mass, index };
  },
  'piece.graded'(claims, seen, graded) {
    if (seen.faulty) {
      must(graded.grade === 'faulty', `a faulty piece is graded ${graded.grade}`);
      return;
    }
    const reading = seen.reading ?? fail('grades before any weighing');
    limitsOf(claims, seen.series, graded);
    if (regrade(claims, reading, graded)) seen.regraded += 1;
  },
};

const weighedBefore = (seen) => seen.reading ?? fail('was never weighed before');

/** A grading is made by the limits of the series that the piece was then in. */
function limitsOf(claims, id, graded) {
  const { limits, code } = claims.series(id);
  must(graded.lower === limits?.lower && graded.upper === limits?.upper, `the limits are not those of series ${code}`);
}

function regrade(claims, { session, shown }, graded) {
  const scale = claims.scaleOf(session);
  if (scale === undefined) return false;
  must(isMultiple(shown.mass, scale.d), `${shown.text} g is finer than the scale shows`);
  const { guard, grade } = gradeOf(scale, shown.mass, graded);
  must(grade === graded.grade, `${shown.text} g makes it ${grade}, it is graded ${graded.grade}`);
  must(graded.lower === undefined || guard === graded.guard, "the guard band is not the scale's");
  return true;
}

/**
 * Whether two readings' uncertainty (k = 2) explains their difference; undefined where the file does not describe both scales, or
 * one is not verified. Independent uncertainties add up in squares (JCGM 100:2008, 5.1.2).
 */
function explained(claims, one, other) {
  const squares = [one, other].map(({ session, mass }) => {
    const scale = claims.scaleOf(session);
    const found = scale && uncertaintyFine(scale, mass);
    return found === undefined ? undefined : found * found;
  });
  if (squares.includes(undefined)) return undefined;
  return (one.mass - other.mass) ** 2n <= squares[0] + squares[1];
}

/** A weighing in water is of what sinks and of what weighs as the piece did; its steps could tell. */
function immersed(claims, before, gravity) {
  const { session, in_air: air, in_water: shown } = gravity;
  const scale = claims.scaleOf(session);
  const { displacement, why } = displaced(gravity, scale?.d ?? ANY_STEP);
  must(why === undefined, `${sayMass(air.mass)} g in air and ${shown.text} g in water: ${why}`);
  const same = explained(claims, { session: before.session, mass: before.shown.mass }, { session, mass: air.mass });
  must(same !== false, `in air it weighed ${sayMass(air.mass)} g, its last reading is ${before.shown.text} g`);
  if (scale === undefined) return;
  for (const reading of [air, shown]) must(isMultiple(reading.mass, scale.d), `${reading.text} g is finer than the scale shows`);
  must(isFineEnough(displacement, scale.d), `the scale cannot tell ${sayMass(displacement)} g of water well enough`);
}

/** The density by a weighing in water whose scale the file describes. */
export function measuredOf(claims, gravity) {
  const scale = claims.scaleOf(gravity.session);
  return scale && density(gravity, scale.d);
}

/** A piece bought back is held against its last reading before. */
function boughtBack(claims, before, back) {
  const said = `it says the piece weighed ${sayMass(back.before)} g before, its last reading is ${before.shown.text} g`;
  must(back.before === before.shown.mass, said);
  const stated = `${sayMass(back.before)} g less ${back.mass.text} g is stated as ${sayMass(back.difference)} g`;
  must(back.before - back.mass.mass === back.difference, stated);
  const found = explained(
    claims,
    { session: before.session, mass: back.before },
    { session: back.session, mass: back.mass.mass },
  );
  must(found === undefined || found === back.explained, 'whether the scales explain the difference is stated wrongly');
}
