//! How many to pour: the pours that fill quotas with a chosen confidence, when the yield is known or only recorded.
//!
//! With a known yield p the number of pours for r good ones is r plus a negative binomial count; with a yield known from a
//! record it is beta-negative-binomial, which is to say that the good ones among n are beta-binomial. Both are summed term
//! by term from the ratio of one term to the one before, so that no gamma function is needed and n is a whole number
//! throughout. Deliberately absent: any memory of a record (the caller brings counts) and the trade in shapes that share
//! a yield, which are taken as independent.
#![expect(clippy::float_arithmetic, reason = "statistics: chances are floats")]

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, quote, read_count, serde_as_text};
use super::floats::count;
use super::mass::Mass;
use super::probability::{Probability, normal_between, signed};

/// More pours than this are not planned.
pub const POURS_MAX: u32 = 50_000;

/// What rounding may take off a chance that is exactly what was asked for.
const HAIR: f64 = 1e-12;

const PRIOR_DECIMALS: u32 = 3;
const PRIOR_SCALE: f64 = 1_000.0;
const PRIOR_MAX: u128 = 1_000_000_000;

/// What is believed of a yield before anything was poured: a beta distribution, by its two parameters.
///
/// `1:1` is uniform: every yield alike. `7:3` is as if seven good and three bad ones had been seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    good: f64,
    bad: f64,
}

impl Prior {
    /// Every yield alike, Beta(1, 1).
    pub const UNIFORM: Self = Self { good: 1.0, bad: 1.0 };
}

impl Default for Prior {
    fn default() -> Self {
        Self::UNIFORM
    }
}

impl fmt::Display for Prior {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.good, self.bad)
    }
}

impl FromStr for Prior {
    type Err = Unreadable;

    /// Reads `good:bad`, both above 0 and at most 1000000 with at most three decimals.
    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let (good, bad) = text
            .split_once(':')
            .ok_or_else(|| Unreadable::NotANumber(quote(text)))?;
        let read = |part: &str| {
            let units = read_count(part, PRIOR_DECIMALS, PRIOR_MAX, "1000000")?;
            match u64::try_from(units) {
                Ok(units) if units > 0 => Ok(count(units) / PRIOR_SCALE),
                _ => Err(Unreadable::NotANumber(quote(text))),
            }
        };
        Ok(Self {
            good: read(good)?,
            bad: read(bad)?,
        })
    }
}

serde_as_text!(Prior);

/// The share of pours that come out good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Yield(Share);

#[derive(Clone, Copy, Debug, PartialEq)]
enum Share {
    /// It is known.
    Known(f64),
    /// It is believed: a beta distribution.
    Believed(Prior),
}

impl Yield {
    /// A yield that is known; `None` for a yield of nothing, from which no quota is ever filled.
    #[must_use]
    pub fn known(share: Probability) -> Option<Self> {
        (share.value() > 0.0).then(|| Self(Share::Known(share.value())))
    }

    /// A yield known from a record of `good` among `poured`, and a prior; `None` when more are good than were poured.
    #[must_use]
    pub fn recorded(good: u32, poured: u32, prior: Prior) -> Option<Self> {
        let bad = poured.checked_sub(good)?;
        Some(Self(Share::Believed(Prior {
            good: f64::from(good) + prior.good,
            bad: f64::from(bad) + prior.bad,
        })))
    }

    /// The yield that is expected.
    #[must_use]
    pub fn mean(self) -> f64 {
        match self.0 {
            Share::Known(share) => share,
            Share::Believed(Prior { good, bad }) => good / (good + bad),
        }
    }
}

/// The distribution of the good ones among n pours: `Bin(n, p)`, or `BetaBin(n, good, bad)`.
impl fmt::Display for Yield {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Share::Known(share) => write!(f, "Bin(n, {share})"),
            Share::Believed(Prior { good, bad }) => write!(f, "BetaBin(n, {good}, {bad})"),
        }
    }
}

/// So many good ones of one shape, at a yield.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quota {
    /// How many good ones are wanted.
    pub wanted: u32,
    /// The share of pours that come out good.
    pub yields: Yield,
}

/// The terms of the distribution of the bad ones that come before a quota is filled, one after the other.
struct Terms {
    quota: Quota,
    /// How many bad ones the next term is about.
    bad: u32,
    logarithm: f64,
}

impl Terms {
    fn of(quota: Quota) -> Self {
        let logarithm = match quota.yields.0 {
            Share::Known(share) => f64::from(quota.wanted) * share.ln(),
            Share::Believed(Prior { good, bad }) => (0..quota.wanted)
                .map(f64::from)
                .map(|at| ((good + at) / (good + bad + at)).ln())
                .sum(),
        };
        Self {
            quota,
            bad: 0,
            logarithm,
        }
    }
}

