//! To the refiner and back.

use super::words::{NOTE, PRECIOUS};
use crate::domain::{Jar, PieceState as S, RefiningId};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::bench;
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit};
use crate::pages::workshop::{Field, FormSheet, Offer, Row, Rows, Taken, html};
use crate::writer::Recorded;

const JARS: Rows = Rows {
    id: Some("jar"),
    versioned: false,
    taken: Taken::Ticked,
    fields: &[Field::mass("mass", "What came out of it, weighed", "").optional()],
};

/// Residues and condemned pieces go to the refiner.
pub const SEND_TO_REFINER: Form = Form {
    recording: &recordings::SEND_TO_REFINER,
    sheet: FormSheet {
        title: "Send to the refiner",
        lead: "Jars are emptied and weighed without the jar; condemned pieces go in at their last weight. One metal at a time.",
        cautions: &["Acid residues and fumes: lids, gloves, extraction, and the waste rules of the place."],
        fields: &[
            Field::choice("metal", "Metal", "", PRECIOUS),
            Field::chosen(
                "session",
                "Weighed in session",
                "If none stands here, open one at the bench first.",
            ),
            Field::rows("jars", "Jars", "Tick those that are emptied.", JARS).optional(),
            Field::ticked("pieces", "Condemned pieces", "This is their end.").optional(),
            Field::text("refiner", "To whom", "Private.").optional(),
            Field::text("seal", "Number of the seal", "Private.").optional(),
            Field::text("document", "Number of the delivery note", "Private.").optional(),
            NOTE,
        ],
        submit: "Record it",
    },
    offer: residues,
    ask: None,
    then: to_stock,
};

/// The refiner accounted for what was sent.
pub const RETURN_REFINING: Form = Form {
    recording: &recordings::RETURN_REFINING,
    sheet: FormSheet {
        title: "The refiner's account",
        lead: "Metal that came back is a new lot; metal that was paid for is settled. What is missing follows, and is not typed.",
        cautions: &[],
        fields: &[
            Field::chosen("outturn/session", "Metal that came back: weighed in session", "").optional(),
            Field::mass("outturn/mass", "Metal that came back: your own weight", "").optional(),
            Field::decimal(
                "outturn/fineness",
                "Metal that came back: fineness by the refiner's assay",
                "‰",
                "",
            )
            .optional(),
            Field::mass(
                "settled/mass",
                "Metal that was paid for",
                "As the statement says; 0 if nothing was found.",
            )
            .optional(),
            Field::decimal(
                "settled/fineness",
                "Metal that was paid for: its fineness",
                "‰",
                "",
            )
            .optional(),
            Field::money("price", "What was paid for it", "Private.").optional(),
            Field::money("charge", "What the refiner charged", "Private.").optional(),
            Field::text("document", "Number of the statement", "Private.").optional(),
            NOTE,
        ],
        submit: "Record the account",
    },
    offer: account,
    ask: None,
    then: to_stock,
};

fn to_stock(_: &App, _: &Visit, _: &Recorded) -> String {
    "/office/stock".to_owned()
}

fn residues(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let mut offer = offered::pieces(app, visit, "pieces", |_, piece| piece.state == S::Condemned)?;
    let mut jars: Vec<Jar> = of_now(app, |book| {
        let full = book
            .jars()
            .filter(|jar| !jar.mass.is_zero() || !jar.swept.is_zero());
        full.cloned().collect()
    })?;
    jars.sort_by_key(|jar| jar.since);
    let row = |jar: &Jar| {
        Ok(Row {
            id: jar.jar.to_string(),
            words: offered::jar(app, visit, jar)?,
            more: format!(
                "{} {}, {}, {} g by the book",
                jar.metal, jar.fineness, jar.residue, jar.mass
            ),
            version: 0,
        })
    };
    let rows: Result<Vec<Row>, Problem> = jars.iter().map(row).collect();
    offer.rows.push(("jars", rows?));
    offer
        .choices
        .push(("session", bench::session_choices(app, visit)?));
    Ok(offer)
}

fn account(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let id = RefiningId(visit.asked.id("refining")?);
    let row = of_now(app, |book| book.refining(id).cloned())?;
    let row = row.ok_or_else(|| Problem::not_found("nothing with that id was sent to the refiner"))?;
    Ok(Offer {
        about: Some(html! {
            p .about {
                strong { "Refining " (row.number) ": " (row.mass) " g of " (row.metal) }
                ", sent " (app.settings.workshop.zone.in_words(row.at)) "."
            }
        }),
        choices: vec![("outturn/session", bench::session_choices(app, visit)?)],
        ..Offer::default()
    })
}
