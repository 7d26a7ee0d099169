//! The specific gravity of a piece, and what it says of the piece.
//!
//! A reading is held against the piece's own recorded value first, since a piece has its own pores, and against its alloy
//! second. What it excludes and what it cannot tell is listed; what an object is, is not said.

use super::{Answer, Calculator, Impossible};
use crate::metal::Mass;
use crate::metal::consistency::{Agreement, agreement, normalised_error};
use crate::metal::floats::{fixed, fixed_up};
use crate::metal::gravity::{AIR_DENSITY, Density, FineEnough, Measured, Weighing};
use crate::metal::materials::{Alloy, Fit, look_alikes, low_as_if_porous};
use crate::metal::water::WaterTemperature;
use clap::Args;
use serde::Deserialize;
use serde_json::{Value, json};

/// A piece weighed in air and in water.
#[derive(Args, Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gravity {
    /// What the scale reads with the piece in air, grams.
    #[arg(long, value_name = "GRAMS")]
    air: Mass,
    /// What it reads with the piece hung in water, grams.
    #[arg(
        long,
        value_name = "GRAMS",
        required_unless_present = "gain",
        conflicts_with = "gain"
    )]
    in_water: Option<Mass>,
    /// What a tared cup of water gains when the piece hangs in it without touching, grams.
    #[arg(long, value_name = "GRAMS")]
    gain: Option<Mass>,
    /// The temperature of the water, degrees Celsius, 0 to 40.
    #[arg(long, value_name = "CELSIUS")]
    water: WaterTemperature,
    /// The step of the scale's display, grams.
    #[arg(long, value_name = "GRAMS")]
    step: Mass,
    /// The density recorded of this very piece, g/cm3.
    #[arg(long, value_name = "DENSITY", requires = "recorded_uncertainty")]
    recorded: Option<Density>,
    /// The expanded uncertainty (k = 2) of the recorded density, g/cm3.
    #[arg(long, value_name = "DENSITY", requires = "recorded")]
    recorded_uncertainty: Option<Density>,
    /// The alloy it is said to be, parts per thousand, like "silver 925, copper 75".
    #[arg(long)]
    alloy: Option<Alloy>,
}

/// What the help of the command ends with.
pub const HELP: &str = "Examples:
  pourbook gravity --air 100.42 --gain 9.55 --water 21 --step 0.01 --alloy \"silver 999, copper 1\"
  pourbook gravity --air 100.42 --in-water 90.87 --water 21 --step 0.01 --recorded 10.47 --recorded-uncertainty 0.03

