//! Events: what stands in the log, one struct per kind, as the log spells it.
//!
//! A member that is here is public to whoever may read entries. What is private is named in the table below and never
//! has a member of its own. Kinds and members are only ever added, with a new `v`; an old one is never changed.

mod assay;
mod correction;
mod metal;
mod office;
mod piece;
mod price;
mod refining;
mod sale;
mod stocktake;
mod strike;

pub use assay::*;
pub use correction::*;
pub use metal::*;
pub use office::*;
pub use piece::*;
pub use price::*;
pub use refining::*;
pub use sale::*;
pub use stocktake::*;
pub use strike::*;

use super::private::{Audience, PrivateMember};
use serde::Serialize;
use uuid::Uuid;

/// The chains of an event: of the member that is its subject, of a charge, of a correction.
macro_rules! subject_of {
    (nothing, $event:ident) => {
        Vec::new()
    };
    (melt_and_inputs, $event:ident) => {{
        let inputs = $event.inputs.iter().map(MeltInput::subject);
        std::iter::once($event.melt.0).chain(inputs).collect()
    }};
    (correction, $event:ident) => {
        $event.subjects()
    };
    ($subject:ident, $event:ident) => {
        vec![$event.$subject.0]
    };
}

/// The piece of an event that is about one.
macro_rules! piece_of {
    (piece, $event:ident) => {
        Some($event.piece)
    };
    ($other:ident, $event:ident) => {
        None
    };
}

