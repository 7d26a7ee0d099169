//! Spread: mean and standard deviation of masses.
//!
//! The sums are exact; only the root at the end is a float. Deliberately absent: outliers, which the chart of losses
//! looks for.
#![expect(clippy::float_arithmetic, reason = "statistics: a deviation is a float")]

use super::floats::count;
use super::mass::Mass;
use super::rounding::Rounding;

/// Masses counted, their sum and the sum of their squares.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Spread {
    count: u32,
    sum: u128,
    squares: u128,
}

impl Spread {
    /// Takes one more mass. A square is below 2^87, so that no count of them leaves 128 bits.
    pub fn take(&mut self, mass: Mass) {
        let Some(count) = self.count.checked_add(1) else {
            return;
        };
        self.count = count;
        self.sum += mass.count();
        self.squares += mass.count() * mass.count();
    }

    /// How many were taken.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// The mean, to 10 micrograms, half up; none of nothing.
    #[must_use]
    pub fn mean(&self) -> Option<Mass> {
        Mass::from_count(Rounding::HalfUp.divide(self.sum, u128::from(self.count))?)
    }

    /// The standard deviation of a sample, rounded up to 10 micrograms, in whole numbers. None of fewer than two.
    #[must_use]
    pub fn deviation_up(&self) -> Option<Mass> {
        let n = u128::from(self.count);
        let pairs = n.checked_mul(n.checked_sub(1)?).filter(|pairs| *pairs > 0)?;
        let sums = n
            .checked_mul(self.squares)?
            .checked_sub(self.sum.checked_mul(self.sum)?)?;
        let square = sums.div_ceil(pairs);
        let floor = square.isqrt();
        Mass::from_count(if floor * floor < square { floor + 1 } else { floor })
    }

    /// The standard deviation of a sample, grams: `sqrt((n sum x^2 - (sum x)^2) / (n (n - 1)))`. None of fewer than two.
    #[must_use]
    pub fn deviation(&self) -> Option<f64> {
        let n = u128::from(self.count);
        let pairs = n.checked_mul(n.checked_sub(1)?).filter(|pairs| *pairs > 0)?;
        let sums = n
            .checked_mul(self.squares)?
            .checked_sub(self.sum.checked_mul(self.sum)?)?;
        // Scaled so that the quotient keeps its digits as a whole number: in squares of 10 nanograms, where that fits.
        let fine = sums.checked_mul(1_000_000);
        let (square, scale) = fine.map_or((sums / pairs, 100_000.0), |fine| (fine / pairs, 100_000_000.0));
        let high = u64::try_from(square >> 64).ok()?;
        let low = u64::try_from(square & u128::from(u64::MAX)).ok()?;
        Some((count(high) * 18_446_744_073_709_551_616.0 + count(low)).sqrt() / scale)
    }
}
