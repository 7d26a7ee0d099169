//! The headings of the metal statement in a maker's words, and the parts of the workshop's world in which they lie.

use crate::accounts::Heading as H;
use crate::domain::{PieceState as S, Residue};
use crate::pages::pictures::Tone;

/// A part of the world in which metal can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// In the workshop.
    Here,
    /// Not here, and still answered for.
    Away,
    /// Gone to somebody for good.
    Gone,
    /// Nobody has it, or nobody knows who.
    Lost,
}

impl Part {
    /// All, in the order in which they are told.
    pub const ALL: [Self; 4] = [Self::Here, Self::Away, Self::Gone, Self::Lost];

    /// What it is called.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Here => "Here in the workshop",
            Self::Away => "With others",
            Self::Gone => "Gone for good",
            Self::Lost => "Lost, and differences",
        }
    }

    /// Its colour.
    pub const fn tone(self) -> Tone {
        match self {
            Self::Here => Tone::Here,
            Self::Away | Self::Gone => Tone::Away,
            Self::Lost => Tone::Lost,
        }
    }
}

/// A branch of the flow: headings that a maker thinks of as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    Lots,
    Crucible,
    Heels,
    Prills,
    Lemel,
    Sweeps,
    InWork,
    GivenUp,
    Archived,
    InStock,
    SoldHere,
    AtOffice,
    KeptByOffice,
    MissingAtOffice,
    AtRefiner,
    OnTheWay,
    WithBuyers,
    Settled,
    AlloyedOut,
    LostOnTheWay,
    Stolen,
    Destroyed,
    MeltLoss,
    FinishingLoss,
    AssayLoss,
    RefiningLoss,
    WeighingVariance,
    StocktakeVariance,
    /// Between two events: must be empty.
    InHand,
}

impl Place {
    /// The place that a heading is part of; none for what came in and for what is no metal by weight.
    pub const fn of(heading: H) -> Option<Self> {
        Some(match heading {
            H::Received | H::AlloyedIn | H::Revaluation => return None,
            H::AlloyedOut => Self::AlloyedOut,
            H::Unmelted => Self::Lots,
            H::Heels => Self::Heels,
            H::Crucible => Self::Crucible,
            H::InHand => Self::InHand,
            H::Jars(Residue::Prills) => Self::Prills,
            H::Jars(Residue::Lemel) => Self::Lemel,
            H::Jars(Residue::Sweeps) => Self::Sweeps,
            H::Pieces(state) => Self::of_state(state),
            H::AtRefiner => Self::AtRefiner,
            H::Settled => Self::Settled,
            H::MeltLoss => Self::MeltLoss,
            H::FinishingLoss => Self::FinishingLoss,
            H::AssayLoss => Self::AssayLoss,
            H::RefiningLoss => Self::RefiningLoss,
            H::WeighingVariance => Self::WeighingVariance,
            H::StocktakeVariance => Self::StocktakeVariance,
        })
    }

    pub const fn of_state(state: S) -> Self {
        match state {
            S::Poured | S::Graded | S::Serialled | S::Struck | S::MisStruck | S::Hallmarked | S::Unmarked => {
                Self::InWork
            }
            // The metal of these has gone on: nothing stands under them.
            S::Condemned | S::Remelted | S::Refined => Self::GivenUp,
            S::Archived => Self::Archived,
            S::Spare | S::Numbered | S::Certified | S::Reserved | S::Returned | S::BoughtBack => {
                Self::InStock
            }
            S::Sold => Self::SoldHere,
            S::AtOffice => Self::AtOffice,
            S::Kept => Self::KeptByOffice,
            S::Missing => Self::MissingAtOffice,
            S::Dispatched => Self::OnTheWay,
            S::Delivered => Self::WithBuyers,
            S::Lost => Self::LostOnTheWay,
            S::Stolen => Self::Stolen,
            S::Destroyed => Self::Destroyed,
        }
    }

    /// In which part of the world it is.
    pub const fn part(self) -> Part {
        match self {
            Self::Lots
            | Self::Crucible
            | Self::Heels
            | Self::Prills
            | Self::Lemel
            | Self::Sweeps
            | Self::InWork => Part::Here,
            Self::GivenUp | Self::Archived | Self::InStock | Self::SoldHere => Part::Here,
            Self::AtOffice
            | Self::KeptByOffice
            | Self::MissingAtOffice
            | Self::AtRefiner
            | Self::OnTheWay => Part::Away,
            Self::WithBuyers | Self::Settled | Self::AlloyedOut => Part::Gone,
            _ => Part::Lost,
        }
    }

