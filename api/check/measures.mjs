// What a scale's readings support, recomputed from the entry that describes the scale; and a density from readings in water.
//
// Everything that decides is whole numbers. The density and its uncertainty are statistics and are only shown.

/** Maximum permissible errors (OIML R 76-1:2006, Tables 6 and 3): where the bands of a class end, in intervals e. */
const BANDS = {
  I: { half: 50_000n, one: 200_000n, most: undefined },
  II: { half: 5_000n, one: 20_000n, most: 100_000n },
  III: { half: 500n, one: 2_000n, most: 10_000n },
};
/** Guard bands in standard uncertainties, in thousandths, by the version of the rule (JCGM 106:2012, chapter 8). */
const GUARD_THOUSANDTHS = { 'guarded-1': 1_645n };
const MASS_MAX = 10_000_000_000_000n;

/** Permissible error in service at a load, or undefined beyond what the class can weigh, or for a scale that is not verified. */
function limit({ class: name, e, verified }, load) {
  const bands = BANDS[name];
  if (!verified || e === 0n || (bands.most !== undefined && load > e * bands.most)) return undefined;
  const times = load <= e * bands.half ? 1n : load <= e * bands.one ? 2n : 3n;
  return e * times <= MASS_MAX ? e * times : undefined;
}

/**
 * Six times the squared standard uncertainty of one weighing: u^2 = (MPE/sqrt 3)^2 + s^2 + 2 (d/sqrt 12)^2, so that it is a whole
 * number of squares.
 */
function sixVariances({ repeatability, d }, mpe) {
  return 2n * mpe * mpe + 6n * repeatability * repeatability + d * d;
}

function root(square) {
  if (square < 2n) return square;
  let low = 1n;
  let high = 1n << BigInt(Math.ceil(square.toString(2).length / 2) + 1);
  while (high - low > 1n) {
    const middle = (low + high) >> 1n;
    if (middle * middle <= square) low = middle;
    else high = middle;
  }
  return low;
}

/** The smallest multiple of a step whose square times a scale reaches a square. */
function smallestMultiple(step, scale, square) {
  const wanted = (square + scale - 1n) / scale;
  const floor = root(wanted);
  const up = floor * floor < wanted ? floor + 1n : floor;
  if (step === 0n) return undefined;
  const found = ((up + step - 1n) / step) * step;
  return found <= MASS_MAX ? found : undefined;
}

/** Guard band at a load, rounded up to the scale's step. */
function guardBand(scale, rule, load) {
  const mpe = limit(scale, load);
  const factor = GUARD_THOUSANDTHS[rule];
  if (mpe === undefined) return undefined;
  return smallestMultiple(scale.d, 6_000_000n, sixVariances(scale, mpe) * factor * factor);
}

/** Expanded uncertainty (k = 2) at a load, rounded up to the scale's step. */
export function uncertainty(scale, load) {
  const mpe = limit(scale, load);
  return mpe === undefined ? undefined : smallestMultiple(scale.d, 6n, 4n * sixVariances(scale, mpe));
}

/** The same, rounded up to 10 micrograms only. */
export function uncertaintyFine(scale, load) {
  const mpe = limit(scale, load);
  return mpe === undefined ? undefined : smallestMultiple(1n, 6n, 4n * sixVariances(scale, mpe));
}

/** The guard band of a grading and the grade that a reading gets, each edge belonging to the clear answer. */
export function gradeOf(scale, mass, { rule, lower, upper }) {
  const guard = guardBand(scale, rule, mass);
  if (guard === undefined) return { guard, grade: 'borderline' };
  if (lower === undefined) return { guard: undefined, grade: 'accepted' };
  let grade = 'borderline';
  if (mass >= lower + guard && (upper === undefined || mass <= upper - guard)) grade = 'accepted';
  else if (mass <= lower - guard) grade = 'under';
  else if (upper !== undefined && mass >= upper + guard) grade = 'over';
  return { guard, grade };
}

export const isMultiple = (mass, step) => (step === 0n ? mass === 0n : mass % step === 0n);

/** The density of air in a room, g/cm3: near 20 degrees, from memory. */
const AIR = 0.0012;
/** What bubbles, meniscus and thread are worth however fine the scale, grams (common practice, no source). */
const BUBBLE = 0.01;
/** The least displacement in steps of the scale, and in bubble allowances (common practice, no source). */
const LEAST = 200n;
const BUBBLE_UNITS = 1_000n;

/** What water carries of the piece, by hanging it under the scale or into a tared cup upon it; `why` where that cannot be. */
export function displaced({ method, in_air: air, in_water: shown }, step) {
  const nothing = 'water carried nothing of the piece: it must read less in water than in air, and the cup must gain';
  const displacement = method === 'hung' ? air.mass - shown.mass : shown.mass;
  if (displacement < 0n) return { why: nothing };
  if (step === 0n) return { why: 'the step of the scale is zero' };
  if (displacement === 0n) return { why: nothing };
  if (displacement >= air.mass) {
    return { why: 'the displacement is not below the weight in air: a piece of metal does not float' };
  }
  return { displacement };
}

export const isFineEnough = (displacement, step) => displacement >= LEAST * BUBBLE_UNITS && displacement >= LEAST * step;

/** Density of water, g/cm3 (M. Tanaka et al., Metrologia 38 (2001) 301, formula and constants). */
function water(t) {
  const [a1, a2, a3, a4, a5] = [-3.983035, 301.797, 522528.9, 69.34881, 999.97495];
  return (a5 * (1.0 - ((t + a1) * (t + a1) * (t + a2)) / (a3 * (t + a4)))) / 1000.0;
}

const grams = (mass) => Number(mass) / 100000.0;

function fixed(value) {
  const text = value.toFixed(3);
  return /^-[0.]*$/.test(text) ? text.slice(1) : text;
}

/**
 * rho = W (rho_w - rho_a) / D + rho_a, and its expanded uncertainty (k = 2) with the second-order term of JCGM 100:2008, 5.1.2,
 * rounded up; both g/cm3 with three decimals.
 */
export function density(gravity, step) {
  const { displacement } = displaced(gravity, step);
  if (displacement === undefined) return undefined;
  const t = Number(gravity.water) / 100.0;
  const [w, d, s] = [grams(gravity.in_air.mass), grams(displacement), grams(step)];
  const rho = (w * (water(t) - AIR)) / d + AIR;
  const weighing = s * s * (2.0 / 12.0 + 0.36 + 1.0 / 3.0);
  const ofDisplacement = (weighing + BUBBLE * BUBBLE) / (d * d);
  const curved = 8.0 * ofDisplacement * ofDisplacement;
  const ofWater = Math.abs((water(t + 0.5) - water(t - 0.5)) / 2.0 / water(t));
  const relative = Math.sqrt(ofDisplacement + curved + weighing / (w * w) + ofWater * ofWater);
  // A hair is taken off first, so that a figure that is exact in decimals stays.
  const up = Math.ceil(2.0 * relative * rho * 1000.0 * (1.0 - 1e-12)) / 1000.0;
  return { density: fixed(rho), uncertainty: fixed(up) };
}
