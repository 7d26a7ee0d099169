//! Pouring: one tap for each cavity that was filled.

use super::super::{Leaf, html};
use super::{FIRE, Seat, caution, line, script};
use crate::domain::MeltId;

/// The pours of one melt.
pub struct Pours {
    /// Who pours.
    pub seat: Seat,
    /// The melt.
    pub melt: MeltId,
    /// Its number.
    pub number: u32,
    /// Its version.
    pub version: u64,
    /// The pour that comes next, counted in the melt from 1.
    pub next: usize,
    /// What was poured before, in words.
    pub poured: String,
    /// The cavities that it may fill.
    pub cavities: Vec<Cavity>,
}

/// A cavity: a shape of a series.
pub struct Cavity {
    /// The series.
    pub series: String,
    /// Its code.
    pub code: String,
    /// The shape as it is written.
    pub shape: String,
    /// The shape in words.
    pub words: String,
    /// How many of it are still wanted, if that is known.
    pub wanted: Option<u32>,
}

/// The page.
#[must_use]
pub fn pours(page: &Pours) -> Leaf {
    let title = format!("Pour melt {}", page.number);
    let main = html! {
        section .bench data-bench data-pours=(page.melt) data-operator=(page.seat.operator) data-token=(page.seat.form_token)
            data-header=(page.seat.header) data-version=(page.version) data-number=(page.number) data-next=(page.next) {
            h1 { (title) }
            (caution(FIRE))
            (line())
            p .hint { (page.poured) " One tap for each cavity that was filled, in the order of the pour." }
            p data-without-script { a .button href=(format!("/bench/melts/{}/pouring", page.melt)) { "Write pours on a form" } }
            div .cavities data-with-script hidden {
                @if page.cavities.is_empty() { p { "No open series takes this metal: the office opens one." } }
                @for cavity in &page.cavities {
                    button .cavity type="button" data-series=(cavity.series) data-shape=(cavity.shape) data-words=(format!("{} {}", cavity.code, cavity.words)) {
                        strong { (cavity.words) } " " span { (cavity.code) }
                        @if let Some(wanted) = cavity.wanted { " " small { (wanted) " wanted" } }
                    }
                }
            }
            div data-poured data-with-script hidden {}
            nav .next aria-label="Next step" {
                a .button href=(format!("/bench/tray?melt={}", page.melt)) { "Weigh the tray" }
            }
        }
        (script("pour.mjs"))
    };
    Leaf::new(title, main)
}
