//! Charging a crucible: what the metal that is chosen comes to, beside the form that records it.

use super::super::{Markup, html};
use super::{FIRE, caution, script};

/// Something that may go into a crucible.
pub struct Source {
    /// The table of the form that it stands in: `lots`, `heels`, `jars` or `pieces`.
    pub table: &'static str,
    /// Its id there.
    pub id: String,
    /// The metal that its fineness speaks of.
    pub metal: String,
    /// Its fineness as the book reckons it, parts per thousand; none of an alloy metal.
    pub fineness: Option<String>,
    /// What it weighs where it goes in whole, grams.
    pub whole: Option<String>,
}

/// What stands above the form.
#[must_use]
pub fn prediction(sources: &[Source]) -> Markup {
    html! {
        div .bench-form data-charge {
            (caution(FIRE))
            ul hidden {
                @for source in sources {
                    li data-table=(source.table) data-id=(source.id) data-metal=(source.metal)
                        data-fineness=[source.fineness.as_deref()] data-whole=[source.whole.as_deref()] {}
                }
            }
            p .blend data-blend role="status" {
                "With scripts, what the charge comes to stands here before it is recorded."
            }
        }
        (script("charge.mjs"))
    }
}

/// What stands above any other form of the bench: large words, and a caution where there is one.
#[must_use]
pub fn large(fire: bool, about: &Markup) -> Markup {
    html! {
        div .bench-form {
            @if fire { (caution(FIRE)) }
            (about)
        }
    }
}
