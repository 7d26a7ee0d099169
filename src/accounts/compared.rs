//! What somebody measured of a piece, held against its record: weight, density, and what a magnet and an ear said.
//!
//! Nothing is kept. Weight and density are held against the record by [`Against`]; a magnet and an ear are no measurements,
//! so they are only told what they exclude (common practice, no source). What comes out is never what an object is.

use super::gravities::{Against, HeldAgainst, Possible};
use crate::domain::{Book, Immersion, Piece};
use crate::metal::consistency::Agreement;
use crate::metal::gravity::{Impossible as NoWeighing, Weighing};
use crate::metal::water::WaterTemperature;
use crate::metal::{Mass, Metal};
use serde::{Deserialize, Serialize};

/// What was measured and seen. At least one of its members is there.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Observed {
    /// A weighing in air.
    #[serde(default)]
    pub weight: Option<WeightObserved>,
    /// A weighing in air and in water.
    #[serde(default)]
    pub gravity: Option<GravityObserved>,
    /// What a strong magnet did.
    #[serde(default)]
    pub magnet: Option<Magnet>,
    /// How it rang.
    #[serde(default)]
    pub ring: Option<Ring>,
}

/// A weighing.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WeightObserved {
    /// What the scale showed, grams.
    pub mass: Mass,
    /// The step of its display, grams.
    pub step: Mass,
}

/// A weighing in air and in water.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GravityObserved {
    /// How it was weighed in water.
    pub method: Immersion,
    /// In air, grams.
    pub in_air: Mass,
    /// With it in the water, grams: by `hung` what it weighs there, by `cup` what the tared cup gains.
    pub in_water: Mass,
    /// Of the water, degrees Celsius.
    pub water: WaterTemperature,
    /// The step of the scale's display, grams.
    pub step: Mass,
}

/// What a strong magnet did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Magnet {
    /// It did not pull.
    NoPull,
    /// It slid down the tilted piece slowly.
    SlidSlowly,
    /// It pulled.
    Pulled,
}

/// How a piece rang when it was tapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ring {
    /// Clear and long.
    Clear,
    /// Dull and short.
    Dull,
}

/// A member that cannot be, and why.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{fact}")]
pub struct Unlikely {
    /// The members that lead to it.
    pub at: &'static [&'static str],
    /// The fact.
    pub fact: String,
}

fn cannot(at: &'static [&'static str], fact: impl std::fmt::Display) -> Unlikely {
    let fact = fact.to_string();
    Unlikely { at, fact }
}

/// A judgement on what was seen without measuring.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Seen<T> {
    /// What was seen.
    pub observed: T,
    /// `agree`, `do-not-agree` or `cannot-tell`.
    pub verdict: &'static str,
    /// What it says, and what it does not.
    pub words: String,
}

/// A weighing in water, held against the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct GravityCompared {
    /// The density that follows from the readings, g/cm3, three decimals.
    pub density: String,
    /// Its expanded uncertainty (k = 2), g/cm3, three decimals, rounded up.
    pub uncertainty: String,
    /// How it stands to what is recorded.
    pub against: Against,
    /// What the density leaves possible and what it excludes; absent where the scale cannot tell.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub possible: Option<Possible>,
}

/// All that was measured and seen, held against the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Compared {
    /// `agree`, `repeat-on-another-scale`, `do-not-agree` or `cannot-tell`: the gravest that anything says.
    pub verdict: &'static str,
    /// The same in words.
    pub words: &'static str,
    /// Of the weight.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weight: Option<Against>,
    /// Of the density.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gravity: Option<GravityCompared>,
    /// Of the magnet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub magnet: Option<Seen<Magnet>>,
    /// Of the ring.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring: Option<Seen<Ring>>,
}

const CANNOT_TELL: &str = "cannot-tell";

impl Observed {
    /// Holds it against the record of a piece.
    ///
    /// # Errors
    /// [`Unlikely`], which names what cannot be.
    pub fn held_against(&self, book: &Book, piece: &Piece) -> Result<Compared, Unlikely> {
        if *self == Self::default() {
            return Err(cannot(
                &[],
                "nothing was measured: give a weight, a weighing in water, a magnet or a ring",
            ));
        }
        let weight = self
            .weight
            .as_ref()
            .map(|weight| weight.against(book, piece))
            .transpose()?;
        let gravity = self
            .gravity
            .as_ref()
            .map(|gravity| gravity.against(book, piece))
            .transpose()?;
        let metal = book.series(piece.series).map(|series| series.metal);
        let magnet = self.magnet.map(|magnet| magnet.judged(metal));
        let ring = self.ring.map(Ring::judged);
        let verdicts = [
            weight.as_ref().map(verdict_of),
            gravity.as_ref().map(|gravity| verdict_of(&gravity.against)),
            magnet.as_ref().map(|seen| seen.verdict),
        ];
        let (verdict, words) = gravest(verdicts.into_iter().flatten());
        Ok(Compared {
            verdict,
            words,
            weight,
            gravity,
            magnet,
            ring,
        })
    }
}

