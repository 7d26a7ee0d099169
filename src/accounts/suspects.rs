//! Which lots may be behind an assay that contradicts what was declared: a suspicion, never a fact.
//!
//! An assay speaks of a melt, and a melt is mixed from lots: found = sum of share x true fineness. So for each lot of a
//! melt that was found too low it is reckoned what fineness that lot *alone* would need to have, all others being as
//! declared. With several assays of melts that hold the lot, the shortfall `d` of the lot is the least squares solution
//! of shortfall of the melt = share x d, all assays weighing the same: d = sum(share x shortfall) / sum(share^2), with
//! the expanded uncertainty U(d) = U / sqrt(sum(share^2)) of independent assays (JCGM 100:2008, 5.1.2).
//!
//! A lot is not suspected where the fineness it would need cannot be, where it does not explain every assay that
//! contradicts, or where a melt that agreed speaks for it: with the lot as low as it would have to be, that melt could not
//! have been found, or marked, as it was. Where no lot is suspected, it was more than one, or something else.
//!
//! Fractions are exact up to the printed figure; the root is rounded up. Deliberately absent: proof of anything, and two
//! lots at a time.

use super::exact;
use super::shares::Shares;
use crate::domain::{Book, LotId, Melt, MeltId, Piece, PieceId};
use crate::metal::{Fineness, Metal, assay_uncertainty};
use num_bigint::{BigInt, BigUint};
use num_rational::BigRational;
use num_traits::{Signed as _, Zero as _};
use serde::Serialize;
use std::collections::BTreeSet;

/// Steps of fineness in a part per thousand.
pub const UNITS_PER_MILLE: i64 = 10_000;
/// Steps of fineness in a tenth of a part per thousand, to which finenesses are printed here.
const UNITS_OF_A_TENTH: u32 = 1_000;

/// What an assay office says of a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "says", rename_all = "snake_case")]
pub enum Finding {
    /// A figure.
    Found {
        /// The fineness, parts per thousand.
        fineness: Fineness,
    },
    /// Refused for its fineness, without a figure: it is below this.
    Below {
        /// What was claimed, parts per thousand.
        fineness: Fineness,
    },
    /// Marked: it is at least this.
    AtLeast {
        /// What the mark says, parts per thousand.
        fineness: Fineness,
    },
}

/// One finding, held against what was declared of the lots in its melt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Observation {
    /// The piece.
    pub piece: PieceId,
    /// Its melt.
    pub melt: MeltId,
    /// What was found.
    pub finding: Finding,
    /// The blend of the melt as declared, steps of fineness.
    pub declared: BigRational,
    /// Whether it contradicts that, beyond the uncertainty of the assay.
    pub contradicts: bool,
}

impl Observation {
    /// Declared less found, steps of fineness; of a refusal without a figure the least that it can be.
    fn shortfall(&self) -> BigRational {
        let (Finding::Found { fineness } | Finding::Below { fineness } | Finding::AtLeast { fineness }) =
            self.finding;
        &self.declared - exact::whole(fineness.units())
    }

    const fn has_figure(&self) -> bool {
        matches!(self.finding, Finding::Found { .. })
    }
}

/// One lot in a melt that was found too low.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suspect {
    /// The lot.
    pub lot: LotId,
    /// The fineness that it would need to have alone, steps of fineness; below zero cannot be.
    pub needed: BigRational,
    /// Whether that is only the most that it could be, since the office gave no figure.
    pub at_most: bool,
    /// The expanded uncertainty (k = 2) of that, steps of fineness, rounded up; none without a figure.
    pub uncertainty: Option<BigUint>,
    /// Whether such a fineness can be: not below zero, and below what was declared.
    pub possible: bool,
    /// Whether it explains every finding that contradicts.
    pub explains: bool,
    /// The melts whose findings could not be as they are if it were so low.
    pub spoken_for_by: Vec<MeltId>,
}

