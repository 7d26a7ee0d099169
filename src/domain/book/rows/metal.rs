//! Rows of metal before it is a piece, and after: lots, scales, sessions, jars, melts, refinings, owners.

use super::LotCount;
use crate::domain::book::Amount;
use crate::domain::{
    FinenessBasis, JarId, JarSent, JarShare, LotId, MeltId, MeltInput, MeltState, OwnerId, PieceId,
    PieceMass, RefiningId, RefiningState, Residue, ScaleId, SessionId, SessionState, SettledMetal,
    StocktakeId, Timestamp,
};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading, ScaleClass};

rows! {
    /// A lot of metal.
    Lot {
        /// Its id.
        lot: LotId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// Its metal.
        metal: Metal,
        /// Declared, parts per thousand.
        fineness: Fineness,
        /// What the declaration rests on.
        basis: FinenessBasis,
        /// Own weighing, grams.
        mass: Reading,
        /// Invoiced weight, grams.
        invoiced: Option<Mass>,
        /// Not yet drawn, grams.
        left: Mass,
        /// The customer whose metal it is; the workshop's own if there is none.
        owner: Option<OwnerId>,
        /// The refining that it came back from, if it is an outturn.
        outturn_of: Option<RefiningId>,
        /// The stock-take that found it, if it is no receipt.
        found_in: Option<StocktakeId>,
        /// When what was left of it was last counted.
        counted: Option<LotCount>,
        /// What stock-takes found missing of it: in metal and as declared in fine metal; below zero where there was more.
        variance: Amount,
        /// The session of its weighing.
        session: SessionId,
        /// Index of its entry.
        since: u64,
        /// When it was recorded.
        at: Timestamp,
    }

    /// A scale.
    Scale {
        /// Its id.
        scale: ScaleId,
        /// Accuracy class of OIML R 76.
        class: ScaleClass,
        /// Verification scale interval e, grams.
        e: Mass,
        /// Scale step d, grams.
        d: Mass,
        /// Greatest load, grams.
        max: Mass,
        /// Whether it is verified.
        verified: bool,
        /// Standard deviation of repeated weighings, grams.
        repeatability: Mass,
        /// Its open session.
        session: Option<SessionId>,
        /// Index of its entry.
        since: u64,
    }

    /// A session at a scale.
    Session {
        /// Its id.
        session: SessionId,
        /// The scale.
        scale: ScaleId,
        /// Where it is.
        state: SessionState,
        /// Entry index of the last check that held.
        last_good: u64,
        /// Entry index of a check that failed, if one did: readings after `last_good` and before it are suspect.
        failed_at: Option<u64>,
        /// Readings taken in it.
        readings: u32,
        /// Index of its first entry.
        since: u64,
        /// When it was opened.
        at: Timestamp,
    }

    /// A jar of residues.
    Jar {
        /// Its id.
        jar: JarId,
        /// Its metal.
        metal: Metal,
        /// The least fineness that may go into it, parts per thousand.
        fineness: Fineness,
        /// The kind of residue.
        residue: Residue,
        /// What went in since it was last emptied, by melt.
        holds: Vec<JarShare>,
        /// Book mass of what it holds, grams.
        mass: Mass,
        /// How many weighings and differences of weighings that book mass is the sum of.
        readings: u32,
        /// Sweepings that went in since it was last emptied, grams: mostly dust, and no metal in the book.
        swept: Mass,
        /// What stock-takes found missing in it, ever; below zero where there was more.
        variance: Amount,
        /// The same by the melt whose metal it was, in the order in which it was first found missing.
        missing: Vec<JarVariance>,
        /// Index of its first entry.
        since: u64,
    }

    /// What stock-takes found missing in a jar of one melt's metal.
    JarVariance {
        /// The melt.
        melt: MeltId,
        /// Grams; below zero where there was more.
        mass: MassDifference,
    }

    /// One crucible charge.
    Melt {
        /// Its id.
        melt: MeltId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The metal that its fineness speaks of.
        metal: Metal,
        /// Where it is.
        state: MeltState,
        /// The session in which what was new was weighed.
        session: SessionId,
        /// What went in.
        inputs: Vec<MeltInput>,
        /// Sum of the inputs, grams.
        charge: Mass,
        /// Blend as declared, rounded down to 0.1 parts per thousand.
        fineness: Fineness,
        /// The weakest ground among its lots, through remelts.
        basis: FinenessBasis,
        /// Whose metal is in it, through remelts, sorted; `None` is the workshop's own.
        owners: Vec<Option<OwnerId>>,
        /// The lowest that an assay office found in a piece of it, if that was below what was claimed.
        assayed: Option<Fineness>,
        /// Pieces poured, in order.
        pieces: Vec<PieceId>,
        /// Heel, once weighed out, grams.
        heel: Option<Mass>,
        /// The melt that took the heel.
        heel_taken: Option<MeltId>,
        /// Prills, once weighed out, grams.
        prills: Option<Mass>,
        /// What was lost, once weighed out, grams.
        loss: Option<MassDifference>,
        /// Expanded uncertainty of that loss (k = 2) by the readings it comes from, once weighed out, grams.
        uncertainty: Option<Mass>,
        /// What stock-takes found missing of its heel; below zero where there was more.
        variance: Amount,
        /// Index of its charge.
        since: u64,
        /// Index of the entry that weighed it out.
        closed: Option<u64>,
        /// When it was charged.
        at: Timestamp,
    }

    /// What was sent to the refiner at one time.
    Refining {
        /// Its id.
        refining: RefiningId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The metal.
        metal: Metal,
        /// Where it is.
        state: RefiningState,
        /// The session in which the jars were weighed.
        session: SessionId,
        /// The jars emptied.
        jars: Vec<JarSent>,
        /// The condemned pieces.
        pieces: Vec<PieceMass>,
        /// Sum of both, grams.
        mass: Mass,
        /// Whose metal is in it, sorted; `None` is the workshop's own.
        owners: Vec<Option<OwnerId>>,
        /// The lot that came back.
        outturn: Option<LotId>,
        /// What was paid for instead.
        settled: Option<SettledMetal>,
        /// What is missing, once accounted for, grams.
        loss: Option<MassDifference>,
        /// Index of its entry.
        since: u64,
        /// When it was sent.
        at: Timestamp,
    }

    /// A customer whose metal is in the workshop.
    Owner {
        /// Its id.
        owner: OwnerId,
        /// Whether mixing with other people's metal is agreed.
        agreed: bool,
        /// Index of its first entry.
        since: u64,
    }
}
