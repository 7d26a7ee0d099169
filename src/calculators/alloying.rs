//! What a charge will be, and what to add to raise or lower it.

use super::{Answer, Calculator, Impossible};
use crate::metal::alloying::{Addition, Aim, AlloyingError, BlendInputs, Direction, Lot, Part, RaiseInputs};
use crate::metal::{Fineness, Mass};
use clap::Args;
use serde::Deserialize;
use serde_json::{Value, json};

const MODEL: &str = "The model is a well-mixed melt without loss; declared finenesses are taken as they are.";
const NO_MARGIN: &str = "Never aim at the limit: there is no tolerance below a mark. Give the uncertainty of the assay as a \
    margin.";
const CAUTION: &str = "Molten metal and water explode: dry and preheat moulds, tools and scrap, and refuse sealed, wet, \
    cadmium- or beryllium-bearing scrap. Local codes and licensed practice go before this.";

/// What goes into a charge, and what it should reach.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Blend {
    /// What goes in, each as grams and parts per thousand (or `alloy`), like 300@998.6.
    #[arg(long = "part", value_name = "GRAMS@FINENESS", required = true)]
    parts: Vec<Part>,
    /// The standard that it should reach, parts per thousand.
    #[arg(long, value_name = "FINENESS")]
    standard: Option<Fineness>,
    /// The expanded uncertainty (k = 2) of the assay, parts per thousand, kept as a margin above the standard.
    #[arg(long, value_name = "FINENESS", requires = "standard")]
    uncertainty: Option<Fineness>,
}

/// What the help of `blend` ends with.
pub const BLEND_HELP: &str = "Examples:
  pourbook blend --part 500@999 --part 40@alloy
  pourbook blend --part 300@998.6 --part 133.34@999.9 --standard 999 --uncertainty 0.1

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"mass\", \"fine\", \"fineness\" rounded down, \"exact\" as a fraction, \"formula\", \"notes\"}, and \"target\" and
\"reached\" (\"yes\" or \"no\") where a standard is given.";

impl Calculator for Blend {
    const WORD: &'static str = "blend";
    const QUESTION: &'static str = "BlendQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let aim = match (self.standard, self.uncertainty) {
            (Some(standard), uncertainty) => Some(Aim {
                standard,
                uncertainty,
            }),
            (None, None) => None,
            (None, Some(_)) => {
                let fact = "a margin goes with a standard";
                return Err(Impossible::of("uncertainty", fact));
            }
        };
        let inputs = BlendInputs {
            parts: self.parts.clone(),
            aim,
        };
        let blend = inputs.blend().map_err(|error| refused(error, "parts"))?;
        let mut answer = Answer::default()
            .figure("mass", "mass", blend.mass, "g")
            .figure("fine", "fine metal", blend.fine, "g")
            .figure(
                "fineness",
                "fineness, rounded down",
                blend.fineness,
                "parts per thousand",
            )
            .hidden("exact", blend.exact.to_string());
        if let (Some(target), Some(reached)) = (blend.target, blend.reached) {
            let (word, words) = match reached {
                true => ("yes", "it reaches the target"),
                false => ("no", "it stays below the target"),
            };
            answer = answer
                .figure("target", "target", target, "parts per thousand")
                .verdict("reached", "reached", word, words);
        }
        Ok(noted(answer.formula(blend.formula), aim))
    }
}

/// A charge, what it should become, and what could be added.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Raise {
    /// What is in the charge, each as grams and parts per thousand (or `alloy`), like 300@998.6.
    #[arg(long = "charge", value_name = "GRAMS@FINENESS", required = true)]
    charge: Vec<Part>,
    /// The standard that it should become, parts per thousand.
    #[arg(long, value_name = "FINENESS")]
    standard: Fineness,
    /// The expanded uncertainty (k = 2) of the assay, parts per thousand, kept as a margin above the standard.
    #[arg(long, value_name = "FINENESS")]
    uncertainty: Option<Fineness>,
    /// What could be added: parts per thousand (or `alloy`), with what is left of it in front if that has an end, and a
    /// name if it has one, like 999.9, 120.5@999.9 or feed=120.5@999.9.
    #[arg(long = "lot", value_name = "[NAME=][GRAMS@]FINENESS")]
    #[serde(default)]
    lots: Vec<Lot>,
    /// The step of the scale, grams.
    #[arg(long, value_name = "GRAMS")]
    step: Mass,
}

