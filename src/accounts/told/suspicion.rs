//! A suspicion as it is told.

use super::super::exact;
use super::super::suspects::{Finding, Observation, Suspect, Suspicion, UNITS_PER_MILLE};
use crate::domain::{Book, LotId, MeltId, PieceId};
use crate::metal::{Fineness, Metal};
use num_traits::Signed as _;
use serde::Serialize;

/// What a suspicion is, said with every one.
pub const SUSPICION: &str = "A suspicion, not a fact: each lot alone is held against the assays, as if all others were \
                             as declared. Have the lot itself assayed before anything is said of its seller.";

/// What an assay office said, as it is told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ObservationTold {
    /// The piece.
    pub piece: PieceId,
    /// Its melt.
    pub melt: MeltId,
    /// The number of the melt in the workshop.
    pub number: u32,
    /// What was found.
    #[serde(flatten)]
    pub finding: Finding,
    /// The blend of the melt as declared, parts per thousand to 0.1.
    pub declared: String,
    /// Whether it contradicts that.
    pub contradicts: bool,
}

/// One lot under suspicion, or not, as it is told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SuspectTold {
    /// The lot.
    pub lot: LotId,
    /// Its number in the workshop.
    pub number: u32,
    /// As declared, parts per thousand.
    pub declared: Fineness,
    /// Whether it alone may be behind what was found.
    pub suspected: bool,
    /// The fineness that it would need alone, parts per thousand to 0.1; none where that is below zero, which cannot be.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub needed: Option<String>,
    /// Whether that is only the most that it could be.
    pub at_most: bool,
    /// Its expanded uncertainty (k = 2), parts per thousand, rounded up to 0.1; none where no figure was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<String>,
    /// Whether such a fineness can be.
    pub possible: bool,
    /// Whether it explains every finding that contradicts.
    pub explains: bool,
    /// The melts that speak for it.
    pub spoken_for_by: Vec<MeltId>,
}

/// A suspicion as it is told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SuspicionTold {
    /// What it is.
    pub note: &'static str,
    /// The metal.
    pub metal: Metal,
    /// Expanded uncertainty (k = 2) of one assay, parts per thousand.
    pub assay_uncertainty: Fineness,
    /// What the assay offices said.
    pub assays: Vec<ObservationTold>,
    /// The lots of melts that were found too low.
    pub lots: Vec<SuspectTold>,
}

impl SuspicionTold {
    /// Of what was reckoned.
    #[must_use]
    pub fn of(book: &Book, suspicion: &Suspicion) -> Self {
        Self {
            note: SUSPICION,
            metal: suspicion.metal,
            assay_uncertainty: suspicion.uncertainty,
            assays: suspicion
                .observations
                .iter()
                .map(|observation| observed(book, observation))
                .collect(),
            lots: suspicion
                .suspects
                .iter()
                .filter_map(|suspect| suspected(book, suspect))
                .collect(),
        }
    }
}

fn observed(book: &Book, observation: &Observation) -> ObservationTold {
    ObservationTold {
        piece: observation.piece,
        melt: observation.melt,
        number: book.melt(observation.melt).map_or(0, |melt| melt.number),
        finding: observation.finding,
        declared: exact::rounded(&exact::by(&observation.declared, UNITS_PER_MILLE), 1),
        contradicts: observation.contradicts,
    }
}

fn suspected(book: &Book, suspect: &Suspect) -> Option<SuspectTold> {
    let row = book.lot(suspect.lot)?;
    Some(SuspectTold {
        lot: suspect.lot,
        number: row.number,
        declared: row.fineness,
        suspected: suspect.is_suspected(),
        needed: (!suspect.needed.is_negative()).then(|| suspect.needed_text()),
        at_most: suspect.at_most,
        uncertainty: suspect.uncertainty_text(),
        possible: suspect.possible,
        explains: suspect.explains,
        spoken_for_by: suspect.spoken_for_by.clone(),
    })
}
