//! The workshop's pages about its metal: where every gram is, what was lost, how pieces weigh, what became of them, and what
//! the stock is worth. Figures in, HTML out.
//!
//! Every page is a picture and a table with the same figures; every figure leads to what it is made of. Deliberately absent:
//! HTTP, the clock, the vault (prices come in as values), and any opinion on why metal is missing.

mod flow;
mod headings;
mod looks;
mod losses;
mod melt;
mod opened;
mod overview;
mod series;
mod statement;
mod stock;
mod weights;
mod yields;

pub use flow::flow;
pub use looks::looks;
pub use losses::{losses, picture as losses_picture};
pub use melt::{MeltSeen, Share, melt, picture as melt_picture};
pub use opened::{Opened, opened};
pub use overview::overview;
pub use series::{SeriesSeen, series};
pub use statement::{Look, StatementSeen, statement, untold};
pub use stock::stock;
pub use weights::picture as weights_picture;
pub use yields::picture as yield_picture;

use super::dates;
use super::workshop::Leaf;
use crate::accounts::{AsOf, Reckoning};
use crate::domain::{Timestamp, Zone};
use maud::{Markup, html};

/// How many lines of a list a page has.
pub const PART: usize = 100;

/// As of when a page speaks.
#[derive(Clone, Copy, Debug)]
pub struct Standing {
    /// As it was asked for.
    pub asked: AsOf,
    /// How many entries are known.
    pub position: u64,
    /// When the last of them was recorded; none before the first.
    pub recorded: Option<Timestamp>,
    /// The workshop's zone, in which moments are told.
    pub zone: Zone,
}

impl Standing {
    /// Of a reckoning that was asked for so.
    #[must_use]
    pub fn of(reckoning: &Reckoning, asked: AsOf, zone: Zone) -> Self {
        Self {
            asked,
            zone,
            position: reckoning.position(),
            recorded: reckoning.recorded(),
        }
    }

    /// An address that keeps it.
    fn to(&self, path: &str) -> String {
        let joint = if path.contains('?') { '&' } else { '?' };
        match self.asked {
            AsOf::Newest => path.to_owned(),
            AsOf::Position(position) => format!("{path}{joint}at={position}"),
            AsOf::Day(day) => format!("{path}{joint}at={day}"),
        }
    }

    /// A moment on the workshop's wall, with its zone.
    fn moment(&self, at: Timestamp) -> Markup {
        html! { time datetime=(dates::machine(at)) { (self.zone.in_words(at)) } }
    }

    /// The line that says it, and the form that asks for another day.
    fn told(&self, path: &str) -> Markup {
        let day = match self.asked {
            AsOf::Day(day) => Some(day.to_string()),
            _ => None,
        };
        html! {
            p .asof {
                @match self.asked {
                    AsOf::Newest => "As of now",
                    AsOf::Position(_) => "As of an earlier position of the book",
                    AsOf::Day(day) => { "As of the end of " (day) " (UTC), by what was recorded until then" }
                }
                ": " (self.position) " entries"
                @if let Some(recorded) = self.recorded {
                    ", the last of " (self.moment(recorded))
                }
                "."
                @if self.asked != AsOf::Newest { " " a href=(path) { "Show it as of now" } }
            }
            form .asked method="get" action=(path) {
                label for="asked-at" { "As of the end of another day (UTC)" }
                div .line {
                    input #asked-at type="date" name="at" required value=[day];
                    button type="submit" { "Show" }
                }
            }
        }
    }
}

/// Grams of a count of 10 micrograms, as masses are written.
fn grams(units: i64) -> String {
    crate::metal::MassDifference::from_units(units).map_or_else(
        || "beyond what can be written".to_owned(),
        |mass| format!("{mass} g"),
    )
}

/// A count of pieces in words.
fn pieces(count: i64) -> String {
    if count == 1 {
        "1 piece".to_owned()
    } else {
        format!("{count} pieces")
    }
}

/// The words with a capital letter.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters
        .next()
        .map(|first| first.to_uppercase().collect::<String>());
    format!("{}{}", first.unwrap_or_default(), letters.as_str())
}