    /// Its colour.
    pub const fn tone(self) -> Tone {
        match self {
            Self::InHand => Tone::Unexplained,
            place => place.part().tone(),
        }
    }

    /// What it is called: short, since it stands beside a ribbon on a telephone.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lots => "Lots, not melted yet",
            Self::Crucible => "In the crucible",
            Self::Heels => "Heels",
            Self::Prills => "Prills in jars",
            Self::Lemel => "Lemel in jars",
            Self::Sweeps => "Sweeps in jars",
            Self::InWork => "Pieces in work",
            Self::GivenUp => "Pieces given up, to be melted",
            Self::Archived => "Pieces kept, never for sale",
            Self::InStock => "Pieces in stock",
            Self::SoldHere => "Pieces sold, still here",
            Self::AtOffice => "At the assay office",
            Self::KeptByOffice => "Kept by the assay office",
            Self::MissingAtOffice => "Missing at the assay office",
            Self::AtRefiner => "At the refiner",
            Self::OnTheWay => "On the way to buyers",
            Self::WithBuyers => "With buyers",
            Self::Settled => "Paid for by the refiner",
            Self::AlloyedOut => "In other metals, as alloy",
            Self::LostOnTheWay => "Lost on the way to buyers",
            Self::Stolen => "Stolen",
            Self::Destroyed => "Destroyed",
            Self::MeltLoss => "Lost in melting",
            Self::FinishingLoss => "Jars short when emptied",
            Self::AssayLoss => "Taken for the assay",
            Self::RefiningLoss => "Lost in refining",
            Self::WeighingVariance => "Lighter when weighed again",
            Self::StocktakeVariance => "Missing at stock-takes",
            Self::InHand => "BETWEEN TWO ENTRIES",
        }
    }

    /// What it is called where it is below zero: more was there than before, so it comes in.
    pub const fn name_below_zero(self) -> &'static str {
        match self {
            Self::MeltLoss => "More out of melts than in",
            Self::FinishingLoss => "Jars fuller than booked",
            Self::AssayLoss => "Heavier from the office",
            Self::RefiningLoss => "More back from refining",
            Self::WeighingVariance => "Heavier when weighed again",
            Self::StocktakeVariance => "Found at stock-takes",
            place => place.name(),
        }
    }
}

/// A piece's state as a heading of pieces.
const fn of_pieces(state: S) -> &'static str {
    match state {
        S::Poured => "Pieces poured, not weighed",
        S::Graded => "Pieces graded",
        S::Condemned => "Pieces given up, to be melted",
        S::Remelted => "Pieces melted again",
        S::Refined => "Pieces sent to the refiner",
        S::Serialled => "Pieces with a serial",
        S::Struck => "Pieces struck",
        S::MisStruck => "Pieces mis-struck",
        S::Archived => "Pieces kept, never for sale",
        S::AtOffice => "Pieces at the assay office",
        S::Hallmarked => "Pieces hallmarked",
        S::Unmarked => "Pieces back without a mark",
        S::Kept => "Pieces kept or cut by the assay office",
        S::Missing => "Pieces missing at the assay office",
        S::Spare => "Spare pieces",
        S::Numbered => "Pieces numbered",
        S::Certified => "Pieces in stock, certified",
        S::Reserved => "Pieces kept for somebody",
        S::Sold => "Pieces sold, still here",
        S::Dispatched => "Pieces on their way",
        S::Delivered => "Pieces with their buyers",
        S::Lost => "Pieces lost in transit",
        S::Returned => "Pieces given back",
        S::BoughtBack => "Pieces bought back",
        S::Stolen => "Pieces stolen",
        S::Destroyed => "Pieces destroyed",
    }
}

/// A heading in words.
pub const fn named(heading: H) -> &'static str {
    match heading {
        H::Received => "Received, as weighed",
        H::AlloyedIn => "Alloy metal added",
        H::Revaluation => "Rounding of fineness",
        H::Pieces(state) => of_pieces(state),
        H::InHand => "Between two entries",
        heading => match Place::of(heading) {
            Some(place) => place.name(),
            None => "",
        },
    }
}
