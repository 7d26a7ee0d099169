//! The words of a piece's life after it is graded: states, strikes, the assay office, sale and refining.

use serde::{Deserialize, Serialize};

words! {
    /// Where a piece is in its life.
    PieceState {
        /// Cast, not weighed.
        Poured = "poured",
        /// Weighed and graded.
        Graded = "graded",
        /// Given up; its metal waits for a melt or the refiner.
        Condemned = "condemned",
        /// Melted: the end.
        Remelted = "remelted",
        /// Sent to the refiner: the end.
        Refined = "refined",
        /// It has a serial of its series.
        Serialled = "serialled",
        /// Struck, and the strike came out well.
        Struck = "struck",
        /// Struck, and it did not come out well.
        MisStruck = "mis_struck",
        /// Kept, never for sale.
        Archived = "archived",
        /// At the assay office.
        AtOffice = "at_office",
        /// It bears a hallmark.
        Hallmarked = "hallmarked",
        /// Back from the assay office without a mark.
        Unmarked = "unmarked",
        /// Kept or cut by the assay office.
        Kept = "kept",
        /// Sent to the assay office, and not among what came back.
        Missing = "missing",
        /// Finally weighed, and set aside.
        Spare = "spare",
        /// It has its edition number.
        Numbered = "numbered",
        /// Its certificate is issued: in stock.
        Certified = "certified",
        /// Kept for somebody.
        Reserved = "reserved",
        /// Sold, and still in the workshop.
        Sold = "sold",
        /// On its way to the buyer.
        Dispatched = "dispatched",
        /// With the buyer.
        Delivered = "delivered",
        /// Lost in transit.
        Lost = "lost",
        /// The buyer gave it back.
        Returned = "returned",
        /// The workshop bought it back.
        BoughtBack = "bought_back",
        /// Stolen.
        Stolen = "stolen",
        /// Destroyed before a witness: the end.
        Destroyed = "destroyed",
    }

    /// Whose a die is.
    DieOwner {
        /// The workshop's own.
        Workshop = "workshop",
        /// The commissioner's, on loan.
        Commissioner = "commissioner",
    }

    /// Where a die is.
    DieState {
        /// It strikes.
        InUse = "in_use",
        /// Back with its owner.
        Returned = "returned",
        /// Destroyed or defaced.
        Destroyed = "destroyed",
        /// Out of use, and kept.
        Retired = "retired",
    }

    /// How a die goes out of use.
    DieDisposal {
        /// Back to its owner.
        Returned = "returned",
        /// Destroyed or defaced.
        Destroyed = "destroyed",
        /// Out of use, and kept.
        Retired = "retired",
    }

    /// How a strike came out.
    StrikeOutcome {
        /// Well.
        Good = "good",
        /// The die bounced: a double image.
        Double = "double",
        /// Beside its place.
        OffCentre = "off_centre",
        /// Not deep enough.
        Weak = "weak",
        /// The die slid.
        Slipped = "slipped",
        /// The die was another one's.
        WrongDie = "wrong_die",
        /// The piece cracked.
        Cracked = "cracked",
        /// Anything else; the private note says what.
        Other = "other",
    }

    /// Whether anything more may be poured for a series.
    SeriesState {
        /// Pieces are made for it.
        Open = "open",
        /// It is closed for good.
        Closed = "closed",
    }

    /// A component of a hallmark.
    MarkKind {
        /// Who sent it in.
        Sponsor = "sponsor",
        /// The standard.
        Fineness = "fineness",
        /// Which assay office.
        Office = "office",
        /// The year, where it is struck.
        DateLetter = "date_letter",
        /// A mark for an occasion.
        Commemorative = "commemorative",
        /// Any other mark.
        Other = "other",
    }

    /// What became of a piece at the assay office.
    AssayOutcome {
        /// It was hallmarked.
        Marked = "marked",
        /// It came back without a mark.
        Unmarked = "unmarked",
        /// The office kept it.
        Kept = "kept",
        /// The office cut it.
        Cut = "cut",
        /// It was not among what came back.
        Missing = "missing",
    }

    /// Why a piece came back without a mark.
    UnmarkedReason {
        /// Refused: its fineness is below the standard claimed.
        BelowStandard = "below_standard",
        /// It was damaged there.
        Damaged = "damaged",
        /// There was no place for the marks.
        NoRoom = "no_room",
        /// The workshop took it back unmarked.
        Withdrawn = "withdrawn",
        /// Anything else; the private note says what.
        Other = "other",
    }

    /// What the assay office did with a piece that it did not send back.
    KeptHow {
        /// Kept it whole.
        Kept = "kept",
        /// Cut it for the assay.
        Cut = "cut",
    }

    /// Where a consignment is.
    ConsignmentState {
        /// At the assay office.
        AtOffice = "at_office",
        /// Back, and accounted for.
        Returned = "returned",
    }

    /// Where an order is.
    OrderState {
        /// Something is still promised.
        Open = "open",
        /// All of it is sold.
        Supplied = "supplied",
        /// Given up.
        Cancelled = "cancelled",
    }

    /// Where a refining is.
    RefiningState {
        /// At the refiner.
        AtRefiner = "at_refiner",
        /// Accounted for.
        Returned = "returned",
    }

    /// At which point of its life a piece was photographed.
    PhotographStage {
        /// As it came from the mould.
        FromMould = "from_mould",
        /// Weighed, and on its way through the workshop.
        Finished = "finished",
        /// With its hallmark on it.
        Hallmarked = "hallmarked",
        /// As its buyer gets it.
        AsSold = "as_sold",
        /// As it came back from a buyer.
        Returned = "returned",
    }

    /// What of a piece a photograph shows.
    PhotographSide {
        /// The face.
        Face = "face",
        /// The back.
        Back = "back",
        /// An edge.
        Edge = "edge",
        /// The marks, near enough to be read.
        Marks = "marks",
        /// Anything else of it from near: a ripple, a flaw.
        Detail = "detail",
    }

    /// Why an entry is corrected.
    CorrectionReason {
        /// A figure or a word was typed wrong.
        Mistyped = "mistyped",
        /// Another thing was meant.
        WrongThing = "wrong_thing",
        /// It was recorded twice.
        RecordedTwice = "recorded_twice",
        /// It did not happen.
        DidNotHappen = "did_not_happen",
        /// Anything else; the private note says what.
        Other = "other",
    }
}

impl PieceState {
    /// Whether the edition number of a piece in this state is burned: it is gone for good or, once its edition is closed,
    /// stolen and not back.
    #[must_use]
    pub const fn burns_number(self, edition_closed: bool) -> bool {
        match self {
            Self::Lost | Self::Destroyed | Self::Condemned | Self::Remelted | Self::Refined => true,
            Self::Stolen => edition_closed,
            _ => false,
        }
    }
}
