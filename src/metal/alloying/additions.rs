//! Which lots are added and how much of each: the finest first to raise, the least fine first to lower.
//!
//! Each step of the scale of a finer lot brings more of what is missing than one of another, so taking the finest first,
//! each as far as it goes, needs the least metal; the last is rounded to the step. The same holds for lowering, turned round.

use super::{Addition, AlloyingError, Content, Direction, Lot, Part, RaiseInputs, Sum, written};
use crate::metal::fineness::Fineness;
use crate::metal::mass::Mass;
use crate::metal::ratio::Ratio;
use crate::metal::rounding::Rounding;

/// Steps of 10 micrograms in a gram.
const UNITS_PER_GRAM: u128 = 100_000;

/// An answer under way.
pub(super) struct Plan<'a> {
    pub(super) inputs: &'a RaiseInputs,
    pub(super) target: Fineness,
    /// The charge with what is added so far.
    pub(super) now: Sum,
    pub(super) additions: Vec<Addition>,
}

impl Plan<'_> {
    /// Finds the additions, and says which way they go.
    pub(super) fn make(&mut self) -> Result<Direction, AlloyingError> {
        let before = self.now;
        match self.now.above(self.target) {
            0 => Ok(Direction::Nothing),
            below if below < 0 => {
                if self.move_by(&self.finest_first(), Rounding::Up)? {
                    return Ok(Direction::Raise);
                }
                Err(self.out_of_reach(before, self.finest()?)?)
            }
            _ => {
                let mut least_first = self.finest_first();
                least_first.reverse();
                if self.move_by(&least_first, Rounding::Down)? {
                    return Ok(Direction::Lower);
                }
                Err(self.out_of_reach(before, self.now.floor(4)?)?)
            }
        }
    }

    fn out_of_reach(&self, before: Sum, best: Fineness) -> Result<AlloyingError, AlloyingError> {
        Ok(AlloyingError::OutOfReach {
            target: self.target,
            before: before.floor(4)?,
            best,
        })
    }

    /// The lots by fineness, the finest first; of equals the one that was named first.
    fn finest_first(&self) -> Vec<usize> {
        let lots = &self.inputs.lots;
        let mut order: Vec<usize> = (0..lots.len()).collect();
        order.sort_by_key(|place| std::cmp::Reverse(lots.get(*place).map(|lot| lot.fineness)));
        order
    }

    /// Adds lots in order until the target is met; whether it was.
    fn move_by(&mut self, order: &[usize], rounding: Rounding) -> Result<bool, AlloyingError> {
        let step = self.inputs.step.count();
        for place in order.iter().copied() {
            let Some(lot) = self.inputs.lots.get(place) else {
                continue;
            };
            let Some(each) = self.moved_by_each(lot, rounding) else {
                continue;
            };
            let wanted = self.now.above(self.target).unsigned_abs();
            let of_step = each.saturating_mul(step);
            let steps = rounding.divide(wanted, of_step).ok_or(AlloyingError::NoStep)?;
            let there = lot.left.map(|left| left.count().div_euclid(step));
            if there.is_none_or(|there| steps <= there) {
                let exact = Ratio::new(wanted, each.saturating_mul(UNITS_PER_GRAM));
                self.add(place, lot, steps.saturating_mul(step), exact)?;
                return Ok(true);
            }
            self.add(place, lot, there.unwrap_or(0).saturating_mul(step), None)?;
        }
        Ok(false)
    }

    /// By how many picograms each 10 micrograms of a lot move the charge towards the target; `None` if they do not.
    fn moved_by_each(&self, lot: &Lot, rounding: Rounding) -> Option<u128> {
        let (lot, target) = (lot.fineness.0.units(), self.target.units());
        let moved = match rounding {
            Rounding::Up => lot.checked_sub(target),
            _ => target.checked_sub(lot),
        };
        moved.filter(|moved| *moved > 0).map(u128::from)
    }

    fn add(
        &mut self,
        place: usize,
        lot: &Lot,
        count: u128,
        exact: Option<Ratio>,
    ) -> Result<(), AlloyingError> {
        if count == 0 {
            return Ok(());
        }
        let mass = Mass::from_count(count).ok_or(AlloyingError::TooMuch)?;
        self.now = self.now.with(mass, lot.fineness.0)?;
        self.additions.push(Addition {
            lot: place,
            name: lot.name.clone(),
            fineness: lot.fineness,
            mass,
            exact,
        });
        Ok(())
    }

    /// The finest that the charge can become: with what was added and whatever else is finer than the mixture. What there
    /// is no end of never quite brings the mixture to its own fineness.
    fn finest(&self) -> Result<Fineness, AlloyingError> {
        let step = self.inputs.step.count();
        let mut mixture = self.now;
        for place in self.finest_first() {
            let used = self.additions.iter().any(|addition| addition.lot == place);
            let Some(lot) = self.inputs.lots.get(place).filter(|_| !used) else {
                continue;
            };
            let fineness = lot.fineness.0;
            if mixture.above(fineness) >= 0 {
                break;
            }
            match lot.left {
                None => {
                    return Ok(Fineness::from_units(fineness.units().saturating_sub(1)).unwrap_or(fineness));
                }
                Some(left) => {
                    let whole = left.count().div_euclid(step).saturating_mul(step);
                    let mass = Mass::from_count(whole).ok_or(AlloyingError::TooMuch)?;
                    mixture = mixture.with(mass, fineness)?;
                }
            }
        }
        mixture.floor(4)
    }

    /// The formula with the numbers put in.
    pub(super) fn formula(&self, after: Fineness) -> String {
        let charge = &self.inputs.charge;
        let target = Content(self.target);
        let mut text = String::new();
        if let ([part], [addition]) = (charge.as_slice(), self.additions.as_slice())
            && let Some(exact) = addition
                .exact
                .and_then(|exact| exact.to_decimal(4, Rounding::HalfUp))
        {
            text = format!(
                "m2 = m1 (f - f1) / (f2 - f) = {} g x ({target} - {}) / ({} - {target}) = {exact} g, to the step of {} g: \
                 {} g; ",
                part.mass, part.fineness.0, addition.fineness.0, self.inputs.step, addition.mass,
            );
        }
        let added: Vec<Part> = self
            .additions
            .iter()
            .map(|addition| Part {
                mass: addition.mass,
                fineness: addition.fineness,
            })
            .collect();
        let parts = charge.iter().chain(&added);
        let sum = written(parts);
        format!(
            "{text}({sum}) / {} g = {after} parts per thousand, rounded down",
            self.now.mass
        )
    }
}
