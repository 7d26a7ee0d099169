//! What metal cost, as it is told: exact, and to the penny so that the parts add up to the sum.

use super::super::Reckoning;
use super::super::costs::{COST_DECIMALS, Carrying, Cost, CostLine, Ground, Prices, apportioned};
use super::super::exact;
use crate::domain::{Book, LotId, Piece};
use crate::metal::Currency;
use num_rational::BigRational;
use serde::Serialize;

/// An amount of one currency, exact and to the penny.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CostTold {
    /// The currency.
    pub currency: Currency,
    /// The fraction.
    pub exact: String,
    /// With two decimals.
    pub amount: String,
}

/// One lot's part of a cost.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CostLineTold {
    /// The lot.
    pub lot: LotId,
    /// Its number in the workshop.
    pub number: u32,
    /// Which part of its purchase, in lowest terms.
    pub part: String,
    /// Why it costs what it costs.
    pub ground: Ground,
    /// What that part cost, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<CostTold>,
}

/// What the metal of a piece cost.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PieceCost {
    /// Whether the whole cost is known; if not, the sums are a part of it.
    pub known: bool,
    /// What is known of it.
    pub sums: Vec<CostTold>,
    /// By lot received, in the order of their numbers.
    pub lots: Vec<CostLineTold>,
}

impl PieceCost {
    /// Of the metal of a piece, with the prices that `prices` knows of the lots that it is asked for.
    ///
    /// # Errors
    /// What `prices` fails with.
    pub fn of<E>(
        reckoning: &Reckoning,
        piece: &Piece,
        prices: impl FnOnce(&[LotId]) -> Result<Prices, E>,
    ) -> Result<Self, E> {
        let (book, shares) = (reckoning.book(), reckoning.shares());
        let (Some(mixture), Some(mass)) = (shares.melt(piece.melt), piece.mass()) else {
            // What was not weighed yet has a cost that nobody knows.
            return Ok(Self::told(book, &Cost::default()));
        };
        let carried = Carrying::of(book, &shares).mixture(mixture, mass.units());
        let lots: Vec<LotId> = carried.lots.keys().copied().collect();
        Ok(Self::told(book, &Cost::of(book, &carried, &prices(&lots)?)))
    }

    fn told(book: &Book, cost: &Cost) -> Self {
        let of_sum = |(currency, sum): (&Currency, &BigRational)| CostTold {
            currency: *currency,
            exact: exact::text(sum),
            amount: exact::rounded(sum, COST_DECIMALS),
        };
        let mut lots: Vec<CostLineTold> = Vec::new();
        for currency in cost.sums.keys() {
            let of_currency = cost.lines.iter().filter_map(|line| {
                let (of_it, cost) = line.cost.as_ref()?;
                (of_it == currency).then_some((line, cost))
            });
            let of_currency: Vec<_> = of_currency.collect();
            let figures: Vec<BigRational> = of_currency.iter().map(|(_, cost)| (*cost).clone()).collect();
            let printed = apportioned(&figures, COST_DECIMALS);
            for ((line, cost), printed) in of_currency.into_iter().zip(printed) {
                let cost = CostTold {
                    currency: *currency,
                    exact: exact::text(cost),
                    amount: exact::count_text(&printed, COST_DECIMALS),
                };
                lots.push(line_told(book, line, Some(cost)));
            }
        }
        let without = cost.lines.iter().filter(|line| line.cost.is_none());
        lots.extend(without.map(|line| line_told(book, line, None)));
        lots.sort_by_key(|line| line.number);
        Self {
            known: cost.whole,
            sums: cost.sums.iter().map(of_sum).collect(),
            lots,
        }
    }
}

fn line_told(book: &Book, line: &CostLine, cost: Option<CostTold>) -> CostLineTold {
    CostLineTold {
        lot: line.lot,
        number: book.lot(line.lot).map_or(0, |lot| lot.number),
        part: exact::text(&line.part),
        ground: line.ground,
        cost,
    }
}