/// What the help of `raise` ends with.
pub const RAISE_HELP: &str = "Examples:
  pourbook raise --charge 300@998.6 --standard 999 --lot 999.9 --step 0.01
  pourbook raise --charge 500@999 --standard 925 --uncertainty 0.5 --lot alloy --step 0.01
  pourbook raise --charge 300@998.6 --standard 999 --lot rest=100@999.9 --lot 999.5 --step 0.01

Exit code: 0 answered; 1 impossible, with the best that can be; 2 the arguments cannot be read.
With --json: {\"before\", \"target\", \"direction\" (\"raise\", \"lower\" or \"nothing\"), \"additions\": [{\"lot\" counted from 0,
\"name\", \"fineness\", \"mass\", \"exact\" before rounding to the step}], \"added\", \"mass\", \"fineness\" rounded down, \"exact\",
\"formula\", \"notes\"}.";

impl Calculator for Raise {
    const WORD: &'static str = "raise";
    const QUESTION: &'static str = "RaiseQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let aim = Aim {
            standard: self.standard,
            uncertainty: self.uncertainty,
        };
        let inputs = RaiseInputs {
            charge: self.charge.clone(),
            aim,
            lots: self.lots.clone(),
            step: self.step,
        };
        let raise = inputs.raise().map_err(|error| refused(error, "charge"))?;
        let (word, words) = match raise.direction {
            Direction::Raise => ("raise", "finer metal is added"),
            Direction::Lower => ("lower", "metal of less fineness is added"),
            Direction::Nothing => ("nothing", "it is there already, to the step of the scale"),
        };
        let items: Vec<Value> = raise.additions.iter().map(item).collect();
        let lines: Vec<String> = raise.additions.iter().map(line).collect();
        let line = if lines.is_empty() {
            "nothing".to_owned()
        } else {
            lines.join(", then ")
        };
        let answer = Answer::default()
            .figure(
                "before",
                "before, rounded down",
                raise.before,
                "parts per thousand",
            )
            .figure("target", "target", raise.target, "parts per thousand")
            .verdict("direction", "direction", word, words)
            .list("additions", "add", items, line)
            .figure("added", "added in all", raise.added, "g")
            .figure("mass", "mass then", raise.mass, "g")
            .figure(
                "fineness",
                "fineness then, rounded down",
                raise.fineness,
                "parts per thousand",
            )
            .hidden("exact", raise.exact.to_string())
            .formula(raise.formula);
        Ok(noted(answer, Some(aim)))
    }
}

fn item(addition: &Addition) -> Value {
    let mut item = json!({"lot": addition.lot, "fineness": addition.fineness, "mass": addition.mass});
    if let Some(members) = item.as_object_mut() {
        members.extend(addition.name.iter().map(|name| ("name".to_owned(), json!(name))));
        members.extend(
            addition
                .exact
                .iter()
                .map(|exact| ("exact".to_owned(), json!(exact))),
        );
    }
    item
}

fn line(addition: &Addition) -> String {
    let name = addition.name.as_ref().map(|name| format!(" ({name})"));
    format!(
        "{} g of {}{}",
        addition.mass,
        addition.fineness,
        name.unwrap_or_default()
    )
}

/// Which member a refusal is about.
fn refused(error: AlloyingError, metal: &'static str) -> Impossible {
    let member = match error {
        AlloyingError::NoStep => "step",
        AlloyingError::MarginBeyondPure { .. } => "uncertainty",
        AlloyingError::OutOfReach { .. } => "standard",
        AlloyingError::NoMetal | AlloyingError::TooMany(_) | AlloyingError::TooMuch => metal,
    };
    Impossible::of(member, error)
}

fn noted(answer: Answer, aim: Option<Aim>) -> Answer {
    let answer = match aim {
        Some(Aim {
            uncertainty: None, ..
        }) => answer.note(NO_MARGIN),
        _ => answer,
    };
    answer.note(MODEL).note(CAUTION)
}
