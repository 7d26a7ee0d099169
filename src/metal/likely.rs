//! What a reading should be near to, before it is believed: by what the mould gave so far, by the limits of the series, or by
//! what the piece weighed last.
//!
//! A slipped digit is a reading far from what the mould gives. Nothing is refused by it: somebody is asked once, and what they
//! say then is taken. The factors are rows of [`RULES`]: common practice, no source. Everything is whole numbers.

use super::mass::Mass;
use super::spread::Spread;

/// How far a reading may be off before somebody is asked: a version of the rule, in a dated table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SlipRule {
    /// The year from which it holds.
    pub from_year: u16,
    /// What it rests on.
    pub source: &'static str,
    /// From how many readings on the mould is believed.
    pub readings_min: u32,
    /// How many standard deviations on either side of the mean.
    pub deviations: u32,
    /// At least this share of the mean on either side, in thousandths.
    pub mean_thousandths: u32,
    /// Beyond the limits of a series, where the mould is not known yet: this share of the limit, in thousandths.
    pub limit_thousandths: u32,
    /// Below what a piece weighed last, since metal is only taken off: this share, in thousandths.
    pub filed_thousandths: u32,
    /// Above what a piece weighed last: this share, in thousandths.
    pub gained_thousandths: u32,
    /// A tare is round when it is a multiple of this, grams.
    pub round_tare_grams: u32,
}

/// The versions, oldest first.
pub const RULES: &[SlipRule] = &[SlipRule {
    from_year: 2026,
    source: "common practice, no source",
    readings_min: 5,
    deviations: 5,
    mean_thousandths: 10,
    limit_thousandths: 50,
    filed_thousandths: 50,
    gained_thousandths: 2,
    round_tare_grams: 5,
}];

/// Between which masses a reading is taken without a question: to 0.01 g, outwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Likely {
    /// From here, grams.
    pub low: Mass,
    /// What it should be near to, grams.
    pub near: Mass,
    /// Up to here, grams.
    pub high: Mass,
    /// What that rests on.
    pub by: Ground,
}

/// What an expectation rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    /// What the mould gave so often.
    Mould(u32),
    /// The limits of the series.
    Limits,
    /// What the piece weighed last.
    Last,
}

/// Why somebody is asked about a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Hardly anything is on the pan.
    EmptyPan,
    /// It is heavier by something round, as an empty dish that was not tared.
    Tare(Mass),
    /// It is too light.
    Light,
    /// It is too heavy.
    Heavy,
}

/// What a window is rounded to, outwards, in units of a mass: it is read at arm's length.
const ROUND: u128 = 1_000;

fn down(mass: Mass) -> Mass {
    Mass::from_count(mass.count() / ROUND * ROUND).unwrap_or(mass)
}

fn up(mass: Mass) -> Mass {
    Mass::from_count(mass.count().div_ceil(ROUND) * ROUND).unwrap_or(mass)
}

/// A share of a mass, rounded up.
fn share(mass: Mass, thousandths: u32) -> Option<Mass> {
    Mass::from_count((mass.count() * u128::from(thousandths)).div_ceil(1_000))
}

impl SlipRule {
    /// What a round tare is a multiple of; none beyond what a mass can hold.
    #[must_use]
    pub fn round_tare(&self) -> Option<Mass> {
        Mass::from_units(100_000)?.checked_mul(self.round_tare_grams)
    }
}

impl Likely {
    /// By what the mould gave; none of fewer readings than the rule asks for.
    #[must_use]
    pub fn of_mould(rule: &SlipRule, spread: &Spread) -> Option<Self> {
        if spread.count() < rule.readings_min {
            return None;
        }
        let near = spread.mean()?;
        let wide = spread.deviation_up()?.checked_mul(rule.deviations)?;
        let wide = wide.max(share(near, rule.mean_thousandths)?);
        Some(Self {
            low: down(near.checked_sub(wide).unwrap_or(Mass::ZERO)),
            near,
            high: up(near.checked_add(wide)?),
            by: Ground::Mould(spread.count()),
        })
    }

    /// By the limits of a series.
    #[must_use]
    pub fn of_limits(rule: &SlipRule, lower: Mass, upper: Mass) -> Option<Self> {
        let below = share(lower, rule.limit_thousandths)?;
        let near = Mass::from_units(lower.checked_add(upper)?.units() / 2)?;
        Some(Self {
            low: down(lower.checked_sub(below).unwrap_or(Mass::ZERO)),
            near,
            high: up(upper.checked_add(share(upper, rule.limit_thousandths)?)?),
            by: Ground::Limits,
        })
    }

    /// By what a piece weighed last: metal is taken off, hardly ever put on.
    #[must_use]
    pub fn of_last(rule: &SlipRule, last: Mass) -> Option<Self> {
        let filed = share(last, rule.filed_thousandths)?;
        Some(Self {
            low: down(last.checked_sub(filed).unwrap_or(Mass::ZERO)),
            near: last,
            high: up(last.checked_add(share(last, rule.gained_thousandths)?)?),
            by: Ground::Last,
        })
    }

    /// Whether to ask about a reading, and why. A tare is named only where what it is rounded to is wider than what is likely.
    #[must_use]
    pub fn doubt(&self, rule: &SlipRule, reading: Mass) -> Option<Doubt> {
        if reading < self.low {
            let hardly = reading.count() * 20 < self.near.count();
            return Some(if hardly { Doubt::EmptyPan } else { Doubt::Light });
        }
        if reading <= self.high {
            return None;
        }
        let over = reading.checked_sub(self.near)?;
        let step = rule.round_tare()?;
        let half = self.high.checked_sub(self.near)?;
        let tares = over
            .count()
            .checked_add(step.count() / 2)?
            .checked_div(step.count())?;
        let tare = Mass::from_count(tares.checked_mul(step.count())?)?;
        let near_round = tare.minus(over).magnitude() <= half;
        // A window as wide as the steps between round tares would call everything a tare.
        let telling = half.count() * 4 <= step.count();
        match tares > 0 && near_round && telling {
            true => Some(Doubt::Tare(tare)),
            false => Some(Doubt::Heavy),
        }
    }
}
