//! The bench: one step of the work on each screen, for a tablet or a phone beside the scale.
//!
//! Every step is a page that works as it is; the modules beside it (`*.mjs`) keep what is typed until the book has it, and ask
//! `/v1` themselves. Words are large, targets too, and nothing on a step has to be scrolled for. Deliberately absent: HTTP,
//! decisions, and any word that the book would have to answer for: a grade is what the book said.

mod after;
mod board;
mod charge;
mod doubts;
mod grades;
mod modules;
mod picture;
mod pour;
mod strike;
mod tray;

pub use after::{Balance, Doubtful, SessionOver, melt, session};
pub use board::{Board, MeltSeen, ScaleSeen, Work, board};
pub use charge::{Source, large, prediction};
pub use doubts::question;
pub use grades::graded;
pub use modules::module;
pub use picture::{Picture, picture};
pub use pour::{Cavity, Pours, pours};
pub use strike::{DieSeen, Strikes, strikes};
pub use tray::{Read, Tray, TrayPiece, tray};

use super::{Markup, html};

/// Who stands at the bench, and what their modules need to ask `/v1`.
#[derive(Clone, Debug)]
pub struct Seat {
    /// The operator's id: what was typed is sent as theirs alone.
    pub operator: String,
    /// The form token of the session.
    pub form_token: String,
    /// The header that takes it.
    pub header: String,
    /// Whether the part of this operator corrects what is in the book.
    pub corrects: bool,
}

/// What is said of fire wherever metal is molten. Common practice, no source.
pub const FIRE: [&str; 2] = [
    "Molten metal and water explode.",
    "Dry and preheat moulds, tools and scrap. Face shield, gauntlets, no synthetics; extraction; not alone, or with someone who \
     calls at a set time. Refuse sealed, wet, cadmium- or beryllium-bearing scrap. Local codes and licensed practice go before \
     this.",
];
/// What is said of the pickle wherever pieces are cleaned. Common practice, no source.
pub const ACID: [&str; 2] = [
    "Acid into water, never water into acid.",
    "Lid, gloves, extraction; keep to the rules for its waste. Local codes and licensed practice go before this.",
];

/// A caution: its first words are always read, the rest is one tap away.
fn caution(words: [&str; 2]) -> Markup {
    let [short, whole] = words;
    html! {
        details .caution {
            summary { strong { (short) } }
            p { (whole) }
        }
    }
}

/// Where the module says how the queue stands, and what is said without one.
fn line() -> Markup {
    html! {
        p .queue data-line role="status" {
            span data-without-script {
                "Without scripts there is no queue: while the line is cut, nothing can be recorded here."
            }
        }
    }
}

/// The element of a module below the bench.
fn script(module: &str) -> Markup {
    html! { script type="module" src=(format!("/bench/modules/{module}")) {} }
}
