//! To the assay office and back.
//!
//! A return is told line by line. The marks are those of the whole consignment, said once: what the office strikes, it strikes on
//! all that it marks.

use super::words::{MARKS, NOTE, OUTCOMES, UNMARKED};
use crate::domain::{
    Book, Command, Consignment, ConsignmentId, Event, Grade, Marking, Piece, PieceState as S,
    ReturnConsignment,
};
use crate::http::located::{self, Misfit};
use crate::http::problem::Problem;
use crate::http::routes::{Recording, recordings};
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit};
use crate::pages::workshop::{Field, FormSheet, Offer, Row, Rows, Taken, html, office};
use crate::writer::Recorded;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// A return whose marks are said once, for all that was marked.
const RETURNED: Recording = Recording {
    read: read_return,
    ..recordings::RETURN_CONSIGNMENT
};
const SEEN: Rows = Rows {
    id: Some("mark"),
    versioned: false,
    taken: Taken::Ticked,
    fields: &[Field::tick("legible", "It can be read", "")],
};
/// What became of each piece that was sent.
pub const LINES: Rows = Rows {
    id: Some("piece"),
    versioned: false,
    taken: Taken::All,
    fields: &[OUTCOME, UNMARKED_WHY, FOUND],
};
/// What became of a piece.
pub const OUTCOME: Field = Field::choice("outcome", "What became of it", "", OUTCOMES);
/// Why it bears no mark.
pub const UNMARKED_WHY: Field = Field::choice("reason", "If unmarked: why", "", UNMARKED).optional();
/// What the office found.
pub const FOUND: Field = Field::decimal("assay", "If not marked: what the office found", "‰", "").optional();

/// Pieces go to the assay office.
pub const SEND_CONSIGNMENT: Form = Form {
    recording: &recordings::SEND_CONSIGNMENT,
    sheet: FormSheet {
        title: "Send to the assay office",
        lead: "Each piece is declared at its last weight and at the fineness that its series states. A piece is in one consignment at \
               a time.",
        cautions: &[],
        fields: &[
            Field::ticked(
                "pieces",
                "Pieces",
                "Accepted, with a serial, and struck where their series asks for it.",
            ),
            Field::decimal(
                "fineness",
                "Fineness claimed for all of them",
                "‰",
                "What their series states.",
            ),
            Field::ticked(
                "marks",
                "Marks asked for",
                "Sponsor's, fineness and office's mark at least.",
            ),
            Field::text("office", "Which office", "Private.").optional(),
            Field::text("seal", "Number of the seal", "Private.").optional(),
            NOTE,
            Field::done_at(),
        ],
        submit: "Record the consignment",
    },
    offer: sending,
    ask: None,
    then: to_recorded,
};

/// A consignment came back.
pub const RETURN_CONSIGNMENT: Form = Form {
    recording: &RETURNED,
    sheet: FormSheet {
        title: "A consignment comes back",
        lead: "Say of every piece what became of it, with the parcel before you: marked, unmarked, kept or cut, and missing together are \
               what was sent.",
        cautions: &[],
        fields: &[
            Field::decimal(
                "hallmark/fineness",
                "What the fineness mark says",
                "‰",
                "Of those that were marked.",
            )
            .optional(),
            Field::rows(
                "hallmark/marks",
                "Marks on those that were marked",
                "Tick what was struck, and whether it can be read.",
                SEEN,
            )
            .optional(),
            Field::rows("lines", "The pieces", "", LINES),
            NOTE,
            Field::done_at(),
        ],
        submit: "Record the return",
    },
    offer: returning,
    ask: Some(counts_back),
    then: to_consignment,
};

/// Whether a piece may be sent, as far as can be seen of it.
#[must_use]
pub fn may_be_sent(book: &Book, piece: &Piece) -> bool {
    let Some(series) = book
        .series(piece.series)
        .filter(|series| series.marking == Marking::Required)
    else {
        return false;
    };
    let accepted = piece
        .grading
        .as_ref()
        .is_some_and(|grading| grading.grade == Grade::Accepted);
    let waits = match piece.state {
        S::Serialled | S::Struck => true,
        S::Unmarked => piece.refused_at.is_none_or(|refused| series.fineness < refused),
        _ => false,
    };
    waits && accepted && piece.serial.is_some() && (!series.struck || piece.is_struck())
}

fn marks() -> Vec<Row> {
    let row = |(id, words): &(&str, &str)| Row {
        id: (*id).to_owned(),
        words: (*words).to_owned(),
        more: String::new(),
        version: 0,
    };
    MARKS.iter().map(row).collect()
}

/// The marks that every hallmark has.
fn usual_marks() -> impl Iterator<Item = &'static str> {
    MARKS.iter().take(3).map(|(id, _)| *id)
}