macro_rules! events {
    ($($kind:literal => $variant:ident of $subject:ident, slots $slots:literal, private [$($member:literal $audience:ident),*];)*) => {
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

            /// The chains that the event moves: what stands before the dot in its kind and, in a charge, every input.
            /// Key entries chain by `keys`; an erasure and a correction move the chains of the entries that they name
            /// too, which the writer knows.
            #[must_use]
            pub fn subjects(&self) -> Vec<Uuid> {
                match self { $(Self::$variant(_e) => subject_of!($subject, _e)),* }
            }

            /// The piece that the event moves, if it is about one.
            #[must_use]
            pub const fn piece(&self) -> Option<super::PieceId> {
                match self { $(Self::$variant(_e) => piece_of!($subject, _e)),* }
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
    "lot.received" => LotReceived of lot, slots 4, private ["seller" Staff, "document" Staff, "price" Staff, "note" Staff];
    "scale.registered" => ScaleRegistered of scale, slots 2, private ["label" Staff, "note" Staff];
    "session.opened" => SessionOpened of session, slots 0, private [];
    "session.checked" => SessionChecked of session, slots 0, private [];
    "session.closed" => SessionClosed of session, slots 0, private [];
    "jar.opened" => JarOpened of jar, slots 1, private ["label" Staff];
    "jar.filled" => JarFilled of jar, slots 0, private [];
    "series.opened" => SeriesOpened of series, slots 4, private ["title" Public, "commissioner" Holder, "decided" Staff, "note" Staff];
    "melt.charged" => MeltCharged of melt_and_inputs, slots 1, private ["note" Staff];
    "melt.closed" => MeltClosed of melt, slots 1, private ["note" Staff];
    "piece.poured" => PiecePoured of piece, slots 0, private [];
    "piece.weighed" => PieceWeighed of piece, slots 0, private [];
    "piece.graded" => PieceGraded of piece, slots 0, private [];
    "piece.gravity" => PieceGravity of piece, slots 0, private [];
    "piece.photographed" => PiecePhotographed of piece, slots 0, private [];
    "piece.faulted" => PieceFaulted of piece, slots 1, private ["note" Staff];
    "piece.finished" => PieceFinished of piece, slots 0, private [];
    "piece.moved" => PieceMoved of piece, slots 1, private ["note" Staff];
    "piece.condemned" => PieceCondemned of piece, slots 1, private ["note" Staff];
    "piece.remelted" => PieceRemelted of piece, slots 0, private [];
    "piece.serialled" => PieceSerialled of piece, slots 0, private [];
    "piece.numbered" => PieceNumbered of piece, slots 0, private [];
    "piece.certified" => PieceCertified of piece, slots 0, private [];
    "certificate.issued" => CertificateIssued of certificate, slots 1, private ["code" Nobody];
    "certificate.superseded" => CertificateSuperseded of certificate, slots 1, private ["note" Staff];
    "certificate.printed" => CertificatePrinted of certificate, slots 2, private ["digest" Nobody, "inputs" Nobody];
    "die.registered" => DieRegistered of die, slots 2, private ["label" Staff, "note" Staff];
    "die.disposed" => DieDisposed of die, slots 1, private ["note" Staff];
    "piece.struck" => PieceStruck of piece, slots 1, private ["note" Staff];
    "piece.archived" => PieceArchived of piece, slots 1, private ["note" Staff];
    "series.closed" => SeriesClosed of series, slots 1, private ["note" Staff];
    "consignment.sent" => ConsignmentSent of consignment, slots 3, private ["office" Staff, "seal" Staff, "note" Staff];
    "consignment.returned" => ConsignmentReturned of consignment, slots 1, private ["note" Staff];
    "piece.consigned" => PieceConsigned of piece, slots 0, private [];
    "piece.hallmarked" => PieceHallmarked of piece, slots 0, private [];
    "piece.unmarked" => PieceUnmarked of piece, slots 0, private [];
    "piece.kept" => PieceKept of piece, slots 0, private [];
    "piece.missing" => PieceMissing of piece, slots 0, private [];
    "piece.spared" => PieceSpared of piece, slots 0, private [];
    "order.recorded" => OrderRecorded of order, slots 2, private ["buyer" Staff, "note" Staff];
    "order.cancelled" => OrderCancelled of order, slots 1, private ["note" Staff];
    "piece.reserved" => PieceReserved of piece, slots 2, private ["buyer" Staff, "note" Staff];
    "piece.released" => PieceReleased of piece, slots 1, private ["note" Staff];
    "sale.made" => SaleMade of sale, slots 3, private ["buyer" Staff, "document" Staff, "note" Staff];
    "sale.dispatched" => SaleDispatched of sale, slots 6, private ["weight" Staff, "seal" Staff, "insured" Staff, "carrier" Staff, "tracking" Staff, "note" Staff];
    "piece.sold" => PieceSold of piece, slots 1, private ["price" Staff];
    "piece.unsold" => PieceUnsold of piece, slots 1, private ["note" Staff];
    "piece.dispatched" => PieceDispatched of piece, slots 0, private [];
    "piece.handed_over" => PieceHandedOver of piece, slots 1, private ["note" Staff];
    "piece.delivered" => PieceDelivered of piece, slots 1, private ["note" Staff];
    "piece.lost" => PieceLost of piece, slots 1, private ["note" Staff];
    "piece.found" => PieceFound of piece, slots 1, private ["note" Staff];
    "piece.sent_back" => PieceSentBack of piece, slots 1, private ["note" Staff];
    "piece.returned" => PieceReturned of piece, slots 1, private ["note" Staff];
    "piece.restocked" => PieceRestocked of piece, slots 1, private ["note" Staff];
    "piece.bought_back" => PieceBoughtBack of piece, slots 3, private ["seller" Staff, "price" Staff, "note" Staff];
    "piece.stolen" => PieceStolen of piece, slots 2, private ["reference" Staff, "note" Staff];
    "piece.recovered" => PieceRecovered of piece, slots 1, private ["note" Staff];
    "piece.destroyed" => PieceDestroyed of piece, slots 2, private ["witness" Staff, "note" Staff];
    "owner.registered" => OwnerRegistered of owner, slots 2, private ["name" Staff, "note" Staff];
    "owner.agreed" => OwnerAgreed of owner, slots 2, private ["document" Staff, "note" Staff];
    "jar.swept" => JarSwept of jar, slots 0, private [];
    "jar.emptied" => JarEmptied of jar, slots 0, private [];
    "piece.refined" => PieceRefined of piece, slots 0, private [];
    "refining.sent" => RefiningSent of refining, slots 4, private ["refiner" Staff, "seal" Staff, "document" Staff, "note" Staff];
    "refining.returned" => RefiningReturned of refining, slots 4, private ["price" Staff, "charge" Staff, "document" Staff, "note" Staff];
    "lot.outturned" => LotOutturned of lot, slots 0, private [];
    "stocktake.taken" => StocktakeTaken of stocktake, slots 1, private ["note" Staff];
    "lot.counted" => LotCounted of lot, slots 0, private [];
    "melt.counted" => MeltCounted of melt, slots 0, private [];
    "jar.counted" => JarCounted of jar, slots 0, private [];
    "lot.found" => LotFound of lot, slots 1, private ["note" Staff];
    "spot.recorded" => SpotRecorded of spot, slots 2, private ["source" Staff, "note" Staff];
    "quote.made" => QuoteMade of quote, slots 6, private ["inputs" Staff, "net" Staff, "vat" Staff, "gross" Staff, "buyer" Staff, "note" Staff];
    "charge.recorded" => ChargeRecorded of charge, slots 3, private ["amount" Staff, "document" Staff, "note" Staff];
    "entry.corrected" => EntryCorrected of correction, slots 1, private ["note" Staff];
    "key.added" => KeyAdded of nothing, slots 0, private [];
    "key.revoked" => KeyRevoked of nothing, slots 0, private [];
    "key.suspect" => KeySuspect of nothing, slots 0, private [];
    "clock.set" => ClockSet of nothing, slots 0, private [];
    "operator.revoked" => OperatorRevoked of nothing, slots 0, private [];
    "field.erased" => FieldErased of nothing, slots 0, private [];
}

impl Event {
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
            Self::StocktakeTaken(e) => Some(e.stocktake.0),
            Self::LotFound(e) => Some(e.lot.0),
            Self::SpotRecorded(e) => Some(e.spot.0),
            Self::QuoteMade(e) => Some(e.quote.0),
            Self::ChargeRecorded(e) => Some(e.charge.0),
            _ => None,
        }
    }
}
