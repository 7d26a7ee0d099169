//! Shares and recalls as the API and the command line tell them; what metal cost and a suspicion in files of their own.

mod cost;
mod suspicion;

pub use cost::{CostLineTold, CostTold, PieceCost};
pub use suspicion::{ObservationTold, SuspectTold, SuspicionTold};

use super::Reckoning;
use super::exact::{self, Grams};
use super::holders::Place;
use super::mixture::Mixture;
use super::recall::{Held, Source, recall};
use super::shares::{Origin, Shares};
use super::suspects::suspicion as suspicion_of;
use crate::domain::{Book, LotId, MeltId, Piece, PieceId, RefiningId, SaleId, Serial};
use crate::metal::{Fineness, Mass, Metal};
use serde::Serialize;

/// The model, said with every answer.
pub const MODEL: &str = "well mixed: all that comes out of a melt, or of a jar, has the shares of what went in; an \
                         outturn comes from the lots by the fine metal that each brought";

/// One lot in a metal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LotShare {
    /// The lot.
    pub lot: LotId,
    /// Its number in the workshop.
    pub number: u32,
    /// Its metal.
    pub metal: Metal,
    /// As declared, parts per thousand.
    pub fineness: Fineness,
    /// The refining that it came back from, if it is an outturn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outturn_of: Option<RefiningId>,
    /// Its share of the mass, in lowest terms.
    pub share: String,
    /// How much of it there is.
    pub mass: Grams,
    /// How much fine metal comes of it, as declared.
    pub fine: Grams,
}

/// One receipt behind a metal, looked through outturns.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct OriginShare {
    /// The lot, if it was received as one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<LotId>,
    /// The refining that found it, if it was more than was sent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found_by: Option<RefiningId>,
    /// The number of either in the workshop.
    pub number: u32,
    /// Its share of the mass, in lowest terms.
    pub share: String,
    /// How much of it there is.
    pub mass: Grams,
}

/// A share and its mass.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ShareMass {
    /// The share, in lowest terms.
    pub share: String,
    /// The mass.
    pub mass: Grams,
}

/// Where a metal came from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SharesTold {
    /// The model.
    pub model: &'static str,
    /// Its mass, grams: of a piece by its last reading, of a melt its charge. Nothing, where it was not weighed yet.
    pub mass: Mass,
    /// Its fine metal, as its lots are declared.
    pub fine: Grams,
    /// By lot, in the order of their numbers.
    pub lots: Vec<LotShare>,
    /// By what was received, where there is an outturn among the lots.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub origins: Option<Vec<OriginShare>>,
    /// What is not traced: zero, unless a denominator outgrew its bound.
    pub untraced: ShareMass,
}

/// Where the metal of a piece came from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PieceShares {
    /// The piece.
    pub piece: PieceId,
    /// Its pour number.
    pub pour: String,
    /// Its serial, if it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<Serial>,
    /// Its melt.
    pub melt: MeltId,
    /// Of which lots it is.
    #[serde(flatten)]
    pub shares: SharesTold,
}

impl Reckoning {
    /// Where the metal of a piece came from. `None` for one whose melt is not known.
    #[must_use]
    pub fn shares_of_piece(&self, piece: &Piece) -> Option<PieceShares> {
        Some(PieceShares {
            piece: piece.piece,
            pour: piece.pour.clone(),
            serial: piece.serial.clone(),
            melt: piece.melt,
            shares: self.shares_of(piece.melt, piece.mass().unwrap_or(Mass::ZERO))?,
        })
    }

    /// What the assays of every metal say of its lots, for metals of which there are any. `stated` is the expanded
    /// uncertainty (k = 2) that the assay office states; else it is the table's.
    #[must_use]
    pub fn suspects(&self, stated: Option<Fineness>) -> Vec<SuspicionTold> {
        let (book, shares) = (self.book(), self.shares());
        let suspicions = Metal::ALL
            .into_iter()
            .filter_map(|metal| suspicion_of(book, &shares, metal, stated));
        suspicions
            .filter(|suspicion| !suspicion.observations.is_empty())
            .map(|suspicion| SuspicionTold::of(book, &suspicion))
            .collect()
    }

    /// Where the metal of a melt came from, for a mass of it. `None` for a melt that is not known.
    #[must_use]
    pub fn shares_of(&self, melt: MeltId, mass: Mass) -> Option<SharesTold> {
        SharesTold::of(self.book(), &self.shares(), melt, mass)
    }

    /// Everything that holds metal of a lot or a melt. `None` for one that is not known.
    #[must_use]
    pub fn recall(&self, source: Source) -> Option<RecallTold> {
        RecallTold::of(self.book(), &self.shares(), source)
    }
}

