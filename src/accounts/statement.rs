//! The metal statement: what came in, and under which heading every gram of it stands.
//!
//! Every figure is reckoned twice: from the rows of the book, which know where things are, and from the movements, which
//! know how they came there. A figure on which the two differ is not shown: one of them is wrong, which only a bug can do.

use super::{Heading, Reckoning};
use crate::domain::{Amount, MassStatement, Residue};
use crate::metal::{MassDifference, Metal};
use serde::Serialize;

/// One heading of a statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The heading.
    pub heading: Heading,
    /// How many pieces stand under it, if it is one of pieces.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pieces: Option<u64>,
    /// What stands under it.
    #[serde(flatten)]
    pub amount: Amount,
    /// How many movements led to it.
    pub movements: usize,
}

/// Where the metal of one kind is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Statement {
    /// The metal.
    pub metal: Metal,
    /// What came in, and every heading under which something stands or stood.
    pub lines: Vec<Line>,
    /// What came in less all other lines: zero.
    pub difference: Amount,
}

/// Why there is no statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StatementError {
    /// A sum is beyond the largest mass that can be written.
    #[error("a sum of {0} is beyond what can be written")]
    TooLarge(Metal),
    /// The rows of the book and the movements say otherwise.
    #[error("the rows of the book and the movements of {metal} differ under {heading}")]
    Differs {
        /// The metal.
        metal: Metal,
        /// The heading.
        heading: Heading,
    },
}

impl Reckoning {
    /// The statement of one metal.
    ///
    /// # Errors
    /// [`StatementError`].
    pub fn statement(&self, metal: Metal) -> Result<Statement, StatementError> {
        let large = StatementError::TooLarge(metal);
        let masses = self.book().masses(metal).ok_or(large)?;
        let mut lines = Vec::new();
        for heading in Heading::all() {
            let (pieces, amount) = by_rows(&masses, heading);
            if self.postings().amount(metal, heading).ok_or(large)? != amount {
                return Err(StatementError::Differs { metal, heading });
            }
            let movements = self.postings().count(metal, heading);
            if movements > 0 || heading == Heading::Received {
                lines.push(Line {
                    heading,
                    pieces,
                    amount,
                    movements,
                });
            }
        }
        let difference = masses.difference().ok_or(large)?;
        Ok(Statement {
            metal,
            lines,
            difference,
        })
    }
}

/// What the rows of the book say of a heading.
#[must_use]
pub fn by_rows(masses: &MassStatement, heading: Heading) -> (Option<u64>, Amount) {
    if let Heading::Pieces(state) = heading {
        let mut pieces = masses.pieces.iter();
        let of_state = pieces.find(|pieces| pieces.state == state);
        return (
            Some(of_state.map_or(0, |pieces| pieces.count)),
            of_state.map(|pieces| pieces.amount).unwrap_or_default(),
        );
    }
    (None, amount(masses, heading))
}

fn amount(masses: &MassStatement, heading: Heading) -> Amount {
    match heading {
        Heading::Received => masses.received,
        Heading::AlloyedIn => masses.alloyed_in,
        Heading::AlloyedOut => masses.alloyed_out,
        Heading::Unmelted => masses.unmelted,
        Heading::Heels => masses.heels,
        Heading::Crucible => masses.crucible,
        Heading::Jars(Residue::Prills) => masses.prills,
        Heading::Jars(Residue::Lemel) => masses.lemel,
        Heading::Jars(Residue::Sweeps) => masses.sweeps,
        Heading::InHand | Heading::Pieces(_) => Amount::default(),
        Heading::AtRefiner => masses.at_refiner,
        Heading::Settled => masses.settled,
        Heading::MeltLoss => masses.melt_loss,
        Heading::FinishingLoss => masses.finishing_loss,
        Heading::AssayLoss => masses.assay_loss,
        Heading::RefiningLoss => masses.refining_loss,
        Heading::WeighingVariance => masses.weighing_variance,
        Heading::StocktakeVariance => masses.stocktake_variance,
        Heading::Revaluation => Amount {
            mass: MassDifference::ZERO,
            fine: masses.revaluation,
        },
    }
}
