//! Events: what stands in the log, one struct per kind, as the log spells it.
//!
//! A member that is here is public to whoever may read entries. What is private is named in the table below and never
//! has a member of its own. Kinds and members are only ever added, with a new `v`; an old one is never changed.

mod metal;
mod office;
mod piece;

pub use metal::*;
pub use office::*;
pub use piece::*;

use super::private::{Audience, PrivateMember};
use serde::Serialize;
use uuid::Uuid;

macro_rules! events {
    ($($kind:literal => $variant:ident, slots $slots:literal, private [$($member:literal $audience:ident),*];)*) => {
        /// One event.
        #[derive(Clone, Debug, PartialEq, Eq, Serialize)]
        #[serde(untagged)]
        #[expect(missing_docs, reason = "each variant is its struct")]
        pub enum Event { $($variant($variant)),* }

        $(impl From<$variant> for Event {
            fn from(event: $variant) -> Self { Self::$variant(event) }
        })*

        impl Event {
            /// Every kind, as the log spells it.
            pub const KINDS: &'static [&'static str] = &[$($kind),*];

            /// Its kind, as the log spells it.
            #[must_use]
            pub const fn kind(&self) -> &'static str {
                match self { $(Self::$variant(_) => $kind),* }
            }

            /// Reads the public members of an event of `kind`, version 1. `None`: the kind is not known here.
            ///
            /// # Errors
            /// As `serde` says: a member that is missing, unknown or misspelt.
            pub fn from_members<'de, D: serde::Deserializer<'de>>(kind: &str, members: D) -> Option<Result<Self, D::Error>> {
                match kind {
                    $($kind => Some(<$variant as serde::Deserialize>::deserialize(members).map(Self::$variant)),)*
                    _ => None,
                }
            }

            /// The private members that an event of `kind` may have.
            #[must_use]
            pub fn private_members(kind: &str) -> &'static [PrivateMember] {
                match kind {
                    $($kind => &[$(PrivateMember { name: $member, audience: Audience::$audience }),*],)*
                    _ => &[],
                }
            }

            /// How many digests `_sd` always has in an event of `kind`: private members and decoys together.
            #[must_use]
            pub fn digest_slots(kind: &str) -> usize {
                match kind { $($kind => $slots,)* _ => 0 }
            }
        }
    };
}

events! {
    "lot.received" => LotReceived, slots 4, private ["seller" Staff, "document" Staff, "price" Staff, "note" Staff];
    "scale.registered" => ScaleRegistered, slots 2, private ["label" Staff, "note" Staff];
    "session.opened" => SessionOpened, slots 0, private [];
    "session.checked" => SessionChecked, slots 0, private [];
    "session.closed" => SessionClosed, slots 0, private [];
    "jar.opened" => JarOpened, slots 1, private ["label" Staff];
    "jar.filled" => JarFilled, slots 0, private [];
    "series.opened" => SeriesOpened, slots 4, private ["title" Public, "commissioner" Holder, "decided" Staff, "note" Staff];
    "melt.charged" => MeltCharged, slots 1, private ["note" Staff];
    "melt.closed" => MeltClosed, slots 1, private ["note" Staff];
    "piece.poured" => PiecePoured, slots 0, private [];
    "piece.weighed" => PieceWeighed, slots 0, private [];
    "piece.graded" => PieceGraded, slots 0, private [];
    "piece.faulted" => PieceFaulted, slots 1, private ["note" Staff];
    "piece.finished" => PieceFinished, slots 0, private [];
    "piece.moved" => PieceMoved, slots 1, private ["note" Staff];
    "piece.condemned" => PieceCondemned, slots 1, private ["note" Staff];
    "piece.remelted" => PieceRemelted, slots 0, private [];
    "piece.serialled" => PieceSerialled, slots 0, private [];
    "piece.numbered" => PieceNumbered, slots 0, private [];
    "piece.certified" => PieceCertified, slots 0, private [];
    "certificate.issued" => CertificateIssued, slots 1, private ["code" Nobody];
    "certificate.superseded" => CertificateSuperseded, slots 1, private ["note" Staff];
    "key.added" => KeyAdded, slots 0, private [];
    "key.revoked" => KeyRevoked, slots 0, private [];
    "key.suspect" => KeySuspect, slots 0, private [];
    "clock.set" => ClockSet, slots 0, private [];
    "field.erased" => FieldErased, slots 0, private [];
}

impl Event {
    /// The chains that the event moves: what stands before the dot in its kind and, in a charge, every input.
    /// Key entries chain by `keys`; an erasure moves the chains of the entry that it names, which the writer knows.
    #[must_use]
    pub fn subjects(&self) -> Vec<Uuid> {
        match self {
            Self::LotReceived(e) => vec![e.lot.0],
            Self::ScaleRegistered(e) => vec![e.scale.0],
            Self::SessionOpened(e) => vec![e.session.0],
            Self::SessionChecked(e) => vec![e.session.0],
            Self::SessionClosed(e) => vec![e.session.0],
            Self::JarOpened(e) => vec![e.jar.0],
            Self::JarFilled(e) => vec![e.jar.0],
            Self::SeriesOpened(e) => vec![e.series.0],
            Self::MeltCharged(e) => std::iter::once(e.melt.0)
                .chain(e.inputs.iter().map(MeltInput::subject))
                .collect(),
            Self::MeltClosed(e) => vec![e.melt.0],
            Self::PiecePoured(e) => vec![e.piece.0],
            Self::PieceWeighed(e) => vec![e.piece.0],
            Self::PieceGraded(e) => vec![e.piece.0],
            Self::PieceFaulted(e) => vec![e.piece.0],
            Self::PieceFinished(e) => vec![e.piece.0],
            Self::PieceMoved(e) => vec![e.piece.0],
            Self::PieceCondemned(e) => vec![e.piece.0],
            Self::PieceRemelted(e) => vec![e.piece.0],
            Self::PieceSerialled(e) => vec![e.piece.0],
            Self::PieceNumbered(e) => vec![e.piece.0],
            Self::PieceCertified(e) => vec![e.piece.0],
            Self::CertificateIssued(e) => vec![e.certificate.0],
            Self::CertificateSuperseded(e) => vec![e.certificate.0],
            Self::KeyAdded(_)
            | Self::KeyRevoked(_)
            | Self::KeySuspect(_)
            | Self::ClockSet(_)
            | Self::FieldErased(_) => Vec::new(),
        }
    }

    /// The piece that the event moves, if it is about one.
    #[must_use]
    pub const fn piece(&self) -> Option<super::PieceId> {
        match self {
            Self::PiecePoured(e) => Some(e.piece),
            Self::PieceWeighed(e) => Some(e.piece),
            Self::PieceGraded(e) => Some(e.piece),
            Self::PieceFaulted(e) => Some(e.piece),
            Self::PieceFinished(e) => Some(e.piece),
            Self::PieceMoved(e) => Some(e.piece),
            Self::PieceCondemned(e) => Some(e.piece),
            Self::PieceRemelted(e) => Some(e.piece),
            Self::PieceSerialled(e) => Some(e.piece),
            Self::PieceNumbered(e) => Some(e.piece),
            Self::PieceCertified(e) => Some(e.piece),
            _ => None,
        }
    }
}