impl SharesTold {
    /// Of a mass of a melt. `None` for a melt that is not known.
    #[must_use]
    pub fn of(book: &Book, shares: &Shares, melt: MeltId, mass: Mass) -> Option<Self> {
        let (mixture, metal) = (shares.melt(melt)?, book.melt(melt)?.metal);
        let units = mass.units();
        let mut lots: Vec<LotShare> = mixture
            .parts()
            .filter_map(|(lot, share)| {
                let row = book.lot(lot)?;
                let share = exact::part(share, mixture.whole());
                let mass = exact::times(&share, units);
                let fineness = if row.metal == metal {
                    row.fineness
                } else {
                    Fineness::ZERO
                };
                let fine = exact::times(&mass, i64::from(fineness.units()));
                Some(LotShare {
                    lot,
                    number: row.number,
                    metal: row.metal,
                    fineness: row.fineness,
                    outturn_of: row.outturn_of,
                    share: exact::text(&share),
                    mass: Grams::of_units(&mass),
                    fine: Grams::of_picograms(&fine),
                })
            })
            .collect();
        lots.sort_by_key(|lot| lot.number);
        let outturned = lots.iter().any(|lot| lot.outturn_of.is_some());
        let untraced = mixture.untraced();
        Some(Self {
            model: MODEL,
            mass,
            fine: Grams::of_picograms(&shares.fine(book, metal, mixture, units)),
            lots,
            origins: outturned.then(|| origins(book, shares, mixture, units)),
            untraced: ShareMass {
                share: exact::text(&untraced),
                mass: Grams::of_units(&exact::times(&untraced, units)),
            },
        })
    }
}

fn origins(book: &Book, shares: &Shares, mixture: &Mixture<LotId>, units: i64) -> Vec<OriginShare> {
    let looked_through = shares.origins(mixture);
    let told = looked_through.parts().filter_map(|(origin, share)| {
        let share = exact::part(share, looked_through.whole());
        let (lot, found_by, number) = match origin {
            Origin::Lot(lot) => (Some(lot), None, book.lot(lot)?.number),
            Origin::Found(refining) => (None, Some(refining), book.refining(refining)?.number),
        };
        Some(OriginShare {
            lot,
            found_by,
            number,
            share: exact::text(&share),
            mass: Grams::of_units(&exact::times(&share, units)),
        })
    });
    let mut told: Vec<OriginShare> = told.collect();
    told.sort_by_key(|origin| (origin.found_by.is_some(), origin.number));
    told
}

/// What holds some of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HeldTold {
    /// Where.
    #[serde(flatten)]
    pub place: Place,
    /// The number of the lot, melt or refining that it names, in the workshop.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub number: Option<u32>,
    /// The pour number of a piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pour: Option<String>,
    /// The serial of a piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<Serial>,
    /// The sale by which a customer has or gets it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sale: Option<SaleId>,
    /// All that is there, with its sign, grams.
    pub whole: String,
    /// The share of it, in lowest terms; none for the loss of a refining.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share: Option<String>,
    /// How much of it there is.
    pub mass: Grams,
}

/// A recall: all of it, before a page is cut out.
pub struct RecallTold {
    /// What holds some of it.
    pub held: Vec<HeldTold>,
    /// How much there was: what was received, or the charge.
    pub all: Grams,
    /// How much of that is not traced to a holder: zero, unless a denominator outgrew its bound.
    pub untraced: Grams,
}

impl RecallTold {
    /// Of a lot or a melt. `None` for one that is not known.
    #[must_use]
    pub fn of(book: &Book, shares: &Shares, source: Source) -> Option<Self> {
        let all = match source {
            Source::Lot(lot) => book.lot(lot)?.mass.mass(),
            Source::Melt(melt) => book.melt(melt)?.charge,
        };
        let all = exact::whole(all.units());
        let held = recall(book, shares, source);
        // Over one denominator first: thousands of long fractions are not added one by one.
        let found = exact::sum(held.iter().map(|held| &held.of_it));
        Some(Self {
            held: held.iter().map(|held| told(book, held)).collect(),
            untraced: Grams::of_units(&(&all - found)),
            all: Grams::of_units(&all),
        })
    }
}

fn told(book: &Book, held: &Held) -> HeldTold {
    let piece = match held.place {
        Place::Piece { piece, .. } | Place::AssayLoss { piece } | Place::WeighingVariance { piece } => {
            book.piece(piece)
        }
        _ => None,
    };
    let number = match held.place {
        Place::Unmelted { lot } | Place::LotVariance { lot } => book.lot(lot).map(|lot| lot.number),
        Place::Heel { melt }
        | Place::Crucible { melt }
        | Place::MeltLoss { melt }
        | Place::JarLoss { melt, .. }
        | Place::HeelVariance { melt }
        | Place::JarVariance { melt, .. } => book.melt(melt).map(|melt| melt.number),
        Place::AtRefiner { refining }
        | Place::Settled { refining }
        | Place::RefiningLoss { refining }
        | Place::SentJarLoss { refining, .. } => book.refining(refining).map(|refining| refining.number),
        Place::Jar { .. }
        | Place::Piece { .. }
        | Place::AssayLoss { .. }
        | Place::WeighingVariance { .. } => None,
    };
    HeldTold {
        place: held.place,
        number,
        pour: piece.map(|piece| piece.pour.clone()),
        serial: piece.and_then(|piece| piece.serial.clone()),
        sale: piece.and_then(|piece| piece.sale),
        whole: Grams::of_units(&exact::whole(held.units)).grams,
        share: held.share.as_ref().map(exact::text),
        mass: Grams::of_units(&held.of_it),
    }
}