impl Suspect {
    /// Whether it alone may be behind what was found.
    #[must_use]
    pub fn is_suspected(&self) -> bool {
        self.possible && self.explains && self.spoken_for_by.is_empty()
    }

    /// The fineness that it would need, parts per thousand to 0.1.
    #[must_use]
    pub fn needed_text(&self) -> String {
        exact::rounded(&exact::by(&self.needed, UNITS_PER_MILLE), 1)
    }

    /// Its expanded uncertainty, parts per thousand, rounded up to 0.1.
    #[must_use]
    pub fn uncertainty_text(&self) -> Option<String> {
        let tenths = self.uncertainty.as_ref()?.clone() + (UNITS_OF_A_TENTH - 1);
        Some(exact::count_text(&BigInt::from(tenths / UNITS_OF_A_TENTH), 1))
    }
}

/// What the assays of one metal say of its lots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suspicion {
    /// The metal.
    pub metal: Metal,
    /// Expanded uncertainty (k = 2) of one assay, parts per thousand.
    pub uncertainty: Fineness,
    /// What the assay offices said, in the order of the melts.
    pub observations: Vec<Observation>,
    /// The lots of melts that were found too low, those suspected first.
    pub suspects: Vec<Suspect>,
}

/// What the assays of a metal say of its lots. `stated` is the expanded uncertainty (k = 2) that the assay office states;
/// else it is the table's. `None` for a metal that is not assayed.
#[must_use]
pub fn suspicion(book: &Book, shares: &Shares, metal: Metal, stated: Option<Fineness>) -> Option<Suspicion> {
    let uncertainty = stated.or_else(|| assay_uncertainty(metal))?;
    let observations = observations(book, shares, metal, uncertainty);
    let mut lots = BTreeSet::new();
    for observation in observations.iter().filter(|observation| observation.contradicts) {
        let mixture = shares.melt(observation.melt);
        lots.extend(
            mixture
                .into_iter()
                .flat_map(|mixture| mixture.parts().map(|(lot, _)| lot)),
        );
    }
    let suspects = lots
        .into_iter()
        .filter_map(|lot| suspect(book, shares, lot, &observations, uncertainty));
    let mut suspects: Vec<Suspect> = suspects.collect();
    let number = |lot: LotId| book.lot(lot).map(|lot| lot.number);
    suspects.sort_by_key(|suspect| (!suspect.is_suspected(), number(suspect.lot)));
    Some(Suspicion {
        metal,
        uncertainty,
        observations,
        suspects,
    })
}

fn observations(book: &Book, shares: &Shares, metal: Metal, uncertainty: Fineness) -> Vec<Observation> {
    let mut melts: Vec<&Melt> = book.melts().filter(|melt| melt.metal == metal).collect();
    melts.sort_by_key(|melt| (melt.since, melt.melt));
    let within = exact::whole(uncertainty.units());
    let mut observations = Vec::new();
    for melt in melts {
        let Some(mixture) = shares.melt(melt.melt) else {
            continue;
        };
        // Fine metal in one step of mass, in picograms, is fineness in its steps.
        let declared = shares.fine(book, metal, mixture, 1);
        let pieces = melt.pieces.iter().filter_map(|piece| book.piece(*piece));
        for (piece, finding) in pieces.filter_map(|piece| Some((piece.piece, finding(piece)?))) {
            let mut observation = Observation {
                piece,
                melt: melt.melt,
                finding,
                declared: declared.clone(),
                contradicts: false,
            };
            let shortfall = observation.shortfall();
            observation.contradicts = match finding {
                Finding::Found { .. } => shortfall > within,
                Finding::Below { .. } => !shortfall.is_negative(),
                Finding::AtLeast { .. } => false,
            };
            observations.push(observation);
        }
    }
    observations
}

/// What was said of a piece: a figure before a refusal, a refusal before a mark, since a piece may be marked at a lower
/// standard after it was refused.
fn finding(piece: &Piece) -> Option<Finding> {
    let figure = piece.assay.map(|fineness| Finding::Found { fineness });
    let refusal = piece.refused_at.map(|fineness| Finding::Below { fineness });
    let mark = piece.hallmark.as_ref().map(|hallmark| Finding::AtLeast {
        fineness: hallmark.fineness,
    });
    figure.or(refusal).or(mark)
}

