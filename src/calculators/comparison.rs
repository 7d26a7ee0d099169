//! Two readings of one piece: whether they agree, given the uncertainty of each.
//!
//! A scale of which only the step is known is assumed to be a cheap one. Nothing is said of what the piece is.

use super::{Answer, Calculator, Impossible};
use crate::metal::Mass;
use crate::metal::consistency::{ASSUMED, Agreement, Assumed, agreement, normalised_error, shown_from};
use crate::metal::floats::{fixed, fixed_up, grams};
use clap::Args;
use serde::Deserialize;

/// What the help of the command ends with.
pub const HELP: &str = "Examples:
  pourbook compare --first 100.42 --first-uncertainty 0.027 --second 100.39 --second-step 0.01
  pourbook compare --first 100.42 --first-uncertainty 0.03 --second 100.4 --second-step 0.1 --apart 0.2

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"difference\", \"first_uncertainty\", \"second_uncertainty\", \"normalised_error\", \"verdict\", \"shown_from\",
\"formula\", \"notes\"}; \"step_needed\" when the verdict is cannot-tell-with-this-scale and another scale could.";

/// Two readings, each with an uncertainty or the step of its scale.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Comparison {
    /// The first reading, such as the one recorded, grams.
    #[arg(long, value_name = "GRAMS")]
    first: Mass,
    /// Its expanded uncertainty (k = 2), grams.
    #[arg(
        long,
        value_name = "GRAMS",
        required_unless_present = "first_step",
        conflicts_with = "first_step"
    )]
    first_uncertainty: Option<Mass>,
    /// The step of its scale, when no more is known of it.
    #[arg(long, value_name = "GRAMS")]
    first_step: Option<Mass>,
    /// The second reading, such as a buyer's, grams.
    #[arg(long, value_name = "GRAMS")]
    second: Mass,
    /// Its expanded uncertainty (k = 2), grams.
    #[arg(
        long,
        value_name = "GRAMS",
        required_unless_present = "second_step",
        conflicts_with = "second_step"
    )]
    second_uncertainty: Option<Mass>,
    /// The step of its scale, when no more is known of it.
    #[arg(long, value_name = "GRAMS")]
    second_step: Option<Mass>,
    /// The difference that matters, grams: readings that could not show it cannot tell.
    #[arg(long, value_name = "GRAMS")]
    apart: Option<Mass>,
}

const HONEST: &str = "About one honest comparison in 22 falls outside. Polishing takes 0.01 to 0.05 g (common practice, no \
    source). The readings agree or do not; what the object is, they cannot say.";
const ASSUMPTION: &str = "Of a scale of which only the step was given, the error is assumed: 5 steps at 0.01 g and finer, 2 \
    steps above (common practice, no source). Weigh coins of known mass first.";

impl Calculator for Comparison {
    const WORD: &'static str = "comparison";
    const QUESTION: &'static str = "ComparisonQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let (first, _) = uncertainty(
            self.first_uncertainty,
            self.first_step,
            self.first,
            ["first_uncertainty", "first_step", "first"],
        )?;
        let (second, assumed) = uncertainty(
            self.second_uncertainty,
            self.second_step,
            self.second,
            ["second_uncertainty", "second_step", "second"],
        )?;
        let (x, y) = (grams(self.second), grams(self.first));
        let error = normalised_error(x, grams(second), y, grams(first))
            .ok_or_else(|| Impossible::of("second_uncertainty", "is zero, and so is the first"))?;
        let (ux, uy) = (second, first);
        let shown = shown_from(grams(ux), grams(uy));
        let answer = Answer::default()
            .figure(
                "difference",
                "second less first",
                self.second.minus(self.first),
                "g",
            )
            .figure("first_uncertainty", "first uncertainty (k = 2)", uy, "g")
            .figure("second_uncertainty", "second uncertainty (k = 2)", ux, "g")
            .figure("normalised_error", "E_n", fixed(error, 4), "")
            .figure(
                "shown_from",
                "a difference would show from",
                fixed_up(shown, 3),
                "g",
            );
        let mut answer = self.judged(answer, error, shown).formula(format!(
            "E_n = (second - first) / sqrt(U_second^2 + U_first^2) = ({} - {}) / sqrt({ux}^2 + {uy}^2) = {}",
            self.second,
            self.first,
            fixed(error, 2)
        ));
        if assumed || self.first_step.is_some() {
            answer = answer.note(ASSUMPTION);
        }
        Ok(answer.note(HONEST))
    }
}

impl Comparison {
    /// The verdict: what the readings show, unless they could not show what was asked.
    fn judged(&self, answer: Answer, error: f64, shown: f64) -> Answer {
        let verdict = agreement(error);
        let too_coarse = self.apart.is_some_and(|apart| shown > grams(apart));
        if verdict == Agreement::DoNotAgree || !too_coarse {
            return answer.verdict("verdict", "verdict", verdict.word(), verdict.words());
        }
        let answer = answer.cannot_tell("verdict", "it would not show the difference that matters");
        match self.step_needed() {
            Some(step) => answer.step_needed(step),
            None => answer.line(
                "a scale that could",
                "none that nobody has checked: have it weighed on a verified one",
            ),
        }
    }

    /// The coarsest step of a scale that, read beside the finer of the two readings, could show the difference.
    fn step_needed(&self) -> Option<Mass> {
        let apart = grams(self.apart?);
        let known = [self.first_uncertainty, self.second_uncertainty];
        let known = known.into_iter().flatten().min().map(grams);
        ASSUMED
            .into_iter()
            .find(|row| {
                let own = grams(row.uncertainty());
                shown_from(known.unwrap_or(own), own) <= apart
            })
            .map(|row| row.step())
    }
}

/// The expanded uncertainty of one reading, and whether it was assumed.
fn uncertainty(
    given: Option<Mass>,
    step: Option<Mass>,
    reading: Mass,
    [given_name, step_name, reading_name]: [&'static str; 3],
) -> Result<(Mass, bool), Impossible> {
    match (given, step) {
        (Some(given), None) => Ok((given, false)),
        (None, Some(step)) => {
            let row = Assumed::of(step).ok_or_else(|| {
                Impossible::of(
                    step_name,
                    "must be 1, 0.1, 0.01 or 0.001 g, or give the uncertainty",
                )
            })?;
            if !reading.is_multiple_of(step) {
                return Err(Impossible::of(reading_name, "is no multiple of the scale's step"));
            }
            Ok((row.uncertainty(), true))
        }
        _ => Err(Impossible::of(
            given_name,
            "give either the uncertainty or the step of the scale",
        )),
    }
}
