//! What there is to do at the bench now.

use super::super::office::counted;
use super::super::{Leaf, Markup, html};
use crate::domain::{MeltId, ScaleId, SessionId};

/// The bench as it stands.
#[derive(Default)]
pub struct Board {
    /// The scales.
    pub scales: Vec<ScaleSeen>,
    /// The melts that are open.
    pub melts: Vec<MeltSeen>,
    /// Other trays that wait.
    pub work: Vec<Work>,
}

/// A scale.
pub struct ScaleSeen {
    /// The scale.
    pub scale: ScaleId,
    /// What it is, in words.
    pub name: String,
    /// Its open session, since when (in words), and how many readings it took.
    pub session: Option<(SessionId, String, u32)>,
}

/// An open melt.
pub struct MeltSeen {
    /// The melt.
    pub melt: MeltId,
    /// Its number.
    pub number: u32,
    /// What it is, in words.
    pub says: String,
    /// How many pieces were poured.
    pub poured: usize,
    /// How many of them are weighed.
    pub weighed: usize,
}

/// Something that waits: where, what, and how many.
pub struct Work {
    /// Where it is done.
    pub path: String,
    /// What it is.
    pub words: String,
}

/// The page.
#[must_use]
pub fn board(board: &Board) -> Leaf {
    let weighs = board.scales.iter().any(|scale| scale.session.is_some());
    let main = html! {
        section .bench {
            h1 { "At the bench" }
            section aria-labelledby="scales" {
                h2 #scales { "Scales" }
                @if board.scales.is_empty() { p { "No scale is registered yet: the office does that." } }
                ul .tasks { @for scale in &board.scales { (at_scale(scale)) } }
            }
            section aria-labelledby="melts" {
                h2 #melts { "Melts" }
                ul .tasks {
                    @for melt in &board.melts { (open_melt(melt)) }
                    @if weighs { li { a .button href="/bench/charge" { "Charge a crucible" } } }
                    @else { li { "To charge and weigh, open a session at a scale first." } }
                }
            }
            @if !board.work.is_empty() {
                section aria-labelledby="trays" {
                    h2 #trays { "Trays and dies" }
                    ul .tasks { @for work in &board.work { li { a .button href=(work.path) { (work.words) } } } }
                }
            }
        }
    };
    Leaf::new("At the bench", main).live()
}

fn at_scale(scale: &ScaleSeen) -> Markup {
    html! {
        li {
            p { strong { (scale.name) } }
            @match &scale.session {
                Some((session, since, readings)) => {
                    p { "In session since " (since) ", " (counted(*readings, "reading")) "." }
                    a .button href=(format!("/bench/sessions/{session}/closing")) { "Closing check" }
                    " "
                    a .button .quiet href=(format!("/bench/sessions/{session}/checks")) { "Check between" }
                }
                None => a .button href=(format!("/bench/sessions/new?scale={}", scale.scale)) { "Open a session" },
            }
        }
    }
}

fn open_melt(melt: &MeltSeen) -> Markup {
    let left = melt.poured.saturating_sub(melt.weighed);
    html! {
        li {
            p { strong { "Melt " (melt.number) } ": " (melt.says) ". " (melt.poured) " poured, " (melt.weighed) " weighed." }
            a .button href=(format!("/bench/melts/{}/pours", melt.melt)) { "Pour" }
            @if left > 0 { " " a .button href=(format!("/bench/tray?melt={}", melt.melt)) { "Weigh " (left) } }
            @else if melt.poured > 0 { " " a .button .quiet href=(format!("/bench/tray?melt={}", melt.melt)) { "The tray" } }
            " " a .button .quiet href=(format!("/bench/melts/{}/closing", melt.melt)) { "Close the melt" }
        }
    }
}
