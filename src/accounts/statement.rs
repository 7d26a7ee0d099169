//! The metal statement: what came in, and under which heading every gram of it stands.

use super::{Heading, Reckoning};
use crate::domain::{Amount, MassStatement, Residue};
use crate::metal::{MassDifference, Metal};
use serde::Serialize;

/// One heading of a statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The heading.
    pub heading: Heading,
    /// What stands under it.
    #[serde(flatten)]
    pub amount: Amount,
}

/// Where the metal of one kind is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Statement {
    /// The metal.
    pub metal: Metal,
    /// Every heading under which something stands, and what came in.
    pub lines: Vec<Line>,
    /// What came in less all other lines: zero.
    pub difference: Amount,
}

impl Reckoning {
    /// The statement of one metal. `None` beyond the largest mass that can be written.
    #[must_use]
    pub fn statement(&self, metal: Metal) -> Option<Statement> {
        let masses = self.book().masses(metal)?;
        let lines = Heading::all().map(|heading| Line {
            heading,
            amount: amount(&masses, heading),
        });
        Some(Statement {
            metal,
            lines: lines
                .filter(|line| line.heading == Heading::Received || line.amount != Amount::default())
                .collect(),
            difference: masses.difference()?,
        })
    }
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
        Heading::Pieces(state) => {
            let mut pieces = masses.pieces.iter();
            let of_state = pieces.find(|pieces| pieces.state == state);
            of_state.map(|pieces| pieces.amount).unwrap_or_default()
        }
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
