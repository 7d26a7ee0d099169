//! The headings under which every gram stands, and their names.

use crate::domain::{PieceState, Residue};
use serde::{Serialize, Serializer};
use std::fmt;
use std::str::FromStr;

/// A heading of the metal statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Heading {
    /// Lots as they were weighed when they came in; an outturn is none.
    Received,
    /// Alloy metal that went into melts of this metal; no fine metal comes with it.
    AlloyedIn,
    /// Of an alloy metal: what went into melts of other metals.
    AlloyedOut,
    /// What lots still hold, outturns among them.
    Unmelted,
    /// Heels that no melt has taken.
    Heels,
    /// In open melts, less what was weighed from the mould.
    Crucible,
    /// Between two events of one entry: empty after every entry.
    InHand,
    /// In jars of one kind of residue. Of sweeps nothing: their weight is no metal in the book.
    Jars(Residue),
    /// Pieces in one state, wherever they are.
    Pieces(PieceState),
    /// Sent to the refiner, and not accounted for yet.
    AtRefiner,
    /// What refiners kept and paid for, at their assay.
    Settled,
    /// Charges less what came out of them.
    MeltLoss,
    /// What jars were short of when they were emptied.
    FinishingLoss,
    /// What the assay office took off pieces.
    AssayLoss,
    /// What went to refiners less what came back and what was settled.
    RefiningLoss,
    /// Pieces weighed again that showed another mass, without anything filed off or taken at the office.
    WeighingVariance,
    /// What stock-takes found missing of lots, heels and in jars; below zero what they found more.
    StocktakeVariance,
    /// Fine metal that a rounding down gave up: of blends, and of residues to their jar's fineness.
    Revaluation,
}

impl Heading {
    /// Every heading, in the order in which a statement lists them: what came in first.
    pub fn all() -> impl Iterator<Item = Self> {
        let jars = Residue::ALL.iter().copied().map(Self::Jars);
        let pieces = PieceState::ALL.iter().copied();
        let first = [
            Self::Received,
            Self::AlloyedIn,
            Self::AlloyedOut,
            Self::Unmelted,
            Self::Heels,
            Self::Crucible,
            Self::InHand,
        ];
        let last = [
            Self::AtRefiner,
            Self::Settled,
            Self::MeltLoss,
            Self::FinishingLoss,
            Self::AssayLoss,
            Self::RefiningLoss,
            Self::WeighingVariance,
            Self::StocktakeVariance,
            Self::Revaluation,
        ];
        first
            .into_iter()
            .chain(jars)
            .chain(pieces.map(Self::Pieces))
            .chain(last)
    }

    /// Whether metal that stands here came in; under all others it went on to.
    #[must_use]
    pub const fn is_receipt(self) -> bool {
        matches!(self, Self::Received | Self::AlloyedIn)
    }
}

/// As the API and the command line spell it.
impl fmt::Display for Heading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Received => "received",
            Self::AlloyedIn => "alloyed_in",
            Self::AlloyedOut => "alloyed_out",
            Self::Unmelted => "unmelted",
            Self::Heels => "heels",
            Self::Crucible => "crucible",
            Self::InHand => "in_hand",
            Self::Jars(residue) => residue.word(),
            Self::Pieces(state) => return write!(f, "pieces_{}", state.word()),
            Self::AtRefiner => "at_refiner",
            Self::Settled => "settled",
            Self::MeltLoss => "melt_loss",
            Self::FinishingLoss => "finishing_loss",
            Self::AssayLoss => "assay_loss",
            Self::RefiningLoss => "refining_loss",
            Self::WeighingVariance => "weighing_variance",
            Self::StocktakeVariance => "stocktake_variance",
            Self::Revaluation => "revaluation",
        })
    }
}

impl FromStr for Heading {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        Self::all().find(|heading| heading.to_string() == text).ok_or(())
    }
}

impl Serialize for Heading {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
