//! How the views keep the rows of the book: which table a row belongs to, its id and the entry that made it.

use crate::domain::{
    Certificate, Charge, Consignment, Die, Jar, Lot, Melt, Order, Owner, Piece, Quote, Refining, Sale, Scale,
    Series, Session, Spot, Stocktake, Touched,
};
use serde::Serialize;
use serde::de::DeserializeOwned;
use uuid::Uuid;

/// Something that the views keep a table of.
pub trait Tabled: Serialize + DeserializeOwned {
    /// The table.
    const TABLE: Table;

    /// The row's id.
    fn id(&self) -> Uuid;

    /// Index of the entry that made it.
    fn since(&self) -> u64;
}

macro_rules! tables {
    ($($(#[$doc:meta])* $variant:ident $type:ident $field:ident $word:literal $plural:literal $byte:literal;)*) => {
        /// The tables, one per kind of thing.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Table { $($(#[$doc])* $variant),* }

        impl Table {
            /// Every table.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// The thing's name, as it stands before the dot in the kinds of its events.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),* }
            }

            /// The name of many, as addresses spell it.
            #[must_use]
            pub const fn plural(self) -> &'static str {
                match self { $(Self::$variant => $plural),* }
            }

            /// The table of a row, and its id.
            pub(super) const fn of(touched: Touched) -> (Self, Uuid) {
                match touched { $(Touched::$variant(id) => (Self::$variant, id.0)),* }
            }

            pub(super) const fn byte(self) -> u8 {
                match self { $(Self::$variant => $byte),* }
            }

            pub(super) const fn from_byte(byte: u8) -> Option<Self> {
                match byte { $($byte => Some(Self::$variant),)* _ => None }
            }
        }

        $(impl Tabled for $type {
            const TABLE: Table = Table::$variant;

            fn id(&self) -> Uuid {
                self.$field.0
            }

            fn since(&self) -> u64 {
                self.since
            }
        })*
    };
}

tables! {
    /// Lots of metal.
    Lot Lot lot "lot" "lots" 1;
    /// Scales.
    Scale Scale scale "scale" "scales" 2;
    /// Sessions at a scale.
    Session Session session "session" "sessions" 3;
    /// Jars of residues.
    Jar Jar jar "jar" "jars" 4;
    /// Editions and open series.
    Series Series series "series" "series" 5;
    /// Melts.
    Melt Melt melt "melt" "melts" 6;
    /// Pieces.
    Piece Piece piece "piece" "pieces" 7;
    /// Certificates.
    Certificate Certificate certificate "certificate" "certificates" 8;
    /// Dies.
    Die Die die "die" "dies" 9;
    /// Consignments to the assay office.
    Consignment Consignment consignment "consignment" "consignments" 10;
    /// Orders.
    Order Order order "order" "orders" 11;
    /// Sales.
    Sale Sale sale "sale" "sales" 12;
    /// Refinings.
    Refining Refining refining "refining" "refinings" 13;
    /// Customers whose metal is here.
    Owner Owner owner "owner" "owners" 14;
    /// Stock-takes.
    Stocktake Stocktake stocktake "stocktake" "stocktakes" 15;
    /// Spot prices.
    Spot Spot spot "spot" "spots" 16;
    /// Quotations.
    Quote Quote quote "quote" "quotes" 17;
    /// Charges.
    Charge Charge charge "charge" "charges" 18;
}
