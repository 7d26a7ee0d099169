//! The assay office: what waits to go there, what is there since when, what came back.

use super::super::forms::consignments::may_be_sent;
use super::super::offered::{self, of_now, said};
use super::super::{App, Seen, Visit, named};
use super::{by_series, fact, lines_of, prices, since_days};
use crate::domain::{
    AssayOutcome, Book, Consignment, ConsignmentId, ConsignmentState, Piece, PieceId, PieceState as S,
};
use crate::http::problem::Problem;
use crate::pages::workshop::office::{Line, Office, Section, Way, counted};
use crate::pages::workshop::{Markup, html};

/// How many consignments that are back the page shows.
const BACK_MOST: usize = 20;

/// `GET /office/assay`.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn assay(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let (ready, (unmarked, more_unmarked), consignments) = of_now(app, |book| {
        let ready = by_series(book, |piece| may_be_sent(book, piece));
        let unmarked = lines_of(book, |piece| piece.state == S::Unmarked, unmarked_ways);
        let mut consignments: Vec<Consignment> = book.consignments().cloned().collect();
        consignments.sort_by_key(|row| std::cmp::Reverse(row.number));
        (ready, unmarked, consignments)
    })?;
    let (out, back): (Vec<_>, Vec<_>) = consignments
        .into_iter()
        .partition(|row| row.state == ConsignmentState::AtOffice);
    let unshown = back.len().saturating_sub(BACK_MOST);
    let lines = |rows: &[Consignment]| {
        rows.iter()
            .map(|row| line(app, visit, row))
            .collect::<Result<Vec<Line>, Problem>>()
    };
    let page = Office {
        title: "Assay office".to_owned(),
        lead: "What goes there comes back piece by piece: marked, unmarked, kept or cut, missing.".to_owned(),
        sections: vec![
            Section {
                title: "Out now".to_owned(),
                lines: lines(&out)?,
                none: "Nothing is at the assay office.",
                ..Section::default()
            },
            Section {
                title: "Ready to be sent".to_owned(),
                lines: ready.into_iter().map(to_send).collect(),
                grouped: true,
                none: "Nothing waits to be sent.",
                ways: vec![Way::new("Send pieces of your choice", "/consignments/new")],
                ..Section::default()
            },
            Section {
                title: "Came back unmarked".to_owned(),
                help: "Give it up, move it to an open series of a lower standard and send it again, or send it again as it is where its \
                       fineness was not the reason.",
                lines: unmarked,
                unshown: more_unmarked,
                ..Section::default()
            },
            Section {
                title: "Back".to_owned(),
                lines: lines(back.get(..BACK_MOST.min(back.len())).unwrap_or_default())?,
                unshown,
                ..Section::default()
            },
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "/office/assay").into())
}

/// The pieces of a series that may be sent.
fn to_send((id, code, count): (String, String, usize)) -> Line {
    Line {
        words: format!("{code}: {}", counted(count, "piece")),
        path: None,
        more: String::new(),
        ways: vec![Way::new(
            "Send them",
            format!("/consignments/new?series={id}&tick=all"),
        )],
    }
}

fn unmarked_ways(piece: &Piece) -> Vec<Way> {
    let id = piece.piece;
    vec![
        Way::new("Move to an open series", format!("/pieces/{id}/series")),
        Way::new("Send again", format!("/consignments/new?piece={id}")),
        Way::new("Give up", format!("/pieces/{id}/condemnation")),
    ]
}

fn line(app: &App, visit: &Visit, row: &Consignment) -> Result<Line, Problem> {
    let id = row.consignment;
    let office = said(app, visit, id.0, "office")?
        .map(|office| format!(", {office}"))
        .unwrap_or_default();
    let sent = app.settings.workshop.zone.in_words(row.at);
    let out = row.state == ConsignmentState::AtOffice;
    let more = match out {
        true => format!(
            "{}{office}, sent {sent}, {}",
            counted(row.pieces.len(), "piece"),
            since_days(app, row.at)
        ),
        false => format!(
            "{}{office}: {}",
            counted(row.pieces.len(), "piece"),
            outcomes(row)
        ),
    };
    let mut ways = Vec::new();
    if out {
        ways.push(Way::new("It is back", format!("/consignments/{id}/return")));
        ways.push(Way::new(
            "Packing list",
            format!("/consignments/{id}/packing-list"),
        ));
    }
    Ok(Line {
        words: format!("Consignment {}", row.number),
        path: Some(format!("/consignments/{id}")),
        more,
        ways,
    })
}

