//! By how much a check weighing was off, and what readings would be if they were off alike.

use crate::metal::Mass;

/// A check weighing: the check weight, and what the scale showed of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Deviation {
    /// Nominal mass of the check weight, grams.
    pub nominal: Mass,
    /// What the scale showed, grams.
    pub shown: Mass,
}

impl Deviation {
    /// A reading less as many grams as the check was off; nothing where that would be below nothing.
    #[must_use]
    pub fn offset(self, reading: Mass) -> Mass {
        let off = self.shown.minus(self.nominal).units();
        let units = reading.units().saturating_sub(off).max(0);
        Mass::from_units(units).unwrap_or(Mass::MAX)
    }

    /// A reading less the share by which the check was off: reading * nominal / shown, rounded half up to 10 micrograms.
    /// `None` where the scale showed nothing, or the outcome is no mass.
    #[must_use]
    pub fn proportion(self, reading: Mass) -> Option<Mass> {
        let (reading, nominal) = (i128::from(reading.units()), i128::from(self.nominal.units()));
        let shown = i128::from(self.shown.units());
        let twice = reading.checked_mul(nominal)?.checked_mul(2)?.checked_add(shown)?;
        let units = twice.checked_div(shown.checked_mul(2)?)?;
        Mass::from_units(i64::try_from(units).ok()?)
    }

    /// What a reading would be by each model.
    #[must_use]
    pub fn both(self, reading: Mass) -> (Mass, Option<Mass>) {
        (self.offset(reading), self.proportion(reading))
    }
}
