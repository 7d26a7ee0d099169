//! Specific gravity: the density of a piece from its weight in air and in water, and how far that can be trusted.
//!
//! `rho = W (rho_w - rho_a) / D + rho_a`, where W is the reading in air and D what water carries of it: the loss of a
//! piece hung under the scale, or the gain of a tared cup in which it hangs. The scale's own buoyancy cancels in the
//! quotient. The uncertainty follows the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008, 5.1.2), its
//! second-order term included, since a small piece on a coarse scale is far from linear. Deliberately absent: any
//! verdict on what an object is.
#![expect(clippy::float_arithmetic, reason = "statistics: a density is a float")]

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, read_count, serde_as_text, write_count};
use super::floats::{fixed, fixed_up, grams};
use super::mass::Mass;
use super::water::WaterTemperature;

/// The density of air in a room, g/cm3: near 20 degrees, from memory.
pub const AIR_DENSITY: f64 = 0.0012;
/// What bubbles, meniscus and thread are worth however fine the scale, grams (common practice, no source).
pub const BUBBLE_ALLOWANCE: f64 = 0.01;
/// From which displacement on a density can be told, with the source of the rule and the year from which it speaks.
#[derive(Clone, Copy, Debug)]
pub struct DisplacementRule {
    /// Where the rule comes from.
    pub source: &'static str,
    /// The year from which it holds.
    pub from_year: u16,
    /// The least displacement in steps of the scale, and in bubble allowances.
    pub least: u32,
}

/// The rule in force.
pub const DISPLACEMENT_RULE: DisplacementRule = DisplacementRule {
    source: "common practice, no source",
    from_year: 2026,
    least: 200,
};
/// The bubble allowance as a mass, for the bound that decides.
const BUBBLE_UNITS: i64 = 1_000;
/// Steps that scales are sold with, coarsest first, in units of 10 micrograms: 1 g down to 0.1 mg.
const STEPS: [i64; 5] = [100_000, 10_000, 1_000, 100, 10];

const DECIMALS: u32 = 5;
const DENSITY_MAX: u32 = 3_000_000;
const DENSITY_LIMIT: &str = "30 g/cm3: no metal is denser than 23";

/// A density as somebody states it, g/cm3: above 0 and at most 30, in steps of 0.00001.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Density(u32);

impl Density {
    /// The density, g/cm3.
    #[must_use]
    pub fn value(self) -> f64 {
        f64::from(self.0) / 100_000.0
    }
}

impl fmt::Display for Density {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_count(f, false, u128::from(self.0), DECIMALS, 2)
    }
}

impl FromStr for Density {
    type Err = Unreadable;

    /// Reads plain digits with at most five decimals.
    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let units = read_count(text, DECIMALS, u128::from(DENSITY_MAX), DENSITY_LIMIT)?;
        match u32::try_from(units) {
            Ok(0) => Err(Unreadable::Nought),
            Ok(units) => Ok(Self(units)),
            Err(_) => Err(Unreadable::TooLarge(DENSITY_LIMIT)),
        }
    }
}

serde_as_text!(Density);

/// A piece weighed in air and in water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Weighing {
    air: Mass,
    displacement: Mass,
    water: WaterTemperature,
    step: Mass,
}

/// Why a weighing in water cannot be one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Impossible {
    /// The piece weighs as much in water as in air, or more, or the cup gained nothing.
    #[error(
        "water carried nothing of the piece: it must read less in water than in air, and the cup must gain"
    )]
    NothingDisplaced,
    /// The piece displaces its own weight of water, or more: it would float.
    #[error("the displacement is not below the weight in air: a piece of metal does not float")]
    Floats,
    /// The scale has no step.
    #[error("the step of the scale is zero")]
    NoStep,
}

/// A density, and its expanded uncertainty (k = 2), both g/cm3.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The density.
    pub density: f64,
    /// The expanded uncertainty.
    pub uncertainty: f64,
}

impl Measured {
    /// The density with three decimals, g/cm3.
    #[must_use]
    pub fn density_text(&self) -> String {
        fixed(self.density, 3)
    }

