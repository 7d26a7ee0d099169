//! Events about residues, the refiner, and metal that belongs to customers.

use crate::domain::{JarId, JarShare, LotId, OwnerId, PieceId, PieceMass, RefiningId, SessionId};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading};
use serde::{Deserialize, Serialize};

/// A customer brings metal of their own.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OwnerRegistered {
    /// The customer.
    pub owner: OwnerId,
}

/// A customer agreed that their metal may be mixed with other people's.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OwnerAgreed {
    /// The customer.
    pub owner: OwnerId,
}

/// Sweepings went into a jar. Their weight is mostly dust, and no metal in the book.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarSwept {
    /// The jar.
    pub jar: JarId,
    /// The session in which they were weighed.
    pub session: SessionId,
    /// As typed, grams.
    pub mass: Reading,
}

/// A jar emptied for the refiner.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarSent {
    /// The jar.
    pub jar: JarId,
    /// Weighed, grams.
    pub mass: Reading,
    /// What went in since it was last emptied, by the melt whose metal it is.
    pub holds: Vec<JarShare>,
}

/// Residues and condemned pieces went to the refiner.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RefiningSent {
    /// The refining.
    pub refining: RefiningId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The metal.
    pub metal: Metal,
    /// The session in which the jars were weighed.
    pub session: SessionId,
    /// The jars emptied.
    pub jars: Vec<JarSent>,
    /// The condemned pieces, each with its last reading.
    pub pieces: Vec<PieceMass>,
    /// Sum of jars and pieces, grams; of a jar of sweeps nothing is counted, whatever it weighs.
    pub mass: Mass,
}

/// A jar was emptied for the refiner; the refining stands in the same entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarEmptied {
    /// The jar.
    pub jar: JarId,
    /// The refining.
    pub refining: RefiningId,
}

/// A condemned piece went to the refiner: the end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceRefined {
    /// The piece.
    pub piece: PieceId,
    /// The refining.
    pub refining: RefiningId,
}

/// Metal that the refiner kept and paid for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SettledMetal {
    /// As the statement says, grams.
    pub mass: Mass,
    /// By the refiner's assay, parts per thousand.
    pub fineness: Fineness,
}

/// The refiner accounted for what was sent: sent = outturn + settled + loss. In grams, most of the loss is base metal that
/// was parted off: what it is in fine grams follows from what was sent and from the refiner's assay.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RefiningReturned {
    /// The refining.
    pub refining: RefiningId,
    /// What was sent, grams.
    pub sent: Mass,
    /// The lot that came back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outturn: Option<LotId>,
    /// Its weight, grams; zero without one.
    pub returned: Mass,
    /// What was paid for instead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled: Option<SettledMetal>,
    /// What is missing, grams: derived, never typed. Negative when sweeps brought more than the book knew, or when the
    /// outturn was alloyed afresh and weighs more than was sent.
    pub loss: MassDifference,
}

/// Metal came back from the refiner: a transfer, no receipt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotOutturned {
    /// The lot.
    pub lot: LotId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The refining.
    pub refining: RefiningId,
    /// What metal it is.
    pub metal: Metal,
    /// By the refiner's assay, parts per thousand.
    pub fineness: Fineness,
    /// The session in which it was weighed.
    pub session: SessionId,
    /// Own weighing, grams.
    pub mass: Reading,
}
