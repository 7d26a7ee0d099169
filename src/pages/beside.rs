//! What the server says of a piece beside its proof file. No check can hold it, so each sentence says that it is the server's
//! word: whether a check of the scale failed after a reading whose session the file does not hold, and what was printed, which
//! is in the chain of the certificate and not of the piece.

use super::dates;
use crate::domain::Timestamp;
use maud::{Markup, html};

/// What stands beside the proof file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Beside {
    /// Whether a check of the scale failed after the newest reading.
    pub weight_suspect: bool,
    /// Whether one failed after the newest weighing in water.
    pub density_suspect: bool,
    /// The issues of the certificate that were printed, oldest first.
    pub printed: Vec<Printed>,
}

/// An issue of the certificate that was printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// Which.
    pub issue: u32,
    /// How many times.
    pub times: usize,
    /// When last.
    pub last: Timestamp,
}

/// What was printed, as the last lines of the story.
pub fn printed(beside: &Beside) -> Markup {
    html! {
        @if !beside.printed.is_empty() {
            p .fine #printed {
                @for printed in &beside.printed {
                    "Issue " (printed.issue) " of the certificate was printed "
                    @if printed.times == 1 { "on " } @else { (printed.times) " times, last on " }
                    (dates::day(printed.last)) ". "
                }
                "That is this server’s word: the proof file tells what a certificate states, and not what was printed of it."
            }
        }
    }
}