    /// The uncertainty with three decimals, rounded up, g/cm3.
    #[must_use]
    pub fn uncertainty_text(&self) -> String {
        fixed_up(self.uncertainty, 3)
    }
}

/// Whether a scale is fine enough for a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FineEnough {
    /// It is.
    Yes,
    /// It is not; a scale with this step or a finer one would be.
    WithStep(Mass),
    /// The piece is so small that bubbles alone are worth too much: no scale helps.
    No,
}

impl Weighing {
    /// A weighing of a piece that hung under the scale, or in water held apart from it: readings in air and in water.
    ///
    /// # Errors
    /// [`Impossible`].
    pub fn hung(air: Mass, in_water: Mass, water: WaterTemperature, step: Mass) -> Result<Self, Impossible> {
        let displacement = air.checked_sub(in_water).ok_or(Impossible::NothingDisplaced)?;
        Self::cup(air, displacement, water, step)
    }

    /// A weighing with a tared cup of water on the scale, in which the piece hangs without touching: what the cup gained.
    ///
    /// # Errors
    /// [`Impossible`].
    pub fn cup(air: Mass, gain: Mass, water: WaterTemperature, step: Mass) -> Result<Self, Impossible> {
        if step.is_zero() {
            return Err(Impossible::NoStep);
        }
        if gain.is_zero() {
            return Err(Impossible::NothingDisplaced);
        }
        if gain >= air {
            return Err(Impossible::Floats);
        }
        Ok(Self {
            air,
            displacement: gain,
            water,
            step,
        })
    }

    /// What water carries of the piece.
    #[must_use]
    pub const fn displacement(&self) -> Mass {
        self.displacement
    }

    /// The density and its uncertainty.
    ///
    /// Of each of the two weighings: two roundings of d/sqrt 12, a repeatability of 0.6 d, a scale error of d/sqrt 3; of
    /// the displacement also [`BUBBLE_ALLOWANCE`]; of the water half a degree. Common practice, no source.
    #[must_use]
    pub fn measured(&self) -> Measured {
        let (w, d) = (grams(self.air), grams(self.displacement));
        let density = w * (self.water.density() - AIR_DENSITY) / d + AIR_DENSITY;
        let step = grams(self.step);
        let weighing = step * step * (2.0 / 12.0 + 0.36 + 1.0 / 3.0);
        let of_displacement = (weighing + BUBBLE_ALLOWANCE * BUBBLE_ALLOWANCE) / (d * d);
        // Of 1/D: the second-order term of JCGM 100:2008, 5.1.2, is 8 (u/D)^4.
        let curved = 8.0 * of_displacement * of_displacement;
        let of_water = self.water.change_of_half_a_degree();
        let relative = (of_displacement + curved + weighing / (w * w) + of_water * of_water).sqrt();
        Measured {
            density,
            uncertainty: 2.0 * relative * density,
        }
    }

    /// Whether the displacement is worth measuring on this scale: at least 200 steps, and 200 bubble allowances.
    #[must_use]
    pub fn fine_enough(&self) -> FineEnough {
        let reaches = |least: Option<Mass>| least.is_some_and(|least| self.displacement >= least);
        if !reaches(
            Mass::from_units(BUBBLE_UNITS).and_then(|bubble| bubble.checked_mul(DISPLACEMENT_RULE.least)),
        ) {
            return FineEnough::No;
        }
        if reaches(self.step.checked_mul(DISPLACEMENT_RULE.least)) {
            return FineEnough::Yes;
        }
        let steps = STEPS.into_iter().filter_map(Mass::from_units);
        steps
            .into_iter()
            .find(|step| reaches(step.checked_mul(DISPLACEMENT_RULE.least)))
            .map_or(FineEnough::No, FineEnough::WithStep)
    }
}

/// The density without the term for the air, for comparison with tables that leave it out: `W rho_w / D`.
#[must_use]
pub fn without_air(weighing: &Weighing) -> f64 {
    grams(weighing.air) * weighing.water.density() / grams(weighing.displacement)
}
