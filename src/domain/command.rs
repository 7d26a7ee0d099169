//! Commands: what somebody asks the book to record. One command makes one entry, or none.
//!
//! Their members are spelt as the API spells them. Text and money in them are private and pass through unread.

use super::event::{Limits, Shape, ShapeSize};
use super::id::{JarId, LotId, MeltId, PieceId, ScaleId, SeriesId, SessionId};
use super::serial::SeriesCode;
use super::words::{
    CondemnReason, EraseReason, ExemptGround, Fault, FinenessBasis, Marking, Residue, SeriesKind, Stage,
    SupersedeReason, WeightUnit,
};
use crate::metal::{Fineness, Mass, Metal, Money, Reading, ScaleClass};
use serde::{Deserialize, Serialize};

macro_rules! commands {
    ($($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty),* $(,)? })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
            #[serde(deny_unknown_fields)]
            pub struct $name { $($(#[$fdoc])* pub $field: $type),* }

            impl From<$name> for Command {
                fn from(command: $name) -> Self { Self::$name(command) }
            }
        )*

        /// One command.
        #[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(tag = "command", rename_all = "snake_case")]
        #[expect(missing_docs, reason = "each variant is its struct")]
        pub enum Command { $($name($name)),* }

        impl Command {
            /// The name of the command, as code spells it.
            #[must_use]
            pub const fn name(&self) -> &'static str {
                match self { $(Self::$name(_) => stringify!($name)),* }
            }
        }
    };
}

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

    /// The clock jumped and an admin vouches for what it shows now.
    SetClock {
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

/// One cavity filled.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pour {
    /// The series it is meant for.
    pub series: SeriesId,
    /// The shape of the cavity.
    pub shape: Shape,
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
