//! Events of the office: series, certificates, keys, the clock, erasures.

use crate::domain::{
    CertificateId, Date, EraseReason, ExemptGround, FinenessBasis, Hallmark, HallmarkStatement, KeyRole,
    Marking, OperatorId, Paper, PieceId, Serial, SeriesCode, SeriesId, SeriesKind, SessionId,
    SupersedeReason, Timestamp, WeightUnit,
};
use crate::metal::{Fineness, Mass, Metal, Reading};
use serde::{Deserialize, Deserializer, Serialize};
use std::fmt;

/// The name of a mould, of the form of a shape's name.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(transparent)]
pub struct Mould(Shape);

impl Mould {
    /// Reads a mould's name; `None` if it does not have the form.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Shape::parse(text).map(Self)
    }
}

impl fmt::Display for Mould {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl<'de> Deserialize<'de> for Mould {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?).ok_or_else(|| {
            serde::de::Error::custom(
                "a mould is a lower-case letter and at most 15 more letters, digits or _",
            )
        })
    }
}

/// The name of a shape: a lower-case letter, then at most 15 lower-case letters, digits or `_`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(transparent)]
pub struct Shape(String);

impl Shape {
    /// Reads a shape's name; `None` if it does not have the form.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let first = text.bytes().next().is_some_and(|b| b.is_ascii_lowercase());
        let rest = text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_');
        (first && rest && text.len() <= 16).then(|| Self(text.to_owned()))
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Shape {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?).ok_or_else(|| {
            serde::de::Error::custom(
                "a shape is a lower-case letter and at most 15 more letters, digits or _",
            )
        })
    }
}

/// How many pieces of one shape an edition has.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShapeSize {
    /// The shape.
    pub shape: Shape,
    /// How many, at least 1.
    pub size: u32,
}

/// The limits that pieces of a series are graded by.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Nominal weight, grams.
    pub nominal: Mass,
    /// Lower limit, grams: a stated weight is a minimum.
    pub lower: Mass,
    /// Upper limit, grams.
    pub upper: Mass,
}

/// A series was opened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeriesOpened {
    /// The series.
    pub series: SeriesId,
    /// Its code, in front of its serials; no two series share one.
    pub code: SeriesCode,
    /// Edition or open.
    pub kind_of: SeriesKind,
    /// The metal of its pieces.
    pub metal: Metal,
    /// The fineness that its pieces are stated at, parts per thousand.
    pub fineness: Fineness,
    /// The unit that comes first.
    pub unit: WeightUnit,
    /// An edition's size per shape; empty in an open series.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shapes: Vec<ShapeSize>,
    /// The limits; an edition has them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<Limits>,
    /// How many digits its serials have, 4 to 6.
    pub digits: u8,
    /// Whether its pieces must be hallmarked.
    pub marking: Marking,
    /// If not, on what ground; the workshop decides, after asking an assay office.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ground: Option<ExemptGround>,
    /// Of the ground `below_weight`: the exemption weight in the table of the day, grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exempt_below: Option<Mass>,
    /// From which day that row of the table holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exempt_from: Option<Date>,
    /// An edition whose pieces get no numbers.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unnumbered: bool,
    /// Whether the number is put on the metal: then the weighing of record follows it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub number_on_metal: bool,
    /// Whether its pieces are struck before they go on.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub struck: bool,
    /// Whether the terms allow spares to be sold without a number.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub spares_sold: bool,
}

/// A certificate was issued: all that the maker states of the piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CertificateIssued {
    /// This issue.
    pub certificate: CertificateId,
    /// The piece.
    pub piece: PieceId,
    /// Issue number, from 1.
    pub issue: u32,
    /// The serial.
    pub serial: Serial,
    /// The series.
    pub series: SeriesId,
    /// The edition number, if it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u32>,
    /// The size of the edition in this shape, if it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<u32>,
    /// The metal.
    pub metal: Metal,
    /// The fineness of its series, which the declared blend of its melt reaches; parts per thousand.
    pub fineness: Fineness,
    /// The weakest ground among the lots: a declaration stays a declaration.
    pub basis: FinenessBasis,
    /// What it says about marks of an assay office.
    pub hallmark: HallmarkStatement,
    /// The marks on it, if it is hallmarked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marks: Option<Hallmark>,
    /// The session of the weight of record.
    pub session: SessionId,
    /// Weight of record, grams, as typed.
    pub mass: Reading,
    /// Expanded uncertainty of that reading at k = 2, grams, rounded up to the scale step.
    pub uncertainty: Mass,
    /// What the reading supports: the weight less the uncertainty, grams.
    pub at_least: Mass,
}

/// A newer issue took the place of a certificate.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CertificateSuperseded {
    /// The older issue.
    pub certificate: CertificateId,
    /// The newer issue.
    pub by: CertificateId,
    /// Why.
    pub reason: SupersedeReason,
}

/// A certificate was printed: paper that states what its issue states, with the proof file of the piece in it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CertificatePrinted {
    /// The issue.
    pub certificate: CertificateId,
    /// The piece.
    pub piece: PieceId,
    /// Size of the log that the attached proof file is as of.
    pub size: u64,
    /// The paper.
    pub paper: Paper,
    /// Version of the template, from 1: the same version makes the same bytes.
    pub template: u32,
}

/// A key was added. Signed by the root key; the first one adds the root key itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeyAdded {
    /// RFC 7638 thumbprint of the key.
    pub kid: String,
    /// What it may sign.
    pub role: KeyRole,
    /// The Ed25519 public key, base64url.
    pub x: String,
}

/// A key was revoked, from this entry on. Signed by the root key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeyRevoked {
    /// The key.
    pub kid: String,
}

/// What a key signed from an index on is in doubt. Signed by the root key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeySuspect {
    /// The key.
    pub kid: String,
    /// The first index in doubt.
    pub from: u64,
}

/// An admin set the book's clock after it had jumped.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockSet {
    /// What the clock shows from here on.
    pub to: Timestamp,
}

/// An operator was revoked: no entry behind this one is theirs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OperatorRevoked {
    /// The operator, as entries name them.
    pub operator: OperatorId,
}

/// A private member was erased. Its entry, proof and every checkpoint stay valid.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldErased {
    /// Index of the entry.
    pub index: u64,
    /// Leaf hash of the entry, base64url.
    pub entry: String,
    /// Which of its events, from 0.
    pub event: u16,
    /// The member.
    pub member: String,
    /// Why.
    pub reason: EraseReason,
}
