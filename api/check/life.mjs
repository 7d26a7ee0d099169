// The life of the piece, followed through its own events one after another.
//
// What cannot follow does not hold: a piece sold twice, numbered after a bad strike, sold while it is stolen, certified before it
// has its number. The file holds all events of the piece, so its life can be followed whole, and needs nothing of other pieces.

import { sayFineness } from './amounts.mjs';
import { fail, must, within } from './fails.mjs';
import { sayHallmark, sentIn } from './office.mjs';
import { CAME_HOME, UNSEEN, follows } from './states.mjs';

const GONE = ['condemned', 'remelted', 'refined', 'destroyed'];
const U32_MAX = 4_294_967_295;
/** How many photographs a piece may have. */
const PHOTOGRAPHS_MAX = 24;

/** Follows the piece through its events in the entries before an index: what it became, and what it was at each certificate. */
export function follow(claims, until = undefined) {
  let life;
  const issues = [];
  for (const [index, event] of claims.own) {
    if (until !== undefined && index >= until) break;
    within(`entry ${index}, ${event.kind}`, () => {
      if (life === undefined) {
        must(event.kind === 'piece.poured', 'the piece was not poured before');
        life = new Life(claims, event);
        return;
      }
      life.goOn(index, event);
      if (event.kind === 'piece.certified') issues.push({ certificate: event.certificate, life: life.copy() });
    });
  }
  must(life !== undefined, 'the entry that poured the piece is missing');
  must(life.ungraded === undefined, `entry ${life.ungraded}: the piece was weighed or moved, and not graded`);
  return { life, issues };
}

/** A piece as its events have made it so far. */
class Life {
  #claims;
  state = 'poured';
  /** What it was before it was stolen or destroyed. */
  before = undefined;
  /** Its edition number, and the size of the edition. */
  number = undefined;
  hallmark = undefined;
  /** The lowest that an assay office found in it. */
  assay = undefined;
  /** The claim at which an office refused it. */
  refusedAt = undefined;
  /** Its last reading, unless something touched the metal after it or the reading is no final one. */
  ofRecord = undefined;
  serialled = false;
  /** Whether all its strikes came out well, if it was struck. */
  struckWell = undefined;
  grade = undefined;
  /** The entry of a weighing or a move, which is to be followed by its grading. */
  ungraded = undefined;
  consignment = undefined;
  sale = undefined;
  issues = 0;
  photographs = [];

  constructor(claims, poured) {
    this.#claims = claims;
    this.series = poured.series;
    this.shape = poured.shape;
  }

