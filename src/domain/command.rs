//! Commands: what somebody asks the book to record. One command makes one entry, or none.
//!
//! Their members are spelt as the API spells them. Text and money in them are private and pass through unread.

/// Structs that are each one command.
macro_rules! commands {
    ($($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name { $($(#[$fdoc])* pub $field: $type),* }

        impl From<$name> for super::Command {
            fn from(command: $name) -> Self { Self::$name(command) }
        }
    )*};
}

mod assay;
mod correction;
mod metal;
mod office;
mod pieces;
mod prices;
mod refining;
mod sales;
mod stocktake;
mod strikes;

pub use assay::*;
pub use correction::*;
pub use metal::*;
pub use office::*;
pub use pieces::*;
pub use prices::*;
pub use refining::*;
pub use sales::*;
pub use stocktake::*;
pub use strikes::*;

use serde::{Deserialize, Serialize};

macro_rules! any_of {
    ($($name:ident),* $(,)?) => {
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

any_of! {
    ReceiveLot, RegisterScale, OpenSession, CheckSession, CloseSession, OpenJar, ChargeMelt, CloseMelt,
    PourPieces, WeighPieces, MeasureGravity, PhotographPiece, FaultPiece, FinishPieces, MovePiece, CondemnPiece, GiveSerials, NumberPieces,
    OpenSeries, CloseSeries, IssueCertificates, SupersedeCertificate, PrintCertificates, EraseField, SetClock,
    RevokeOperator,
    RegisterDie, DisposeDie, StrikePieces, ArchivePiece,
    SendConsignment, ReturnConsignment, SparePieces,
    RecordOrder, CancelOrder, ReservePiece, ReleasePiece,
    SellPieces, CancelSale, HandOverPieces, DispatchPieces, DeliverPieces, LosePieces, FindPiece, SendBackPieces,
    ReturnPiece, RestockPiece, BuyBackPiece, StealPiece, RecoverPiece, DestroyPiece,
    RegisterOwner, AgreeMixing, GatherSweeps, SendToRefiner, ReturnRefining, TakeStock, CorrectEntries,
    RecordSpot, MakeQuote, RecordCharge,
}
