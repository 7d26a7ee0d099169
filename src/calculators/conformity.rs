//! What one reading says of limits: its uncertainty, the guard band, the grade, how probable it is that the piece itself
//! stands within them, and what may be claimed of it.

use super::{Answer, Calculator, Impossible};
use crate::metal::floats::fixed_up;
use crate::metal::probability::{conformity, standard_uncertainty};
use crate::metal::{
    LimitGrade, MPE_TABLE, Mass, ScaleClass, at_least, expanded_uncertainty, grade_by_limits, guard_band,
    mpe_in_service,
};
use clap::Args;
use serde::Deserialize;

/// What the help of the command ends with.
pub const HELP: &str = "Examples:
  pourbook conformity --reading 100.01 --lower 100 --upper 102 --class II --e 0.01 --step 0.01 --repeatability 0.006
  pourbook conformity --reading 100.3 --lower 100 --error 0.2 --step 0.1 --repeatability 0.06

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"permissible_error\", \"standard_uncertainty\", \"uncertainty\", \"guard_band\", \"grade\", \"probability\", \"at_least\",
\"formula\", \"notes\"}, and \"table\" when the error is that of a class.";

/// A reading, the limits, and the scale.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Conformity {
    /// What the scale reads, grams.
    #[arg(long, value_name = "GRAMS")]
    reading: Mass,
    /// The lower limit, grams.
    #[arg(long, value_name = "GRAMS")]
    lower: Mass,
    /// The upper limit, grams; none if not given.
    #[arg(long, value_name = "GRAMS")]
    upper: Option<Mass>,
    /// The accuracy class of a verified scale: I, II or III.
    #[arg(long, requires = "e", required_unless_present = "error")]
    class: Option<ScaleClass>,
    /// Its verification interval e, grams.
    #[arg(long, value_name = "GRAMS", requires = "class")]
    e: Option<Mass>,
    /// What an unverified scale is taken to err at most, grams, instead of a class.
    #[arg(long, value_name = "GRAMS", conflicts_with_all = ["class", "e"])]
    error: Option<Mass>,
    /// The step of the display, grams.
    #[arg(long, value_name = "GRAMS")]
    step: Mass,
    /// The standard deviation of repeated weighings, grams.
    #[arg(long, value_name = "GRAMS")]
    repeatability: Mass,
}

const TOSS: &str = "A reading of the limit itself is a coin toss. The grade is decided by the guard band (JCGM 106:2012; three \
    answers as in ILAC-G8:09/2019), in whole numbers; the probability is told beside it.";
const UNVERIFIED: &str = "An unverified scale has no limit of error in law: the error that was typed is an assumption, and \
    supports no certificate.";

impl Calculator for Conformity {
    const WORD: &'static str = "conformity";
    const QUESTION: &'static str = "ConformityQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        self.fits()?;
        let (error, s, d) = (self.permissible_error()?, self.repeatability, self.step);
        let beyond = || {
            Impossible::of(
                "repeatability",
                "makes an uncertainty beyond what a mass can hold",
            )
        };
        let guard = guard_band(error, s, d).ok_or_else(beyond)?;
        let uncertainty = expanded_uncertainty(error, s, d).ok_or_else(beyond)?;
        let u = standard_uncertainty(error, s, d);
        let probability = conformity(self.reading, u, self.lower, self.upper)
            .ok_or_else(|| Impossible::of("step", "leaves no uncertainty to reckon with"))?;
        let grade = grade_by_limits(self.reading, self.lower, self.upper, guard);
        let mut answer = Answer::default()
            .figure("permissible_error", "permissible error", error, "g")
            .figure(
                "standard_uncertainty",
                "standard uncertainty",
                fixed_up(u, 6),
                "g",
            )
            .figure("uncertainty", "uncertainty (k = 2)", uncertainty, "g")
            .figure("guard_band", "guard band", guard, "g")
            .verdict("grade", "grade", word(grade), words(grade))
            .figure("probability", "within the limits with", probability, "")
            .figure(
                "at_least",
                "may be claimed: at least",
                at_least(self.reading, uncertainty),
                "g",
            )
            .formula(format!(
                "u = sqrt(error^2 / 3 + s^2 + d^2 / 6) = sqrt({error}^2 / 3 + {s}^2 + {d}^2 / 6) = {} g",
                fixed_up(u, 6)
            ))
            .formula(self.formula(&fixed_up(u, 6), &probability.to_string()))
            .note(TOSS);
        if self.class.is_some() {
            answer = answer.figure("table", "permissible error by", MPE_TABLE.source, "");
        } else {
            answer = answer.note(UNVERIFIED);
        }
        Ok(answer)
    }
}

impl Conformity {
    fn fits(&self) -> Result<(), Impossible> {
        if self.step.is_zero() {
            return Err(Impossible::of("step", "is zero"));
        }
        if self.upper.is_some_and(|upper| upper <= self.lower) {
            return Err(Impossible::of("upper", "is not above the lower limit"));
        }
        if !self.reading.is_multiple_of(self.step) {
            return Err(Impossible::of("reading", "is no multiple of the scale's step"));
        }
        Ok(())
    }

    fn permissible_error(&self) -> Result<Mass, Impossible> {
        match (self.class, self.e, self.error) {
            (Some(class), Some(e), None) => mpe_in_service(class, e, self.reading).ok_or_else(|| {
                Impossible::of("e", "is zero, or the reading is beyond what the class can weigh")
            }),
            (None, None, Some(error)) => Ok(error),
            _ => Err(Impossible::of(
                "class",
                "give class and e of a verified scale, or error of another",
            )),
        }
    }

    fn formula(&self, u: &str, probability: &str) -> String {
        let (x, lower) = (self.reading, self.lower);
        match self.upper {
            Some(upper) => format!(
                "p = Phi((upper - x)/u) - Phi((lower - x)/u) = Phi(({upper} - {x})/{u}) - Phi(({lower} - {x})/{u}) = {probability}"
            ),
            None => format!("p = 1 - Phi((lower - x)/u) = 1 - Phi(({lower} - {x})/{u}) = {probability}"),
        }
    }
}

const fn word(grade: LimitGrade) -> &'static str {
    match grade {
        LimitGrade::Accepted => "accepted",
        LimitGrade::Under => "under",
        LimitGrade::Over => "over",
        LimitGrade::Borderline => "borderline",
    }
}

const fn words(grade: LimitGrade) -> &'static str {
    match grade {
        LimitGrade::Accepted => "accepted",
        LimitGrade::Under => "under",
        LimitGrade::Over => "over",
        LimitGrade::Borderline => "borderline: cannot tell with this scale, re-weigh once on a better one",
    }
}
