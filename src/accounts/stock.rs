//! What the workshop's stock is worth: at cost, at spot, and for the insurer.
//!
//! Stock is the workshop's own precious metal that it still has: lots, heels, the crucible, jars, what is at the refiner, and
//! every piece that is not sold, lost, kept by the assay office, stolen or gone. A customer's metal is none of it, also where
//! it is mixed in. The rules:
//! - *At cost*: what its metal cost, by shares; not known where a lot has no price.
//! - *At spot*: its fine metal as declared, by the spot price of its metal with the latest time among those that were recorded
//!   before the position; not known without one. Alloy metals are worth nothing at spot.
//! - *For the insurer*: the greater of the two, and a charge for making on pieces, if one is asked for; not known unless both
//!   are. On which basis stock is covered, and whether what is at the assay office or the refiner is, is asked of the insurer.
//! - Exact; rounded where it is printed, so that the lines add up to their printed sums (largest remainders).
//!
//! Deliberately absent: work, marks and dies in the cost of a piece, its selling price, and rates of exchange.

use super::Reckoning;
use super::costs::{COST_DECIMALS, Carrying, Cost, Prices, apportioned};
use super::exact;
use super::holders::{Holder, Place, holders};
use super::mixture::Mixture;
use crate::domain::{Book, LotId, PieceState, Spot, SpotId, Timestamp};
use crate::metal::{Currency, FineMass, Metal, Money, OUNCE_PICOGRAMS, Percent, Rounding};
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{ToPrimitive as _, Zero as _};
use serde::Serialize;
use std::collections::BTreeMap;

/// The rule for the insurer, said with every value.
pub const INSURERS_RULE: &str = "For the insurer: the greater of what the metal cost and what it is worth at spot, and the charge for \
                                 making on pieces. Ask the insurer on which basis stock is covered, and whether away from the \
                                 workshop.";

/// The states of a piece in which it is the workshop's stock.
const IN_STOCK: [PieceState; 16] = [
    PieceState::Poured,
    PieceState::Graded,
    PieceState::Condemned,
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::MisStruck,
    PieceState::Archived,
    PieceState::AtOffice,
    PieceState::Hallmarked,
    PieceState::Unmarked,
    PieceState::Spare,
    PieceState::Numbered,
    PieceState::Certified,
    PieceState::Reserved,
    PieceState::Returned,
    PieceState::BoughtBack,
];

/// A spot price that stock is valued at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SpotUsed {
    /// The metal.
    pub metal: Metal,
    /// Which.
    pub spot: SpotId,
    /// Of a troy ounce.
    pub price: Money,
    /// When it was the price.
    pub priced_at: Timestamp,
    /// How much older it is than the last entry, seconds.
    pub age_seconds: i64,
}

/// A value, or that it is not known.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Value {
    /// Whether the whole of it is known; if not, the amounts are a part of it.
    pub known: bool,
    /// What is known, by currency.
    pub amounts: Vec<Money>,
}

/// One holder of stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct StockLine {
    /// Where it is.
    #[serde(flatten)]
    pub place: Place,
    /// The metal.
    pub metal: Metal,
    /// The workshop's own fine metal in it, as declared, grams to 0.01 mg.
    pub fine: String,
    /// At cost.
    pub cost: Value,
    /// At spot.
    pub spot: Value,
    /// For the insurer.
    pub insurer: Value,
}

/// All of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Stock {
    /// The spot prices that are used, one for each metal that has one.
    pub spots: Vec<SpotUsed>,
    /// The rule for the insurer.
    pub rule: &'static str,
    /// At cost.
    pub cost: Value,
    /// At spot.
    pub spot: Value,
    /// For the insurer.
    pub insurer: Value,
    /// Each holder.
    pub lines: Vec<StockLine>,
}

/// A value before it is rounded.
#[derive(Clone, Debug, Default)]
pub(super) struct Exact {
    pub(super) known: bool,
    pub(super) sums: BTreeMap<Currency, BigRational>,
}

impl From<Cost> for Exact {
    fn from(cost: Cost) -> Self {
        Self {
            known: cost.whole,
            sums: cost.sums,
        }
    }
}

struct Line {
    place: Place,
    metal: Metal,
    fine: BigRational,
    cost: Exact,
    spot: Exact,
    insurer: Exact,
}

/// The spot prices with the latest time, of those that the book knows.
fn newest(book: &Book, recorded: Timestamp) -> Vec<SpotUsed> {
    let mut newest: BTreeMap<Metal, &Spot> = BTreeMap::new();
    for spot in book.spots() {
        let order = |spot: &Spot| (spot.priced_at, spot.since);
        let known = newest.entry(spot.metal).or_insert(spot);
        if order(spot) > order(known) {
            *known = spot;
        }
    }
    let used = newest.into_values().map(|spot| SpotUsed {
        metal: spot.metal,
        spot: spot.spot,
        price: spot.price,
        priced_at: spot.priced_at,
        age_seconds: recorded.0.saturating_sub(spot.priced_at.0),
    });
    used.collect()
}

fn is_stock(holder: &Holder) -> bool {
    match holder.place {
        Place::Unmelted { .. }
        | Place::Heel { .. }
        | Place::Crucible { .. }
        | Place::Jar { .. }
        | Place::AtRefiner { .. } => holder.metal.is_precious(),
        Place::Piece { state, .. } => IN_STOCK.contains(&state),
        _ => false,
    }
}

