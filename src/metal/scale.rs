//! Scales: the accuracy class of a verified scale and the error that the class permits at a load.
//!
//! The permissible errors are a row of a dated table (OIML R 76-1:2006, Table 6), never constants in code that decides.
//! Deliberately absent: scales without a class. An unverified scale has no permissible error, so nothing is made up.

use serde::{Deserialize, Serialize};

use super::mass::Mass;

/// The accuracy class of a scale. Class IIII is absent: nobody weighs precious metal on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum ScaleClass {
    /// Special accuracy.
    I,
    /// High accuracy.
    II,
    /// Medium accuracy.
    III,
}

/// Where the bands of one class end, as a load in verification intervals `e`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MpeBands {
    /// The class.
    pub class: ScaleClass,
    /// Up to and including this load the error may be half an interval.
    pub half_interval_to: u64,
    /// Up to and including this load the error may be one interval; beyond it one and a half.
    pub one_interval_to: u64,
    /// The most intervals that a scale of the class may have; `None` when the class sets no limit.
    pub intervals_max: Option<u64>,
}

/// A table of permissible errors with its source and the year from which it speaks.
#[derive(Clone, Copy, Debug)]
pub struct MpeTable {
    /// The published standard.
    pub source: &'static str,
    /// The year of its edition.
    pub from_year: u16,
    /// One row for each class.
    pub rows: [MpeBands; 3],
}

/// The table in force: bands by Table 6, the most intervals of a class by Table 3 (the latter from memory).
pub const MPE_TABLE: MpeTable = MpeTable {
    source: "OIML R 76-1:2006, Table 6 and Table 3",
    from_year: 2006,
    rows: [
        MpeBands {
            class: ScaleClass::I,
            half_interval_to: 50_000,
            one_interval_to: 200_000,
            intervals_max: None,
        },
        MpeBands {
            class: ScaleClass::II,
            half_interval_to: 5_000,
            one_interval_to: 20_000,
            intervals_max: Some(100_000),
        },
        MpeBands {
            class: ScaleClass::III,
            half_interval_to: 500,
            one_interval_to: 2_000,
            intervals_max: Some(10_000),
        },
    ],
};

impl MpeTable {
    /// The permissible error in half intervals (1, 2 or 3) at initial verification, which in service is so many whole
    /// ones; `None` for an interval of zero or a load beyond the class.
    #[must_use]
    pub fn half_intervals(&self, class: ScaleClass, e: Mass, load: Mass) -> Option<u32> {
        let bands = self.rows.iter().find(|row| row.class == class)?;
        if e.is_zero() {
            return None;
        }
        // The load in intervals need not be whole, so the bounds are multiplied rather than the load divided.
        let reaches = |intervals: u64| load.count() <= e.count() * u128::from(intervals);
        if bands.intervals_max.is_some_and(|most| !reaches(most)) {
            return None;
        }
        // A load on a boundary belongs to the lower band.
        Some(
            match (reaches(bands.half_interval_to), reaches(bands.one_interval_to)) {
                (true, _) => 1,
                (false, true) => 2,
                (false, false) => 3,
            },
        )
    }
}

/// The maximum permissible error at initial verification for a load on a scale with verification interval `e`.
///
/// Half of an odd count of 10 micrograms is rounded up, so the error is never stated too small; every interval in use
/// (1, 2 or 5 times a power of ten from 0.1 mg up) is even and comes out exact. `None` for an interval of zero or a load
/// beyond what the class can weigh. Source: OIML R 76-1:2006, 3.5.1, Table 6.
#[must_use]
pub fn mpe(class: ScaleClass, e: Mass, load: Mass) -> Option<Mass> {
    let halves = MPE_TABLE.half_intervals(class, e, load)?;
    Mass::from_count((e.count() * u128::from(halves)).div_ceil(2))
}

/// The maximum permissible error in service: twice that at initial verification (OIML R 76-1:2006, 3.5.2).
///
/// It is always exact, since twice a half interval is an interval.
#[must_use]
pub fn mpe_in_service(class: ScaleClass, e: Mass, load: Mass) -> Option<Mass> {
    e.checked_mul(MPE_TABLE.half_intervals(class, e, load)?)
}

impl std::str::FromStr for ScaleClass {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "I" => Ok(Self::I),
            "II" => Ok(Self::II),
            "III" => Ok(Self::III),
            _ => Err("is none of I, II, III"),
        }
    }
}
