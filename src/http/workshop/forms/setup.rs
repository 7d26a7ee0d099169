//! What a workshop sets up: scales, dies, customers whose metal is here.

use super::words::NOTE;
use crate::domain::{DieDisposal, DieId, DieOwner, OwnerId};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::offered;
use crate::http::workshop::{App, Form, Visit};
use crate::pages::workshop::{Field, FormSheet, Offer, html};
use crate::writer::Recorded;
use serde_json::{Map, Value};

const CLASSES: &[(&str, &str)] = &[
    ("I", "I, special accuracy"),
    ("II", "II, high accuracy"),
    ("III", "III, medium accuracy"),
];
const OWNERS: &[(&str, &str)] = &[
    (DieOwner::Workshop.word(), "The workshop's own"),
    (DieOwner::Commissioner.word(), "The commissioner's, on loan"),
];
const DISPOSALS: &[(&str, &str)] = &[
    (DieDisposal::Returned.word(), "It goes back to its owner"),
    (DieDisposal::Destroyed.word(), "It is destroyed or defaced"),
    (DieDisposal::Retired.word(), "It is kept, and strikes no more"),
];

/// A scale is to be used.
pub const REGISTER_SCALE: Form = Form {
    recording: &recordings::REGISTER_SCALE,
    sheet: FormSheet {
        title: "A scale",
        lead: "What stands on its plate decides how sure each weight is, and so every grade and certificate.",
        cautions: &[],
        fields: &[
            Field::text(
                "label",
                "What you call it",
                "Private. Like: bench scale by the window.",
            ),
            Field::choice("class", "Accuracy class", "On the plate, by OIML R 76.", CLASSES),
            Field::mass("d", "Step it shows (d)", "The smallest step of its display."),
            Field::mass(
                "e",
                "Verification interval (e)",
                "On the plate; the same as d if only one is given.",
            ),
            Field::mass("max", "Greatest load (Max)", "On the plate."),
            Field::mass(
                "repeatability",
                "Repeatability",
                "How much it scatters: the standard deviation of ten weighings of one piece, or what its data sheet says.",
            ),
            Field::tick(
                "verified",
                "It is verified",
                "Only a verified scale supports a certificate; an unverified one never accepts a piece.",
            ),
            NOTE,
        ],
        submit: "Record the scale",
    },
    offer: nothing,
    ask: None,
    then: to_setup,
};

/// A die is to be used.
pub const REGISTER_DIE: Form = Form {
    recording: &recordings::REGISTER_DIE,
    sheet: FormSheet {
        title: "A die",
        lead: "Each stamp has an owner and a count of its strikes. One that was cut for an edition strikes no other.",
        cautions: &[],
        fields: &[
            Field::text("label", "What it shows", "Private."),
            Field::choice("owner", "Whose it is", "", OWNERS),
            Field::chosen(
                "series",
                "Cut for the edition",
                "Leave it empty for a die that strikes any series.",
            )
            .optional(),
            NOTE,
        ],
        submit: "Record the die",
    },
    offer: editions,
    ask: None,
    then: to_setup,
};

/// A die goes.
pub const DISPOSE_DIE: Form = Form {
    recording: &recordings::DISPOSE_DIE,
    sheet: FormSheet {
        title: "A die goes",
        lead: "Back to its owner, destroyed, or kept: it strikes no more. An edition closes only once its dies are gone.",
        cautions: &[],
        fields: &[Field::choice("how", "How", "", DISPOSALS), NOTE],
        submit: "Record it",
    },
    offer: die,
    ask: Some(sure_of_die),
    then: to_setup,
};

/// A customer brings metal of their own.
pub const REGISTER_OWNER: Form = Form {
    recording: &recordings::REGISTER_OWNER,
    sheet: FormSheet {
        title: "A customer whose metal is here",
        lead: "Their metal is kept apart from the workshop's and from other people's, until they agree to mixing. The name is \
               private; the book itself knows a number only.",
        cautions: &[],
        fields: &[
            Field::text(
                "name",
                "Name",
                "Private: shown to office and admin, and erasable.",
            ),
            NOTE,
        ],
        submit: "Record the customer",
    },
    offer: nothing,
    ask: None,
    then: to_setup,
};

/// A customer agreed to mixing.
pub const AGREE_MIXING: Form = Form {
    recording: &recordings::AGREE_MIXING,
    sheet: FormSheet {
        title: "A customer agrees to mixing",
        lead: "From now on their metal may go into a crucible with other metal. Have it in writing.",
        cautions: &[],
        fields: &[
            Field::text("document", "Where the agreement is kept", "Private.").optional(),
            NOTE,
        ],
        submit: "Record the agreement",
    },
    offer: customer,
    ask: None,
    then: to_setup,
};

/// Whose agreement it is.
fn customer(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let id = OwnerId(visit.asked.id("owner")?);
    let row = offered::of_now(app, |book| book.owner(id).cloned())?;
    let row = row.ok_or_else(|| Problem::not_found("there is no customer with that id"))?;
    let name = offered::customer(app, visit, row.owner)?;
    Ok(Offer {
        about: Some(html! { p .about { strong { (name) } } }),
        ..Offer::default()
    })
}

/// Nothing of the book.
///
/// # Errors
/// None.
pub fn nothing(_: &App, _: &Visit) -> Result<Offer, Problem> {
    Ok(Offer::default())
}

fn editions(app: &App, _: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        choices: vec![("series", offered::series(app, offered::is_running_edition)?)],
        ..Offer::default()
    })
}

/// The page of what is set up.
#[must_use]
pub fn to_setup(_: &App, _: &Visit, _: &Recorded) -> String {
    "/office/setup".to_owned()
}

/// A die in words: what it shows, whose it is, how often it struck.
fn die_words(app: &App, visit: &Visit) -> Result<String, Problem> {
    let id = DieId(visit.asked.id("die")?);
    let row = offered::of_now(app, |book| book.die(id).cloned())?;
    let row = row.ok_or_else(|| Problem::not_found("there is no die with that id"))?;
    let label = offered::said(app, visit, id.0, "label")?;
    let name = label.unwrap_or_else(|| "a die".to_owned());
    Ok(format!("{name}, of the {}, {} strikes", row.owner, row.strikes))
}

fn die(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let words = die_words(app, visit)?;
    Ok(Offer {
        about: Some(html! { p .about { strong { (words) } } }),
        ..Offer::default()
    })
}

fn sure_of_die(app: &App, visit: &Visit, body: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let how = match body.get("how").and_then(Value::as_str) {
        Some("returned") => "goes back to its owner",
        Some("destroyed") => "is destroyed",
        Some("retired") => "strikes no more",
        _ => return Ok(None),
    };
    Ok(Some(format!("{} {how}. Is that so?", die_words(app, visit)?)))
}
