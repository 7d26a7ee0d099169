//! Events about metal before it is a piece: lots, scales, sessions, jars, melts.

use crate::domain::{FinenessBasis, JarId, LotId, MeltId, OwnerId, PieceId, Residue, ScaleId, SessionId};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading, ScaleClass};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Metal came in, and was weighed here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotReceived {
    /// The lot.
    pub lot: LotId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// What metal it is.
    pub metal: Metal,
    /// Declared fineness, parts per thousand; 1000 for an alloy metal.
    pub fineness: Fineness,
    /// What the declaration rests on.
    pub basis: FinenessBasis,
    /// The session in which it was weighed.
    pub session: SessionId,
    /// Own weighing, grams.
    pub mass: Reading,
    /// Invoiced weight, grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub invoiced: Option<Mass>,
    /// The customer whose metal it is; the workshop's own if there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<OwnerId>,
}

/// A scale was registered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScaleRegistered {
    /// The scale.
    pub scale: ScaleId,
    /// Accuracy class of OIML R 76.
    pub class: ScaleClass,
    /// Verification scale interval e, grams.
    pub e: Mass,
    /// Scale step d, grams.
    pub d: Mass,
    /// Greatest load, grams.
    pub max: Mass,
    /// Whether it is verified. An unverified scale has no limit of error, so nothing can be claimed from it.
    pub verified: bool,
    /// Standard deviation of repeated weighings, grams.
    pub repeatability: Mass,
}

/// A session at a scale began with a check weighing that held.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SessionOpened {
    /// The session.
    pub session: SessionId,
    /// The scale.
    pub scale: ScaleId,
    /// Nominal mass of the check weight, grams.
    pub nominal: Mass,
    /// What the scale showed, grams.
    pub reading: Reading,
}

/// A check weighing in the middle of a session.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SessionChecked {
    /// The session.
    pub session: SessionId,
    /// Nominal mass of the check weight, grams.
    pub nominal: Mass,
    /// What the scale showed, grams.
    pub reading: Reading,
    /// Whether the difference is within the scale's limit of error in service.
    pub held: bool,
}

/// A session ended with a check weighing. If it did not hold, every reading since the last check that did is suspect.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SessionClosed {
    /// The session.
    pub session: SessionId,
    /// Nominal mass of the check weight, grams.
    pub nominal: Mass,
    /// What the scale showed, grams.
    pub reading: Reading,
    /// Whether the difference is within the scale's limit of error in service.
    pub held: bool,
}

/// A jar for residues was opened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarOpened {
    /// The jar.
    pub jar: JarId,
    /// Its metal.
    pub metal: Metal,
    /// The least fineness that may go into it, and by which its content is reckoned, parts per thousand.
    pub fineness: Fineness,
    /// The kind of residue.
    pub residue: Residue,
}

/// Residue went into a jar.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarFilled {
    /// The jar.
    pub jar: JarId,
    /// The melt whose metal it is.
    pub melt: MeltId,
    /// How much, grams: weighed for prills, the difference of two readings of the piece for lemel.
    pub mass: Mass,
}

/// One thing that went into a crucible.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "from", rename_all = "lowercase", deny_unknown_fields)]
pub enum MeltInput {
    /// Drawn from a lot.
    Lot {
        /// The lot.
        lot: LotId,
        /// Weighed, grams.
        mass: Reading,
    },
    /// The whole heel of an earlier melt.
    Heel {
        /// The melt that left it.
        melt: MeltId,
        /// As weighed when that melt was closed, grams.
        mass: Mass,
    },
    /// The whole content of a jar.
    Jar {
        /// The jar.
        jar: JarId,
        /// Weighed now, grams; what the book expected more is finishing loss.
        mass: Reading,
        /// What went in since it was last emptied, by the melt whose metal it is.
        holds: Vec<JarShare>,
    },
    /// A condemned piece.
    Piece {
        /// The piece.
        piece: PieceId,
        /// The melt that it was poured from.
        melt: MeltId,
        /// Its last reading, grams.
        mass: Mass,
    },
}

/// Part of a jar's content.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarShare {
    /// The melt whose metal it is.
    pub melt: MeltId,
    /// Book mass, grams.
    pub mass: Mass,
}

impl MeltInput {
    /// The chain that the input moves.
    #[must_use]
    pub const fn subject(&self) -> Uuid {
        match self {
            Self::Lot { lot, .. } => lot.0,
            Self::Heel { melt, .. } => melt.0,
            Self::Jar { jar, .. } => jar.0,
            Self::Piece { piece, .. } => piece.0,
        }
    }

    /// How much went in, grams.
    #[must_use]
    pub const fn mass(&self) -> Mass {
        match self {
            Self::Lot { mass, .. } | Self::Jar { mass, .. } => mass.mass(),
            Self::Heel { mass, .. } | Self::Piece { mass, .. } => *mass,
        }
    }
}

/// A crucible was charged.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeltCharged {
    /// The melt.
    pub melt: MeltId,
    /// Its number in the workshop, from 1.
    pub number: u32,
    /// The metal that its fineness speaks of.
    pub metal: Metal,
    /// The session in which what is new was weighed.
    pub session: SessionId,
    /// What went in.
    pub inputs: Vec<MeltInput>,
    /// Sum of the inputs, grams.
    pub charge: Mass,
    /// Blend of the inputs as declared, rounded down to 0.1 parts per thousand.
    pub fineness: Fineness,
}

/// A piece and what it weighs: by its last reading from the mould in the balance of a melt, else by its last reading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceMass {
    /// The piece.
    pub piece: PieceId,
    /// What it weighs, grams.
    pub mass: Mass,
}

/// Prills gathered after a melt.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PrillsGathered {
    /// The jar they went into.
    pub jar: JarId,
    /// Weighed, grams.
    pub mass: Reading,
}

/// A melt was weighed out. The event states the whole balance: inputs = pieces + heel + prills + loss.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeltClosed {
    /// The melt.
    pub melt: MeltId,
    /// Its metal.
    pub metal: Metal,
    /// The session in which heel and prills were weighed.
    pub session: SessionId,
    /// What went in, as it was charged.
    pub inputs: Vec<MeltInput>,
    /// Sum of the inputs, grams.
    pub charge: Mass,
    /// Blend of the inputs as declared, rounded down to 0.1 parts per thousand.
    pub fineness: Fineness,
    /// Every piece poured.
    pub pieces: Vec<PieceMass>,
    /// Left in the crucible, grams; "0" when nothing was left.
    pub heel: Reading,
    /// Beads gathered, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prills: Option<PrillsGathered>,
    /// What is missing, grams: derived, never typed. Negative when more came out than went in.
    pub loss: MassDifference,
}
