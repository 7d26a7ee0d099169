//! Commands of the office: series, certificates, erasures, the clock.

use crate::domain::{
    CertificateId, Date, EraseReason, ExemptGround, Limits, Marking, OperatorId, Paper, PieceId, SeriesCode,
    SeriesId, SeriesKind, ShapeSize, SupersedeReason, WeightUnit,
};
use crate::metal::{Fineness, Mass, Metal};

/// What a command to print was made into, before the book decides.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PrintMade {
    /// The certificates and their pieces, in the order of the pages.
    pub certificates: Vec<(CertificateId, PieceId)>,
    /// Size of the log that it is as of.
    pub size: u64,
    /// Version of the template.
    pub template: u32,
    /// SHA-256 of the PDF, base64url; private.
    pub digest: String,
    /// What it was made from beside the record, as JSON; private.
    pub inputs: String,
}

commands! {
    /// A series to pour for.
    OpenSeries {
        /// Its code.
        code: SeriesCode,
        /// Edition or open.
        kind_of: SeriesKind,
        /// The metal.
        metal: Metal,
        /// The fineness its pieces are stated at, parts per thousand.
        fineness: Fineness,
        /// The unit that comes first.
        unit: WeightUnit,
        /// Size per shape; an edition has at least one.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        shapes: Vec<ShapeSize>,
        /// The limits; an edition must have them.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        limits: Option<Limits>,
        /// Digits of its serials, 4 to 6.
        digits: u8,
        /// Whether its pieces must be hallmarked.
        marking: Marking,
        /// If exempt: on what ground.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ground: Option<ExemptGround>,
        /// Of the ground `below_weight`: the exemption weight in the table of the day, grams.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        exempt_below: Option<Mass>,
        /// From which day that row of the table holds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        exempt_from: Option<Date>,
        /// An edition whose pieces get no numbers.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        unnumbered: bool,
        /// Whether the number is put on the metal: then the weighing of record follows it.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        number_on_metal: bool,
        /// Whether its pieces are struck before they go on.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        struck: bool,
        /// Whether the terms allow spares to be sold without a number.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        spares_sold: bool,
        /// What it is called; shown to everybody, erasable.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        title: Option<String>,
        /// For whom; shown to holders.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        commissioner: Option<String>,
        /// Who decided on the marking; private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        decided: Option<String>,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// An edition is closed: nothing of it is loose any more.
    CloseSeries {
        /// The edition.
        series: SeriesId,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// First certificates are issued.
    IssueCertificates {
        /// The pieces.
        pieces: Vec<PieceId>,
    }

    /// A new issue takes the place of a piece's certificate.
    SupersedeCertificate {
        /// The piece.
        piece: PieceId,
        /// Why.
        reason: SupersedeReason,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }

    /// Certificates are printed, as one PDF.
    PrintCertificates {
        /// The certificates, in the order of the pages; none when a series is named.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        certificates: Vec<CertificateId>,
        /// Instead: the newest certificates of every piece of this series.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        series: Option<SeriesId>,
        /// The paper.
        paper: Paper,
        /// What was made of it, filled in by the server before the book decides. A request is the same whenever it asks
        /// for the same, so this is no part of what is asked.
        #[serde(skip)]
        made: Option<PrintMade>,
    }

    /// A private member is erased.
    EraseField {
        /// Index of the entry.
        index: u64,
        /// Which of its events, from 0.
        event: u16,
        /// The member.
        member: String,
        /// Why.
        reason: EraseReason,
        /// Leaf hash of the entry, base64url: filled in by the writer, which knows it.
        #[serde(default)]
        entry: String,
    }

    /// From here on nothing more is recorded in an operator's name.
    RevokeOperator {
        /// The operator, as entries name them.
        operator: OperatorId,
    }

    /// The clock jumped and an admin vouches for what it shows now.
    SetClock {
    }
}
