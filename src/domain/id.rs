//! Ids: random UUIDs, one type per thing, so that a lot is never taken for a melt.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }
    )*};
}

ids! {
    /// A lot of metal received.
    LotId,
    /// A scale.
    ScaleId,
    /// A session at a scale, from its opening check to its closing check.
    SessionId,
    /// A jar of residues, one per metal, fineness and kind of residue.
    JarId,
    /// One crucible charge.
    MeltId,
    /// One poured object, for ever.
    PieceId,
    /// An edition or an open series.
    SeriesId,
    /// One issue of a certificate.
    CertificateId,
    /// A die.
    DieId,
    /// Pieces sent together to the assay office.
    ConsignmentId,
    /// A promise of pieces.
    OrderId,
    /// A sale.
    SaleId,
    /// What was sent to the refiner at one time.
    RefiningId,
    /// A customer whose metal is in the workshop.
    OwnerId,
    /// One count of what is there.
    StocktakeId,
    /// A spot price that was noted.
    SpotId,
    /// A quotation.
    QuoteId,
    /// A charge for something.
    ChargeId,
    /// A person or a device that gives commands; the name stands elsewhere.
    OperatorId,
}
