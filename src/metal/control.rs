//! The individuals chart: which figures of a kind are as usual, and which stand out.
//!
//! Centre line: the mean. Limits: three standard deviations off, the standard deviation being the mean moving range over
//! d2 = 1.128 (so 2.66 times the mean moving range). The usual standard deviation of all figures is not taken: a drift, or
//! a single figure far off, widens it and so hides itself, while it enters the moving range once or twice only. There are
//! no limits before ten figures: fewer do not say what is usual. Source: NIST/SEMATECH e-Handbook of Statistical Methods,
//! 6.3.2.2, from memory; ten figures: common practice, no source.
//!
//! The limits are made of all figures first. Those outside are then left out and the limits made anew, until none of the
//! rest is outside, as long as ten remain: so one that is far off does not excuse others. That is how a chart is begun by
//! hand (trial limits: common practice, no source), except that nobody asks here whether a cause was found. Deliberately
//! absent: rules on runs of figures.
#![expect(clippy::float_arithmetic, reason = "statistics: a chart's limits are floats")]

use super::floats::{fixed, grams};
use super::{Mass, MassDifference};
use serde::{Serialize, Serializer};
use std::fmt;

/// How many figures there must be before there are limits.
pub const FIGURES_LEAST: u32 = 10;
/// The expected range of two figures of one normal distribution, in its standard deviations.
const D2_OF_TWO: f64 = 1.128;
/// How many standard deviations off the limits stand.
const DEVIATIONS: f64 = 3.0;

/// A figure of a chart: a finite number, told with one decimal.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Figure(f64);

impl Figure {
    /// `None` for what is no finite number.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        value.is_finite().then_some(Self(value))
    }

    /// The number.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&fixed(self.0, 1))
    }
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What is usual.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Usual {
    /// The centre line.
    pub centre: Figure,
    /// The lower limit.
    pub lower: Figure,
    /// The upper limit.
    pub upper: Figure,
}

/// How a figure stands to what is usual.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Judged {
    /// There are no limits yet.
    Early,
    /// Between the limits, or on one.
    Within,
    /// Above the upper limit.
    Above,
    /// Below the lower limit.
    Below,
}

impl Usual {
    /// How a figure stands to it.
    #[must_use]
    pub fn judge(&self, figure: Figure) -> Judged {
        if figure > self.upper {
            Judged::Above
        } else if figure < self.lower {
            Judged::Below
        } else {
            Judged::Within
        }
    }
}

/// The mean of figures; none without one.
#[must_use]
pub fn mean(figures: &[Figure]) -> Option<Figure> {
    let mut mean = 0.0;
    // It is moved a little each time instead of dividing a sum that grows, so it stays within the figures.
    for (count, figure) in (1_u32..).zip(figures) {
        mean += (figure.0 - mean) / f64::from(count);
    }
    (!figures.is_empty()).then(|| Figure::new(mean))?
}

/// What is usual by these figures, in the order in which they came; none before ten.
#[must_use]
pub fn usual(figures: &[Figure]) -> Option<Usual> {
    let mut kept = figures.to_vec();
    let mut usual = limits(&kept)?;
    loop {
        let before = kept.len();
        kept.retain(|figure| usual.judge(*figure) == Judged::Within);
        if kept.len() == before {
            return Some(usual);
        }
        match limits(&kept) {
            Some(narrower) => usual = narrower,
            None => return Some(usual),
        }
    }
}

/// Centre line and limits of these figures, all of them; none of fewer than ten.
#[must_use]
pub fn limits(figures: &[Figure]) -> Option<Usual> {
    if u32::try_from(figures.len()).ok()? < FIGURES_LEAST {
        return None;
    }
    let ranges = figures.iter().zip(figures.iter().skip(1));
    let ranges: Option<Vec<Figure>> = ranges.map(|(a, b)| Figure::new((b.0 - a.0).abs())).collect();
    let off = DEVIATIONS * mean(&ranges?)?.0 / D2_OF_TWO;
    let centre = mean(figures)?;
    Some(Usual {
        centre,
        lower: Figure::new(centre.0 - off)?,
        upper: Figure::new(centre.0 + off)?,
    })
}

/// A difference in parts per million of a mass; none of nothing.
#[must_use]
pub fn parts_per_million(part: MassDifference, whole: Mass) -> Option<Figure> {
    let size = 1_000_000.0 * (grams(part.magnitude()) / grams(whole));
    Figure::new(if part.is_negative() { -size } else { size })
}
