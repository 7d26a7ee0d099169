//! Events that follow one piece.

use crate::domain::{
    CertificateId, CondemnReason, Fault, Grade, GradeRule, Immersion, JarId, MeltId, Mould, PhotographHash,
    PhotographSide, PhotographStage, PieceId, Serial, SeriesId, SessionId, Shape, Stage,
};
use crate::metal::water::WaterTemperature;
use crate::metal::{Mass, Reading};
use serde::{Deserialize, Serialize};

/// One mould cavity was filled.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PiecePoured {
    /// The piece, new.
    pub piece: PieceId,
    /// The melt it was poured from.
    pub melt: MeltId,
    /// Pour number: the melt's number and the how-manieth pour of it, like `12-03`.
    pub pour: String,
    /// The series it is meant for.
    pub series: SeriesId,
    /// The shape of the cavity.
    pub shape: Shape,
    /// The mould, if the workshop tells its moulds apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mould: Option<Mould>,
}

/// A piece was weighed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceWeighed {
    /// The piece.
    pub piece: PieceId,
    /// The session, which names the scale.
    pub session: SessionId,
    /// At which point of its life.
    pub stage: Stage,
    /// As typed, grams.
    pub mass: Reading,
}

/// The last reading of a piece was held against the limits of its series.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceGraded {
    /// The piece.
    pub piece: PieceId,
    /// The rule.
    pub rule: GradeRule,
    /// The outcome.
    pub grade: Grade,
    /// Lower limit, grams; absent in an open series without limits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower: Option<Mass>,
    /// Upper limit, grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub upper: Option<Mass>,
    /// Guard band, grams; absent where the scale is unverified, and then nothing can be accepted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub guard: Option<Mass>,
}

/// A piece was weighed in air and in water, for its density. The readings stand here; the density is reckoned from them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceGravity {
    /// The piece.
    pub piece: PieceId,
    /// The session, which names the scale.
    pub session: SessionId,
    /// How it was weighed in water.
    pub method: Immersion,
    /// What the scale showed of it in air, as typed, grams.
    pub in_air: Reading,
    /// What the scale showed with it in the water, as typed, grams: by `hung` its weight there, by `cup` what the cup gained.
    pub in_water: Reading,
    /// Of the water, degrees Celsius.
    pub water: WaterTemperature,
}

/// A piece was found unfit by eye.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceFaulted {
    /// The piece.
    pub piece: PieceId,
    /// What is wrong.
    pub fault: Fault,
}

/// Metal was taken off a piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceFinished {
    /// The piece.
    pub piece: PieceId,
    /// The jar that took the lemel.
    pub jar: JarId,
    /// The reading before less the reading after, grams; zero when the scale shows no less.
    pub filed: Mass,
}

/// A piece moved to another series.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceMoved {
    /// The piece.
    pub piece: PieceId,
    /// The series it leaves.
    pub from: SeriesId,
    /// The open series it joins.
    pub to: SeriesId,
}

/// A piece was given up.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceCondemned {
    /// The piece.
    pub piece: PieceId,
    /// Why.
    pub reason: CondemnReason,
}

/// A condemned piece went into a melt: the end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceRemelted {
    /// The piece.
    pub piece: PieceId,
    /// The melt that took it.
    pub melt: MeltId,
}

/// A piece got its serial, for ever.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceSerialled {
    /// The piece.
    pub piece: PieceId,
    /// The series.
    pub series: SeriesId,
    /// The serial.
    pub serial: Serial,
}

/// A piece got its edition number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceNumbered {
    /// The piece.
    pub piece: PieceId,
    /// The series.
    pub series: SeriesId,
    /// The shape, which has numbers of its own.
    pub shape: Shape,
    /// The number, from 1.
    pub number: u32,
    /// The size of the edition in this shape.
    pub of: u32,
}

/// A certificate of the piece was issued; it stands in the same entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceCertified {
    /// The piece.
    pub piece: PieceId,
    /// The certificate.
    pub certificate: CertificateId,
    /// Its issue number, from 1.
    pub issue: u32,
}

/// A piece was photographed. What is kept of the picture stands beside the log, under its hash.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PiecePhotographed {
    /// The piece.
    pub piece: PieceId,
    /// The photograph, as it is kept.
    pub photograph: PhotographHash,
    /// A small one of it.
    pub thumbnail: PhotographHash,
    /// Of the photograph, pixels.
    pub width: u32,
    /// Of the photograph, pixels.
    pub height: u32,
    /// At which point of its life.
    pub stage: PhotographStage,
    /// What of it is to be seen.
    pub side: PhotographSide,
}
