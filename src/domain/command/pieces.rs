//! Commands about pieces in the making: poured, weighed, finished, moved, given up, serials and numbers.

use crate::domain::{
    CondemnReason, Fault, Immersion, JarId, MeltId, Mould, PhotographHash, PhotographSide, PhotographStage,
    PieceId, SeriesId, SessionId, Shape, Stage,
};
use crate::metal::Reading;
use crate::metal::water::WaterTemperature;
use serde::{Deserialize, Serialize};

commands! {
    /// Cavities were filled.
    PourPieces {
        /// The open melt.
        melt: MeltId,
        /// One per cavity, in order.
        pours: Vec<Pour>,
    }

    /// A tray is weighed; each piece is graded at once.
    WeighPieces {
        /// The open session.
        session: SessionId,
        /// At which point of their life.
        stage: Stage,
        /// The pieces and what the scale showed.
        items: Vec<Weighing>,
    }

    /// A piece is weighed in air and in water.
    MeasureGravity {
        /// The piece.
        piece: PieceId,
        /// The open session.
        session: SessionId,
        /// How it is weighed in water.
        method: Immersion,
        /// What the scale showed of it in air, grams.
        in_air: Reading,
        /// What the scale showed with it in the water, grams: by `hung` its weight there, by `cup` what the cup gained.
        in_water: Reading,
        /// Of the water, degrees Celsius.
        water: WaterTemperature,
    }

    /// A piece was photographed. The picture is kept before this is asked.
    PhotographPiece {
        /// The piece.
        piece: PieceId,
        /// The photograph, as it is kept.
        photograph: PhotographHash,
        /// A small one of it.
        thumbnail: PhotographHash,
        /// Of the photograph, pixels.
        width: u32,
        /// Of the photograph, pixels.
        height: u32,
        /// At which point of its life.
        stage: PhotographStage,
        /// What of it is to be seen.
        side: PhotographSide,
    }

    /// A piece is unfit by eye.
    FaultPiece {
        /// The piece.
        piece: PieceId,
        /// What is wrong.
        fault: Fault,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Pieces were filed or polished, and weighed again.
    FinishPieces {
        /// The open session.
        session: SessionId,
        /// The jar that took the lemel.
        jar: JarId,
        /// The pieces and what the scale showed after.
        items: Vec<Weighing>,
    }

    /// An odd-weight piece moves to an open series.
    MovePiece {
        /// The piece.
        piece: PieceId,
        /// The open series.
        to: SeriesId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// A piece is given up.
    CondemnPiece {
        /// The piece.
        piece: PieceId,
        /// Why.
        reason: CondemnReason,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Accepted pieces get their serials, in this order.
    GiveSerials {
        /// The pieces.
        pieces: Vec<PieceId>,
    }

    /// Finally weighed pieces of an edition get their numbers, in this order.
    NumberPieces {
        /// The pieces.
        pieces: Vec<PieceId>,
    }
}

/// One cavity filled.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pour {
    /// The series it is meant for.
    pub series: SeriesId,
    /// The shape of the cavity.
    pub shape: Shape,
    /// The mould, if the workshop tells its moulds apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mould: Option<Mould>,
}

/// One piece on the scale.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Weighing {
    /// The piece.
    pub piece: PieceId,
    /// As the scale showed it, grams.
    pub mass: Reading,
}
