//! Does it match what you hold: the form for what a buyer measured, and the answer.
//!
//! The answer says that readings agree or do not, with the numbers, what they exclude and what they cannot; it never says what
//! an object is.

use super::document::Document;
use super::notices::is_grave;
use super::words::capital;
use crate::accounts::{Against, Compared, GravityCompared, HeldAgainst, Possible, Seen};
use crate::domain::{PieceState, Serial};
use crate::metal::Mass;
use maud::{Markup, html};
use std::collections::BTreeMap;

/// What was typed into the form, by the names of its fields, and what is wrong with one of them.
#[derive(Clone, Debug, Default)]
pub struct Filled {
    /// Name and text.
    pub typed: BTreeMap<String, String>,
    /// The field that cannot be, and why; of all of them where it names none.
    pub fault: Option<(String, String)>,
}

impl Filled {
    fn of(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }

    /// Whether anything but the weight was filled, or is wrong: then it is not folded away.
    fn is_beyond_weight(&self) -> bool {
        let weight = |name: &str| ["", "mass", "step"].contains(&name);
        let mut typed = self.typed.iter();
        typed.any(|(name, text)| !weight(name) && !text.is_empty())
            || self.fault.as_ref().is_some_and(|(name, _)| !weight(name))
    }

    fn fault_of(&self, name: &str) -> Option<&str> {
        let (field, why) = self.fault.as_ref()?;
        (field == name).then_some(why.as_str())
    }
}

/// Steps of the scales that people have, with the words for them.
const STEPS: &[(&str, &str)] = &[
    ("", "choose"),
    ("1", "1 g (kitchen scale)"),
    ("0.1", "0.1 g (fine kitchen scale)"),
    ("0.01", "0.01 g (pocket scale)"),
    ("0.001", "0.001 g (jeweller’s scale)"),
];
const METHODS: &[(&str, &str)] = &[
    ("", "not weighed in water"),
    ("cup", "hung into a cup of water on the scale"),
    ("hung", "hung under the scale, in water"),
];
const MAGNETS: &[(&str, &str)] = &[
    ("", "not tried"),
    ("no_pull", "it did not pull"),
    ("slid_slowly", "it slid down slowly"),
    ("pulled", "it pulled"),
];
const RINGS: &[(&str, &str)] = &[
    ("", "not tried"),
    ("clear", "clear and long"),
    ("dull", "dull and short"),
];

/// The section of a piece's page.
pub fn section(serial: &str) -> Markup {
    html! {
        section #match aria-labelledby="match-heading" {
            h2 #match-heading { "Does it match what you hold?" }
            p {
                "Compare the serial, the marks and the photographs first. Then weigh it. Try the scale with coins of known weight \
                 before: a scale that shows a coin wrong will show the piece wrong."
            }
            (form(serial, &Filled::default()))
        }
    }
}

/// The form. It is sent to this server, which keeps nothing of it.
fn form(serial: &str, filled: &Filled) -> Markup {
    html! {
        form .measure method="post" action=(format!("/p/{serial}/comparison")) {
            @if let Some(why) = filled.fault_of("") { p .fault role="alert" { (why) } }
            fieldset {
                legend { "Weight" }
                div .fields {
                    (text(filled, "mass", "What your scale shows, in grams", "decimal"))
                    (choice(filled, "step", "The smallest step of its display", STEPS))
                }
            }
            details open[filled.is_beyond_weight()] {
                summary { "Weighed in water, a magnet, the ring: if you tried them" }
                fieldset {
                    legend { "Weighed in water" }
                    p .fine {
                        "Hang the piece on a thin thread into a cup of water that stands on the scale, set to zero, so that it \
                         touches nothing: the scale then shows what the cup gains. A drop of washing-up liquid keeps bubbles off."
                    }
                    div .fields {
                        (choice(filled, "method", "How it was weighed in water", METHODS))
                        (text(filled, "in_air", "In air, in grams", "decimal"))
                        (text(filled, "in_water", "In water, in grams: what the cup gained, or what it weighed hung", "decimal"))
                        (text(filled, "water", "Temperature of the water, °C", "decimal"))
                        (choice(filled, "water_step", "The smallest step of that scale", STEPS))
                    }
                }
                fieldset {
                    legend { "A magnet, and the ring" }
                    div .fields {
                        (choice(filled, "magnet", "A strong magnet at the piece", MAGNETS))
                        (choice(filled, "ring", "The sound when it is tapped lightly, held loosely", RINGS))
                    }
                }
            }
            button type="submit" { "Compare with the record" }
            p .fine { "Nothing that you type is kept." }
        }
    }
}

