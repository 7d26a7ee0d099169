//! Calculators: questions of the trade that need no book, each with its formula and the numbers put in.
//!
//! A question is one type. Its members are the arguments of the command, the members of the JSON line and those of the
//! body of a POST alike, so that each is described once. An [`Answer`] is made figure by figure, and each figure goes into
//! the text and the JSON at once, so that the two cannot differ. Deliberately absent: state, files and the clock.

mod alloying;
mod comparison;
mod conformity;
mod convert;
mod gravity;
mod plan;
mod price;

pub use alloying::{BLEND_HELP, Blend, RAISE_HELP, Raise};
pub use comparison::{Comparison, HELP as COMPARISON_HELP};
pub use conformity::{Conformity, HELP as CONFORMITY_HELP};
pub use convert::{BAR_HELP, Bar, CONVERT_HELP, Convert};
pub use gravity::{Gravity, HELP as GRAVITY_HELP};
pub use plan::{Plan, Wanted};
pub use price::{PRICE_HELP, Price, VAT_HELP, Vat};

use crate::metal::Mass;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

/// A question that can be answered from its members alone.
pub trait Calculator: DeserializeOwned {
    /// The word for it: the command, and the last part of the address.
    const WORD: &'static str;
    /// The name of its members' schema in the description of the API.
    const QUESTION: &'static str;

    /// The answer.
    ///
    /// # Errors
    /// [`Impossible`], which names the member and the fact.
    fn answer(&self) -> Result<Answer, Impossible>;
}

/// Why a question has no answer: a member, and the fact that forbids.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{member}: {fact}")]
pub struct Impossible {
    /// The member, as it is spelt in JSON.
    pub member: &'static str,
    /// The fact.
    pub fact: String,
}

impl Impossible {
    /// A member and the fact that forbids.
    pub fn of(member: &'static str, fact: impl std::fmt::Display) -> Self {
        Self {
            member,
            fact: fact.to_string(),
        }
    }
}

/// An answer, as JSON and as lines for people.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answer {
    members: Map<String, Value>,
    lines: Vec<(String, String)>,
    formulas: Vec<String>,
    notes: Vec<&'static str>,
}

impl Answer {
    /// Adds a figure: its member, its label, its value as text and its unit (none for a plain number).
    #[must_use]
    pub fn figure(
        mut self,
        member: &str,
        label: &str,
        value: impl std::fmt::Display,
        unit: &'static str,
    ) -> Self {
        let value = value.to_string();
        self.members.insert(member.to_owned(), json!(value));
        let line = if unit.is_empty() {
            value
        } else {
            format!("{value} {unit}")
        };
        self.lines.push((label.to_owned(), line));
        self
    }

    /// Adds a count.
    #[must_use]
    pub fn count(mut self, member: &str, label: &str, value: u64) -> Self {
        self.members.insert(member.to_owned(), json!(value));
        self.lines.push((label.to_owned(), value.to_string()));
        self
    }

    /// Adds a verdict: the word for programs and the words for people.
    #[must_use]
    pub fn verdict(mut self, member: &str, label: &str, word: &str, words: impl Into<String>) -> Self {
        self.members.insert(member.to_owned(), json!(word));
        self.lines.push((label.to_owned(), words.into()));
        self
    }

    /// Adds the verdict that a scale is too coarse, and why.
    #[must_use]
    pub fn cannot_tell(self, member: &str, why: &str) -> Self {
        let words = format!("cannot tell with this scale: {why}");
        self.verdict(member, member, "cannot-tell-with-this-scale", words)
    }

    /// Adds the step of a scale that could tell, grams.
    #[must_use]
    pub fn step_needed(self, step: Mass) -> Self {
        self.figure("step_needed", "a scale that could", step, "g or finer")
    }

    /// Adds a member that has no line of its own.
    #[must_use]
    pub fn hidden(mut self, member: &str, value: impl Into<Value>) -> Self {
        self.members.insert(member.to_owned(), value.into());
        self
    }

    /// Adds a line that has no member of its own.
    #[must_use]
    pub fn line(mut self, label: &str, line: impl Into<String>) -> Self {
        self.lines.push((label.to_owned(), line.into()));
        self
    }

    /// Adds a list, and one line for all of it.
    #[must_use]
    pub fn list(mut self, member: &str, label: &str, items: Vec<Value>, line: impl Into<String>) -> Self {
        self.members.insert(member.to_owned(), Value::Array(items));
        self.lines.push((label.to_owned(), line.into()));
        self
    }

    /// Adds a formula with the numbers put in.
    #[must_use]
    pub fn formula(mut self, formula: impl Into<String>) -> Self {
        self.formulas.push(formula.into());
        self
    }

    /// Adds what must be known beside the figures.
    #[must_use]
    pub fn note(mut self, note: &'static str) -> Self {
        self.notes.push(note);
        self
    }

    /// The answer as JSON: the figures by name, `formula` (its lines) and `notes`.
    #[must_use]
    pub fn to_json(&self) -> Value {
        let mut members = self.members.clone();
        members.insert("formula".into(), json!(self.formulas));
        members.insert("notes".into(), json!(self.notes));
        Value::Object(members)
    }

    /// The answer as lines for people: the figures, then the formulas, then the notes.
    #[must_use]
    pub fn to_text(&self) -> String {
        let width = self.lines.iter().map(|(label, _)| label.chars().count()).max();
        let width = width.unwrap_or_default();
        let mut text = String::new();
        for (label, line) in &self.lines {
            text.push_str(&format!("{label:<width$}  {line}\n"));
        }
        for formula in &self.formulas {
            text.push_str(&format!("{formula}\n"));
        }
        for note in &self.notes {
            text.push_str(&format!("Note: {note}\n"));
        }
        text
    }
}

/// A reader of questions of one kind.
#[derive(Clone, Copy, Debug)]
pub struct Known {
    /// The word for it.
    pub word: &'static str,
    /// Reads a question from JSON and answers it; the outer error says what cannot be read.
    pub answer: fn(Value) -> Result<Result<Answer, Impossible>, serde_json::Error>,
}

const fn known<Q: Calculator>() -> Known {
    Known {
        word: Q::WORD,
        answer: |question| serde_json::from_value::<Q>(question).map(|question| question.answer()),
    }
}

/// Every calculator.
pub const CALCULATORS: &[Known] = &[
    known::<Gravity>(),
    known::<Blend>(),
    known::<Raise>(),
    known::<Convert>(),
    known::<Bar>(),
    known::<Price>(),
    known::<Vat>(),
    known::<Plan>(),
    known::<Conformity>(),
    known::<Comparison>(),
];
