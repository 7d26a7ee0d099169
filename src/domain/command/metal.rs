//! Commands about metal before it is a piece: lots, scales, sessions, jars, melts.

use crate::domain::{FinenessBasis, JarId, LotId, MeltId, OwnerId, PieceId, Residue, ScaleId, SessionId};
use crate::metal::{Fineness, Mass, Metal, Money, Reading, ScaleClass};
use serde::{Deserialize, Serialize};

commands! {
    /// Metal came in and was weighed.
    ReceiveLot {
        /// What metal.
        metal: Metal,
        /// Declared fineness, parts per thousand.
        fineness: Fineness,
        /// What the declaration rests on.
        basis: FinenessBasis,
        /// The open session in which it was weighed.
        session: SessionId,
        /// Own weighing, grams.
        mass: Reading,
        /// Invoiced weight, grams.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        invoiced: Option<Mass>,
        /// The customer whose metal it is; the workshop's own if there is none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        owner: Option<OwnerId>,
        /// From whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seller: Option<String>,
        /// Number of the invoice or receipt; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
        /// What it cost; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        price: Option<Money>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A scale is to be used.
    RegisterScale {
        /// Accuracy class of OIML R 76.
        class: ScaleClass,
        /// Verification scale interval e, grams.
        e: Mass,
        /// Scale step d, grams; at most e.
        d: Mass,
        /// Greatest load, grams.
        max: Mass,
        /// Whether it is verified.
        verified: bool,
        /// Standard deviation of repeated weighings, grams.
        repeatability: Mass,
        /// What it is called; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A check weighing that opens a session.
    OpenSession {
        /// The scale.
        scale: ScaleId,
        /// Nominal mass of the check weight, grams.
        nominal: Mass,
        /// What the scale showed, grams.
        reading: Reading,
    }

    /// A check weighing in the middle of a session.
    CheckSession {
        /// The session.
        session: SessionId,
        /// Nominal mass of the check weight, grams.
        nominal: Mass,
        /// What the scale showed, grams.
        reading: Reading,
    }

    /// The check weighing that closes a session, whatever it shows.
    CloseSession {
        /// The session.
        session: SessionId,
        /// Nominal mass of the check weight, grams.
        nominal: Mass,
        /// What the scale showed, grams.
        reading: Reading,
    }

    /// A jar for residues.
    OpenJar {
        /// Its metal.
        metal: Metal,
        /// The least fineness that may go into it, parts per thousand.
        fineness: Fineness,
        /// The kind of residue.
        residue: Residue,
        /// What it is called; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
    }

    /// A crucible is charged.
    ChargeMelt {
        /// The metal that its fineness speaks of.
        metal: Metal,
        /// The open session in which draws and jars were weighed.
        session: SessionId,
        /// Drawn from lots.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        lots: Vec<LotDraw>,
        /// Melts whose heel goes in whole.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        heels: Vec<MeltId>,
        /// Jars emptied into the crucible.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        jars: Vec<JarDraw>,
        /// Condemned pieces.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pieces: Vec<PieceId>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A melt is weighed out.
    CloseMelt {
        /// The melt.
        melt: MeltId,
        /// The open session.
        session: SessionId,
        /// Left in the crucible, grams; "0" for nothing.
        heel: Reading,
        /// Beads gathered.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        prills: Option<JarDraw>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// Metal drawn from a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotDraw {
    /// The lot.
    pub lot: LotId,
    /// Weighed, grams.
    pub mass: Reading,
}

/// Residue weighed into or out of a jar.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JarDraw {
    /// The jar.
    pub jar: JarId,
    /// Weighed, grams.
    pub mass: Reading,
}