fn text(filled: &Filled, name: &str, label: &str, mode: &str) -> Markup {
    let fault = filled.fault_of(name);
    let hint = format!("{name}-fault");
    html! {
        div .field {
            label for=(name) { (label) }
            input id=(name) name=(name) type="text" inputmode=(mode) autocomplete="off" maxlength="16" value=(filled.of(name))
                aria-invalid=[fault.map(|_| "true")] aria-describedby=[fault.map(|_| hint.as_str())];
            @if let Some(why) = fault { p .fault id=(hint) { (why) } }
        }
    }
}

fn choice(filled: &Filled, name: &str, label: &str, options: &[(&str, &str)]) -> Markup {
    let fault = filled.fault_of(name);
    let hint = format!("{name}-fault");
    html! {
        div .field {
            label for=(name) { (label) }
            select id=(name) name=(name) aria-invalid=[fault.map(|_| "true")]
                aria-describedby=[fault.map(|_| hint.as_str())] {
                @for (value, words) in options {
                    option value=(value) selected[filled.of(name) == *value] { (words) }
                }
            }
            @if let Some(why) = fault { p .fault id=(hint) { (why) } }
        }
    }
}

/// What the page of an answer tells.
pub struct Answered<'a> {
    /// The serial.
    pub serial: &'a Serial,
    /// Where the record says the piece is; none where nothing could be compared.
    pub state: Option<PieceState>,
    /// As of which position of the log.
    pub position: Option<u64>,
    /// What came of it; none where something typed cannot be.
    pub compared: Option<&'a Compared>,
    /// What was typed.
    pub filled: &'a Filled,
    /// The name of the log.
    pub origin: &'a str,
}

/// The page of an answer.
#[must_use]
pub fn compared(answered: &Answered<'_>) -> String {
    let serial = answered.serial.to_string();
    let title = match answered.compared {
        Some(_) => "What you measured",
        None => "This cannot be",
    };
    let main = html! {
        header .plate {
            h1 { span .name { (title) } }
            p .serial { (serial) }
            p .sentence {
                @match answered.compared {
                    Some(compared) => strong { (capital(compared.words)) "." }
                    None => "Something that you typed cannot be so; it is marked below. Nothing was compared."
                }
            }
            @if let Some(position) = answered.position {
                p .asof-short { "Held against the record as of " (position) " entries" }
            }
        }
        @if let Some(state) = answered.state.filter(|state| is_grave(*state)) {
            section .notice .grave {
                h2 { "Read the record first" }
                p { "It says: this piece " (super::words::stands(state)) "." }
            }
        }
        @if let Some(compared) = answered.compared { (answers(compared)) }
        section #again aria-labelledby="again-heading" {
            h2 #again-heading { "Measure again" }
            (form(&serial, answered.filled))
            p { a href=(format!("/p/{serial}")) { "Back to the record of " (serial) } }
        }
    };
    let document = Document {
        title: &format!("{title} · {serial}"),
        kicker: "Held against the record",
        origin: answered.origin,
        module: None,
        main,
    };
    document.to_html()
}

