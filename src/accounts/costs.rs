//! What metal cost, by its shares: every gram of a lot carries its part of what the lot cost.
//!
//! First, which part of the purchase of each lot a metal carries: that depends on shares alone, and over everything that
//! holds metal (losses among it) the parts of every lot are one, to the last digit. Then what the lots cost; whoever may
//! read prices brings them. The rules:
//! - A lot costs its price. A lot without a price makes the cost of its part *not known*: said so, and never zero.
//! - A customer's metal costs the workshop nothing. Nor does what a stock-take found: what it cost once stands in a loss.
//! - What was sent to a refiner carries its cost on by fine metal: the outturn and what was settled by the refiner's
//!   assay, what is missing into the loss. If more came back than was sent, there is no loss, and the cost is spread over
//!   all of it; so what was found costs nothing by itself. What a refiner charged or paid is no cost of metal.
//! - A metal's cost is exact. It is rounded to two decimals where it is printed: half up for one figure alone, and where
//!   figures stand together, so that they add up to their printed sum: each is rounded down, and the missing hundredths
//!   go one each to the figures that lost most by it, of equals to the first.
//!
//! Deliberately absent: work, marks, postage, and anything between two currencies.

use super::exact;
use super::holders::{Content, Holder, holders};
use super::mixture::Mixture;
use super::refined::Refined;
use super::shares::Shares;
use crate::domain::{Book, Lot, LotId, RefiningId};
use crate::metal::{Currency, Money};
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One as _, ToPrimitive as _, Zero as _};
use std::collections::{BTreeMap, HashMap};

/// What a lot cost, for those lots of which it is known.
pub type Prices = BTreeMap<LotId, Money>;
/// Decimals in which a cost is printed.
pub const COST_DECIMALS: u32 = 2;

/// Which part of the purchase of each lot a metal carries.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// By lot received; never an outturn.
    pub lots: BTreeMap<LotId, BigRational>,
    /// Steps of mass of which nothing is traced, so that their cost is not known.
    pub untraced: BigRational,
}

impl Carried {
    fn add(&mut self, other: &Self, times: &BigRational) {
        if times.is_zero() {
            return;
        }
        for (lot, part) in &other.lots {
            let sum = self.lots.entry(*lot).or_insert_with(BigRational::zero);
            *sum += part * times;
        }
        self.untraced += &other.untraced * times;
    }
}

/// The parts of purchases that metals carry, remembered for outturns.
pub struct Carrying<'a> {
    book: &'a Book,
    shares: &'a Shares,
    /// What a gram-step of an outturn carries.
    outturns: HashMap<LotId, Carried>,
}

impl<'a> Carrying<'a> {
    /// Of a book.
    #[must_use]
    pub fn of(book: &'a Book, shares: &'a Shares) -> Self {
        let mut carrying = Self {
            book,
            shares,
            outturns: HashMap::new(),
        };
        let mut outturns: Vec<&Lot> = book.lots().filter(|lot| lot.outturn_of.is_some()).collect();
        outturns.sort_by_key(|lot| lot.since);
        for lot in outturns {
            let refined = lot
                .outturn_of
                .and_then(|refining| Refined::of(book, shares, refining));
            let mut carried = Carried::default();
            if let Some(refined) = refined {
                let parts = Parts::of(&refined);
                carried.add(
                    &carrying.sent(&refined),
                    &exact::by(&parts.outturn, lot.mass.mass().units()),
                );
            }
            carrying.outturns.insert(lot.lot, carried);
        }
        carrying
    }

    /// What a mass of a mixture carries.
    #[must_use]
    pub fn mixture(&self, mixture: &Mixture<LotId>, units: i64) -> Carried {
        let mut carried = Carried {
            lots: BTreeMap::new(),
            untraced: exact::times(&mixture.untraced(), units),
        };
        for (lot, share) in mixture.parts() {
            let mass = exact::times(&exact::part(share, mixture.whole()), units);
            match self.outturns.get(&lot) {
                Some(outturn) => carried.add(outturn, &mass),
                None => {
                    let received = self.book.lot(lot).map_or(0, |lot| lot.mass.mass().units());
                    let sum = carried.lots.entry(lot).or_insert_with(BigRational::zero);
                    *sum += exact::by(&mass, received);
                }
            }
        }
        carried
    }

    fn sent(&self, refined: &Refined<'_>) -> Carried {
        let units = refined.row.mass.units();
        let sent = refined.sent.as_ref();
        sent.map_or_else(Carried::default, |sent| self.mixture(sent, units))
    }

    /// What a holder carries.
    #[must_use]
    pub fn holder(&self, holder: &Holder) -> Carried {
        let of_refining = |refining: RefiningId, part: fn(&Parts) -> &BigRational| {
            let mut carried = Carried::default();
            if let Some(refined) = Refined::of(self.book, self.shares, refining) {
                carried.add(&self.sent(&refined), part(&Parts::of(&refined)));
            }
            carried
        };
        match &holder.content {
            Content::Settled(refining) => of_refining(*refining, |parts| &parts.settled),
            Content::RefiningLoss(refining) => of_refining(*refining, |parts| &parts.loss),
            mixed => {
                let mixture = mixed.mixture(self.book, self.shares);
                mixture.map_or_else(Carried::default, |mixture| self.mixture(&mixture, holder.units))
            }
        }
    }
}

