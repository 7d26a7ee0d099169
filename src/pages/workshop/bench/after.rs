//! What one sees when a session or a melt is over: whether the check held and what it puts in doubt, where the metal went.

use super::super::{Leaf, html};

/// A session.
pub struct SessionOver {
    /// The scale, in words.
    pub scale: String,
    /// How many readings it took.
    pub readings: u32,
    /// Whether it is open still.
    pub open: bool,
    /// What a failed check showed: nominal and reading, grams.
    pub failed: Option<(String, String)>,
    /// Its readings since the last check that held.
    pub suspect: Vec<Doubtful>,
    /// Decisions that would be others: what it is, what was recorded, and what it would be.
    pub decisions: Vec<(String, String, String)>,
}

/// A reading in doubt.
pub struct Doubtful {
    /// What was weighed.
    pub what: String,
    /// What the scale showed, grams.
    pub mass: String,
    /// Whether it must be weighed again.
    pub again: bool,
    /// What is to be done, or was.
    pub remedy: String,
}

/// The page of a session.
#[must_use]
pub fn session(page: &SessionOver) -> Leaf {
    let title = match (&page.failed, page.open) {
        (Some(_), _) => "The check failed",
        (None, true) => "The session goes on",
        (None, false) => "The check held",
    };
    let main = html! {
        section .bench {
            h1 { (title) }
            p .scale { (page.scale) ", " (page.readings) " readings" }
            @match &page.failed {
                None => p { "Nothing of it is in doubt." },
                Some((nominal, reading)) => {
                    p role="alert" .notice .grave {
                        "Of " (nominal) " g the scale showed " (reading) " g. What was weighed since the last check that held is "
                        strong { "suspect" }
                        @if page.suspect.iter().any(|reading| reading.again) { ": weigh it again on a scale that holds." } @else { "." }
                    }
                    @if page.suspect.is_empty() { p { "Nothing was weighed since the last check that held." } }
                    ul .doubts {
                        @for reading in &page.suspect {
                            li { strong { (reading.what) } ", " (reading.mass) " g: " (reading.remedy) }
                        }
                        @for (what, recorded, would) in &page.decisions {
                            li { (what) ": recorded as " (recorded) ", would be " (would) }
                        }
                    }
                }
            }
            nav .next aria-label="Next step" { a .button href="/bench" { "To the bench" } }
        }
    };
    Leaf::new(title, main)
}

/// The balance of a melt.
pub struct Balance {
    /// Its number.
    pub number: u32,
    /// Whether it is weighed out.
    pub closed: bool,
    /// Lines: what, and how much.
    pub lines: Vec<(String, String)>,
    /// What is said of the loss.
    pub says: String,
    /// Where one goes from here: path and words.
    pub next: Vec<(String, String)>,
}

/// The page of a melt.
#[must_use]
pub fn melt(page: &Balance) -> Leaf {
    let title = match page.closed {
        true => format!("Melt {} is weighed out", page.number),
        false => format!("Melt {}", page.number),
    };
    let main = html! {
        section .bench {
            h1 { (title) }
            table { tbody {
                @for (what, mass) in &page.lines {
                    tr { th scope="row" { (what) } td .figure { (mass) } }
                }
            } }
            @if !page.says.is_empty() { p { (page.says) } }
            nav .next aria-label="Next step" {
                @for (path, words) in &page.next { a .button href=(path) { (words) } }
            }
        }
    };
    Leaf::new(title, main)
}