impl Iterator for Terms {
    type Item = f64;

    fn next(&mut self) -> Option<f64> {
        let term = self.logarithm.exp();
        let (r, k) = (f64::from(self.quota.wanted), f64::from(self.bad));
        let ratio = match self.quota.yields.0 {
            Share::Known(share) => (r + k) / (k + 1.0) * (1.0 - share),
            Share::Believed(Prior { good, bad }) => (r + k) / (k + 1.0) * (bad + k) / (good + r + bad + k),
        };
        // A ratio of nought (nothing wanted, or nothing ever bad) ends it: its logarithm is minus infinity.
        self.logarithm += ratio.ln();
        self.bad = self.bad.checked_add(1)?;
        Some(term)
    }
}

/// The chances of one quota, kept so far as they were asked for.
struct Filling {
    terms: Terms,
    /// The chance that so many pours beyond the quota itself fill it.
    sums: Vec<f64>,
}

impl Filling {
    fn of(quota: Quota) -> Self {
        Self {
            terms: Terms::of(quota),
            sums: Vec::new(),
        }
    }

    /// The chance that `pours` fill the quota.
    fn chance(&mut self, pours: u32) -> f64 {
        let Some(beyond) = pours.checked_sub(self.terms.quota.wanted) else {
            return 0.0;
        };
        let beyond = usize::try_from(beyond).unwrap_or(usize::MAX);
        while self.sums.len() <= beyond {
            let before = self.sums.last().copied().unwrap_or(0.0);
            let term = self.terms.next().unwrap_or(0.0);
            self.sums.push((before + term).min(1.0));
        }
        self.sums.get(beyond).copied().unwrap_or(1.0)
    }
}

/// The chance that `pours` fill a quota.
#[must_use]
pub fn chance(quota: Quota, pours: u32) -> Probability {
    certain_at_most(Filling::of(quota).chance(pours))
}

fn certain_at_most(chance: f64) -> Probability {
    Probability::new(chance.min(1.0)).unwrap_or_default()
}

/// How many pours fill a quota with a confidence; `None` when it takes more than [`POURS_MAX`].
#[must_use]
pub fn pours(quota: Quota, confidence: Probability) -> Option<u32> {
    let mut filling = Filling::of(quota);
    (quota.wanted..=POURS_MAX).find(|pours| filling.chance(*pours) + HAIR >= confidence.value())
}

/// Pours per quota, shared out before any is weighed.
#[derive(Clone, Debug, PartialEq)]
pub struct Shared {
    /// Pours of each quota, in their order.
    pub pours: Vec<u32>,
    /// The chance that all quotas are filled.
    pub chance: Probability,
}

/// The fewest pours that fill all quotas together with a confidence, each shape with its own number; `None` when it takes
/// more than [`POURS_MAX`].
///
/// Each further pour goes where it raises the common chance most. Each chance is log-concave when its yield is known, so
/// nothing fewer does it; with yields from a record it is a good number and not proved to be the least.
#[must_use]
pub fn pours_together(quotas: &[Quota], confidence: Probability) -> Option<Shared> {
    share_out(quotas, |_, chance| chance + HAIR >= confidence.value())
}

/// Shares out a number of pours so that the chance to fill all quotas is greatest; `None` when they are fewer than what is
/// wanted, so that there is no chance at all, or more than [`POURS_MAX`].
#[must_use]
pub fn shared(quotas: &[Quota], pours: u32) -> Option<Shared> {
    share_out(quotas, |given, _| given >= pours).filter(|shared| shared.pours.iter().sum::<u32>() <= pours)
}

fn share_out(quotas: &[Quota], enough: impl Fn(u32, f64) -> bool) -> Option<Shared> {
    let mut fillings: Vec<(Filling, u32, f64)> = Vec::new();
    let mut given = 0_u32;
    for quota in quotas {
        let mut filling = Filling::of(*quota);
        let gain = gain(&mut filling, quota.wanted);
        given = given.checked_add(quota.wanted)?;
        fillings.push((filling, quota.wanted, gain));
    }
    loop {
        if given > POURS_MAX {
            return None;
        }
        let chance: f64 = fillings
            .iter_mut()
            .map(|(filling, pours, _)| filling.chance(*pours))
            .product();
        if enough(given, chance) {
            return Some(Shared {
                pours: fillings.iter().map(|(_, pours, _)| *pours).collect(),
                chance: certain_at_most(chance),
            });
        }
        let best = fillings
            .iter_mut()
            .reduce(|best, other| if other.2 > best.2 { other } else { best });
        let (filling, pours, next) = best?;
        *pours = pours.checked_add(1)?;
        *next = gain(filling, *pours);
        given = given.checked_add(1)?;
    }
}