/// How what was sent to a refiner carries its cost on; the three are one.
struct Parts {
    outturn: BigRational,
    settled: BigRational,
    loss: BigRational,
}

impl Parts {
    fn of(refined: &Refined<'_>) -> Self {
        let all = refined.fine_back().max(refined.fine_sent.clone());
        let part = |fine: &BigRational| exact::over(fine, &all).unwrap_or_default();
        let (outturn, settled) = (part(&refined.fine_outturn), part(&refined.fine_settled));
        let loss = BigRational::one() - &outturn - &settled;
        Self {
            outturn,
            settled,
            loss,
        }
    }
}

/// Why a lot's part has the cost that it has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ground {
    /// It has a price.
    Priced,
    /// It has none: its cost is not known.
    NotKnown,
    /// It is a customer's.
    Customers,
    /// A stock-take found it: nobody was paid for it then.
    Found,
}

/// One lot's part of a cost.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CostLine {
    /// The lot.
    pub lot: LotId,
    /// Which part of its purchase.
    pub part: BigRational,
    /// Why it costs what it costs.
    pub ground: Ground,
    /// What that part cost.
    pub cost: Option<(Currency, BigRational)>,
}

/// What a metal cost.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cost {
    /// By lot received.
    pub lines: Vec<CostLine>,
    /// What is known, by currency.
    pub sums: BTreeMap<Currency, BigRational>,
    /// Whether that is all.
    pub whole: bool,
}

impl Cost {
    /// Of what a metal carries.
    #[must_use]
    pub fn of(book: &Book, carried: &Carried, prices: &Prices) -> Self {
        let mut cost = Self {
            whole: carried.untraced.is_zero(),
            ..Self::default()
        };
        for (lot, part) in &carried.lots {
            let row = book.lot(*lot);
            let owned = row.is_some_and(|lot| lot.owner.is_some());
            let found = row.is_some_and(|lot| lot.found_in.is_some());
            let (ground, of_it) = match prices.get(lot) {
                _ if owned => (Ground::Customers, None),
                _ if found => (Ground::Found, None),
                None => (Ground::NotKnown, None),
                Some(price) => (
                    Ground::Priced,
                    Some((price.currency(), exact::amount(*price) * part)),
                ),
            };
            cost.whole &= ground != Ground::NotKnown;
            if let Some((currency, of_it)) = &of_it {
                let sum = cost.sums.entry(*currency).or_insert_with(BigRational::zero);
                *sum += of_it;
            }
            cost.lines.push(CostLine {
                lot: *lot,
                part: part.clone(),
                ground,
                cost: of_it,
            });
        }
        cost
    }
}

/// Figures with so many decimals that add up to their printed sum: each rounded down, and the missing steps of the last
/// decimal given one each to those that lost most by it, of equals to the first. The counts of steps.
#[must_use]
pub fn apportioned(figures: &[BigRational], decimals: u32) -> Vec<BigInt> {
    let steps = exact::whole(BigInt::from(10_u8).pow(decimals));
    let scaled: Vec<BigRational> = figures.iter().map(|figure| figure * &steps).collect();
    let mut counts: Vec<BigInt> = scaled.iter().map(|figure| figure.floor().to_integer()).collect();
    let sum: BigRational = figures.iter().sum();
    let missing = exact::rounded_count(&sum, decimals) - counts.iter().sum::<BigInt>();
    let mut by_loss: Vec<(BigRational, usize)> = scaled
        .iter()
        .zip(0..)
        .map(|(figure, at)| (figure - figure.floor(), at))
        .collect();
    by_loss.sort_by(|(a, first), (b, second)| b.cmp(a).then(first.cmp(second)));
    let missing = missing.to_usize().unwrap_or(0);
    for (_, at) in by_loss.into_iter().take(missing) {
        if let Some(count) = counts.get_mut(at) {
            *count += 1;
        }
    }
    counts
}

/// What all holders carry, by a name that `name` gives each of them.
#[must_use]
pub fn carried_by<N: Ord>(book: &Book, shares: &Shares, name: impl Fn(&Holder) -> N) -> BTreeMap<N, Carried> {
    let carrying = Carrying::of(book, shares);
    let mut sums: BTreeMap<N, Carried> = BTreeMap::new();
    // Of one melt many pieces hold metal: their masses are summed before anything long is reckoned.
    let mut melted: BTreeMap<(N, crate::domain::MeltId), i64> = BTreeMap::new();
    let one = BigRational::one();
    for holder in holders(book) {
        let under = name(&holder);
        if let Content::Melt(melt) = holder.content {
            let sum = melted.entry((under, melt)).or_default();
            *sum = sum.saturating_add(holder.units);
            continue;
        }
        let carried = carrying.holder(&holder);
        sums.entry(under).or_default().add(&carried, &one);
    }
    for ((under, melt), units) in melted {
        if let Some(mixture) = shares.melt(melt) {
            let carried = carrying.mixture(mixture, units);
            sums.entry(under).or_default().add(&carried, &one);
        }
    }
    sums
}
