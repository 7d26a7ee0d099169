//! The steps of the bench as plain forms: sessions, charge, pours, one piece on the scale, the end of a melt, strikes, jars.

use super::words::{PRECIOUS, STRIKES};
use crate::domain::{Event, MeltId};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::bench::{self, SHOWN_MOST, charge_sources};
use crate::http::workshop::{App, Form, Visit};
use crate::pages::workshop::bench::{large, prediction};
use crate::pages::workshop::{Field, FormSheet, Offer, Rows, Taken, html};
use crate::writer::Recorded;

const NOMINAL: Field = Field::mass(
    "nominal",
    "Check weight, nominal",
    "What its certificate says it weighs.",
);
const SHOWN: Field = Field::mass("reading", "The scale shows", "");
const SESSION: Field = Field::chosen("session", "Session", "");
/// A mass of a line.
const DRAWN: &[Field] = &[Field::mass("mass", "Weighed", "").optional()];
const RESIDUES: &[(&str, &str)] = &[
    ("lemel", "Lemel (filings)"),
    ("prills", "Prills (beads)"),
    ("sweeps", "Sweeps"),
];

/// Lines over what the book offers: what a mass stands beside goes in.
const fn weighed(id: &'static str) -> Rows {
    Rows {
        id: Some(id),
        versioned: false,
        taken: Taken::Filled,
        fields: DRAWN,
    }
}

/// A check weighing opens a session.
pub const OPEN_SESSION: Form = Form {
    recording: &recordings::OPEN_SESSION,
    sheet: FormSheet::plain(
        "Open a session",
        "Put the check weight on the scale: the session opens if the check holds.",
        &[
            Field::chosen("scale", "Scale", "The office registers scales."),
            NOMINAL,
            SHOWN,
        ],
        "Open it",
    ),
    offer: scales,
    ask: None,
    then: to_bench,
};

/// A check weighing between others.
pub const CHECK_SESSION: Form = Form {
    recording: &recordings::CHECK_SESSION,
    sheet: FormSheet::plain(
        "Check between",
        "If it fails, the session ends here, and what was weighed since the last check is suspect.",
        &[NOMINAL, SHOWN],
        "Record the check",
    ),
    offer: plain,
    ask: None,
    then: to_session,
};

/// The check weighing that ends a session.
pub const CLOSE_SESSION: Form = Form {
    recording: &recordings::CLOSE_SESSION,
    sheet: FormSheet::plain(
        "Closing check",
        "Put the check weight on the scale once more. Whatever it shows, the session ends.",
        &[NOMINAL, SHOWN],
        "Close the session",
    ),
    offer: plain,
    ask: None,
    then: to_session,
};

/// A crucible is charged.
pub const CHARGE_MELT: Form = Form {
    recording: &recordings::CHARGE_MELT,
    sheet: FormSheet::plain(
        "Charge a crucible",
        "",
        &[
            Field::choice("metal", "Metal", "", PRECIOUS),
            SESSION,
            Field::rows("lots", "From lots", "", weighed("lot")).optional(),
            Field::ticked("heels", "Heels, whole", "").optional(),
            Field::ticked("pieces", "Condemned pieces: this is their end", "").optional(),
            Field::rows(
                "jars",
                "Jars",
                "They are emptied: weigh what comes out.",
                weighed("jar"),
            )
            .optional(),
        ],
        "Charge it",
    ),
    offer: charge,
    ask: None,
    then: to_melt,
};

/// Cavities were filled, written down afterwards.
pub const POUR_PIECES: Form = Form {
    recording: &recordings::POUR_PIECES,
    sheet: FormSheet::plain(
        "Pours",
        "One line for each cavity that was filled, in the order of the pour.",
        &[Field::rows(
            "pours",
            "Cavities",
            "",
            Rows {
                id: None,
                versioned: false,
                taken: Taken::Blank(12),
                fields: &[
                    Field::chosen("series", "Series", "").optional(),
                    Field::text("shape", "Shape", "As it is called in the series, like oval.").optional(),
                ],
            },
        )],
        "Write them in the book",
    ),
    offer: cavities,
    ask: None,
    then: to_tray,
};

/// One piece of a melt on the scale.
pub const WEIGH_PIECE: Form = Form {
    recording: &recordings::WEIGH_PIECES,
    sheet: FormSheet::plain(
        "Weigh one piece",
        "",
        &[
            SESSION,
            Field::fixed("stage", "from_mould"),
            Field::rows(
                "items",
                "On the scale",
                "",
                Rows {
                    id: Some("piece"),
                    versioned: true,
                    taken: Taken::All,
                    fields: &[Field::mass("mass", "What the scale shows", "")],
                },
            ),
        ],
        "Take it",
    ),
    offer: next_piece,
    ask: Some(bench::slip),
    then: to_next_piece,
};

/// A melt is weighed out.
pub const CLOSE_MELT: Form = Form {
    recording: &recordings::CLOSE_MELT,
    sheet: FormSheet::plain(
        "Close the melt",
        "What it lost follows from what is weighed here: nobody types a loss.",
        &[
            SESSION,
            Field::mass("heel", "Heel in the crucible", "0 if none."),
            Field::chosen("prills/jar", "Prills into", "").optional(),
            Field::mass("prills/mass", "Prills", "").optional(),
        ],
        "Close the melt",
    ),
    offer: closing,
    ask: None,
    then: to_melt,
};