/// By what factor one more pour raises the chance, as a logarithm; without any chance so far, beyond all measure.
fn gain(filling: &mut Filling, pours: u32) -> f64 {
    let now = filling.chance(pours);
    if now > 0.0 {
        (filling.chance(pours.saturating_add(1)) / now).ln()
    } else {
        f64::INFINITY
    }
}

/// Which shapes the next cavities go to: each to the shape that lacks most of its pours in the plan, the first of them
/// where several do. What is left when all plans are met stays empty.
#[must_use]
pub fn next_cavities(planned: &[u32], cavities: u32) -> Vec<u32> {
    let mut given = vec![0_u32; planned.len()];
    for _ in 0..cavities {
        let lacking = planned.iter().zip(given.iter_mut());
        let lacking = lacking.map(|(planned, given)| (planned.saturating_sub(*given), given));
        let most = lacking.reduce(|most, other| if other.0 > most.0 { other } else { most });
        match most {
            Some((1.., given)) => *given = given.saturating_add(1),
            _ => break,
        }
    }
    given
}

/// The greatest chance that any way of pouring can have to fill all quotas with a number of pours: as if each shape had
/// been poured just until it was full. Planning anew after every melt comes near to it.
#[must_use]
pub fn chance_at_most(quotas: &[Quota], pours: u32) -> Probability {
    let wanted: u64 = quotas.iter().map(|quota| u64::from(quota.wanted)).sum();
    let Some(beyond) = u64::from(pours).checked_sub(wanted) else {
        return Probability::default();
    };
    let length = usize::try_from(beyond.min(u64::from(POURS_MAX)))
        .unwrap_or(0)
        .saturating_add(1);
    // The distribution of the bad ones of all shapes together, so far as they fit into the pours.
    let mut bad = vec![0.0; length];
    if let Some(first) = bad.first_mut() {
        *first = 1.0;
    }
    for quota in quotas {
        let terms: Vec<f64> = Terms::of(*quota).take(length).collect();
        let mut both = vec![0.0; length];
        for (at, one) in bad.iter().enumerate().filter(|(_, one)| **one > 0.0) {
            for (sum, term) in both.iter_mut().skip(at).zip(&terms) {
                *sum += one * term;
            }
        }
        bad = both;
    }
    certain_at_most(bad.iter().sum())
}

/// The metal to have ready for pours of given mean masses: pieces and heel, and what the crucible loses, rounded up to
/// 10 micrograms. Exact. `None` when everything is lost, or beyond what a mass can hold.
#[must_use]
pub fn grain(pieces: &[(u32, Mass)], heel: Mass, loss_ppm: u32) -> Option<Mass> {
    let masses = pieces.iter().map(|(pours, mean)| mean.checked_mul(*pours));
    let masses: Option<Vec<Mass>> = masses.collect();
    let poured = Mass::checked_sum(masses?)?.checked_add(heel)?;
    let kept = 1_000_000_u32.checked_sub(loss_ppm).filter(|kept| *kept > 0)?;
    Mass::from_count((poured.count() * 1_000_000).div_ceil(u128::from(kept)))
}

/// The limits of an edition with the guard band of its scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    lower: Mass,
    upper: Mass,
}

impl Window {
    /// What is accepted: from the lower limit and the guard band up to the upper limit less the guard band. `None` when
    /// nothing is left in between.
    #[must_use]
    pub fn of(lower: Mass, upper: Mass, guard: Mass) -> Option<Self> {
        let (lower, upper) = (lower.checked_add(guard)?, upper.checked_sub(guard)?);
        (lower < upper).then_some(Self { lower, upper })
    }

    /// The weight to aim at: the middle, to 10 micrograms. For a spread that falls off alike on both sides no other aim
    /// has a greater yield.
    #[must_use]
    pub fn best_aim(&self) -> Mass {
        let sum = self.lower.units() + self.upper.units();
        Mass::from_units(sum / 2).unwrap_or(self.lower)
    }

    /// The share of pours that are accepted, given the mean and the deviation (grams) of the workshop's own pours, taken
    /// as normal: `Phi((upper - mean)/sd) - Phi((lower - mean)/sd)`. `None` for a deviation that is not above zero.
    #[must_use]
    pub fn yields(&self, mean: Mass, sd: f64) -> Option<Probability> {
        if !(sd > 0.0 && sd.is_finite()) {
            return None;
        }
        let from = |limit: Mass| signed(limit, mean) / sd;
        Probability::new(normal_between(from(self.lower), from(self.upper)))
    }
}
