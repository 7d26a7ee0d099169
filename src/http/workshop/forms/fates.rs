//! What is said of one piece: faults, odd weights, what is given up, what comes back, what is stolen, lost or destroyed.

use super::words::{CONDEMNED, FAULTS, NOTE};
use super::{of_piece, to_piece};
use crate::domain::{PieceId, SeriesKind, SeriesState};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::bench;
use crate::http::workshop::offered;
use crate::http::workshop::{App, Form, Visit, named};
use crate::pages::workshop::{Field, FormSheet, Offer};
use serde_json::{Map, Value};

/// A form about the piece in the path that needs no more than a note and a few fields.
const fn about_piece(sheet: FormSheet, recording: &'static crate::http::routes::Recording) -> Form {
    Form {
        recording,
        sheet,
        offer: of_piece,
        ask: None,
        then: to_piece,
    }
}

/// A piece is unfit by eye.
pub const FAULT_PIECE: Form = about_piece(
    FormSheet::plain(
        "A fault",
        "Unfit to be seen, whatever it weighs. It goes back into a crucible.",
        &[Field::choice("fault", "What is wrong", "", FAULTS), NOTE],
        "Record the fault",
    ),
    &recordings::FAULT_PIECE,
);

/// A piece moves to an open series.
pub const MOVE_PIECE: Form = Form {
    offer: open_series,
    ..about_piece(
        FormSheet::plain(
            "Move to an open series",
            "A handsome piece outside the limits is sold by its actual weight. It leaves its edition for good.",
            &[
                Field::chosen("to", "Open series", "If none stands here, open one first."),
                NOTE,
            ],
            "Move it",
        ),
        &recordings::MOVE_PIECE,
    )
};

/// A piece is given up.
pub const CONDEMN_PIECE: Form = Form {
    ask: Some(sure_of_condemning),
    ..about_piece(
        FormSheet::plain(
            "Give a piece up",
            "It waits for a crucible or the refiner, and is never sold.",
            &[Field::choice("reason", "Why", "", CONDEMNED), NOTE],
            "Give it up",
        ),
        &recordings::CONDEMN_PIECE,
    )
};

/// A mis-struck piece is kept.
pub const ARCHIVE_PIECE: Form = about_piece(
    FormSheet::plain(
        "Keep a mis-struck piece",
        "For the archive: it is never sold.",
        &[NOTE],
        "Keep it",
    ),
    &recordings::ARCHIVE_PIECE,
);

/// A lost piece turned up.
pub const FIND_PIECE: Form = about_piece(
    FormSheet::plain(
        "Found again",
        "A piece that was lost on its way turned up.",
        &[NOTE],
        "Record it",
    ),
    &recordings::FIND_PIECE,
);

/// The buyer gave a piece back.
pub const RETURN_PIECE: Form = about_piece(
    FormSheet::plain(
        "Given back",
        "The buyer returned it: its sale is over. It is for sale again only once you have looked at it and say so.",
        &[NOTE, Field::done_at()],
        "Record it",
    ),
    &recordings::RETURN_PIECE,
);

/// A piece that came back is for sale again.
pub const RESTOCK_PIECE: Form = about_piece(
    FormSheet::plain(
        "Back into stock",
        "It came back whole, with its certificate. It keeps its number.",
        &[NOTE],
        "Put it into stock",
    ),
    &recordings::RESTOCK_PIECE,
);

/// The workshop buys a piece back.
pub const BUY_BACK_PIECE: Form = Form {
    offer: weighed,
    ..about_piece(
        FormSheet::plain(
            "Buy back",
            "Weigh it as it comes: what the scale shows stands beside its last weight.",
            &[
                Field::chosen(
                    "session",
                    "Weighed in session",
                    "If none stands here, open one at the bench first.",
                ),
                Field::mass("mass", "What the scale shows", "With all its digits."),
                Field::text("seller", "From whom", "Private.").optional(),
                Field::money("price", "What was paid", "Private.").optional(),
                NOTE,
                Field::done_at(),
            ],
            "Record it",
        ),
        &recordings::BUY_BACK_PIECE,
    )
};

/// A piece was stolen.
pub const STEAL_PIECE: Form = Form {
    ask: Some(sure_of_theft),
    ..about_piece(
        FormSheet::plain(
            "Stolen",
            "Its page warns whoever is offered it, from now on.",
            &[
                Field::text("reference", "Number of the report", "Private.").optional(),
                NOTE,
                Field::done_at(),
            ],
            "Report it stolen",
        ),
        &recordings::STEAL_PIECE,
    )
};

/// A stolen piece is back.
pub const RECOVER_PIECE: Form = about_piece(
    FormSheet::plain(
        "It is back",
        "A stolen piece is again what it was before.",
        &[NOTE],
        "Record it",
    ),
    &recordings::RECOVER_PIECE,
);

/// A piece was destroyed.
pub const DESTROY_PIECE: Form = Form {
    ask: Some(sure_of_destroying),
    ..about_piece(
        FormSheet::plain(
            "Destroyed",
            "Before a witness. This is the end of the piece in the book.",
            &[
                Field::text("witness", "Who saw it", "Private."),
                NOTE,
                Field::done_at(),
            ],
            "Record it as destroyed",
        ),
        &recordings::DESTROY_PIECE,
    )
};

fn open_series(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let series = offered::series(app, |series| {
        series.kind_of == SeriesKind::Open && series.state == SeriesState::Open
    })?;
    Ok(Offer {
        choices: vec![("to", series)],
        ..of_piece(app, visit)?
    })
}

fn weighed(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        choices: vec![("session", bench::session_choices(app, visit)?)],
        ..of_piece(app, visit)?
    })
}

fn name(app: &App, visit: &Visit) -> Result<String, Problem> {
    let piece = PieceId(visit.asked.id("piece")?);
    let named = named::of(app, piece.0);
    named.ok_or_else(|| Problem::not_found("there is no piece with that id"))
}

fn sure_of_condemning(app: &App, visit: &Visit, _: &Map<String, Value>) -> Result<Option<String>, Problem> {
    Ok(Some(format!(
        "{} will not be a piece of yours any more, only metal. Is it this one?",
        name(app, visit)?
    )))
}

fn sure_of_theft(app: &App, visit: &Visit, _: &Map<String, Value>) -> Result<Option<String>, Problem> {
    Ok(Some(format!(
        "{} will be shown to everybody as stolen. Is it this one?",
        name(app, visit)?
    )))
}

fn sure_of_destroying(app: &App, visit: &Visit, _: &Map<String, Value>) -> Result<Option<String>, Problem> {
    Ok(Some(format!(
        "{} ends here, and nothing brings it back. Is it this one?",
        name(app, visit)?
    )))
}