fn suspect(
    book: &Book,
    shares: &Shares,
    lot: LotId,
    observations: &[Observation],
    uncertainty: Fineness,
) -> Option<Suspect> {
    let row = book.lot(lot)?;
    let of_lot: Vec<(BigRational, &Observation)> = observations
        .iter()
        .map(|observation| {
            let mixture = shares.melt(observation.melt);
            let share = mixture.map_or_else(BigRational::zero, |mixture| mixture.share(lot));
            (share, observation)
        })
        .collect();
    let with_figure = || of_lot.iter().filter(|(_, observation)| observation.has_figure());
    let squares: BigRational = with_figure().map(|(share, _)| share * share).sum();
    let products: BigRational = with_figure()
        .map(|(share, observation)| share * observation.shortfall())
        .sum();
    let (lower_by, at_most) = match exact::over(&products, &squares) {
        Some(lower_by) => (lower_by, false),
        None => (least_shortfall(&of_lot)?, true),
    };
    let declared = if book.melt(of_lot.first()?.1.melt)?.metal == row.metal {
        exact::whole(row.fineness.units())
    } else {
        BigRational::zero()
    };
    let within = exact::whole(uncertainty.units());
    let spread = (!at_most).then(|| root_rounded_up(&(&within * &within / &squares)));
    let needed = declared - &lower_by;
    let held = Held {
        lower_by: &lower_by,
        within: &within,
    };
    let mut spoken_for_by: Vec<MeltId> = Vec::new();
    for (share, observation) in &of_lot {
        if held.is_against(share, observation) && spoken_for_by.last() != Some(&observation.melt) {
            spoken_for_by.push(observation.melt);
        }
    }
    Some(Suspect {
        lot,
        possible: lower_by.is_positive() && !needed.is_negative(),
        explains: of_lot
            .iter()
            .filter(|(_, observation)| observation.contradicts)
            .all(|(share, observation)| held.explains(share, observation)),
        needed,
        at_most,
        uncertainty: spread,
        spoken_for_by,
    })
}

/// By how much a lot must be lower at least, where an office gave no figure; none where none refused a melt with it.
fn least_shortfall(of_lot: &[(BigRational, &Observation)]) -> Option<BigRational> {
    let refused = of_lot.iter().filter(|(_, observation)| observation.contradicts);
    refused
        .filter_map(|(share, observation)| exact::over(&observation.shortfall(), share))
        .max()
}

/// A lot supposed to be so much lower than declared.
struct Held<'a> {
    lower_by: &'a BigRational,
    within: &'a BigRational,
}

impl Held<'_> {
    /// What would be left of a shortfall.
    fn left(&self, share: &BigRational, observation: &Observation) -> BigRational {
        observation.shortfall() - share * self.lower_by
    }

    fn explains(&self, share: &BigRational, observation: &Observation) -> bool {
        if share.is_zero() {
            return false;
        }
        let left = self.left(share, observation);
        match observation.finding {
            Finding::Found { .. } => left.abs() <= *self.within,
            Finding::Below { .. } | Finding::AtLeast { .. } => left <= *self.within,
        }
    }

    /// Whether a finding that agreed could then not be: the melt would be lower than it was found, or marked.
    fn is_against(&self, share: &BigRational, observation: &Observation) -> bool {
        let says_enough = !observation.contradicts && !matches!(observation.finding, Finding::Below { .. });
        says_enough && !share.is_zero() && -self.left(share, observation) > *self.within
    }
}

/// The square root, rounded up to a whole number.
fn root_rounded_up(square: &BigRational) -> BigUint {
    let square = square.ceil().to_integer();
    let root = square.magnitude().sqrt();
    if &root * &root < *square.magnitude() {
        root + 1_u8
    } else {
        root
    }
}