Exit code: 0 answered; 1 impossible, and why; 2 the arguments cannot be read.
With --json: {\"density\", \"uncertainty\", \"displacement\", \"scale\", \"formula\", \"notes\"}; \"step_needed\" when the scale is too
coarse, else \"fits\", \"fits_if_porous\", \"cannot_tell\", \"excluded\", and \"recorded_agreement\" or \"alloy_agreement\" with
their \"…_normalised_error\" when there is something to compare with.";

const HOW: &str = "Thread, bubbles and meniscus weigh most: a drop of washing-up liquid, a thin thread, the piece free of \
    the cup, three repetitions.";
const NOT_PROOF: &str = "A reading excludes materials and proves none: mixtures can be tuned to any density between their \
    metals. It cannot say what an object is.";
const POROUS: &str = "A sound pour with pits or gas reads 0.1 to 1 % low (common practice, no source); so the piece's own \
    recorded value goes before the handbook's.";

impl Calculator for Gravity {
    const WORD: &'static str = "gravity";
    const QUESTION: &'static str = "GravityQuestion";

    fn answer(&self) -> Result<Answer, Impossible> {
        let weighing = self.weighing()?;
        let measured = weighing.measured();
        let fine = weighing.fine_enough();
        let answer = Answer::default()
            .figure("density", "density", fixed(measured.density, 4), "g/cm3")
            .figure(
                "uncertainty",
                "uncertainty (k = 2)",
                fixed_up(measured.uncertainty, 3),
                "g/cm3",
            )
            .figure("displacement", "displacement", weighing.displacement(), "g")
            .formula(self.formula(&weighing, &measured));
        let answer = if fine == FineEnough::Yes {
            let answer = self.compared(
                answer.verdict("scale", "scale", "fine-enough", "fine enough"),
                &measured,
            )?;
            left_possible(answer, &measured)
        } else {
            too_coarse(answer, fine)
        };
        Ok(answer.note(HOW).note(NOT_PROOF).note(POROUS))
    }
}

impl Gravity {
    fn weighing(&self) -> Result<Weighing, Impossible> {
        let readings = [
            ("air", Some(self.air)),
            ("in_water", self.in_water),
            ("gain", self.gain),
        ];
        if !self.step.is_zero() {
            for (member, reading) in readings {
                if reading.is_some_and(|reading| !reading.is_multiple_of(self.step)) {
                    return Err(Impossible::of(member, "is no multiple of the scale's step"));
                }
            }
        }
        let (member, weighing) = match (self.in_water, self.gain) {
            (Some(in_water), None) => (
                "in_water",
                Weighing::hung(self.air, in_water, self.water, self.step),
            ),
            (None, Some(gain)) => ("gain", Weighing::cup(self.air, gain, self.water, self.step)),
            _ => return Err(Impossible::of("gain", "give either in_water or gain")),
        };
        let member = if self.step.is_zero() { "step" } else { member };
        weighing.map_err(|error| Impossible::of(member, error))
    }

    /// Holds the reading against the recorded value first and the alloy second.
    fn compared(&self, mut answer: Answer, measured: &Measured) -> Result<Answer, Impossible> {
        match (self.recorded, self.recorded_uncertainty) {
            (Some(recorded), Some(uncertainty)) => {
                let (recorded, uncertainty) = (recorded.value(), uncertainty.value());
                answer = against(
                    answer,
                    "recorded",
                    "the piece's record",
                    measured,
                    recorded,
                    uncertainty,
                )?;
            }
            (None, None) => {}
            _ => {
                let fact = "a recorded density and its uncertainty go together";
                return Err(Impossible::of("recorded_uncertainty", fact));
            }
        }
        let Some(alloy) = &self.alloy else {
            return Ok(answer);
        };
        let (sound, uncertainty) = (alloy.density(), alloy.uncertainty());
        answer = against(answer, "alloy", "the alloy", measured, sound, uncertainty)?.figure(
            "alloy_density",
            "the alloy by ideal mixing",
            fixed(sound, 3),
            "g/cm3",
        );
        let error = normalised_error(measured.density, measured.uncertainty, sound, uncertainty);
        let outside = error.is_some_and(|error| agreement(error) != Agreement::Agree);
        if outside && low_as_if_porous(measured, sound) {
            answer = answer.verdict(
                "porosity",
                "porosity",
                "low-as-if-porous",
                "lower than the alloy, as a porous piece reads: compare with the piece's own recorded value",
            );
        }
        Ok(answer)
    }

    fn formula(&self, weighing: &Weighing, measured: &Measured) -> String {
        let water = self.water.density();
        format!(
            "density = W (water - air) / D + air = {} x ({} - {AIR_DENSITY}) / {} + {AIR_DENSITY} = {} g/cm3",
            self.air,
            fixed(water, 6),
            weighing.displacement(),
            fixed(measured.density, 4),
        )
    }
}

/// One comparison by E_n.
fn against(
    answer: Answer,
    what: &str,
    named: &str,
    measured: &Measured,
    value: f64,
    uncertainty: f64,
) -> Result<Answer, Impossible> {
    let Measured {
        density,
        uncertainty: own,
    } = *measured;
    let error = normalised_error(density, own, value, uncertainty)
        .ok_or_else(|| Impossible::of("recorded", "the two cannot be compared"))?;
    let verdict = agreement(error);
    let words = format!("{}, E_n {}", verdict.words(), fixed(error, 2));
    let answer = answer.verdict(
        &format!("{what}_agreement"),
        &format!("with {named}"),
        verdict.word(),
        words,
    );
    Ok(answer
        .hidden(&format!("{what}_normalised_error"), fixed(error, 4))
        .formula(format!(
            "E_n = (x - y) / sqrt(U_x^2 + U_y^2) = ({} - {}) / sqrt({}^2 + {}^2) = {}",
            fixed(density, 4),
            fixed(value, 4),
            fixed(own, 4),
            fixed(uncertainty, 4),
            fixed(error, 2),
        )))
}

/// What the reading leaves possible and what it excludes.
fn left_possible(mut answer: Answer, measured: &Measured) -> Answer {
    for (member, label, wanted) in [
        ("fits", "it fits", Fit::Fits),
        ("fits_if_porous", "fits only with pores", Fit::FitsIfPorous),
        ("cannot_tell", "cannot tell", Fit::CannotTell),
        ("excluded", "excluded", Fit::Excluded),
    ] {
        let names = look_alikes(measured, wanted);
        let line = if names.is_empty() {
            "nothing of the table".to_owned()
        } else {
            names.join("; ")
        };
        let items: Vec<Value> = names.iter().map(|name| json!(name)).collect();
        answer = answer.list(member, label, items, line);
    }
    answer
}

/// Too little displacement for the scale, or for any.
fn too_coarse(answer: Answer, fine: FineEnough) -> Answer {
    match fine {
        FineEnough::WithStep(step) => answer
            .cannot_tell("scale", "the displacement is below 200 steps")
            .step_needed(step),
        _ => answer.verdict(
            "scale",
            "scale",
            "too-small-to-tell",
            "cannot tell with any scale: the displacement is below 2 g, and bubbles alone are worth 0.01 g",
        ),
    }
}
