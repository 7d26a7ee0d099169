//! The places in which metal can be, and the ways in which it can go.

use crate::domain::{JarId, LotId, MeltId, PieceId, PieceState, RefiningId};
use serde::Serialize;

/// Where metal is, or how it went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(tag = "place", rename_all = "snake_case")]
pub enum Place {
    /// Not yet drawn from a lot.
    Unmelted {
        /// The lot.
        lot: LotId,
    },
    /// Left in a crucible after the pour, and in no later melt.
    Heel {
        /// The melt.
        melt: MeltId,
    },
    /// In an open crucible, less what was weighed from the mould.
    Crucible {
        /// The melt.
        melt: MeltId,
    },
    /// In a jar, as booked.
    Jar {
        /// The jar.
        jar: JarId,
    },
    /// A piece, by its last reading.
    Piece {
        /// The piece.
        piece: PieceId,
        /// Where it is in its life.
        state: PieceState,
    },
    /// Sent to the refiner, and not accounted for.
    AtRefiner {
        /// The refining.
        refining: RefiningId,
    },
    /// Kept by the refiner and paid for.
    Settled {
        /// The refining.
        refining: RefiningId,
    },
    /// Lost at the refiner, base metal that was parted off among it.
    RefiningLoss {
        /// The refining.
        refining: RefiningId,
    },
    /// Lost in a melt.
    MeltLoss {
        /// The melt.
        melt: MeltId,
    },
    /// What a jar was short of when it was emptied into a melt.
    JarLoss {
        /// The jar.
        jar: JarId,
        /// The melt that it went into.
        melt: MeltId,
    },
    /// What a jar was short of when it was emptied for the refiner.
    SentJarLoss {
        /// The jar.
        jar: JarId,
        /// The refining that it went into.
        refining: RefiningId,
    },
    /// Taken off a piece by the assay office.
    AssayLoss {
        /// The piece.
        piece: PieceId,
    },
    /// Shown otherwise when a piece was weighed again.
    WeighingVariance {
        /// The piece.
        piece: PieceId,
    },
    /// What stock-takes found missing of a lot; of found metal, below zero, all of it.
    LotVariance {
        /// The lot.
        lot: LotId,
    },
    /// What stock-takes found missing of a heel.
    HeelVariance {
        /// The melt.
        melt: MeltId,
    },
    /// What stock-takes found missing in a jar, of one melt.
    JarVariance {
        /// The jar.
        jar: JarId,
        /// The melt whose metal it was.
        melt: MeltId,
    },
}