/// The fine metal of the workshop's own lots in a mass of a mixture, picograms.
fn own_fine(book: &Book, metal: Metal, mixture: &Mixture<LotId>, units: i64) -> BigRational {
    let own = mixture.parts().filter_map(|(lot, share)| {
        let row = book
            .lot(lot)
            .filter(|row| row.owner.is_none() && row.metal == metal)?;
        let mass = exact::times(&exact::part(share, mixture.whole()), units);
        Some(exact::times(&mass, i64::from(row.fineness.units())))
    });
    own.fold(BigRational::zero(), |sum, fine| sum + fine)
}

impl Stock {
    /// As of a position, with the prices that `prices` knows of the lots that it is asked for, and a charge for making.
    ///
    /// # Errors
    /// What `prices` fails with.
    pub fn of<E>(
        reckoning: &Reckoning,
        making: Percent,
        prices: impl FnOnce(&[LotId]) -> Result<Prices, E>,
    ) -> Result<Self, E> {
        let (book, shares) = (reckoning.book(), reckoning.shares());
        let spots = newest(book, reckoning.recorded().unwrap_or_default());
        let received: Vec<LotId> = book
            .lots()
            .filter(|lot| lot.outturn_of.is_none())
            .map(|lot| lot.lot)
            .collect();
        let prices = prices(&received)?;
        let carrying = Carrying::of(book, &shares);
        let mut lines = Vec::new();
        for holder in holders(book).into_iter().filter(is_stock) {
            let Some(mixture) = holder.content.mixture(book, &shares) else {
                continue;
            };
            let carried = carrying.mixture(&mixture, holder.units);
            let fine = own_fine(book, holder.metal, &mixture, holder.units);
            if fine.is_zero() {
                // A customer's, wholly.
                continue;
            }
            let cost = Exact::from(Cost::of(book, &carried, &prices));
            let spot = at_spot(&fine, holder.metal, &spots);
            let charge = match holder.place {
                Place::Piece { .. } => making,
                _ => Percent::ZERO,
            };
            let insurer = greater(&cost, &spot, charge);
            lines.push(Line {
                place: holder.place,
                metal: holder.metal,
                fine,
                cost,
                spot,
                insurer,
            });
        }
        Ok(told(spots, &lines))
    }
}

fn at_spot(fine: &BigRational, metal: Metal, spots: &[SpotUsed]) -> Exact {
    let Some(used) = spots.iter().find(|used| used.metal == metal) else {
        return Exact::default();
    };
    let ounces = fine / exact::whole(BigInt::from(OUNCE_PICOGRAMS));
    Exact {
        known: true,
        sums: BTreeMap::from([(used.price.currency(), ounces * exact::amount(used.price))]),
    }
}

/// The greater of two values, with a charge; not known unless both are, in one currency.
fn greater(cost: &Exact, spot: &Exact, charge: Percent) -> Exact {
    let (Some((currency, spot)), true, true) = (spot.sums.iter().next(), cost.known, spot.known) else {
        return Exact::default();
    };
    let other = cost.sums.keys().any(|known| known != currency);
    if other {
        return Exact::default();
    }
    let nothing = BigRational::zero();
    let cost = cost.sums.get(currency).unwrap_or(&nothing);
    let factor = charge.factor();
    let factor = BigRational::new(factor.numerator().into(), factor.denominator().into());
    Exact {
        known: true,
        sums: BTreeMap::from([(*currency, cost.max(spot) * factor)]),
    }
}

/// Rounds the lines so that they add up to their printed sum.
pub(super) fn printed<L>(lines: &[L], pick: fn(&L) -> &Exact) -> (Value, Vec<Value>) {
    let mut all = Value {
        known: lines.iter().all(|line| pick(line).known),
        amounts: Vec::new(),
    };
    let mut each: Vec<Value> = lines
        .iter()
        .map(|line| Value {
            known: pick(line).known,
            amounts: Vec::new(),
        })
        .collect();
    let mut currencies: Vec<Currency> = lines
        .iter()
        .flat_map(|line| pick(line).sums.keys().copied())
        .collect();
    currencies.sort();
    currencies.dedup();
    for currency in currencies {
        let figures: Vec<BigRational> = lines
            .iter()
            .map(|line| pick(line).sums.get(&currency).cloned().unwrap_or_default())
            .collect();
        let counts = apportioned(&figures, COST_DECIMALS);
        let sum: BigInt = counts.iter().sum();
        all.amounts.extend(money(&sum, currency));
        for ((value, count), line) in each.iter_mut().zip(&counts).zip(lines) {
            if pick(line).sums.contains_key(&currency) {
                value.amounts.extend(money(count, currency));
            }
        }
    }
    (all, each)
}

fn money(count: &BigInt, currency: Currency) -> Option<Money> {
    let text = exact::count_text(count, COST_DECIMALS);
    Money::parse(&text, &currency.to_string()).ok()
}

fn told(spots: Vec<SpotUsed>, lines: &[Line]) -> Stock {
    let (cost, costs) = printed(lines, |line| &line.cost);
    let (spot, at_spots) = printed(lines, |line| &line.spot);
    let (insurer, insurers) = printed(lines, |line| &line.insurer);
    let values = costs.into_iter().zip(at_spots).zip(insurers);
    let lines = lines
        .iter()
        .zip(values)
        .map(|(line, ((cost, spot), insurer))| StockLine {
            place: line.place,
            metal: line.metal,
            fine: fine_text(&line.fine),
            cost,
            spot,
            insurer,
        });
    Stock {
        spots,
        rule: INSURERS_RULE,
        cost,
        spot,
        insurer,
        lines: lines.collect(),
    }
}

/// Grams of fine metal to 0.01 mg.
fn fine_text(picograms: &BigRational) -> String {
    let count = exact::rounded_count(picograms, 0);
    let fine = count.to_i128().and_then(FineMass::from_picograms);
    fine.map_or_else(String::new, |fine| fine.grams(5, Rounding::HalfUp))
}
