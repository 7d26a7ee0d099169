//! Series: opened with their shapes and terms, and closed.

use super::words::{NOTE, PRECIOUS};
use crate::domain::{SeriesId, SeriesState};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::offered;
use crate::http::workshop::{App, Form, Visit};
use crate::pages::workshop::{Field, FormSheet, Offer, Rows, Taken, html};
use crate::writer::Recorded;
use serde_json::{Map, Value};

const KINDS: &[(&str, &str)] = &[
    ("edition", "Edition: so many of each shape"),
    ("open", "Open series: odd weights, one-offs"),
];
const UNITS: &[(&str, &str)] = &[("g", "Grams"), ("ozt", "Troy ounces")];
const MARKINGS: &[(&str, &str)] = &[
    ("required", "They are hallmarked"),
    ("exempt", "They are exempt from marking"),
];
const GROUNDS: &[(&str, &str)] = &[
    ("below_weight", "Below the exemption weight of the metal"),
    ("bullion", "Bullion that is not an article"),
    ("export", "For export only"),
    ("other", "Another ground, told in the note"),
];
const SHAPES: Rows = Rows {
    id: None,
    versioned: false,
    taken: Taken::Blank(6),
    fields: &[
        Field::text("shape", "Shape", "Small letters, digits and _, like oval.").optional(),
        Field::whole("size", "How many", "").optional(),
    ],
};

/// A series to pour for.
pub const OPEN_SERIES: Form = Form {
    recording: &recordings::OPEN_SERIES,
    sheet: FormSheet {
        title: "A series",
        lead: "An edition is closed: a size for each shape, a nominal weight and its limits. These are terms that buyers rely on, so \
               they stand in the book once and for all.",
        cautions: &[
            "Whether a decorative poured piece is exempt bullion or an article that must be hallmarked is a legal question: ask the \
             assay office before announcing. A stated weight is a minimum.",
        ],
        fields: &[
            Field::text(
                "code",
                "Its code",
                "Two to four capitals, like TW: every serial begins with it.",
            ),
            Field::choice("kind_of", "What it is", "", KINDS),
            Field::text("title", "Its name", "Buyers see it.").optional(),
            Field::text(
                "commissioner",
                "For whom it is made",
                "Holders of a certificate see it.",
            )
            .optional(),
            Field::choice("metal", "Metal", "", PRECIOUS),
            Field::decimal("fineness", "Fineness it is stated at", "‰", "Like 999 or 925."),
            Field::rows(
                "shapes",
                "Shapes of an edition, and how many of each",
                "An open series has none.",
                SHAPES,
            )
            .optional(),
            Field::mass(
                "limits/nominal",
                "Nominal weight",
                "An edition has one, with limits.",
            )
            .optional(),
            Field::mass(
                "limits/lower",
                "Lower limit",
                "What is stated is a minimum, so this is seldom below the nominal weight.",
            )
            .optional(),
            Field::mass("limits/upper", "Upper limit", "").optional(),
            Field::choice("unit", "Unit that comes first", "", UNITS),
            Field::whole("digits", "Digits of its serials", "4 to 6."),
            Field::choice("marking", "Marking", "", MARKINGS),
            Field::choice("ground", "If exempt: on what ground", "", GROUNDS).optional(),
            Field::mass(
                "exempt_below",
                "If by weight: the exemption weight",
                "As the table of the day says. Tables change: note from which day the row holds.",
            )
            .optional(),
            Field::day("exempt_from", "From which day that row holds", "").optional(),
            Field::text(
                "decided",
                "Who decided on the marking",
                "Private. Like: the maker, after asking the assay office.",
            )
            .optional(),
            Field::tick("struck", "Its pieces are struck before they go on", ""),
            Field::tick(
                "number_on_metal",
                "The number is put on the metal",
                "Then the final weighing follows the number.",
            ),
            Field::tick("unnumbered", "An edition without numbers", ""),
            Field::tick("spares_sold", "Spares may be sold without a number", ""),
            NOTE,
        ],
        submit: "Open the series",
    },
    offer: begun,
    ask: None,
    then: to_office,
};

/// An edition is closed.
pub const CLOSE_SERIES: Form = Form {
    recording: &recordings::CLOSE_SERIES,
    sheet: FormSheet {
        title: "An edition closes",
        lead: "Nothing more is poured, numbered or promised for it. Every piece must have its end first, and every die of it be gone.",
        cautions: &[],
        fields: &[NOTE],
        submit: "Close the edition",
    },
    offer: closing,
    ask: Some(sure_of_closing),
    then: to_office,
};

fn begun(_: &App, _: &Visit) -> Result<Offer, Problem> {
    Ok(Offer {
        filled: vec![("digits".to_owned(), "4".to_owned())],
        ..Offer::default()
    })
}

/// The board of the series.
#[must_use]
pub fn to_office(_: &App, _: &Visit, _: &Recorded) -> String {
    "/office".to_owned()
}

/// An edition in words: what is given of each shape, and what will never be. None once it is closed.
fn edition_words(app: &App, visit: &Visit) -> Result<Option<String>, Problem> {
    let id = SeriesId(visit.asked.id("series")?);
    let row = offered::of_now(app, |book| book.series(id).cloned())?;
    let row = row.ok_or_else(|| Problem::not_found("there is no series with that id"))?;
    if row.state == SeriesState::Closed {
        return Ok(None);
    }
    let places = row.shapes.iter().zip(&row.numbers);
    let given = places.map(|(size, given)| {
        format!(
            "{given} of {} {}",
            size.size,
            size.shape.as_str().replace('_', " ")
        )
    });
    let given: Vec<String> = given.collect();
    Ok(Some(format!("{} with {} given", row.code, given.join(", "))))
}

fn closing(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let words = edition_words(app, visit)?;
    let words = words.unwrap_or_else(|| "It is closed already.".to_owned());
    Ok(Offer {
        about: Some(html! { p .about { strong { (words) } } }),
        ..Offer::default()
    })
}

/// Of an edition that is closed nothing is asked: what was sent may be what closed it, and the book knows that.
fn sure_of_closing(app: &App, visit: &Visit, _: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let sure =
        |words| format!("{words}: closing it is for good, and numbers not given are never given. Close it?");
    Ok(edition_words(app, visit)?.map(sure))
}
