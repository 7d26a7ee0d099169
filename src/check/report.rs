//! What a check found, step by step, in plain words.

use serde::Serialize;

/// One step of a check.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Step {
    /// A short fixed name, for programs.
    pub name: &'static str,
    /// What was checked, in plain words.
    pub checked: &'static str,
    /// Whether it holds.
    pub holds: bool,
    /// What was found.
    pub found: String,
}

/// What the whole check comes to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "conclusion", rename_all = "snake_case")]
pub enum Conclusion {
    /// Every step holds, as of a log of this size.
    Holds {
        /// Number of entries that the checkpoint covers.
        size: u64,
    },
    /// A step does not hold.
    DoesNotHold {
        /// Which.
        step: &'static str,
        /// Why.
        why: String,
    },
    /// The file cannot be read.
    Unreadable {
        /// Why.
        why: String,
    },
    /// The file holds a kind of event that this version does not know: it is neither confirmed nor denied.
    NotUnderstood {
        /// Which.
        what: String,
    },
}

/// How much of a piece's metal came from one lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LotShare {
    /// The lot's number in the workshop.
    pub number: u32,
    /// Its metal.
    pub metal: &'static str,
    /// Parts per million, rounded down, well-mixed melts assumed.
    pub share_ppm: u64,
    /// It came back from a refiner; where that metal came from is not followed.
    pub outturn: bool,
}

/// What the record says of the piece; only meaningful when the check holds.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Facts {
    /// Its serial.
    pub serial: String,
    /// Its pour number.
    pub pour: String,
    /// The last thing that the file says happened to it.
    pub last_event: String,
    /// What it was after that, like `delivered`, `stolen` or `destroyed`.
    pub state: Option<&'static str>,
    /// Of a stolen or destroyed piece: what it was before.
    pub before: Option<&'static str>,
    /// Where that is, in words.
    pub place: Option<&'static str>,
    /// Code of the series that it is in now; its serial keeps the code of the series that it was given in.
    pub series: Option<String>,
    /// Whether the file tells that its edition was closed. That it does not tell it shows nothing.
    pub edition_closed: bool,
    /// Whether its number was counted as burned at that close.
    pub number_burned: bool,
    /// The marks on it: the fineness mark and each mark.
    pub hallmark: Option<String>,
    /// Edition number and size, like `7 of 12`.
    pub number: Option<String>,
    /// The metal.
    pub metal: Option<&'static str>,
    /// Density by its last weighing in water, g/cm3.
    pub density: Option<String>,
    /// Expanded uncertainty (k = 2) of that, g/cm3.
    pub density_uncertainty: Option<String>,
    /// Last reading, grams, as typed.
    pub weight_grams: Option<String>,
    /// Fineness as certified, parts per thousand.
    pub fineness: Option<String>,
    /// Expanded uncertainty (k = 2) as certified, grams.
    pub uncertainty_grams: Option<String>,
    /// What the reading supports, as certified, grams.
    pub at_least_grams: Option<String>,
    /// The newest certificate issue.
    pub certificate_issue: Option<u32>,
    /// Whether a check of the scale failed after the last reading.
    pub weight_suspect: bool,
    /// Where its metal came from.
    pub lots: Vec<LotShare>,
    /// Keys in doubt that signed entries of this file.
    pub suspect_keys: Vec<String>,
}

/// The outcome of a check.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Report {
    /// The steps that were made, in order; the last one may have failed.
    pub steps: Vec<Step>,
    /// What it comes to.
    #[serde(flatten)]
    pub conclusion: Conclusion,
    /// What the record says.
    pub facts: Facts,
}

impl Report {
    /// What a proof file can never show; to be printed beside every conclusion.
    pub const LIMIT: &'static str = "This is true as of that size of the log. A file cannot show that nothing came later - a sale, a theft, a revoked key: \
ask the server what came after, or let an auditor read the log. And it speaks of the record, not of the object in your hand: a copy can carry a real number.";

    /// 0 it holds, 1 it does not hold, 2 it cannot be read or is not understood.
    #[must_use]
    pub const fn exit_code(&self) -> u8 {
        match self.conclusion {
            Conclusion::Holds { .. } => 0,
            Conclusion::DoesNotHold { .. } => 1,
            Conclusion::Unreadable { .. } | Conclusion::NotUnderstood { .. } => 2,
        }
    }

    /// Whether every step holds.
    #[must_use]
    pub const fn holds(&self) -> bool {
        matches!(self.conclusion, Conclusion::Holds { .. })
    }
}

impl Facts {
    /// What was last said of the piece, in one line, and that nothing later is known.
    fn say_last(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (Some(state), Some(place)) = (self.state, self.place) else {
            return Ok(());
        };
        write!(f, "Last said of the piece: {state} - {place}")?;
        if let Some(before) = self.before {
            write!(f, "; before that it was {before}")?;
        }
        if self.edition_closed {
            f.write_str("; its edition is closed")?;
        }
        if self.number_burned {
            f.write_str(", and its number was burned")?;
        }
        writeln!(f, ". Nothing later is known from this file.")
    }
}

impl std::fmt::Display for Report {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for step in &self.steps {
            let mark = if step.holds { "holds " } else { "FAILS " };
            writeln!(f, "{mark} {}: {}", step.checked, step.found)?;
        }
        match &self.conclusion {
            Conclusion::Holds { size } => {
                writeln!(
                    f,
                    "\nThe record of {} holds, as of size {size}.",
                    self.facts.serial
                )?;
                self.facts.say_last(f)?;
                writeln!(f, "{}", Self::LIMIT)
            }
            Conclusion::DoesNotHold { step, why } => {
                writeln!(f, "\nThe record does not hold ({step}): {why}")
            }
            Conclusion::Unreadable { why } => writeln!(f, "\nThe file cannot be read: {why}"),
            Conclusion::NotUnderstood { what } => {
                writeln!(
                    f,
                    "\nNot understood by this version: {what}. It is neither confirmed nor denied."
                )
            }
        }
    }
}
