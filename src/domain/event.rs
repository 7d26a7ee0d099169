//! Events: what stands in the log, one struct per kind, as the log spells it.
//!
//! A member that is here is public to whoever may read entries. What is private is named in the table below and never
//! has a member of its own. Kinds and members are only ever added, with a new `v`; an old one is never changed.

mod assay;
mod correction;
mod metal;
mod office;
mod piece;
mod refining;
mod sale;
mod strike;

pub use assay::*;
pub use correction::*;
pub use metal::*;
pub use office::*;
pub use piece::*;
pub use refining::*;
pub use sale::*;
pub use strike::*;

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
    "die.registered" => DieRegistered, slots 2, private ["label" Staff, "note" Staff];
    "die.disposed" => DieDisposed, slots 1, private ["note" Staff];
    "piece.struck" => PieceStruck, slots 1, private ["note" Staff];
    "piece.archived" => PieceArchived, slots 1, private ["note" Staff];
    "series.closed" => SeriesClosed, slots 1, private ["note" Staff];
    "consignment.sent" => ConsignmentSent, slots 3, private ["office" Staff, "seal" Staff, "note" Staff];
    "consignment.returned" => ConsignmentReturned, slots 1, private ["note" Staff];
    "piece.consigned" => PieceConsigned, slots 0, private [];
    "piece.hallmarked" => PieceHallmarked, slots 0, private [];
    "piece.unmarked" => PieceUnmarked, slots 0, private [];
    "piece.kept" => PieceKept, slots 0, private [];
    "piece.missing" => PieceMissing, slots 0, private [];
    "piece.spared" => PieceSpared, slots 0, private [];
    "order.recorded" => OrderRecorded, slots 2, private ["buyer" Staff, "note" Staff];
    "order.cancelled" => OrderCancelled, slots 1, private ["note" Staff];
    "piece.reserved" => PieceReserved, slots 2, private ["buyer" Staff, "note" Staff];
    "piece.released" => PieceReleased, slots 1, private ["note" Staff];
    "sale.made" => SaleMade, slots 3, private ["buyer" Staff, "document" Staff, "note" Staff];
    "sale.dispatched" => SaleDispatched, slots 6, private ["weight" Staff, "seal" Staff, "insured" Staff, "carrier" Staff, "tracking" Staff, "note" Staff];
    "piece.sold" => PieceSold, slots 1, private ["price" Staff];
    "piece.unsold" => PieceUnsold, slots 1, private ["note" Staff];
    "piece.dispatched" => PieceDispatched, slots 0, private [];
    "piece.handed_over" => PieceHandedOver, slots 1, private ["note" Staff];
    "piece.delivered" => PieceDelivered, slots 1, private ["note" Staff];
    "piece.lost" => PieceLost, slots 1, private ["note" Staff];
    "piece.found" => PieceFound, slots 1, private ["note" Staff];
    "piece.sent_back" => PieceSentBack, slots 1, private ["note" Staff];
    "piece.returned" => PieceReturned, slots 1, private ["note" Staff];
    "piece.restocked" => PieceRestocked, slots 1, private ["note" Staff];
    "piece.bought_back" => PieceBoughtBack, slots 3, private ["seller" Staff, "price" Staff, "note" Staff];
    "piece.stolen" => PieceStolen, slots 2, private ["reference" Staff, "note" Staff];
    "piece.recovered" => PieceRecovered, slots 1, private ["note" Staff];
    "piece.destroyed" => PieceDestroyed, slots 2, private ["witness" Staff, "note" Staff];
    "owner.registered" => OwnerRegistered, slots 2, private ["name" Staff, "note" Staff];
    "owner.agreed" => OwnerAgreed, slots 2, private ["document" Staff, "note" Staff];
    "jar.swept" => JarSwept, slots 0, private [];
    "jar.emptied" => JarEmptied, slots 0, private [];
    "piece.refined" => PieceRefined, slots 0, private [];
    "refining.sent" => RefiningSent, slots 4, private ["refiner" Staff, "seal" Staff, "document" Staff, "note" Staff];
    "refining.returned" => RefiningReturned, slots 4, private ["price" Staff, "charge" Staff, "document" Staff, "note" Staff];
    "lot.outturned" => LotOutturned, slots 0, private [];
    "entry.corrected" => EntryCorrected, slots 1, private ["note" Staff];
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
            Self::DieRegistered(e) => vec![e.die.0],
            Self::DieDisposed(e) => vec![e.die.0],
            Self::PieceStruck(e) => vec![e.piece.0],
            Self::PieceArchived(e) => vec![e.piece.0],
            Self::SeriesClosed(e) => vec![e.series.0],
            Self::ConsignmentSent(e) => vec![e.consignment.0],
            Self::ConsignmentReturned(e) => vec![e.consignment.0],
            Self::PieceConsigned(e) => vec![e.piece.0],
            Self::PieceHallmarked(e) => vec![e.piece.0],
            Self::PieceUnmarked(e) => vec![e.piece.0],
            Self::PieceKept(e) => vec![e.piece.0],
            Self::PieceMissing(e) => vec![e.piece.0],
            Self::PieceSpared(e) => vec![e.piece.0],
            Self::OrderRecorded(e) => vec![e.order.0],
            Self::OrderCancelled(e) => vec![e.order.0],
            Self::PieceReserved(e) => vec![e.piece.0],
            Self::PieceReleased(e) => vec![e.piece.0],
            Self::SaleMade(e) => vec![e.sale.0],
            Self::SaleDispatched(e) => vec![e.sale.0],
            Self::PieceSold(e) => vec![e.piece.0],
            Self::PieceUnsold(e) => vec![e.piece.0],
            Self::PieceDispatched(e) => vec![e.piece.0],
            Self::PieceHandedOver(e) => vec![e.piece.0],
            Self::PieceDelivered(e) => vec![e.piece.0],
            Self::PieceLost(e) => vec![e.piece.0],
            Self::PieceFound(e) => vec![e.piece.0],
            Self::PieceSentBack(e) => vec![e.piece.0],
            Self::PieceReturned(e) => vec![e.piece.0],
            Self::PieceRestocked(e) => vec![e.piece.0],
            Self::PieceBoughtBack(e) => vec![e.piece.0],
            Self::PieceStolen(e) => vec![e.piece.0],
            Self::PieceRecovered(e) => vec![e.piece.0],
            Self::PieceDestroyed(e) => vec![e.piece.0],
            Self::OwnerRegistered(e) => vec![e.owner.0],
            Self::OwnerAgreed(e) => vec![e.owner.0],
            Self::JarSwept(e) => vec![e.jar.0],
            Self::JarEmptied(e) => vec![e.jar.0],
            Self::PieceRefined(e) => vec![e.piece.0],
            Self::RefiningSent(e) => vec![e.refining.0],
            Self::RefiningReturned(e) => vec![e.refining.0],
            Self::LotOutturned(e) => vec![e.lot.0],
            Self::EntryCorrected(e) => e.subjects(),
            Self::KeyAdded(_)
            | Self::KeyRevoked(_)
            | Self::KeySuspect(_)
            | Self::ClockSet(_)
            | Self::FieldErased(_) => Vec::new(),
        }
    }

    /// The new thing that the event makes, if it makes one.
    #[must_use]
    pub const fn makes(&self) -> Option<Uuid> {
        match self {
            Self::LotReceived(e) => Some(e.lot.0),
            Self::LotOutturned(e) => Some(e.lot.0),
            Self::ScaleRegistered(e) => Some(e.scale.0),
            Self::SessionOpened(e) => Some(e.session.0),
            Self::JarOpened(e) => Some(e.jar.0),
            Self::SeriesOpened(e) => Some(e.series.0),
            Self::MeltCharged(e) => Some(e.melt.0),
            Self::PiecePoured(e) => Some(e.piece.0),
            Self::CertificateIssued(e) => Some(e.certificate.0),
            Self::DieRegistered(e) => Some(e.die.0),
            Self::ConsignmentSent(e) => Some(e.consignment.0),
            Self::OrderRecorded(e) => Some(e.order.0),
            Self::SaleMade(e) => Some(e.sale.0),
            Self::RefiningSent(e) => Some(e.refining.0),
            Self::OwnerRegistered(e) => Some(e.owner.0),
            _ => None,
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
            Self::PieceStruck(e) => Some(e.piece),
            Self::PieceArchived(e) => Some(e.piece),
            Self::PieceConsigned(e) => Some(e.piece),
            Self::PieceHallmarked(e) => Some(e.piece),
            Self::PieceUnmarked(e) => Some(e.piece),
            Self::PieceKept(e) => Some(e.piece),
            Self::PieceMissing(e) => Some(e.piece),
            Self::PieceSpared(e) => Some(e.piece),
            Self::PieceReserved(e) => Some(e.piece),
            Self::PieceReleased(e) => Some(e.piece),
            Self::PieceSold(e) => Some(e.piece),
            Self::PieceUnsold(e) => Some(e.piece),
            Self::PieceDispatched(e) => Some(e.piece),
            Self::PieceHandedOver(e) => Some(e.piece),
            Self::PieceDelivered(e) => Some(e.piece),
            Self::PieceLost(e) => Some(e.piece),
            Self::PieceFound(e) => Some(e.piece),
            Self::PieceSentBack(e) => Some(e.piece),
            Self::PieceReturned(e) => Some(e.piece),
            Self::PieceRestocked(e) => Some(e.piece),
            Self::PieceBoughtBack(e) => Some(e.piece),
            Self::PieceStolen(e) => Some(e.piece),
            Self::PieceRecovered(e) => Some(e.piece),
            Self::PieceDestroyed(e) => Some(e.piece),
            Self::PieceRefined(e) => Some(e.piece),
            _ => None,
        }
    }
}
