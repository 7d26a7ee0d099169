//! Weighing in water: what a piece displaces, and whether a scale can tell it well enough. Exact, as all weighing is.
//!
//! A piece hung under the balance loses as much as it displaces; hung by a thread into a tared cup upon the scale, the cup
//! gains as much. Either way the density follows from two readings of one scale, whose own factor cancels. Deliberately
//! absent: the density itself, which is a statistic and is reckoned where it is shown.

use serde::{Deserialize, Serialize};

use super::mass::Mass;

/// How a piece is weighed in water.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Immersion {
    /// Hung under the balance, the piece is in the water: the scale shows what it weighs there.
    Hung,
    /// Hung from elsewhere into a tared cup of water upon the scale, touching nothing: the scale shows what the cup gains.
    Cup,
}

/// From which displacement on a scale can tell a density, with its source and the year from which the rule speaks.
#[derive(Clone, Copy, Debug)]
pub struct ImmersionRule {
    /// Where the rule comes from.
    pub source: &'static str,
    /// The year from which it holds.
    pub from_year: u16,
    /// How many steps of the scale must be displaced at least.
    pub steps_min: u32,
}

/// The rule in force: 2 g on steps of 0.01 g, 20 g on steps of 0.1 g. With fewer the uncertainty of the density of silver
/// passes 0.15 g/cm3, and neither copper alloys nor a hole inside could be told.
pub const IMMERSION_RULE: ImmersionRule = ImmersionRule {
    source: "common practice, no source",
    from_year: 2026,
    steps_min: 200,
};

impl Immersion {
    /// Every word of the set, as it is written.
    pub const WORDS: &'static [&'static str] = &["hung", "cup"];

    /// The word as it is written.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Hung => "hung",
            Self::Cup => "cup",
        }
    }

    /// The mass of water that a piece displaces, less that of the air, grams. `None` for readings that no piece which
    /// sinks can have: it displaces more than nothing, and less than it weighs.
    #[must_use]
    pub fn displaced(self, in_air: Mass, in_water: Mass) -> Option<Mass> {
        let displaced = match self {
            Self::Hung => in_air.checked_sub(in_water)?,
            Self::Cup => in_water,
        };
        (!displaced.is_zero() && displaced < in_air).then_some(displaced)
    }
}

impl ImmersionRule {
    /// Whether a scale with steps of `d` can tell a density from this displacement.
    #[must_use]
    pub fn can_tell(&self, displaced: Mass, d: Mass) -> bool {
        d.checked_mul(self.steps_min)
            .is_some_and(|least| displaced >= least)
    }

    /// The greatest step of a scale (1, 2 or 5 times a power of ten, grams) that could; `None` where even steps of 10
    /// micrograms are too coarse.
    #[must_use]
    pub fn step_that_could(&self, displaced: Mass) -> Option<Mass> {
        let powers = std::iter::successors(Some(1_i64), |unit| unit.checked_mul(10));
        let steps = powers.take(9).flat_map(|unit| [unit, 2 * unit, 5 * unit]);
        steps
            .filter_map(Mass::from_units)
            .take_while(|step| self.can_tell(displaced, *step))
            .last()
    }
}

impl std::fmt::Display for Immersion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}
