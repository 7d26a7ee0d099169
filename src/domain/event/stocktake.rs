//! Events of a stock-take: what was counted without the book at hand, and what the book said then.

use crate::domain::{JarId, LotId, MeltId, PieceId, SeriesId, SessionId, StocktakeId};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading};
use serde::{Deserialize, Serialize};

/// Pieces that were looked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PiecesCounted {
    /// Only pieces of this series were looked for; all in the workshop if there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<SeriesId>,
    /// Seen, as named by who counted.
    pub seen: Vec<PieceId>,
    /// By the book there, and not seen; in the order in which they were poured. Their states stay.
    pub unseen: Vec<PieceId>,
    /// Seen, and by the book not there: elsewhere, at their end, or of another series. Their states stay.
    pub unexpected: Vec<PieceId>,
}

/// Stock was taken. What was weighed stands in events of their own behind it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StocktakeTaken {
    /// The stock-take.
    pub stocktake: StocktakeId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The session in which metal was weighed, if any was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub session: Option<SessionId>,
    /// The pieces, if any were looked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pieces: Option<PiecesCounted>,
}

macro_rules! counted {
    ($($(#[$doc:meta])* $name:ident $(#[$fdoc:meta])* $field:ident $id:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $(#[$fdoc])*
            pub $field: $id,
            /// The stock-take, in the same entry.
            pub stocktake: StocktakeId,
            /// What it weighs, grams: from here on the book says the same. "0" when nothing is left.
            pub mass: Reading,
            /// What the book said, grams.
            pub expected: Mass,
            /// Expected less weighed, grams: derived, never typed. Negative when there was more.
            pub variance: MassDifference,
            /// Expanded uncertainty of that difference (k = 2) by the readings it comes from, grams, rounded up to 10
            /// micrograms.
            pub uncertainty: Mass,
            /// Whether that uncertainty explains the difference.
            pub explained: bool,
        }
    )*};
}

counted! {
    /// What is left of a lot was weighed in a stock-take.
    LotCounted
        /// The lot.
        lot LotId;
    /// A heel was weighed in a stock-take.
    MeltCounted
        /// The melt that left it.
        melt MeltId;
    /// A jar was weighed in a stock-take. What it holds of each melt is scaled to what it weighs.
    JarCounted
        /// The jar.
        jar JarId;
}

/// Metal was found in a stock-take that the book did not know of. It is a lot from here on, and no receipt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotFound {
    /// The lot.
    pub lot: LotId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The stock-take, in the same entry.
    pub stocktake: StocktakeId,
    /// What metal it is, as who found it says.
    pub metal: Metal,
    /// As who found it says, parts per thousand: not above the lowest that the book has of that metal.
    pub fineness: Fineness,
    /// Own weighing, grams.
    pub mass: Reading,
}
