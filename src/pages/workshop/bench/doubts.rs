//! The question about a reading that is far from what it should be. `grams.mjs` asks the same.

use crate::metal::Mass;
use crate::metal::likely::{Doubt, Ground, Likely, SlipRule};

/// The question.
#[must_use]
pub fn question(rule: &SlipRule, likely: &Likely, doubt: Doubt, mass: Mass) -> String {
    let over = mass.checked_sub(likely.near).unwrap_or_default();
    let round = rule.round_tare().unwrap_or(Mass::MAX);
    let span = format!("{} g to {} g", likely.low, likely.high);
    let ground = match likely.by {
        Ground::Mould(_) => "the mould gives",
        Ground::Limits => "the limits let expect",
        Ground::Last => "it weighed last, so expect",
    };
    let why = match doubt {
        Doubt::EmptyPan => "that is next to nothing: is the piece on the pan?".to_owned(),
        Doubt::Tare(tare) => {
            format!("that is about {tare} g more than {ground} ({span}): was the dish tared?")
        }
        Doubt::Heavy if over >= round => format!(
            "that is some {} g more than {ground} ({span}): a slipped digit, or a dish that was not tared?",
            whole_grams(over)
        ),
        Doubt::Light | Doubt::Heavy => format!("{ground} {span}."),
    };
    format!("{mass} g: {why}")
}

/// Of a sum that is far off, whole grams say enough.
const fn whole_grams(mass: Mass) -> i64 {
    mass.units().saturating_add(50_000) / 100_000
}