fn verdict_of(against: &Against) -> &'static str {
    match against {
        Against::Compared(HeldAgainst { verdict, .. }) => verdict,
        Against::NothingRecorded { .. } | Against::CannotTell { .. } => CANNOT_TELL,
    }
}

/// The gravest of the verdicts: what cannot tell says nothing against what can.
fn gravest(verdicts: impl Iterator<Item = &'static str>) -> (&'static str, &'static str) {
    let (agree, repeat, not) = (
        Agreement::Agree,
        Agreement::RepeatOnAnotherScale,
        Agreement::DoNotAgree,
    );
    let rank = |verdict: &str| match verdict {
        word if word == not.word() => 3,
        word if word == repeat.word() => 2,
        word if word == agree.word() => 1,
        _ => 0,
    };
    match verdicts.map(rank).max() {
        Some(3) => (not.word(), "what was measured does not agree with the record"),
        Some(2) => (repeat.word(), "somewhat apart: repeat it on another scale"),
        Some(1) => (
            agree.word(),
            "what was measured agrees with the record, as far as it goes",
        ),
        _ => (CANNOT_TELL, "this cannot tell"),
    }
}

impl WeightObserved {
    fn against(&self, book: &Book, piece: &Piece) -> Result<Against, Unlikely> {
        if self.step.is_zero() {
            return Err(cannot(&["weight", "step"], "the step of a scale is not zero"));
        }
        if self.mass.is_zero() {
            return Err(cannot(&["weight", "mass"], "a piece weighs something"));
        }
        if !self.mass.is_multiple_of(self.step) {
            return Err(cannot(&["weight", "mass"], "is no multiple of the scale's step"));
        }
        Ok(Against::weight(book, piece, self.mass, self.step))
    }
}

impl GravityObserved {
    fn weighing(&self) -> Result<Weighing, Unlikely> {
        if !self.step.is_zero() {
            for (at, reading) in [
                (&["gravity", "in_air"], self.in_air),
                (&["gravity", "in_water"], self.in_water),
            ] {
                if !reading.is_multiple_of(self.step) {
                    return Err(cannot(at, "is no multiple of the scale's step"));
                }
            }
        }
        let weighing = match self.method {
            Immersion::Hung => Weighing::hung(self.in_air, self.in_water, self.water, self.step),
            Immersion::Cup => Weighing::cup(self.in_air, self.in_water, self.water, self.step),
        };
        weighing.map_err(|error| match error {
            NoWeighing::NoStep => cannot(&["gravity", "step"], error),
            NoWeighing::NothingDisplaced | NoWeighing::Floats => cannot(&["gravity", "in_water"], error),
        })
    }

    fn against(&self, book: &Book, piece: &Piece) -> Result<GravityCompared, Unlikely> {
        let weighing = self.weighing()?;
        let against = Against::gravity(book, piece, &weighing);
        let measured = weighing.measured();
        let tells = !matches!(against, Against::CannotTell { .. });
        Ok(GravityCompared {
            density: measured.density_text(),
            uncertainty: measured.uncertainty_text(),
            against,
            possible: tells.then(|| Possible::by(&measured)),
        })
    }
}

impl Magnet {
    /// Iron, nickel and steel are pulled; silver, gold and copper are not, and brake a magnet that slides over them. From
    /// memory; common practice, no source.
    fn judged(self, metal: Option<Metal>) -> Seen<Self> {
        let name = metal.map_or("the metal", Metal::word);
        let conducts = matches!(metal, Some(Metal::Silver | Metal::Gold | Metal::Copper));
        let (verdict, words) = match self {
            Self::Pulled => (
                Agreement::DoNotAgree.word(),
                format!("Solid {name} is not pulled by a magnet. Iron, steel or nickel is in it or near it."),
            ),
            Self::NoPull => (
                Agreement::Agree.word(),
                format!(
                    "Solid {name} is not pulled. This excludes iron, steel and nickel, and nothing else: copper, brass, lead \
                         and tungsten are not pulled either."
                ),
            ),
            Self::SlidSlowly if conducts => (
                Agreement::Agree.word(),
                format!(
                    "A strong magnet slides slowly over {name}, since it conducts well. It slides slowly over copper too, and \
                         faster over lead and tungsten; a thin layer or a core cannot be told."
                ),
            ),
            Self::SlidSlowly => (
                CANNOT_TELL,
                format!("How a magnet slides over {name} says little: it brakes it only weakly."),
            ),
        };
        Seen {
            observed: self,
            verdict,
            words,
        }
    }
}

impl Ring {
    fn judged(self) -> Seen<Self> {
        let words = match self {
            Self::Clear => {
                "A clear ring speaks against lead and deep cracks. Brass and bronze ring clearly too."
            }
            Self::Dull => {
                "A dull sound does not speak against it: a thick hand-poured piece, pores, or the way it is held dull it."
            }
        };
        Seen {
            observed: self,
            verdict: CANNOT_TELL,
            words: words.to_owned(),
        }
    }
}