/// Strikes, written down afterwards.
pub const STRIKE_PIECES: Form = Form {
    recording: &recordings::STRIKE_PIECES,
    sheet: FormSheet::plain(
        "Strikes",
        "",
        &[
            Field::chosen("die", "Die", ""),
            Field::rows(
                "items",
                "Pieces",
                "Tick those that were struck.",
                Rows {
                    id: Some("piece"),
                    versioned: true,
                    taken: Taken::Ticked,
                    fields: &[Field::choice("outcome", "How it came out", "", STRIKES).optional()],
                },
            ),
        ],
        "Record the strikes",
    ),
    offer: strikes,
    ask: None,
    then: to_bench,
};

/// A jar for residues.
pub const OPEN_JAR: Form = Form {
    recording: &recordings::OPEN_JAR,
    sheet: FormSheet::plain(
        "A jar for residues",
        "One jar for each metal, fineness and kind.",
        &[
            Field::choice("residue", "What goes in", "", RESIDUES),
            Field::choice("metal", "Metal", "", PRECIOUS),
            Field::decimal(
                "fineness",
                "The least fineness that may go in",
                "‰",
                "Its content is reckoned at that.",
            ),
            Field::text("label", "What you call it", "Private.").optional(),
        ],
        "Open the jar",
    ),
    offer: plain,
    ask: None,
    then: to_bench,
};

/// Sweepings go into a jar.
pub const GATHER_SWEEPS: Form = Form {
    recording: &recordings::GATHER_SWEEPS,
    sheet: FormSheet {
        title: "Sweepings into a jar",
        lead: "As they are, metal and dirt together. They count as no metal until the refiner says how much was in them.",
        cautions: &["Dust of metal and flux is not to be breathed: sweep damp, and wear a mask."],
        fields: &[SESSION, Field::mass("mass", "What goes in", "Without the jar.")],
        submit: "Record them",
    },
    offer: sweepings,
    ask: None,
    then: to_bench,
};

fn to_bench(_: &App, _: &Visit, _: &Recorded) -> String {
    "/bench".to_owned()
}

fn to_session(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/bench/sessions/{}", visit.asked.member("session"))
}

/// The page of the melt that was charged or weighed out.
fn to_melt(_: &App, _: &Visit, recorded: &Recorded) -> String {
    let melt = recorded.events.iter().find_map(|event| match event {
        Event::MeltCharged(charged) => Some((charged.melt, "/pours")),
        Event::MeltClosed(closed) => Some((closed.melt, "")),
        _ => None,
    });
    melt.map_or_else(
        || "/bench".to_owned(),
        |(melt, page)| format!("/bench/melts/{melt}{page}"),
    )
}

fn to_tray(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/bench/tray?melt={}", visit.asked.member("melt"))
}

fn to_next_piece(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/bench/melts/{}/weighing", visit.asked.member("melt"))
}

fn plain(_: &App, _: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        about: Some(large(false, &html! {})),
        ..Offer::default()
    })
}

fn scales(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let wanted = visit.asked.parameters()?.take("scale");
    Ok(Offer {
        about: Some(large(false, &html! {})),
        choices: vec![("scale", bench::free_scales(app, visit)?)],
        filled: wanted
            .map(|scale| ("scale".to_owned(), scale))
            .into_iter()
            .collect(),
        ..Offer::default()
    })
}

fn charge(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let (rows, sources) = charge_sources(app, visit)?;
    let cut = ["lots", "heels"]
        .iter()
        .any(|table| rows.get(table).is_some_and(|rows| rows.len() >= SHOWN_MOST));
    let about = html! {
        (prediction(&sources))
        @if cut { p { "Of lots and of heels the " (SHOWN_MOST) " newest stand here; older ones are charged through the API." } }
    };
    Ok(Offer {
        about: Some(about),
        choices: vec![("session", bench::session_choices(app, visit)?)],
        rows: rows.into_iter().collect(),
        ..Offer::default()
    })
}

fn cavities(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let melt = MeltId(visit.asked.id("melt")?);
    Ok(Offer {
        about: Some(large(true, &html! {})),
        choices: vec![("series", bench::series_choices(app, melt)?)],
        ..Offer::default()
    })
}

fn next_piece(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        about: Some(large(false, &bench::graded_before(app, visit)?)),
        choices: vec![("session", bench::session_choices(app, visit)?)],
        rows: vec![("items", bench::weighed_of_melt(app, visit)?)],
        ..Offer::default()
    })
}

fn closing(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        about: Some(large(true, &html! {})),
        choices: vec![
            ("session", bench::session_choices(app, visit)?),
            ("prills/jar", bench::prill_jars(app, visit)?),
        ],
        ..Offer::default()
    })
}

fn sweepings(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let name = bench::jar_of_sweeps(app, visit)?;
    Ok(Offer {
        about: Some(large(false, &html! { p .about { strong { (name) } } })),
        choices: vec![("session", bench::session_choices(app, visit)?)],
        ..Offer::default()
    })
}

fn strikes(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let (dies, pieces) = bench::struck_next(app, visit)?;
    Ok(Offer {
        about: Some(large(false, &html! {})),
        choices: vec![("die", dies)],
        rows: vec![("items", pieces)],
        ..Offer::default()
    })
}
