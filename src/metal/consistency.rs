//! Consistency: whether two readings of one quantity agree, given the uncertainty of each.
//!
//! `E_n = (x - y) / sqrt(U_x^2 + U_y^2)` with expanded uncertainties (k = 2), as proficiency tests use it (ISO 13528,
//! ISO/IEC 17043; from memory). Two honest readings stand outside 1 about once in 22 times, so there is a verdict between
//! yes and no, and none of them says what an object is.
#![expect(
    clippy::float_arithmetic,
    reason = "statistics: a normalised error is a float"
)]

use super::mass::Mass;
use super::tolerance::expanded_uncertainty_fine;

/// Up to this size of E_n two readings agree.
const AGREE_MAX: f64 = 1.0;
/// Up to this size they are to be repeated on another scale (the workshop's own rule; no source).
const REPEAT_MAX: f64 = 1.5;

/// What two readings of one quantity say of each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Agreement {
    /// Within what their uncertainties allow.
    Agree,
    /// Somewhat outside: to be repeated on another scale.
    RepeatOnAnotherScale,
    /// Outside.
    DoNotAgree,
}

impl Agreement {
    /// The verdict as JSON spells it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Agree => "agree",
            Self::RepeatOnAnotherScale => "repeat-on-another-scale",
            Self::DoNotAgree => "do-not-agree",
        }
    }

    /// The words of the verdict.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Agree => "the two agree",
            Self::RepeatOnAnotherScale => "repeat on another scale",
            Self::DoNotAgree => "the two do not agree",
        }
    }
}

/// The normalised error E_n of a reading `x` against another `y`, each with its expanded uncertainty (k = 2) in the same
/// unit. `None` when both uncertainties are zero, or when one is negative or anything is not a finite number.
#[must_use]
pub fn normalised_error(x: f64, x_uncertainty: f64, y: f64, y_uncertainty: f64) -> Option<f64> {
    let joint = x_uncertainty.hypot(y_uncertainty);
    let fits = x_uncertainty >= 0.0 && y_uncertainty >= 0.0 && joint > 0.0;
    let error = (x - y) / joint;
    (fits && error.is_finite()).then_some(error)
}

/// The verdict on a normalised error; each edge belongs to the milder one.
#[must_use]
pub fn agreement(normalised_error: f64) -> Agreement {
    let size = normalised_error.abs();
    if size <= AGREE_MAX {
        Agreement::Agree
    } else if size <= REPEAT_MAX {
        Agreement::RepeatOnAnotherScale
    } else {
        Agreement::DoNotAgree
    }
}

/// What is assumed of a scale of which nothing but its step is known.
#[derive(Clone, Copy, Debug)]
pub struct Assumed {
    step: i64,
    error: i64,
    repeatability: i64,
}

/// Assumed errors and repeatabilities by step, coarsest first, in counts of 10 micrograms: cheap scales that nobody has
/// checked (common practice, no source).
pub const ASSUMED: [Assumed; 4] = [
    assumed(100_000, 200_000, 60_000),
    assumed(10_000, 20_000, 6_000),
    assumed(1_000, 5_000, 1_000),
    assumed(100, 500, 100),
];

const fn assumed(step: i64, error: i64, repeatability: i64) -> Assumed {
    Assumed {
        step,
        error,
        repeatability,
    }
}

impl Assumed {
    /// What is assumed of a scale with this step; `None` for a step that no row is about.
    #[must_use]
    pub fn of(step: Mass) -> Option<Self> {
        ASSUMED.into_iter().find(|row| row.step == step.units())
    }

    /// The step.
    #[must_use]
    pub fn step(&self) -> Mass {
        Mass::from_units(self.step).unwrap_or_default()
    }

    /// The error that is assumed on either side.
    #[must_use]
    pub fn error(&self) -> Mass {
        Mass::from_units(self.error).unwrap_or_default()
    }

    /// The expanded uncertainty (k = 2) of a reading of such a scale, by the model of `tolerance`.
    #[must_use]
    pub fn uncertainty(&self) -> Mass {
        let repeatability = Mass::from_units(self.repeatability).unwrap_or_default();
        expanded_uncertainty_fine(self.error(), repeatability, self.step()).unwrap_or_default()
    }
}

/// The smallest difference that two such readings would show: up to it they agree or are to be repeated.
#[must_use]
pub fn shown_from(x_uncertainty: f64, y_uncertainty: f64) -> f64 {
    REPEAT_MAX * x_uncertainty.hypot(y_uncertainty)
}
