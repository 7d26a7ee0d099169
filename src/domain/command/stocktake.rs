//! The command of a stock-take. It carries what was found and nothing of what the book says.

use crate::domain::{JarDraw, LotId, MeltId, PieceId, SeriesId, SessionId};
use crate::metal::{Fineness, Metal, Reading};
use serde::{Deserialize, Serialize};

commands! {
    /// Stock is taken blind: who counts says what there is, and the reply what the book expected.
    TakeStock {
        /// The open session in which metal was weighed; needed where any was.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        session: Option<SessionId>,
        /// What is left of lots.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        lots: Vec<LotWeighed>,
        /// Heels.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        heels: Vec<HeelWeighed>,
        /// Jars, without the jar.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        jars: Vec<JarDraw>,
        /// Metal that has no place in the book.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        found: Vec<MetalFound>,
        /// Pieces that were looked for.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pieces: Option<PiecesSeen>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// What is left of a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotWeighed {
    /// The lot.
    pub lot: LotId,
    /// Weighed, grams; "0" for nothing.
    pub mass: Reading,
}

/// A heel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HeelWeighed {
    /// The melt that left it.
    pub melt: MeltId,
    /// Weighed, grams; "0" for nothing.
    pub mass: Reading,
}

/// Metal that has no place in the book.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MetalFound {
    /// What metal it is.
    pub metal: Metal,
    /// What fineness it may be, parts per thousand: not above the lowest that the book has of that metal.
    pub fineness: Fineness,
    /// Weighed, grams.
    pub mass: Reading,
    /// Private.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Pieces that were looked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PiecesSeen {
    /// Only those of this series; all in the workshop if there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<SeriesId>,
    /// Those that were seen.
    pub seen: Vec<PieceId>,
}
