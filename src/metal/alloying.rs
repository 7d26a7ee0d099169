//! Alloying: what a charge will be, and what to add to raise or lower it.
//!
//! The model is a well-mixed melt without loss: f = sum(m f) / sum(m). To raise m1 at f1 to f with metal at f2 takes
//! m2 = m1 (f - f1) / (f2 - f). Never aim at the limit: the target is the standard and the uncertainty of the assay on
//! top of it, since there is no tolerance below a mark. Everything is whole numbers: a mass is rounded once, to the step
//! of the scale, up where it raises and down where it lowers, so that the target is met either way.
//! Deliberately absent: what burns off or is picked up in the fire, and prices: the least metal is not always the cheapest.

mod additions;
mod parts;

use additions::Plan;
pub use parts::{Content, Lot, Part};

use super::fine_mass::{FineMass, fine_mass};
use super::fineness::{Fineness, PURE_COUNT};
use super::mass::Mass;
use super::ratio::Ratio;

/// The most parts or lots of one calculation.
pub const PARTS_MAX: usize = 64;
/// Decimals to which a predicted fineness is stated, rounded down.
const STATED_DECIMALS: u32 = 1;

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AlloyingError {
    /// A charge of nothing.
    #[error("a charge of no metal has no fineness")]
    NoMetal,
    /// More parts or lots than one calculation takes.
    #[error("{0} are named, at most 64 fit in one calculation")]
    TooMany(usize),
    /// A scale without a step.
    #[error("a scale has a step above zero")]
    NoStep,
    /// Beyond what a mass can hold.
    #[error("the masses come to more than {} g", Mass::MAX)]
    TooMuch,
    /// The margin takes the target beyond pure metal.
    #[error(
        "{standard} and a margin of {uncertainty} parts per thousand are more than pure metal: no assay of that \
         uncertainty supports this standard"
    )]
    MarginBeyondPure {
        /// The standard.
        standard: Fineness,
        /// The uncertainty of the assay.
        uncertainty: Fineness,
    },
    /// Nothing that is offered brings the charge to the target.
    #[error(
        "the target of {target} parts per thousand cannot be reached from {before}: the best that can be is {best}, \
         rounded down"
    )]
    OutOfReach {
        /// The target.
        target: Fineness,
        /// The charge as it is, rounded down to 0.0001.
        before: Fineness,
        /// The nearest that all that is offered comes to, rounded down to 0.0001.
        best: Fineness,
    },
}

/// A standard and the margin that is kept above it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aim {
    /// The standard that must be reached, parts per thousand.
    pub standard: Fineness,
    /// The expanded uncertainty (k = 2) of the assay that will be made, parts per thousand; no margin if nothing is said.
    pub uncertainty: Option<Fineness>,
}

impl Aim {
    /// What to aim at: the standard and the margin.
    ///
    /// # Errors
    /// [`AlloyingError::MarginBeyondPure`].
    pub fn target(self) -> Result<Fineness, AlloyingError> {
        let Some(uncertainty) = self.uncertainty else {
            return Ok(self.standard);
        };
        let sum = self.standard.units().saturating_add(uncertainty.units());
        Fineness::from_units(sum).ok_or(AlloyingError::MarginBeyondPure {
            standard: self.standard,
            uncertainty,
        })
    }
}

/// Metal as a sum of parts: its mass and its fine mass, both in whole numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Sum {
    mass: Mass,
    fine: FineMass,
}

impl Sum {
    fn of<'a>(parts: impl IntoIterator<Item = &'a Part>) -> Result<Self, AlloyingError> {
        let nothing = Self {
            mass: Mass::ZERO,
            fine: FineMass::ZERO,
        };
        parts
            .into_iter()
            .try_fold(nothing, |sum, part| sum.with(part.mass, part.fineness.0))
    }

    fn with(self, mass: Mass, fineness: Fineness) -> Result<Self, AlloyingError> {
        let sum = || {
            Some(Self {
                mass: self.mass.checked_add(mass)?,
                fine: self.fine.checked_add(fine_mass(mass, fineness))?,
            })
        };
        sum().ok_or(AlloyingError::TooMuch)
    }

    /// The fineness as an exact fraction.
    fn exact(self) -> Result<Ratio, AlloyingError> {
        if self.mass.is_zero() {
            return Err(AlloyingError::NoMetal);
        }
        let whole = self.mass.count() * u128::from(PURE_COUNT);
        Ratio::new(self.fine.picograms().unsigned_abs(), whole).ok_or(AlloyingError::NoMetal)
    }

    /// The fineness rounded down to some decimals of a part per thousand.
    fn floor(self, decimals: u32) -> Result<Fineness, AlloyingError> {
        Fineness::floor_from(self.exact()?, decimals).ok_or(AlloyingError::TooMuch)
    }

    /// How much fine metal there is above what a target asks, picograms; below zero what is missing.
    fn above(self, target: Fineness) -> i128 {
        self.fine.picograms() - fine_mass(self.mass, target).picograms()
    }
}

/// What a blend is made of, and what it should reach.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlendInputs {
    /// What goes in.
    pub parts: Vec<Part>,
    /// What it should reach, if anything.
    pub aim: Option<Aim>,
}

