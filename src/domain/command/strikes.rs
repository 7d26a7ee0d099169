//! Commands about dies and what they strike.

use crate::domain::{DieDisposal, DieId, DieOwner, PieceId, SeriesId, StrikeOutcome};
use serde::{Deserialize, Serialize};

commands! {
    /// A die is to be used.
    RegisterDie {
        /// Whose it is.
        owner: DieOwner,
        /// The edition that it was cut for; it strikes no other.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        series: Option<SeriesId>,
        /// What it shows; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A die goes: back to its owner, destroyed, or retired.
    DisposeDie {
        /// The die.
        die: DieId,
        /// How.
        how: DieDisposal,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Pieces were struck with a die.
    StrikePieces {
        /// The die.
        die: DieId,
        /// The pieces and how each strike came out.
        items: Vec<Strike>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A mis-struck piece is kept, never for sale.
    ArchivePiece {
        /// The piece.
        piece: PieceId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// One strike.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Strike {
    /// The piece.
    pub piece: PieceId,
    /// How it came out.
    pub outcome: StrikeOutcome,
}
