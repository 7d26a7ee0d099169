// The certificates: each states what the record supported when it was issued, and no more.

import { sayFineness, sayMass } from './amounts.mjs';
import { fail, must, within } from './fails.mjs';
import { uncertainty } from './measures.mjs';
import { sayHallmark } from './office.mjs';

const U32_MAX = 4_294_967_295;
/** What a declared fineness rests on, the weakest first. */
const BASES = ['declared', 'assayed', 'hallmarked'];

/** Each certificate states what the record supports, and the newest rests on a confirmed weighing. */
export function certificate(claims, told) {
  const issued = claims.issued();
  const times = told.issues.length;
  must(issued.length === times, `${issued.length} certificates were issued, the piece was certified ${times} times`);
  if (times === 0) return 'none issued yet';
  let older;
  issued.forEach(([index, stated], at) => {
    const { certificate: id, life } = told.issues[at];
    const where = `issue ${stated.issue}`;
    must(stated.certificate === id, `${where}: the piece was certified by another certificate`);
    takesThePlace(claims, index, older, stated);
    within(where, () => statesTheRecord(claims, stated, life));
    older = stated;
  });
  const [, newest] = issued.at(-1);
  restsOn(claims, newest, told.issues.at(-1).life);
  const marks = newest.marks === undefined ? 'not hallmarked' : `hallmarked ${sayHallmark(newest.marks)}`;
  const weight = `${newest.mass.text} g, +-${sayMass(newest.uncertainty)} g at k = 2; at least ${sayMass(newest.at_least)} g`;
  return `issue ${newest.issue}: ${weight}; ${marks}`;
}

/** Issues are numbered in order, and each after the first supersedes the one before, in the same entry. */
function takesThePlace(claims, index, older, stated) {
  const wanted = older === undefined ? 1 : older.issue + 1;
  must(wanted <= U32_MAX && wanted === stated.issue, `issue ${stated.issue} stands where another belongs`);
  if (older === undefined) return;
  const supersedes = (event) =>
    event.kind === 'certificate.superseded' &&
    event.certificate === older.certificate &&
    event.by === stated.certificate;
  must(claims.beside(index).some(supersedes), `issue ${stated.issue} does not supersede the one before it`);
}

/** The scale of the weight of record supports what is stated; its session is over, and a check that held came after it. */
function restsOn(claims, newest, life) {
  const scale = claims.scaleOf(newest.session) ?? fail('the scale of the weight of record is missing');
  const { mass } = newest.mass;
  const found = uncertainty(scale, mass) ?? fail('the scale supports no claim');
  const least = mass >= found ? mass - found : 0n;
  const same = found === newest.uncertainty && least === newest.at_least;
  must(same, `the scale supports +-${sayMass(found)} g, stated is +-${sayMass(newest.uncertainty)} g`);
  const last = claims.checksOf(newest.session).at(-1);
  const over = last !== undefined && (last.closing || !last.held);
  must(over, 'the session of the weight of record has no closing check');
  const bracketed = life.ofRecord !== undefined && claims.isBracketed(newest.session, life.ofRecord.index);
  must(bracketed, 'no check of the scale held after the weight of record');
}

/** What is stated is what the piece then was. */
function statesTheRecord(claims, stated, life) {
  must(stated.serial === claims.file.serial, `it states serial ${stated.serial}`);
  must(stated.series === life.series, 'it states another series than the piece was in');
  const series = claims.series(stated.series);
  const same = stated.fineness === series.fineness && stated.metal === series.metal;
  must(same, 'it states another metal or fineness than its series');
  const numbered = stated.number === life.number?.number && stated.of === life.number?.of;
  must(numbered, 'it states another number than the piece was given');
  const { ofRecord } = life;
  const weighed = ofRecord?.session === stated.session && ofRecord.mass.text === stated.mass.text;
  const last = 'which is not the final reading after the last thing that touched the metal';
  must(weighed, `it states ${stated.mass.text} g, ${last}`);
  hallmarkStated(stated, life, series);
  finenessSupported(claims, stated, life);
}

function sameHallmark(one, other) {
  if (one === undefined || other === undefined) return one === other;
  return one.fineness === other.fineness && sayHallmark(one) === sayHallmark(other);
}

/** The marks are those of the piece's own last hallmark, and "not hallmarked" stands only where there is none. */
function hallmarkStated(stated, life, series) {
  const statement = life.hallmark === undefined ? 'not_hallmarked' : 'hallmarked';
  const same = stated.hallmark === statement && sameHallmark(stated.marks, life.hallmark);
  must(same, 'it states another hallmark than the piece bears');
  const marked = series.marking !== 'required' || life.hallmark !== undefined;
  must(marked, 'its series asks for a hallmark, and it has none');
}

/**
 * The fineness is not above what was melted, what is marked, and what an assay office found in the piece; and it says no more than
 * it rests on.
 */
function finenessSupported(claims, stated, life) {
  const melt = claims.melts.get(claims.poured().melt) ?? fail('the melt of the piece is not weighed out');
  const found = [
    [melt.fineness, 'the metal is, as declared,'],
    [life.hallmark?.fineness, 'it is marked'],
    [life.assay, 'an assay office found'],
  ];
  const states = `it states ${sayFineness(stated.fineness)}`;
  for (const [fineness, whose] of found) {
    const above = fineness !== undefined && stated.fineness > fineness;
    must(!above, above ? `${states}, ${whose} ${sayFineness(fineness)}` : '');
  }
  const refused = life.refusedAt !== undefined && stated.fineness >= life.refusedAt;
  must(!refused, refused ? `${states}, an assay office refused it at ${sayFineness(life.refusedAt)}` : '');
  const lots = [...claims.lineage.lots.keys()].map((lot) => claims.lot(lot));
  const ranks = lots.filter((lot) => lot?.metal === stated.metal).map((lot) => BASES.indexOf(lot.basis));
  const weakest = BASES[ranks.length === 0 ? 0 : Math.min(...ranks)];
  const [basis, known] = life.hallmark === undefined ? [weakest, claims.lineage.traced === '1'] : ['hallmarked', true];
  must(!known || basis === stated.basis, `it says its fineness is ${stated.basis}, it rests on what is ${basis}`);
}
