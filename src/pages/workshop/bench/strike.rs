//! Striking: one tap for each piece, good or how it went wrong.

use super::super::office::counted;
use super::super::{Leaf, html};
use super::{Seat, line, script};
use crate::domain::{DieId, PieceId, StrikeOutcome};

/// Pieces that wait for a strike.
pub struct Strikes {
    /// Who strikes.
    pub seat: Seat,
    /// The dies in use.
    pub dies: Vec<DieSeen>,
    /// The die that was chosen.
    pub die: Option<DieId>,
    /// The pieces, each with version and name.
    pub pieces: Vec<(PieceId, u64, String)>,
    /// Where it is sent without scripts.
    pub plain: Option<String>,
}

/// A die.
pub struct DieSeen {
    /// The die.
    pub die: DieId,
    /// What it is, in words.
    pub name: String,
    /// How often it struck.
    pub strikes: u32,
}

/// How a strike came out, as it is said at the bench.
const fn outcome(outcome: StrikeOutcome) -> &'static str {
    match outcome {
        StrikeOutcome::Good => "Good",
        StrikeOutcome::Double => "Double image",
        StrikeOutcome::OffCentre => "Off centre",
        StrikeOutcome::Weak => "Weak",
        StrikeOutcome::Slipped => "Die slipped",
        StrikeOutcome::WrongDie => "Wrong die",
        StrikeOutcome::Cracked => "Cracked",
        StrikeOutcome::Other => "Otherwise bad",
    }
}

/// The page.
#[must_use]
pub fn strikes(page: &Strikes) -> Leaf {
    let main = html! {
        section .bench data-bench data-strikes data-operator=(page.seat.operator) data-token=(page.seat.form_token)
            data-header=(page.seat.header) data-die=[page.die] {
            h1 { "Strike" }
            (line())
            @if page.dies.is_empty() { p { "No die is in use: the office registers one." } }
            nav .dies aria-label="Dies" {
                @for die in &page.dies {
                    a .button href=(format!("/bench/strike?die={}", die.die)) aria-current=[(page.die == Some(die.die)).then_some("true")] {
                        span {
                            (die.name) ", "
                            span data-strikes=[(page.die == Some(die.die)).then_some(die.strikes)] { (counted(die.strikes, "strike")) }
                        }
                    }
                }
            }
            @if page.die.is_some() {
                ol .pieces {
                    @for (piece, version, name) in &page.pieces {
                        li data-piece=(piece) data-version=(version) data-pour=(name) { (name) }
                    }
                }
                @if page.pieces.is_empty() { p { "No piece waits for this die." } }
                div data-outcomes data-with-script hidden {
                    @for each in StrikeOutcome::ALL {
                        button type="button" value=(each) { (outcome(*each)) }
                    }
                }
                nav .next aria-label="Next step" { a .button href="/bench" { "The bench" } }
                p data-without-script {
                    "Without scripts, strikes are recorded "
                    @if let Some(path) = &page.plain { a href=(path) { "on a form" } } @else { "by the office" } "."
                }
            }
        }
        (script("strike.mjs"))
    };
    Leaf::new("Strike", main)
}
