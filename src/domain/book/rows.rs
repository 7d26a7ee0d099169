//! The rows of the book, one struct per thing. They are what `decide` looks at and what views and the API show.
//!
//! Names, notes and money are not here: they are private members, shown from the vault to those who may see them.

use super::Book;
use crate::domain::{
    CertificateId, ChargeId, ConsignmentId, DieId, JarId, LotId, MeltId, OrderId, OwnerId, PieceId, QuoteId,
    RefiningId, SaleId, ScaleId, SeriesId, SessionId, SpotId, StocktakeId,
};

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
        pub struct $name { $($(#[$fdoc])* pub $field: $type),* }
    )*};
}

mod metal;
mod office;
mod piece;
mod price;
mod stocktake;

pub use metal::*;
pub use office::*;
pub use piece::*;
pub use price::*;
pub use stocktake::*;

macro_rules! tables {
    ($($type:ident $id:ident $lookup:ident,)*) => {
        /// A row that changed: which table, and which id.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[expect(missing_docs, reason = "each variant is its table")]
        pub enum Touched { $($type($id)),* }

        /// One row of the book, with its values.
        #[derive(Clone, Debug, PartialEq, Eq)]
        #[expect(missing_docs, reason = "each variant is its table")]
        pub enum Row { $($type(Box<$type>)),* }

        impl Book {
            /// A row that was touched, as it is now.
            #[must_use]
            pub fn row(&self, touched: Touched) -> Option<Row> {
                match touched {
                    $(Touched::$type(id) => self.$lookup(id).map(|row| Row::$type(Box::new(row.clone())))),*
                }
            }
        }
    };
}

tables! {
    Lot LotId lot,
    Scale ScaleId scale,
    Session SessionId session,
    Jar JarId jar,
    Series SeriesId series,
    Melt MeltId melt,
    Piece PieceId piece,
    Certificate CertificateId certificate,
    Die DieId die,
    Consignment ConsignmentId consignment,
    Order OrderId order,
    Sale SaleId sale,
    Refining RefiningId refining,
    Owner OwnerId owner,
    Stocktake StocktakeId stocktake,
    Spot SpotId spot,
    Quote QuoteId quote,
    Charge ChargeId charge,
}

impl Book {
    /// Rows that were touched, as they are now.
    ///
    /// # Panics
    /// If one is not there. Nothing in the book is ever deleted, so only a bug could bring that about.
    #[must_use]
    pub fn rows(&self, touched: &[Touched]) -> Vec<Row> {
        let rows = touched.iter().filter_map(|touched| self.row(*touched));
        let rows: Vec<Row> = rows.collect();
        assert!(
            rows.len() == touched.len(),
            "a row that was touched is in its table"
        );
        rows
    }
}
