//! Events about dies, what they strike, and the close of an edition.

use crate::domain::{DieDisposal, DieId, DieOwner, PieceId, SeriesId, Shape, StrikeOutcome};
use serde::{Deserialize, Serialize};

/// A die is in use.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DieRegistered {
    /// The die.
    pub die: DieId,
    /// Whose it is.
    pub owner: DieOwner,
    /// The edition that it was cut for; it strikes no other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<SeriesId>,
}

/// A die is out of use for good.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DieDisposed {
    /// The die.
    pub die: DieId,
    /// Where it went.
    pub how: DieDisposal,
    /// How often it struck.
    pub strikes: u32,
}

/// A piece was struck. A strike that came out well makes it struck, any other mis-struck.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceStruck {
    /// The piece.
    pub piece: PieceId,
    /// The die.
    pub die: DieId,
    /// How it came out.
    pub outcome: StrikeOutcome,
}

/// A mis-struck piece is kept, never for sale.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceArchived {
    /// The piece.
    pub piece: PieceId,
}

/// What became of the numbers of one shape.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShapeTally {
    /// The shape.
    pub shape: Shape,
    /// How many there could be.
    pub size: u32,
    /// How many were given, from 1 on without a gap.
    pub given: u32,
    /// Of those given: the numbers whose pieces are lost, destroyed, given up, or stolen and not back.
    pub burned: Vec<u32>,
}

/// An edition was closed: no piece of it is loose, and the dies cut for it are returned or destroyed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeriesClosed {
    /// The edition.
    pub series: SeriesId,
    /// What became of its numbers.
    pub shapes: Vec<ShapeTally>,
    /// The dies that were cut for it.
    pub dies: Vec<DieId>,
}