  copy() {
    return Object.assign(new Life(this.#claims, this), this, { photographs: [...this.photographs] });
  }

  /** Takes the next event: the state it follows from, then what it asks for beside. */
  goOn(index, event) {
    if (this.ungraded !== undefined) {
      const graded = event.kind === 'piece.graded' && this.ungraded === index;
      must(graded, 'the piece was weighed or moved before, and not graded');
    }
    must(follows(event)?.includes(this.state) ?? true, `the piece was ${this.state}`);
    const take = TAKE[event.kind] ?? fail("no event of a piece's life");
    take.call(this, event, index, this.#claims);
  }

  #series() {
    return this.#claims.series(this.series);
  }

  isAccepted() {
    must(this.grade === 'accepted', 'its last grading does not accept it');
  }

  /** Struck where its series asks for it, and hallmarked unless its series is exempt. */
  isMarked() {
    const series = this.#series();
    must(!series.struck || this.struckWell === true, 'its series asks for a good strike');
    must(series.marking === 'exempt' || this.hallmark !== undefined, 'its series asks for a hallmark, and it had none');
    return series;
  }

  /** Marked, and finally weighed after the last thing that touched the metal. */
  isReady() {
    must(this.serialled, 'it had no serial');
    const series = this.isMarked();
    must(this.ofRecord !== undefined, 'it was not finally weighed after the last thing that touched the metal');
    return series;
  }

  /** Back from the consignment that it is in; what was claimed there. */
  isBack(consignment) {
    const was = this.consignment;
    this.consignment = undefined;
    must(was?.id === consignment, 'it was not in that consignment');
    return was.claimed;
  }

  found(assay) {
    if (assay !== undefined && (this.assay === undefined || assay < this.assay)) this.assay = assay;
  }

  isOfSale(sale) {
    must(this.sale === sale, 'that is not the sale that stands');
  }

  /** A reservation or a sale is over: the piece is in stock again, or would be if it were not gone. */
  giveBack(from) {
    if (this.state === from) {
      this.state = 'certified';
      return;
    }
    must(this.before === from, `the piece was ${this.state}, and before not ${from}`);
    this.before = 'certified';
  }
}

/** Turns to a state, and nothing else. */
const turn = (state) =>
  function turnTo() {
    this.state = state;
  };
/** Turns to a state, if the event is of the sale that stands. */
const turnInSale = (state) =>
  function turnTo({ sale }) {
    this.isOfSale(sale);
    this.state = state;
  };

const BORNE_OUT = {
  under: (life) => life.grade === 'under',
  over: (life) => life.grade === 'over',
  faulty: (life) => life.grade === 'faulty',
  borderline: (life) => life.grade === 'borderline',
  mis_struck: (life) => life.state === 'mis_struck',
  unmarked: (life) => life.state === 'unmarked',
  damaged: (life) => ['hallmarked', 'unmarked', 'returned', 'bought_back'].includes(life.state),
  unwanted: () => true,
};

/** At the bench. */
const BENCH = {
  'piece.weighed'({ stage, session, mass }, index) {
    if (stage === 'finished') must(!this.serialled, 'it had a serial');
    if (stage === 'final') {
      must(this.serialled, 'it had no serial');
      this.isMarked();
    }
    this.ofRecord = stage === 'final' ? { index, session, mass } : undefined;
    this.ungraded = index;
  },
  'piece.graded'({ grade }) {
    must(this.ungraded !== undefined, 'nothing was weighed or moved before it');
    this.ungraded = undefined;
    if (this.state === 'poured') this.state = 'graded';
    this.grade = grade;
  },
  // Water that is dried off changes nothing of the piece; its readings are held by the claim about weight.
  'piece.gravity'() {},
  // It changes nothing; what it is said to show must have come about. Its bytes are held against the hash by who fetches them.
  'piece.photographed'({ photograph, stage }) {
    must(!UNSEEN.includes(this.state), `the piece was ${this.state}`);
    if (stage === 'finished') must(this.state !== 'poured', 'it was not weighed');
    if (stage === 'hallmarked') must(this.hallmark !== undefined, 'it bore no hallmark');
    if (stage === 'as_sold') must(this.issues > 0, 'it had no certificate');
    if (stage === 'returned') must(CAME_HOME.includes(this.state), 'it had not come back from a buyer');
    must(!this.photographs.includes(photograph), 'the record has that photograph of it before');
    must(this.photographs.length < PHOTOGRAPHS_MAX, 'it has as many photographs as a piece may have');
    this.photographs.push(photograph);
  },
  'piece.faulted'() {
    must(this.grade !== 'faulty', 'it was graded faulty before');
    this.grade = 'faulty';
  },
  'piece.finished'() {
    must(!this.serialled, 'it had a serial');
  },
  'piece.moved'({ from, to }, index, claims) {
    must(from === this.series, 'it was in another series');
    must(to !== this.series, 'it was in that series before');
    must(this.number === undefined, 'it had an edition number');
    must(this.grade !== 'faulty', 'it was graded faulty');
    must(claims.series(to).kind_of === 'open', 'it joins an edition');
    if (this.state === 'unmarked') this.state = this.struckWell === true ? 'struck' : 'serialled';
    this.series = to;
    this.ungraded = index;
  },
  'piece.condemned'({ reason }) {
    must(BORNE_OUT[reason](this), `nothing bears out that it was ${reason}`);
    this.state = 'condemned';
  },
  'piece.serialled'({ series }, index, claims) {
    must(!this.serialled, 'it had a serial');
    must(series === this.series, 'it was in another series');
    this.isAccepted();
    const { melt } = claims.poured();
    const weighedOut = [...claims.lineage.melts].some(([closed, id]) => id === melt && closed < index);
    must(weighedOut, 'its melt was not weighed out');
    this.serialled = true;
    if (this.state === 'graded') this.state = 'serialled';
  },
  'piece.struck'({ outcome }) {
    this.isAccepted();
    this.struckWell = outcome === 'good' && this.struckWell !== false;
    this.ofRecord = undefined;
    this.state = this.struckWell ? 'struck' : 'mis_struck';
  },
  'piece.numbered'({ series: of, shape, number, of: size }) {
    must(this.number === undefined, 'it had a number');
    must(of === this.series && shape === this.shape, 'it is of another series or shape');
    const series = this.isReady();
    must(series.kind_of === 'edition' && !series.unnumbered, 'its series gives no numbers');
    this.isAccepted();
    this.number = { number, of: size };
    if (series.number_on_metal) this.ofRecord = undefined;
    this.state = 'numbered';
  },
  /** A first certificate asks for all that its series asks for; a later one states what is, as long as there is a piece. */
  'piece.certified'({ issue }) {
    must(this.issues < U32_MAX && this.issues + 1 === issue, 'another issue number belongs here');
    const series = this.isReady();
    this.issues = issue;
    if (issue > 1) {
      must(!GONE.includes(this.state), `the piece was ${this.state}`);
      return;
    }
    this.isAccepted();
    const unnumberedSpare = this.state === 'spare' && series.spares_sold;
    const needsNone = series.kind_of === 'open' || series.unnumbered || unnumberedSpare;
    must(needsNone || this.number !== undefined, 'its edition numbers its pieces, and it had no number');
    this.state = 'certified';
  },
  'piece.spared'() {
    must(this.isReady().kind_of === 'edition', 'only an edition has spares');
    this.isAccepted();
    this.state = 'spare';
  },
  'piece.archived': turn('archived'),
  'piece.remelted': turn('remelted'),
  'piece.refined': turn('refined'),
};

/** At the assay office. */
const OFFICE = {
  'piece.consigned'({ consignment }, index, claims) {
    must(this.serialled, 'it had no serial');
    this.isAccepted();
    const series = claims.series(this.series);
    must(series.marking === 'required', 'its series is exempt from marking');
    must(!series.struck || this.struckWell === true, 'its series asks for a good strike');
    const sent = sentIn(claims, index, consignment);
    must(sent.fineness === series.fineness, 'another fineness is claimed than its series states');
    this.consignment = { id: consignment, claimed: sent.fineness };
    this.state = 'at_office';
  },
  'piece.hallmarked'({ consignment, hallmark }) {
    const claimed = this.isBack(consignment);
    must(hallmark.fineness === claimed, `${sayFineness(claimed)} was claimed, marked is ${sayHallmark(hallmark)}`);
    this.hallmark = hallmark;
    this.ofRecord = undefined;
    this.state = 'hallmarked';
  },
  'piece.unmarked'({ consignment, reason, assay }) {
    const claimed = this.isBack(consignment);
    if (reason === 'below_standard') {
      const borneOut = assay === undefined || assay < claimed;
      must(borneOut, 'it was refused for its fineness, and found to be as fine as was claimed');
      this.refusedAt = claimed;
    }
    this.found(assay);
    this.ofRecord = undefined;
    this.state = 'unmarked';
  },
  'piece.kept'({ consignment, assay }) {
    this.isBack(consignment);
    this.found(assay);
    this.state = 'kept';
  },
  'piece.missing'({ consignment }) {
    this.isBack(consignment);
    if (this.state !== 'destroyed') this.state = 'missing';
  },
};

/** Promised, sold, and what comes after. */
const HANDS = {
  'piece.reserved': turn('reserved'),
  'piece.released'() {
    this.giveBack('reserved');
  },
  'piece.sold'({ piece, sale }, index, claims) {
    const made = (event) => event.kind === 'sale.made' && event.sale === sale && event.pieces.includes(piece);
    must(claims.beside(index).some(made), 'no sale of it is in its entry');
    this.sale = sale;
    this.state = 'sold';
  },
  'piece.unsold'({ sale }) {
    this.isOfSale(sale);
    this.sale = undefined;
    if (!['lost', 'destroyed'].includes(this.state)) this.giveBack('sold');
  },
  'piece.dispatched': turnInSale('dispatched'),
  'piece.handed_over': turnInSale('delivered'),
  'piece.delivered': turnInSale('delivered'),
  'piece.lost': turnInSale('lost'),
  'piece.sent_back': turnInSale('sold'),
  'piece.found'() {
    this.state = this.sale === undefined ? 'returned' : 'dispatched';
  },
  'piece.returned'({ sale }) {
    this.isOfSale(sale);
    this.sale = undefined;
    this.state = 'returned';
  },
  'piece.bought_back'(event, index) {
    this.sale = undefined;
    this.ofRecord = undefined;
    this.ungraded = index;
    this.state = 'bought_back';
  },
  'piece.restocked'() {
    must(this.grade !== 'faulty', 'it was graded faulty');
    this.state = 'certified';
  },
  'piece.stolen'() {
    this.before = this.state;
    this.state = 'stolen';
  },
  'piece.recovered'() {
    must(this.before !== undefined, 'nothing is known of it before');
    this.state = this.before;
    this.before = undefined;
  },
  'piece.destroyed'() {
    this.before ??= this.state;
    this.state = 'destroyed';
  },
};

const TAKE = { ...BENCH, ...OFFICE, ...HANDS };
