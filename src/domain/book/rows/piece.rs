//! Rows of pieces and their certificates.

use crate::domain::{
    CertificateId, CondemnReason, ConsignmentId, DieId, Fault, Grade, GradeRule, Hallmark, Immersion, MeltId,
    Mould, OrderId, PhotographHash, PhotographSide, PhotographStage, PieceId, PieceState, RefiningId, SaleId,
    Serial, SeriesId, SessionId, Shape, Stage, StrikeOutcome, Timestamp, UnmarkedReason,
};
use crate::metal::water::WaterTemperature;
use crate::metal::{Fineness, Mass, MassDifference, Reading};

rows! {
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

    /// A weighing of a piece in air and in water. It is never edited; a later one supersedes it.
    GravityReading {
        /// The session.
        session: SessionId,
        /// How it was weighed in water.
        method: Immersion,
        /// In air, as typed, grams.
        in_air: Reading,
        /// With it in the water, as typed, grams: by `hung` its weight there, by `cup` what the cup gained.
        in_water: Reading,
        /// Of the water, degrees Celsius.
        water: WaterTemperature,
        /// Index of its entry.
        index: u64,
    }

    /// A photograph of a piece. It is never replaced.
    Photograph {
        /// The photograph, as it is kept: its address is `/photographs/` and this.
        photograph: PhotographHash,
        /// A small one of it, kept alike.
        thumbnail: PhotographHash,
        /// Of the photograph, pixels.
        width: u32,
        /// Of the photograph, pixels.
        height: u32,
        /// At which point of its life.
        stage: PhotographStage,
        /// What of it is to be seen.
        side: PhotographSide,
        /// Index of its entry.
        index: u64,
        /// When it was recorded.
        at: Timestamp,
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

    /// One strike on a piece.
    PieceStrike {
        /// The die.
        die: DieId,
        /// How it came out.
        outcome: StrikeOutcome,
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
        /// The mould that it was poured in, if that was said.
        mould: Option<Mould>,
        /// The series that it was poured for, once it has left it.
        poured_for: Option<SeriesId>,
        /// Where it is in its life.
        state: PieceState,
        /// Its readings, oldest first.
        readings: Vec<PieceReading>,
        /// Its weighings in water, oldest first.
        gravities: Vec<GravityReading>,
        /// Its photographs, oldest first.
        photographs: Vec<Photograph>,
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
        /// Indexes of the entries by which it was printed.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        prints: Vec<u64>,
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
