//! Tolerance: the uncertainty of one weighing, the guard band that follows from it, and the grade of a reading.
//!
//! The model is u^2 = (MPE/sqrt 3)^2 + s^2 + 2 (d/sqrt 12)^2: the permissible error and the two roundings (of the tare
//! and of the load) as rectangular distributions, and the repeatability s. It equals (2 MPE^2 + 6 s^2 + d^2) / 6, so
//! every bound is found by comparing whole numbers. The decision by guard band follows JCGM 106:2012, chapter 8; that a
//! third answer stands between yes and no follows ILAC-G8:09/2019. Deliberately absent: probabilities, and any square
//! root of a fraction.

use serde::{Deserialize, Serialize};

use super::mass::Mass;

/// What the limits of an edition make of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LimitGrade {
    /// Within the limits by at least the guard band.
    Accepted,
    /// Below the lower limit by at least the guard band.
    Under,
    /// Above the upper limit by at least the guard band.
    Over,
    /// Too near to a limit for this scale to tell.
    Borderline,
}

/// A version of the rule by which a guard band follows from the uncertainty: a row of a dated table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GuardRule {
    /// Its name with its version, as gradings carry it.
    pub word: &'static str,
    /// The year from which it holds.
    pub from_year: u16,
    /// What it rests on.
    pub source: &'static str,
    /// The guard band in standard uncertainties, in thousandths.
    pub thousandths: u32,
}

/// The versions, oldest first. A new one is added; one that was graded by never changes.
pub const GUARD_RULES: &[GuardRule] = &[GuardRule {
    word: "guarded-1",
    from_year: 2026,
    source: "JCGM 106:2012, chapter 8, for a one-sided risk of 5 %; a third answer as in ILAC-G8:09/2019",
    thousandths: 1_645,
}];

impl GuardRule {
    /// The version with a name; `None` where the table has none.
    #[must_use]
    pub fn find<'a>(rules: &'a [Self], word: &str) -> Option<&'a Self> {
        rules.iter().find(|rule| rule.word == word)
    }

    /// The guard band of this version, rounded up to a multiple of the scale's step `d`; see [`guard_band`].
    #[must_use]
    pub fn guard_band(&self, mpe: Mass, s: Mass, d: Mass) -> Option<Mass> {
        let factor = u128::from(self.thousandths);
        // (n d)^2 >= (factor / 1000)^2 u^2; a factor of four digits keeps the product below 10^38.
        let square = six_variances(mpe, s, d).checked_mul(factor.checked_mul(factor)?)?;
        smallest_multiple(d, 6_000_000, square)
    }
}

/// 6 u^2 in squares of 10 micrograms. Masses reach 10^13 steps, so this stays below 10^27.
fn six_variances(mpe: Mass, s: Mass, d: Mass) -> u128 {
    let square = |mass: Mass| mass.count() * mass.count();
    2 * square(mpe) + 6 * square(s) + square(d)
}

/// The smallest multiple of `step` whose square times `scale` reaches `square`.
fn smallest_multiple(step: Mass, scale: u128, square: u128) -> Option<Mass> {
    // (n step)^2 >= square / scale; the quotient may be rounded up because the left side is whole.
    let wanted = square.div_ceil(scale);
    let floor = wanted.isqrt();
    let root = if floor * floor < wanted { floor + 1 } else { floor };
    let step = step.count();
    if step == 0 {
        return None;
    }
    Mass::from_count(root.div_ceil(step).checked_mul(step)?)
}

/// The guard band by the newest rule: 1.645 u for a one-sided risk of 5 %, rounded up to a multiple of the scale's step.
///
/// `mpe` is the permissible error in service, `s` the repeatability as a standard deviation, `d` the step of the display.
/// `None` for a step of zero or a band beyond [`Mass::MAX`].
#[must_use]
pub fn guard_band(mpe: Mass, s: Mass, d: Mass) -> Option<Mass> {
    GUARD_RULES.last()?.guard_band(mpe, s, d)
}

/// The expanded uncertainty U = 2 u (k = 2), rounded up to a multiple of the scale's step `d`. See [`guard_band`].
#[must_use]
pub fn expanded_uncertainty(mpe: Mass, s: Mass, d: Mass) -> Option<Mass> {
    smallest_multiple(d, 6, 4 * six_variances(mpe, s, d))
}

/// The expanded uncertainty U = 2 u (k = 2), rounded up to 10 micrograms only: for further computing, not for printing.
#[must_use]
pub fn expanded_uncertainty_fine(mpe: Mass, s: Mass, d: Mass) -> Option<Mass> {
    smallest_multiple(Mass::from_units(1)?, 6, 4 * six_variances(mpe, s, d))
}

/// Grades a reading against limits, each edge belonging to the clear answer.
///
/// Accepted from `lower + guard` to `upper - guard`, under up to `lower - guard`, over from `upper + guard`, and
/// borderline in between. Without an upper limit nothing is over.
#[must_use]
pub fn grade_by_limits(reading: Mass, lower: Mass, upper: Option<Mass>, guard: Mass) -> LimitGrade {
    let (x, low, guard) = (reading.units(), lower.units(), guard.units());
    let high = upper.map(Mass::units);
    if x >= low + guard && high.is_none_or(|high| x <= high - guard) {
        LimitGrade::Accepted
    } else if x <= low - guard {
        LimitGrade::Under
    } else if high.is_some_and(|high| x >= high + guard) {
        LimitGrade::Over
    } else {
        LimitGrade::Borderline
    }
}

/// What a reading supports: the reading less its expanded uncertainty, and nothing when that is more than the reading.
#[must_use]
pub fn at_least(reading: Mass, uncertainty: Mass) -> Mass {
    reading.checked_sub(uncertainty).unwrap_or(Mass::ZERO)
}