fn answers(compared: &Compared) -> Markup {
    html! {
        section #answer aria-labelledby="answer-heading" {
            h2 #answer-heading { "The answer, reading by reading" }
            @if let Some(weight) = &compared.weight { (of_weight(weight)) }
            @if let Some(gravity) = &compared.gravity { (of_gravity(gravity)) }
            @if let Some(magnet) = &compared.magnet { (seen("Magnet", magnet)) }
            @if let Some(ring) = &compared.ring { (seen("Ring", ring)) }
            p .fine {
                "A measurement can agree or disagree with the record, and can exclude materials. It cannot say that an object is \
                 genuine: a copy can carry a real number and weigh the same."
            }
        }
    }
}

fn of_weight(against: &Against) -> Markup {
    html! {
        h3 { "Weight" }
        (held(against, "g"))
        @if let Against::Compared(held) = against {
            p {
                "On these two scales a difference of " (held.shown_from) " g or more would have shown. A weight says nothing of the \
                 material: a copy can be made as heavy."
            }
        }
    }
}

fn of_gravity(gravity: &GravityCompared) -> Markup {
    html! {
        h3 { "Density" }
        p { "From your readings: " strong { (gravity.density) " g/cm³" } " ± " (gravity.uncertainty) " g/cm³." }
        (held(&gravity.against, "g/cm³"))
        @if let Some(possible) = &gravity.possible { (leaves(possible)) }
    }
}

/// What a density leaves possible and what it excludes.
fn leaves(possible: &Possible) -> Markup {
    let rows = [
        ("Fits", &possible.fits),
        ("Fits if it has pores", &possible.fits_if_porous),
        ("Cannot tell", &possible.cannot_tell),
        ("Excludes", &possible.excluded),
    ];
    html! {
        dl .label {
            @for (word, materials) in rows {
                @if !materials.is_empty() {
                    div { dt { (word) } dd { (materials.join("; ")) } }
                }
            }
        }
        p .fine { "A density excludes materials and proves none: mixtures can be tuned to any density between their metals." }
    }
}

fn held(against: &Against, unit: &str) -> Markup {
    html! {
        @match against {
            Against::Compared(held) => (numbers(held, unit)),
            Against::NothingRecorded { why } => p .verdict { "There is nothing to compare with: " (why) "." },
            Against::CannotTell { step_needed: Some(step) } => p {
                "This scale is too coarse to tell. One with steps of " (step) " g or finer could."
            },
            Against::CannotTell { step_needed: None } => p { "This cannot tell: the piece is too small for it on any scale." }
        }
    }
}

fn numbers(held: &HeldAgainst, unit: &str) -> Markup {
    let whose = match held.against {
        "alloy" => "Its alloy by the handbook",
        _ => "The record",
    };
    html! {
        p .verdict .apart[held.verdict != "agree"] { strong { (capital(held.words)) "." } }
        dl .label {
            div { dt { (whose) } dd { (held.recorded) " " (unit) " ± " (shortened(&held.recorded_uncertainty)) " " (unit) } }
            div { dt { "Yours" } dd { (held.reading) " " (unit) " ± " (shortened(&held.uncertainty)) " " (unit) } }
            div {
                dt { "E" sub { "n" } }
                dd {
                    (held.normalised_error)
                    p .fine {
                        "The difference, divided by the doubt of both readings together. Up to 1 on either side the two agree; up \
                         to 1.5 repeat it on another scale; beyond, they do not agree."
                    }
                }
            }
        }
    }
}

/// An uncertainty with three decimals, rounded up: it is never told smaller than it is. Each is a figure of its own; nothing is
/// reckoned from what is shown.
fn shortened(uncertainty: &str) -> String {
    let mass = Mass::parse(uncertainty).ok();
    let up = mass.and_then(|mass| Mass::from_units(mass.units().checked_add(99)? / 100 * 100));
    up.map_or_else(|| uncertainty.to_owned(), |up| up.to_string())
}

fn seen<T>(title: &str, seen: &Seen<T>) -> Markup {
    let word = match seen.verdict {
        "agree" => "It agrees.",
        "do-not-agree" => "It does not agree.",
        _ => "It cannot tell.",
    };
    html! {
        h3 { (title) }
        p .verdict .apart[seen.verdict == "do-not-agree"] { strong { (word) } " " (seen.words) }
    }
}