/// What became of the pieces, counted; it adds up to what was sent.
fn outcomes(row: &Consignment) -> String {
    let count = |wanted: &[AssayOutcome]| {
        row.outcomes
            .iter()
            .filter(|outcome| wanted.contains(outcome))
            .count()
    };
    format!(
        "{} marked, {} unmarked, {} kept or cut, {} missing",
        count(&[AssayOutcome::Marked]),
        count(&[AssayOutcome::Unmarked]),
        count(&[AssayOutcome::Kept, AssayOutcome::Cut]),
        count(&[AssayOutcome::Missing]),
    )
}

/// `GET /consignments/{consignment}`.
///
/// # Errors
/// 404 for a consignment that is not there.
pub fn consignment(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = ConsignmentId(visit.asked.id("consignment")?);
    let found = of_now(app, |book| {
        book.consignment(id)
            .map(|row| (row.clone(), pieces(book, row), mates(book, row)))
    })?;
    let (row, pieces, mates) =
        found.ok_or_else(|| Problem::not_found("there is no consignment with that id"))?;
    let zone = app.settings.workshop.zone;
    let marks: Vec<String> = row
        .marks
        .iter()
        .map(|mark| mark.word().replace('_', " "))
        .collect();
    let mut facts = vec![
        ("Where it is", state(app, &row)),
        (
            "Sent",
            html! { (zone.in_words(row.at)) ", entry " a href=(format!("/entries/{}", row.since)) { (row.since) } },
        ),
        (
            "Declared",
            html! { (counted(row.pieces.len(), "piece")) ", " (row.mass) " g, at " (row.fineness) " ‰" },
        ),
        ("Marks asked for", html! { (marks.join(", ")) }),
    ];
    for (member, word) in [("office", "Which office"), ("seal", "Seal"), ("note", "Note")] {
        facts.extend(fact(app, visit, id.0, member, word)?);
    }
    let mut ways = vec![Way::new(
        "Packing list (PDF)",
        format!("/consignments/{id}/packing-list"),
    )];
    if row.state == ConsignmentState::AtOffice {
        ways.insert(0, Way::new("It is back", format!("/consignments/{id}/return")));
    }
    let page = Office {
        title: format!("Consignment {}", row.number),
        facts,
        ways,
        sections: vec![
            Section {
                title: "Pieces".to_owned(),
                lines: pieces,
                ..Section::default()
            },
            Section {
                title: "From the same melt as what was refused".to_owned(),
                help: "They were not in this consignment. What was found in a piece of their melt holds for them too, until an assay says \
                       otherwise.",
                lines: mates,
                ..Section::default()
            },
            prices::charged(app, visit, ("consignment", id.0))?,
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "").into())
}

fn state(app: &App, row: &Consignment) -> Markup {
    match (row.state, row.returned) {
        (ConsignmentState::AtOffice, _) => html! { "At the assay office, " (since_days(app, row.at)) },
        (ConsignmentState::Returned, Some(index)) => html! {
            "Back: " (outcomes(row)) ", of " (row.pieces.len()) " sent. Entry " a href=(format!("/entries/{index}")) { (index) }
        },
        (ConsignmentState::Returned, None) => html! { "Back" },
    }
}

fn pieces(book: &Book, row: &Consignment) -> Vec<Line> {
    let told = row.pieces.iter().enumerate().map(|(at, sent)| {
        let outcome = row
            .outcomes
            .get(at)
            .map(|outcome| format!(", {}", outcome.word()));
        let more = format!("declared {} g{}", sent.mass, outcome.unwrap_or_default());
        of_piece(book, sent.piece, more)
    });
    told.collect()
}

fn mates(book: &Book, row: &Consignment) -> Vec<Line> {
    let more = |id: &PieceId| {
        book.piece(*id)
            .map(|piece| offered::more_of(book, piece))
            .unwrap_or_default()
    };
    row.melt_mates
        .iter()
        .map(|id| of_piece(book, *id, more(id)))
        .collect()
}

fn of_piece(book: &Book, id: PieceId, more: String) -> Line {
    Line {
        words: book.piece(id).map_or_else(|| "a piece".to_owned(), named::piece),
        path: Some(format!("/pieces/{id}")),
        more,
        ways: Vec::new(),
    }
}
