//! Rows of stock-takes.

use crate::domain::{CountedThing, PiecesCounted, SessionId, StocktakeId, Timestamp};
use crate::metal::{Mass, MassDifference, Reading};
use uuid::Uuid;

rows! {
    /// One count of what is there.
    Stocktake {
        /// Its id.
        stocktake: StocktakeId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The session in which metal was weighed, if any was.
        session: Option<SessionId>,
        /// The pieces, if any were looked for.
        pieces: Option<PiecesCounted>,
        /// What was weighed, in order.
        lines: Vec<StocktakeLine>,
        /// Index of its entry.
        since: u64,
        /// When it was recorded.
        at: Timestamp,
    }

    /// One thing that was weighed in a stock-take.
    StocktakeLine {
        /// A lot, a heel, a jar, or found metal.
        what: CountedThing,
        /// The lot, the melt that left the heel, or the jar.
        id: Uuid,
        /// Weighed, grams.
        mass: Reading,
        /// What the book said, grams.
        expected: Mass,
        /// Expected less weighed, grams.
        variance: MassDifference,
        /// Its expanded uncertainty (k = 2), grams.
        uncertainty: Mass,
        /// Whether that explains it.
        explained: bool,
    }

    /// When what is left of a lot was last counted.
    LotCount {
        /// The stock-take.
        stocktake: StocktakeId,
        /// The session.
        session: SessionId,
        /// Weighed, grams.
        mass: Reading,
        /// Index of its entry.
        index: u64,
    }
}
