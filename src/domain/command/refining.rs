//! Commands about residues, the refiner, and metal that belongs to customers.

use super::JarDraw;
use crate::domain::{JarId, OwnerId, PieceId, RefiningId, SessionId};
use crate::metal::{Fineness, Mass, Metal, Money, Reading};
use serde::{Deserialize, Serialize};

commands! {
    /// A customer brings metal of their own.
    RegisterOwner {
        /// Who it is; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        name: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A customer agreed that their metal may be mixed with other people's.
    AgreeMixing {
        /// The customer.
        owner: OwnerId,
        /// Where the agreement is kept; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Floor and bench were swept. Sweepings are mostly dust, so their weight is no metal in the book.
    GatherSweeps {
        /// The jar of sweeps.
        jar: JarId,
        /// The open session.
        session: SessionId,
        /// As the scale showed it, grams.
        mass: Reading,
    }

    /// Residues and condemned pieces of one metal go to the refiner.
    SendToRefiner {
        /// The metal.
        metal: Metal,
        /// The open session in which the jars were weighed.
        session: SessionId,
        /// Jars emptied.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        jars: Vec<JarDraw>,
        /// Condemned pieces.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pieces: Vec<PieceId>,
        /// To whom; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        refiner: Option<String>,
        /// Number of the seal; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seal: Option<String>,
        /// Number of the delivery note; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// The refiner accounted for what was sent: as metal, in money, or both. Zero grams settled says that nothing was
    /// found.
    ReturnRefining {
        /// The refining.
        refining: RefiningId,
        /// Metal that came back.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        outturn: Option<Outturn>,
        /// Metal that was paid for instead.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        settled: Option<Settled>,
        /// What was paid for it; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        price: Option<Money>,
        /// What the refiner charged; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        charge: Option<Money>,
        /// Number of the statement; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// Metal that came back from the refiner, weighed here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outturn {
    /// The open session.
    pub session: SessionId,
    /// As the scale showed it, grams.
    pub mass: Reading,
    /// By the refiner's assay, parts per thousand.
    pub fineness: Fineness,
}

/// Metal that the refiner kept and paid for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settled {
    /// As the statement says, grams.
    pub mass: Mass,
    /// By the refiner's assay, parts per thousand.
    pub fineness: Fineness,
}
