//! Rows of series, dies, consignments, orders and sales.

use crate::domain::{
    AssayOutcome, ConsignmentId, ConsignmentState, Date, DieId, DieOwner, DieState, ExemptGround, Limits,
    MarkKind, Marking, OrderId, OrderState, PieceId, PieceMass, SaleId, SeriesCode, SeriesId, SeriesKind,
    SeriesState, ShapeCount, ShapeSize, Timestamp, WeightUnit,
};
use crate::metal::{Fineness, Mass, Metal};

rows! {
    /// An edition or an open series.
    Series {
        /// Its id.
        series: SeriesId,
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
        /// Size per shape.
        shapes: Vec<ShapeSize>,
        /// Limits.
        limits: Option<Limits>,
        /// Digits of its serials.
        digits: u8,
        /// Whether its pieces must be hallmarked.
        marking: Marking,
        /// If exempt, on what ground.
        ground: Option<ExemptGround>,
        /// Of the ground `below_weight`: the exemption weight, grams.
        exempt_below: Option<Mass>,
        /// From which day that row of the table holds.
        exempt_from: Option<Date>,
        /// An edition whose pieces get no numbers.
        unnumbered: bool,
        /// Whether the number is put on the metal.
        number_on_metal: bool,
        /// Whether its pieces are struck before they go on.
        struck: bool,
        /// Whether spares may be sold without a number.
        spares_sold: bool,
        /// Whether it is closed.
        state: SeriesState,
        /// Serials given.
        serials: u32,
        /// Edition numbers given, in the order of `shapes`; where pieces get no numbers, places taken by a certificate.
        numbers: Vec<u32>,
        /// Pieces promised by open orders and not yet sold, in the order of `shapes`.
        promised: Vec<u32>,
        /// Index of the entry that closed it.
        closed: Option<u64>,
        /// Index of its entry.
        since: u64,
    }

    /// A die.
    Die {
        /// Its id.
        die: DieId,
        /// Whose it is.
        owner: DieOwner,
        /// The edition that it was cut for.
        series: Option<SeriesId>,
        /// Where it is.
        state: DieState,
        /// How often it struck.
        strikes: u32,
        /// Index of its entry.
        since: u64,
    }

    /// Pieces sent together to the assay office.
    Consignment {
        /// Its id.
        consignment: ConsignmentId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// Where it is.
        state: ConsignmentState,
        /// The fineness claimed, parts per thousand.
        fineness: Fineness,
        /// The marks asked for.
        marks: Vec<MarkKind>,
        /// The pieces, each with its declared weight.
        pieces: Vec<PieceMass>,
        /// Sum of the declared weights, grams.
        mass: Mass,
        /// What became of each piece, in the order of `pieces`, once it is back.
        outcomes: Vec<AssayOutcome>,
        /// Pieces not in it that came from the same melt as one refused for its fineness.
        melt_mates: Vec<PieceId>,
        /// Index of its entry.
        since: u64,
        /// Index of the entry of its return.
        returned: Option<u64>,
        /// When it was sent.
        at: Timestamp,
    }

    /// A promise of pieces.
    Order {
        /// Its id.
        order: OrderId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The edition.
        series: SeriesId,
        /// How many of each shape.
        shapes: Vec<ShapeCount>,
        /// How many of each shape are kept for it, in the order of `shapes`.
        reserved: Vec<u32>,
        /// How many of each shape are sold under it, in the order of `shapes`.
        sold: Vec<u32>,
        /// Where it is.
        state: OrderState,
        /// Index of its entry.
        since: u64,
        /// When it was recorded.
        at: Timestamp,
    }

    /// A sale to one buyer.
    Sale {
        /// Its id.
        sale: SaleId,
        /// Its number in the workshop, from 1.
        number: u32,
        /// The pieces.
        pieces: Vec<PieceId>,
        /// The order that it supplies.
        order: Option<OrderId>,
        /// Of its pieces, those whose sale is over: cancelled, or given back.
        undone: Vec<PieceId>,
        /// Index of its entry.
        since: u64,
        /// When it was made.
        at: Timestamp,
    }
}
