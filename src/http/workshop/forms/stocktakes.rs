//! A count of what is there, against which the book is held. What the book expects stands nowhere in the form.

use super::words::{METALS, NOTE};
use crate::domain::{Book, Command, Jar, Piece, Residue, SeriesId, TakeStock};
use crate::http::located::{self, Misfit};
use crate::http::problem::Problem;
use crate::http::routes::{Recording, recordings};
use crate::http::workshop::bench;
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit, named};
use crate::pages::workshop::{Field, FormSheet, Offer, Row, Rows, Taken};
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

/// How many pieces one count takes; the form shows fewer.
const SEEN_MOST: usize = 512;
/// How many pieces that were not seen are told by name.
const NAMED_MOST: usize = 12;

/// A count whose pieces are all of a series that were ticked, and none where none was.
const COUNTED: Recording = Recording {
    read: read_count,
    ..recordings::TAKE_STOCK
};

const SHOWN: &[Field] = &[Field::mass("mass", "The scale shows", "").optional()];
/// Things that were weighed: those beside which a weight stands.
const fn weighed(id: &'static str) -> Rows {
    Rows {
        id: Some(id),
        versioned: false,
        taken: Taken::Filled,
        fields: SHOWN,
    }
}
const FOUND: Rows = Rows {
    id: None,
    versioned: false,
    taken: Taken::Blank(3),
    fields: &[
        Field::choice("metal", "Metal", "", METALS).optional(),
        Field::decimal("fineness", "Fineness at least", "‰", "").optional(),
        Field::mass("mass", "The scale shows", "").optional(),
        Field::text("note", "Where it was", "").optional(),
    ],
};

/// Stock is taken.
pub const TAKE_STOCK: Form = Form {
    recording: &COUNTED,
    sheet: FormSheet::plain(
        "A stock-take",
        "Write down what you see and weigh. What the book expects does not stand here, so that nobody counts towards it. What you leave \
         empty is not counted; a difference is recorded as one, with its sign.",
        &[
            Field::chosen(
                "session",
                "Weighed in session",
                "Needed where anything was weighed.",
            )
            .optional(),
            Field::rows(
                "lots",
                "Lots",
                "What is left of each. 0 if nothing is.",
                weighed("lot"),
            )
            .optional(),
            Field::rows("heels", "Heels", "", weighed("melt")).optional(),
            Field::rows(
                "jars",
                "Jars",
                "The content without the jar. Sweeps are not counted.",
                weighed("jar"),
            )
            .optional(),
            Field::rows(
                "found",
                "Metal that has no place in the book",
                "No finer than the least fine that the book has of it.",
                FOUND,
            )
            .optional(),
            Field::chosen(
                "pieces/series",
                "Pieces were looked for in",
                "Leave it empty for all in the workshop.",
            )
            .optional(),
            Field::ticked(
                "pieces/seen",
                "Pieces that were seen",
                "Leave all unticked where no pieces were looked for.",
            )
            .optional(),
            NOTE,
        ],
        "Record the count",
    ),
    offer: countable,
    ask: Some(unseen),
    then: super::to_entry,
};

fn read_count(body: &Value) -> Result<Command, Misfit> {
    let mut members = body.as_object().cloned().unwrap_or_default();
    if let Some(Value::Object(pieces)) = members.get_mut("pieces") {
        pieces.entry("seen").or_insert_with(|| json!([]));
    }
    located::read::<TakeStock>(&Value::Object(members)).map(Command::from)
}

fn countable(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let mut offer =
        offered::pieces_up_to(app, visit, ("pieces/seen", SEEN_MOST), |_, piece| piece.is_here())?;
    let series = visit.asked.parameters()?.take("series");
    offer
        .filled
        .extend(series.map(|series| ("pieces/series".to_owned(), series)));
    let (lots, heels, jars) = of_now(app, |book| (lots(book), heels(book), jars(book)))?;
    let mut of_jars = Vec::new();
    for jar in &jars {
        of_jars.push(row(
            jar.jar.0,
            offered::jar(app, visit, jar)?,
            format!("{} of {} {} ‰", jar.residue, jar.metal, jar.fineness),
        ));
    }
    offer
        .rows
        .extend([("lots", lots), ("heels", heels), ("jars", of_jars)]);
    offer.choices = vec![
        ("session", bench::session_choices(app, visit)?),
        ("pieces/series", offered::series(app, |_| true)?),
    ];
    Ok(offer)
}

fn row(id: uuid::Uuid, words: String, more: String) -> Row {
    Row {
        id: id.to_string(),
        words,
        more,
        version: 0,
    }
}

fn lots(book: &Book) -> Vec<Row> {
    let lots = book.lots().filter(|lot| !lot.left.is_zero());
    let lots = bench::newest(lots.map(|lot| (lot.number, lot)).collect());
    let named = lots.into_iter().map(|lot| {
        let more = format!("{} {} ‰", lot.metal, lot.fineness);
        row(lot.lot.0, format!("Lot {}", lot.number), more)
    });
    named.collect()
}

fn heels(book: &Book) -> Vec<Row> {
    let there = book
        .melts()
        .filter(|melt| melt.heel_taken.is_none() && melt.heel.is_some_and(|heel| !heel.is_zero()));
    let melts = bench::newest(there.map(|melt| (melt.number, melt)).collect());
    let named = melts.into_iter().map(|melt| {
        let more = format!("{} {} ‰", melt.metal, melt.reckoned_fineness());
        row(melt.melt.0, format!("Heel of melt {}", melt.number), more)
    });
    named.collect()
}

fn jars(book: &Book) -> Vec<Jar> {
    let mut jars: Vec<Jar> = book
        .jars()
        .filter(|jar| jar.residue != Residue::Sweeps)
        .cloned()
        .collect();
    jars.sort_by_key(|jar| jar.since);
    jars
}

/// The pieces that should have been seen and were not, said before it is recorded.
fn unseen(app: &App, _: &Visit, body: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let Some(pieces) = body.get("pieces") else {
        return Ok(None);
    };
    let series: Option<SeriesId> = match pieces.get("series") {
        None => None,
        Some(id) => match serde_json::from_value(id.clone()) {
            Ok(id) => Some(id),
            Err(_) => return Ok(None),
        },
    };
    let seen = pieces.get("seen").and_then(Value::as_array);
    let seen: BTreeSet<&str> = seen.into_iter().flatten().filter_map(Value::as_str).collect();
    let missing = of_now(app, |book| {
        let there = |piece: &&Piece| piece.is_here() && series.is_none_or(|series| piece.series == series);
        let missing = book
            .pieces()
            .filter(|piece| there(piece) && !seen.contains(piece.piece.to_string().as_str()));
        let missing = offered::sorted(book, missing).into_iter().map(named::piece);
        missing.collect::<Vec<String>>()
    })?;
    Ok(match missing.len() {
        0 => None,
        count => {
            let some = missing
                .get(..NAMED_MOST.min(count))
                .unwrap_or_default()
                .join(", ");
            let more = match count.saturating_sub(NAMED_MOST) {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            Some(format!(
                "{} seen; not seen: {some}{more}. They keep their state until somebody says what became of them. Was all looked for?",
                seen.len()
            ))
        }
    })
}
