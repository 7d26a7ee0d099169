// The melts behind the piece: each adds up, and what one gives the next takes.

import { PURE, sayFineness, sayMass } from './amounts.mjs';
import { fail, must, within } from './fails.mjs';
import { inputMass, sum } from './lineage.mjs';

/** Fine mass beyond which nothing is summed, picograms. */
const FINE_MAX = 10n ** 26n;

/** Every melt adds up; what one gives, the next takes; the blend is as stated; what the refiner sent back adds up too. */
export function metal(claims) {
  for (const [id, closed] of claims.melts) {
    within(`melt ${id}`, () => {
      balance(closed);
      for (const input of closed.inputs) handedOn(claims, input);
      blendStated(claims, closed);
    });
  }
  for (const lot of [...claims.lineage.lots.keys()].sort()) within(`lot ${lot}`, () => outturn(claims, lot));
  fromTheMould(claims);
  return `${claims.melts.size} melts, ${claims.lineage.lots.size} lots`;
}

function fromTheMould(claims) {
  const poured = claims.poured();
  const closed = claims.melts.get(poured.melt);
  if (closed === undefined) return;
  const out = closed.pieces.find((one) => one.piece === poured.piece);
  const readings = claims.own.filter(([, event]) => event.kind === 'piece.weighed' && event.stage === 'from_mould');
  const states = 'the melt states another mass for the piece than its reading from the mould';
  must(out?.mass === readings.at(-1)?.[1].mass.mass, states);
}

function balance({ inputs, charge, pieces, heel, prills, loss }) {
  const added = (masses) => sum(masses) ?? fail('masses too great to add');
  const into = added(inputs.map(inputMass));
  must(into === charge, `the inputs sum to ${sayMass(into)} g, the charge is stated as ${sayMass(charge)} g`);
  const out = added([...pieces.map((piece) => piece.mass), heel.mass, ...(prills === undefined ? [] : [prills.mass.mass])]);
  const stated = `${sayMass(charge)} g in, ${sayMass(out)} g out, the loss is stated as ${sayMass(loss)} g`;
  must(charge - out === loss, stated);
}

function handedOn(claims, input) {
  const source = input.from === 'heel' || input.from === 'piece' ? claims.melts.get(input.melt) : undefined;
  if (source === undefined) return;
  if (input.from === 'piece') {
    const gave = source.pieces.some((out) => out.piece === input.piece);
    must(gave, `takes piece ${input.piece}, which melt ${input.melt} did not give`);
  } else if (source.heel.mass !== input.mass) {
    const left = within('takes a heel', () => heelLeft(claims, input.melt, source.heel.mass));
    must(left === input.mass, `takes a heel of ${sayMass(input.mass)} g, melt ${input.melt} left ${sayMass(left)} g`);
  }
}

/**
 * What a heel weighed when it went on: as it was weighed out, or as it was last counted; each count expects what the one before
 * it says.
 */
function heelLeft(claims, melt, weighedOut) {
  let left = weighedOut;
  for (const [, count] of claims.evidence.events) {
    if (count.kind !== 'melt.counted' || count.melt !== melt) continue;
    const weighs = count.mass.mass;
    const expected = `a stock-take expects ${sayMass(count.expected)} g, ${sayMass(left)} g were left`;
    const there = `${sayMass(weighs)} g there: not ${sayMass(count.variance)} g less`;
    must(count.expected === left && left - weighs === count.variance, `${expected} and ${there}`);
    left = weighs;
  }
  return left;
}

/** The fineness of the blend as declared, rounded down to 0.1 parts per thousand: a claim never exceeds the metal. */
function blend(parts) {
  const fine = parts.reduce((total, { mass, fineness }) => total + mass * fineness, 0n);
  const whole = parts.reduce((total, { mass }) => total + mass, 0n);
  if (whole === 0n || fine > FINE_MAX) return undefined;
  const steps = PURE / 1000n;
  return ((fine * steps) / (whole * PURE)) * 1000n;
}

function blendStated(claims, closed) {
  const parts = [];
  // Metal of an earlier melt is reckoned at what an assay office found in another piece of it, if that is lower; that assay is not in
  // the file, so the blend may then be stated lower than the declarations make it, and never higher.
  const atMost = closed.inputs.some((input) => input.from === 'heel' || input.from === 'piece');
  for (const input of closed.inputs) {
    // A jar is reckoned by the fineness it is kept at, which its own entries state.
    if (input.from === 'jar') return;
    let fineness;
    if (input.from === 'lot') {
      const lot = claims.lot(input.lot) ?? fail(`lot ${input.lot} is missing`);
      fineness = lot.metal === closed.metal ? lot.fineness : 0n;
    } else {
      const source = claims.melts.get(input.melt);
      if (source === undefined) return;
      fineness = source.fineness;
    }
    parts.push({ mass: inputMass(input), fineness });
  }
  const found = blend(parts) ?? fail('the inputs have no blend');
  const states = found === closed.fineness || (atMost && closed.fineness < found);
  must(states, `the inputs blend to ${sayFineness(found)}, stated is ${sayFineness(closed.fineness)}`);
}

/**
 * A lot that came back from the refiner stands in the entry that accounts for what was sent: sent = outturn + settled + loss. What
 * was sent is not followed further.
 */
function outturn(claims, id) {
  const [index, lot] = claims.find('lot.outturned', (event) => event.lot === id) ?? [];
  if (lot === undefined) return;
  const accounts = (event) => event.kind === 'refining.returned' && event.refining === lot.refining;
  const returned = claims.beside(index).find(accounts) ?? fail("the refiner's account is not in its entry");
  const same = returned.outturn === id && returned.returned === lot.mass.mass;
  must(same, "the refiner's account states another outturn");
  const settled = returned.settled?.mass ?? 0n;
  const accounted = sum([returned.returned, settled]);
  const back = `${sayMass(returned.sent)} g sent, ${sayMass(returned.returned)} g back and ${sayMass(settled)} g settled`;
  const holds = accounted !== undefined && returned.sent - accounted === returned.loss;
  must(holds, `${back}, the loss is stated as ${sayMass(returned.loss)} g`);
}