fn sending(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let mut offer = offered::pieces(app, visit, "pieces", may_be_sent)?;
    let ids: BTreeSet<&str> = offer
        .rows_of("pieces")
        .iter()
        .map(|row| row.id.as_str())
        .collect();
    let finenesses = of_now(app, |book| {
        let offered = book
            .pieces()
            .filter(|piece| ids.contains(piece.piece.to_string().as_str()));
        let stated = offered.filter_map(|piece| book.series(piece.series));
        stated
            .map(|series| series.fineness.to_string())
            .collect::<BTreeSet<String>>()
    })?;
    if let (1, Some(one)) = (finenesses.len(), finenesses.first()) {
        offer.filled.push(("fineness".to_owned(), one.clone()));
    }
    offer
        .filled
        .extend(usual_marks().map(|mark| ("marks".to_owned(), mark.to_owned())));
    offer.rows.push(("marks", marks()));
    Ok(offer)
}

fn consignment(app: &App, visit: &Visit) -> Result<(Consignment, Vec<Row>), Problem> {
    let id = ConsignmentId(visit.asked.id("consignment")?);
    let found = of_now(app, |book| {
        let row = book.consignment(id)?.clone();
        let pieces = row.pieces.iter().filter_map(|sent| book.piece(sent.piece));
        let rows = pieces.map(|piece| offered::line(book, piece)).collect();
        Some((row, rows))
    })?;
    found.ok_or_else(|| Problem::not_found("there is no consignment with that id"))
}

fn returning(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let (row, rows) = consignment(app, visit)?;
    let mut query = visit.asked.parameters()?;
    let marked = query.take("outcome").is_some_and(|word| word == "marked");
    let asked_for = row.marks.iter().map(|mark| mark.word());
    let mut filled = vec![("hallmark/fineness".to_owned(), row.fineness.to_string())];
    for mark in asked_for {
        filled.push(("hallmark/marks".to_owned(), mark.to_owned()));
        filled.push((format!("hallmark/marks/{mark}/legible"), "yes".to_owned()));
    }
    filled.extend(
        rows.iter()
            .filter(|_| marked)
            .map(|row| (format!("lines/{}/outcome", row.id), "marked".to_owned())),
    );
    let path = &visit.asked.path;
    let about = html! {
        p .about {
            strong { "Consignment " (row.number) ": " (office::counted(row.pieces.len(), "piece")) ", " (row.mass) " g" }
            ", sent " (app.settings.workshop.zone.in_words(row.at)) "."
        }
        @if !marked { p { a href=(format!("{path}?outcome=marked")) { "Begin with all of them marked" } } }
    };
    Ok(Offer {
        about: Some(about),
        rows: vec![("hallmark/marks", marks()), ("lines", rows)],
        filled,
        ..Offer::default()
    })
}

/// The counts of a return, said back before it is recorded.
fn counts_back(app: &App, visit: &Visit, body: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let (row, _) = consignment(app, visit)?;
    let lines = || body.get("lines").and_then(Value::as_array).into_iter().flatten();
    let outcome = |line: &'_ Value| line.get("outcome").and_then(Value::as_str).map(str::to_owned);
    let outcomes: Vec<String> = lines().filter_map(outcome).collect();
    let unmarked = |line: &&Value| outcome(line).as_deref() == Some("unmarked");
    let unexplained = lines().filter(unmarked).any(|line| line.get("reason").is_none());
    // A line that says too little is refused, without a question before.
    if outcomes.len() != row.pieces.len() || unexplained {
        return Ok(None);
    }
    let count = |words: &[&str]| {
        outcomes
            .iter()
            .filter(|outcome| words.contains(&outcome.as_str()))
            .count()
    };
    Ok(Some(format!(
        "{} were sent: {} marked, {} unmarked, {} kept or cut, {} missing. Does that agree with the parcel and the office's note?",
        row.pieces.len(),
        count(&["marked"]),
        count(&["unmarked"]),
        count(&["kept", "cut"]),
        count(&["missing"]),
    )))
}

/// Reads a return.
fn read_return(body: &Value) -> Result<Command, Misfit> {
    let mut members = body.as_object().cloned().unwrap_or_default();
    spread_hallmark(&mut members);
    located::read::<ReturnConsignment>(&Value::Object(members)).map(Command::from)
}

/// The marks that a form says once go to each line that was marked.
pub fn spread_hallmark(members: &mut Map<String, Value>) {
    let Some(hallmark) = members.remove("hallmark") else {
        return;
    };
    let lines = members.get_mut("lines").and_then(Value::as_array_mut);
    for line in lines.into_iter().flatten().filter_map(Value::as_object_mut) {
        if line.get("outcome").and_then(Value::as_str) == Some("marked") {
            line.entry("hallmark").or_insert_with(|| hallmark.clone());
        }
    }
}

fn to_recorded(_: &App, _: &Visit, recorded: &Recorded) -> String {
    let consignment = recorded.events.iter().find_map(|event| match event {
        Event::ConsignmentSent(e) => Some(e.consignment),
        _ => None,
    });
    consignment.map_or_else(|| "/office/assay".to_owned(), |id| format!("/consignments/{id}"))
}

fn to_consignment(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/consignments/{}", visit.asked.member("consignment"))
}
