//! The rows of the book, one struct per thing. They are what `decide` looks at and what views and the API show.
//!
//! Names, notes and money are not here: they are private members, shown from the vault to those who may see them.

use super::Book;
use crate::domain::{
    AssayOutcome, CertificateId, CondemnReason, ConsignmentId, ConsignmentState, Date, DieId, DieOwner,
    DieState, ExemptGround, Fault, FinenessBasis, Grade, GradeRule, Hallmark, JarId, JarSent, JarShare,
    Limits, LotId, MarkKind, Marking, MeltId, MeltInput, MeltOutput, MeltState, OrderId, OrderState, OwnerId,
    PieceId, PieceState, RefiningId, RefiningState, Residue, SaleId, ScaleId, Serial, SeriesCode, SeriesId,
    SeriesKind, SeriesState, SessionId, SessionState, SettledMetal, Shape, ShapeCount, ShapeSize, Stage,
    StrikeOutcome, Timestamp, UnmarkedReason, WeightUnit,
};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading, ScaleClass};
use serde::{Deserialize, Serialize};

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
        pub struct $name { $($(#[$fdoc])* pub $field: $type),* }
    )*};
}

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
        /// Index of its first entry.
        since: u64,
    }

    /// An edition or an open series.
    Series {
        /// Its id.
        series: SeriesId,
        /// Its code.
        code: SeriesCode,
        /// Edition or open.
        kind_of: SeriesKind,
        /// The metal.
        metal: Metal,
        /// The fineness its pieces are stated at, parts per thousand.
        fineness: Fineness,
        /// The unit that comes first.
        unit: WeightUnit,
        /// Size per shape.
        shapes: Vec<ShapeSize>,
        /// Limits.
        limits: Option<Limits>,
        /// Digits of its serials.
        digits: u8,
        /// Whether its pieces must be hallmarked.
        marking: Marking,
        /// If exempt, on what ground.
        ground: Option<ExemptGround>,
        /// Of the ground `below_weight`: the exemption weight, grams.
        exempt_below: Option<Mass>,
        /// From which day that row of the table holds.
        exempt_from: Option<Date>,
        /// An edition whose pieces get no numbers.
        unnumbered: bool,
        /// Whether the number is put on the metal.
        number_on_metal: bool,
        /// Whether its pieces are struck before they go on.
        struck: bool,
        /// Whether spares may be sold without a number.
        spares_sold: bool,
        /// Whether it is closed.
        state: SeriesState,
        /// Serials given.
        serials: u32,
        /// Edition numbers given, in the order of `shapes`; where pieces get no numbers, places taken by a certificate.
        numbers: Vec<u32>,
        /// Pieces promised by open orders and not yet sold, in the order of `shapes`.
        promised: Vec<u32>,
        /// Index of the entry that closed it.
        closed: Option<u64>,
        /// Index of its entry.
        since: u64,
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
        /// Index of its charge.
        since: u64,
        /// Index of the entry that weighed it out.
        closed: Option<u64>,
        /// When it was charged.
        at: Timestamp,
    }

    /// A reading of a piece. It is never edited; a later one supersedes it.
    PieceReading {
        /// The session.
        session: SessionId,
        /// At which point of its life.
        stage: Stage,
        /// As typed, grams.
        mass: Reading,
        /// Index of its entry.
        index: u64,
    }

    /// A grading of a piece, with all that it was made from.
    Grading {
        /// The outcome.
        grade: Grade,
        /// The rule.
        rule: GradeRule,
        /// Lower limit, grams.
        lower: Option<Mass>,
        /// Upper limit, grams.
        upper: Option<Mass>,
        /// Guard band, grams.
        guard: Option<Mass>,
        /// The fault, if it is faulty.
        fault: Option<Fault>,
        /// Index of its entry.
        index: u64,
    }

    /// One poured object.
    Piece {
        /// Its id.
        piece: PieceId,
        /// Pour number, like `12-03`.
        pour: String,
        /// The melt it was poured from.
        melt: MeltId,
        /// The series it belongs to.
        series: SeriesId,
        /// Its shape.
        shape: Shape,
        /// Where it is in its life.
        state: PieceState,
        /// Its readings, oldest first.
        readings: Vec<PieceReading>,
        /// Its last grading.
        grading: Option<Grading>,
        /// Metal filed off, grams.
        filed: Mass,
        /// Why it was condemned.
        condemned: Option<CondemnReason>,
        /// The melt that took it.
        remelted: Option<MeltId>,
        /// Its serial.
        serial: Option<Serial>,
        /// The strikes, oldest first.
        strikes: Vec<PieceStrike>,
        /// The consignment that it was last in.
        consignment: Option<ConsignmentId>,
        /// The marks on it.
        hallmark: Option<Hallmark>,
        /// The lowest that an assay office found in it, if one said so, parts per thousand.
        assay: Option<Fineness>,
        /// Why the office would not mark it, until it is sent in again.
        unmarked: Option<UnmarkedReason>,
        /// The claim at which an office refused it for its fineness, parts per thousand: it is stated below that for ever.
        refused_at: Option<Fineness>,
        /// Whether the next weighing is the first since it was at the office.
        back_unweighed: bool,
        /// What the office took off it, grams.
        assay_loss: MassDifference,
        /// Its edition number.
        number: Option<u32>,
        /// Index of the entry that gave the number.
        numbered_at: Option<u64>,
        /// The newest certificate.
        certificate: Option<CertificateId>,
        /// The order that it is kept for or was sold under.
        order: Option<OrderId>,
        /// Its live sale: at most one.
        sale: Option<SaleId>,
        /// What it was before it was stolen or destroyed.
        before: Option<PieceState>,
        /// The refining that it went into.
        refined: Option<RefiningId>,
        /// Index of its first entry.
        since: u64,
        /// When it was poured.
        at: Timestamp,
    }

    /// One issue of a certificate.
    Certificate {
        /// Its id.
        certificate: CertificateId,
        /// The piece.
        piece: PieceId,
        /// Issue number, from 1.
        issue: u32,
        /// The serial.
        serial: Serial,
        /// What took its place.
        superseded: Option<CertificateId>,
        /// Index of its entry.
        since: u64,
        /// When it was issued.
        at: Timestamp,
    }

    /// One strike on a piece.
    PieceStrike {
        /// The die.
        die: DieId,
        /// How it came out.
        outcome: StrikeOutcome,
        /// Index of its entry.
        index: u64,
    }

    /// A die.
    Die {
        /// Its id.
        die: DieId,
        /// Whose it is.
        owner: DieOwner,
        /// The edition that it was cut for.
        series: Option<SeriesId>,
        /// Where it is.
        state: DieState,
        /// How often it struck.
        strikes: u32,
        /// Index of its entry.
        since: u64,
    }

    /// Pieces sent together to the assay office.
    Consignment {
        /// Its id.
        consignment: ConsignmentId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// Where it is.
        state: ConsignmentState,
        /// The fineness claimed, parts per thousand.
        fineness: Fineness,
        /// The marks asked for.
        marks: Vec<MarkKind>,
        /// The pieces, each with its declared weight.
        pieces: Vec<MeltOutput>,
        /// Sum of the declared weights, grams.
        mass: Mass,
        /// What became of each piece, in the order of `pieces`, once it is back.
        outcomes: Vec<AssayOutcome>,
        /// Pieces not in it that came from the same melt as one refused for its fineness.
        melt_mates: Vec<PieceId>,
        /// Index of its entry.
        since: u64,
        /// Index of the entry of its return.
        returned: Option<u64>,
        /// When it was sent.
        at: Timestamp,
    }

    /// A promise of pieces.
    Order {
        /// Its id.
        order: OrderId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The edition.
        series: SeriesId,
        /// How many of each shape.
        shapes: Vec<ShapeCount>,
        /// How many of each shape are kept for it, in the order of `shapes`.
        reserved: Vec<u32>,
        /// How many of each shape are sold under it, in the order of `shapes`.
        sold: Vec<u32>,
        /// Where it is.
        state: OrderState,
        /// Index of its entry.
        since: u64,
        /// When it was recorded.
        at: Timestamp,
    }

    /// A sale to one buyer.
    Sale {
        /// Its id.
        sale: SaleId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The pieces.
        pieces: Vec<PieceId>,
        /// The order that it supplies.
        order: Option<OrderId>,
        /// Of its pieces, those whose sale is over: cancelled, or given back.
        undone: Vec<PieceId>,
        /// Index of its entry.
        since: u64,
        /// When it was made.
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
        pieces: Vec<MeltOutput>,
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

impl Piece {
    /// The newest reading.
    #[must_use]
    pub fn reading(&self) -> Option<&PieceReading> {
        self.readings.last()
    }

    /// Its mass by its newest reading, grams.
    #[must_use]
    pub fn mass(&self) -> Option<Mass> {
        self.reading().map(|reading| reading.mass.mass())
    }
}

macro_rules! tables {
    ($($type:ident $id:ident $lookup:ident,)*) => {
        /// A row that changed: which table, and which id.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[expect(missing_docs, reason = "each variant is its table")]
        pub enum Touched { $($type($id)),* }

        /// One row of the book, with its values.
        #[derive(Clone, Debug, PartialEq, Eq)]
        #[expect(missing_docs, reason = "each variant is its table")]
        pub enum Row { $($type(Box<$type>)),* }

        impl Book {
            /// A row that was touched, as it is now.
            #[must_use]
            pub fn row(&self, touched: Touched) -> Option<Row> {
                match touched {
                    $(Touched::$type(id) => self.$lookup(id).map(|row| Row::$type(Box::new(row.clone())))),*
                }
            }
        }
    };
}

tables! {
    Lot LotId lot,
    Scale ScaleId scale,
    Session SessionId session,
    Jar JarId jar,
    Series SeriesId series,
    Melt MeltId melt,
    Piece PieceId piece,
    Certificate CertificateId certificate,
    Die DieId die,
    Consignment ConsignmentId consignment,
    Order OrderId order,
    Sale SaleId sale,
    Refining RefiningId refining,
    Owner OwnerId owner,
}

impl Book {
    /// Rows that were touched, as they are now.
    ///
    /// # Panics
    /// If one is not there. Nothing in the book is ever deleted, so only a bug could bring that about.
    #[must_use]
    pub fn rows(&self, touched: &[Touched]) -> Vec<Row> {
        let rows = touched.iter().filter_map(|touched| self.row(*touched));
        let rows: Vec<Row> = rows.collect();
        assert!(
            rows.len() == touched.len(),
            "a row that was touched is in its table"
        );
        rows
    }
}
