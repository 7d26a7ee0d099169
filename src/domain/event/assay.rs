//! Events of the assay office: what went there, what came back, and what is set aside.

use crate::domain::{ConsignmentId, KeptHow, MarkKind, PieceId, PieceMass, UnmarkedReason};
use crate::metal::{Fineness, Mass};
use serde::{Deserialize, Serialize};

/// One mark on the metal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MarkSeen {
    /// Which.
    pub mark: MarkKind,
    /// Whether it can be read.
    pub legible: bool,
}

/// A hallmark by its components: it has at least the sponsor's, the fineness and the office's mark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hallmark {
    /// What the fineness mark says, parts per thousand.
    pub fineness: Fineness,
    /// The marks, each kind once.
    pub marks: Vec<MarkSeen>,
}

/// Pieces went to the assay office together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConsignmentSent {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The fineness claimed, parts per thousand.
    pub fineness: Fineness,
    /// The marks asked for.
    pub marks: Vec<MarkKind>,
    /// The pieces, each with its declared weight: its last reading.
    pub pieces: Vec<PieceMass>,
    /// Sum of the declared weights, grams.
    pub mass: Mass,
}

/// A piece is at the assay office; its consignment stands in the same entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceConsigned {
    /// The piece.
    pub piece: PieceId,
    /// The consignment.
    pub consignment: ConsignmentId,
}

/// A consignment came back: marked + unmarked + kept or cut + missing = sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConsignmentReturned {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// Pieces sent.
    pub sent: u32,
    /// Hallmarked.
    pub marked: u32,
    /// Returned without a mark.
    pub unmarked: u32,
    /// Kept or cut by the office.
    pub kept: u32,
    /// Not among what came back.
    pub missing: u32,
}

/// A piece bears a hallmark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceHallmarked {
    /// The piece.
    pub piece: PieceId,
    /// The consignment.
    pub consignment: ConsignmentId,
    /// The marks on it.
    pub hallmark: Hallmark,
}

/// A piece came back without a hallmark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceUnmarked {
    /// The piece.
    pub piece: PieceId,
    /// The consignment.
    pub consignment: ConsignmentId,
    /// Why.
    pub reason: UnmarkedReason,
    /// What the office found, parts per thousand, if it said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assay: Option<Fineness>,
}

/// The office kept a piece, or cut it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceKept {
    /// The piece.
    pub piece: PieceId,
    /// The consignment.
    pub consignment: ConsignmentId,
    /// Which.
    pub how: KeptHow,
    /// What the office found, parts per thousand, if it said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assay: Option<Fineness>,
}

/// A piece was not among what came back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceMissing {
    /// The piece.
    pub piece: PieceId,
    /// The consignment.
    pub consignment: ConsignmentId,
}

/// A finally weighed piece of an edition is set aside as a spare.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceSpared {
    /// The piece.
    pub piece: PieceId,
}
