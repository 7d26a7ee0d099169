//! Commands about the assay office: what goes there, what comes back, and the spares of an edition.

use crate::domain::{AssayOutcome, ConsignmentId, Hallmark, MarkKind, PieceId, UnmarkedReason};
use crate::metal::Fineness;
use serde::{Deserialize, Serialize};

commands! {
    /// Pieces go to the assay office, declared at their last weights.
    SendConsignment {
        /// The pieces.
        pieces: Vec<PieceId>,
        /// The fineness claimed for all of them, parts per thousand.
        fineness: Fineness,
        /// The marks asked for.
        marks: Vec<MarkKind>,
        /// Which office; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        office: Option<String>,
        /// Number of the seal; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seal: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A consignment came back: every piece that was sent is on one line.
    ReturnConsignment {
        /// The consignment.
        consignment: ConsignmentId,
        /// What became of each piece.
        lines: Vec<ReturnLine>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Finally weighed pieces of an edition are set aside as spares.
    SparePieces {
        /// The pieces.
        pieces: Vec<PieceId>,
    }
}

/// What became of one piece at the assay office.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReturnLine {
    /// The piece.
    pub piece: PieceId,
    /// What became of it.
    pub outcome: AssayOutcome,
    /// Of a marked piece: the marks on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hallmark: Option<Hallmark>,
    /// Of an unmarked piece: why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<UnmarkedReason>,
    /// What the office found, parts per thousand, if it said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assay: Option<Fineness>,
}
