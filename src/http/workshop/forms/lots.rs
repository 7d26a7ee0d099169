//! Metal that comes in.

use super::to_home;
use super::words::{BASES, METALS};
use crate::domain::Owner;
use crate::http::failed;
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::{App, Form, Visit, bench, offered};
use crate::pages::workshop::{Choice, Field, FormSheet, Offer};

/// How many customers a form offers.
const OFFERED_MAX: usize = 200;
/// A lot of metal was received.
pub const RECEIVE_LOT: Form = Form {
    recording: &recordings::RECEIVE_LOT,
    sheet: FormSheet {
        title: "Metal received",
        lead: "One lot is what came from one seller at one time, with one fineness. Weigh it yourself: what the invoice says stands \
               beside your own weight, not in its place.",
        cautions: &["Refuse sealed, wet, cadmium- or beryllium-bearing scrap."],
        fields: &[
            Field::choice("metal", "Metal", "", METALS),
            Field::decimal(
                "fineness",
                "Fineness as declared",
                "‰",
                "Parts per thousand: 999.9 for fine grain, 925 for sterling, 1000 for an alloy metal.",
            ),
            Field::choice("basis", "What the fineness rests on", "", BASES),
            Field::chosen(
                "session",
                "Weighed in session",
                "A session begins with a check weighing of its scale. If none stands here, open one first.",
            ),
            Field::mass(
                "mass",
                "Your own weight",
                "As the scale showed it, with all its digits.",
            ),
            Field::mass("invoiced", "Weight on the invoice", "").optional(),
            Field::chosen("owner", "Whose metal", "Leave it empty for the workshop's own.").optional(),
            Field::text(
                "seller",
                "From whom",
                "Private: shown to office and admin, and erasable.",
            )
            .optional(),
            Field::text("document", "Number of the invoice or receipt", "Private.").optional(),
            Field::money(
                "price",
                "What it cost",
                "Private. Without tax that you can claim back.",
            )
            .optional(),
            Field::note("note", "Note", "Private."),
            Field::done_at(),
        ],
        submit: "Record the lot",
    },
    offer,
    ask: None,
    then: to_home,
};

fn offer(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        choices: vec![
            ("session", bench::session_choices(app, visit)?),
            ("owner", owners(app, visit)?),
        ],
        ..Offer::default()
    })
}

/// Customers whose metal may be here.
fn owners(app: &App, visit: &Visit) -> Result<Vec<Choice>, Problem> {
    let owners = app
        .views
        .list(&|_: &Owner| true, None, OFFERED_MAX)
        .map_err(failed)?;
    let choice = |owner: &Owner| {
        Ok(Choice {
            words: offered::customer(app, visit, owner.owner)?,
            value: owner.owner.to_string(),
        })
    };
    owners.rows.iter().map(choice).collect()
}