/// What a blend will be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blend {
    /// Sum of the parts, grams.
    pub mass: Mass,
    /// Fine metal in it, grams, exact.
    pub fine: FineMass,
    /// Predicted fineness, rounded down to 0.1 parts per thousand.
    pub fineness: Fineness,
    /// The same before rounding, as a fraction of the whole.
    pub exact: Ratio,
    /// What it should reach: the standard and the margin.
    pub target: Option<Fineness>,
    /// Whether it reaches that.
    pub reached: Option<bool>,
    /// The formula with the numbers put in.
    pub formula: String,
}

impl BlendInputs {
    /// Predicts the blend.
    ///
    /// # Errors
    /// [`AlloyingError`].
    pub fn blend(&self) -> Result<Blend, AlloyingError> {
        counted(self.parts.len())?;
        let sum = Sum::of(&self.parts)?;
        let target = self.aim.map(Aim::target).transpose()?;
        let fineness = sum.floor(STATED_DECIMALS)?;
        Ok(Blend {
            mass: sum.mass,
            fine: sum.fine,
            fineness,
            exact: sum.exact()?,
            target,
            reached: target.map(|target| sum.above(target) >= 0),
            formula: format!(
                "({}) / {} g = {} g fine / {} g = {fineness} parts per thousand, rounded down",
                written(&self.parts),
                sum.mass,
                sum.fine,
                sum.mass,
            ),
        })
    }
}

/// `300.00 g x 998.6 + 133.34 g x 999.9`.
fn written<'a>(parts: impl IntoIterator<Item = &'a Part>) -> String {
    let of_part = |part: &Part| format!("{} g x {}", part.mass, per_thousand(part.fineness));
    let parts: Vec<String> = parts.into_iter().map(of_part).collect();
    parts.join(" + ")
}

/// As a number, also of alloy metal.
fn per_thousand(content: Content) -> String {
    content.0.to_string()
}

fn counted(count: usize) -> Result<(), AlloyingError> {
    match count {
        0 => Err(AlloyingError::NoMetal),
        1..=PARTS_MAX => Ok(()),
        _ => Err(AlloyingError::TooMany(count)),
    }
}

/// A charge, what it should become, and what could be added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RaiseInputs {
    /// What is in the charge.
    pub charge: Vec<Part>,
    /// What it should become.
    pub aim: Aim,
    /// What could be added.
    pub lots: Vec<Lot>,
    /// The step of the scale, grams.
    pub step: Mass,
}

/// Which way a charge is moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Finer metal is added.
    Raise,
    /// Alloy or metal of less fineness is added.
    Lower,
    /// It is there already, to the step of the scale.
    Nothing,
}

/// What to add of one lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Addition {
    /// Which lot, counted from 0 as they were given.
    pub lot: usize,
    /// Its name, if it has one.
    pub name: Option<String>,
    /// Parts per thousand, or `alloy`.
    pub fineness: Content,
    /// Grams to add, in whole steps of the scale.
    pub mass: Mass,
    /// Grams before rounding to the step, where this is what completes the target.
    pub exact: Option<Ratio>,
}

/// How a charge reaches its target.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Raise {
    /// The charge as it is, rounded down to 0.1 parts per thousand.
    pub before: Fineness,
    /// The standard and the margin.
    pub target: Fineness,
    /// Which way it is moved.
    pub direction: Direction,
    /// What to add, in this order.
    pub additions: Vec<Addition>,
    /// Sum of what is added, grams: the least that does it.
    pub added: Mass,
    /// The charge then, grams.
    pub mass: Mass,
    /// Its fineness then, rounded down to 0.1 parts per thousand.
    pub fineness: Fineness,
    /// The same before rounding, as a fraction of the whole.
    pub exact: Ratio,
    /// The formula with the numbers put in.
    pub formula: String,
}

impl RaiseInputs {
    /// Finds the least metal that brings the charge to its target.
    ///
    /// # Errors
    /// [`AlloyingError`]; of a target that cannot be reached it says the best that can.
    pub fn raise(&self) -> Result<Raise, AlloyingError> {
        counted(self.charge.len())?;
        if self.lots.len() > PARTS_MAX {
            return Err(AlloyingError::TooMany(self.lots.len()));
        }
        if self.step.is_zero() {
            return Err(AlloyingError::NoStep);
        }
        let before = Sum::of(&self.charge)?;
        let target = self.aim.target()?;
        before.exact()?;
        let mut plan = Plan {
            inputs: self,
            target,
            now: before,
            additions: Vec::new(),
        };
        let direction = plan.make()?;
        // What is above the target by less than a step of the scale is left as it is.
        let direction = match plan.additions.as_slice() {
            [] => Direction::Nothing,
            _ => direction,
        };
        let added = Mass::checked_sum(plan.additions.iter().map(|addition| addition.mass));
        let fineness = plan.now.floor(STATED_DECIMALS)?;
        Ok(Raise {
            before: before.floor(STATED_DECIMALS)?,
            target,
            direction,
            added: added.ok_or(AlloyingError::TooMuch)?,
            mass: plan.now.mass,
            fineness,
            exact: plan.now.exact()?,
            formula: plan.formula(fineness),
            additions: plan.additions,
        })
    }
}
