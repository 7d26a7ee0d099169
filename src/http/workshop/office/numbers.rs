//! Numbers and certificates: who waits for a serial, for the final weighing, for a number, for a certificate, for a print.

use super::super::forms::numbers::{
    waits_for_certificate, waits_for_number, waits_for_print, waits_for_serial,
};
use super::super::offered::of_now;
use super::super::{App, Seen, Visit};
use super::{by_series, lines_of};
use crate::domain::{Book, Grade, Marking, Piece, PieceState as S, Stage};
use crate::http::labels::is_labelled;
use crate::http::problem::Problem;
use crate::pages::workshop::office::{Line, Office, Section, Way, counted};

/// What waits for one form: by series, each with its link.
struct Waiting {
    serials: Vec<(String, String, usize)>,
    finals: Vec<(String, String, usize)>,
    numbers: Vec<(String, String, usize)>,
    certificates: Vec<(String, String, usize)>,
    /// Lines, and how many more there are.
    prints: (Vec<Line>, usize),
    labels: Vec<(String, String, usize)>,
}

/// `GET /office/numbers`.
///
/// # Errors
/// When the log cannot be read.
pub fn numbers(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let waiting = of_now(app, find)?;
    let (prints, unshown) = waiting.prints;
    let page = Office {
        title: "Numbers and certificates".to_owned(),
        lead: "In this order: serial, hallmark, final weighing, number, certificate. Nothing that touches metal stands between the final \
               weighing and the certificate."
            .to_owned(),
        sections: vec![
            section("Wait for a serial", &waiting.serials, &[("Give serials", "/serials/new?tick=all&")], "Nothing waits for a serial."),
            Section {
                help: "On a verified scale, in a session that ends with a closing check.",
                ..section(
                    "Wait for the final weighing",
                    &waiting.finals,
                    &[("Weigh at the bench", "/bench/tray?")],
                    "Nothing waits to be weighed.",
                )
            },
            section(
                "Wait for a number",
                &waiting.numbers,
                &[("Give numbers", "/numbers/new?tick=all&"), ("Set spares aside", "/spares/new?")],
                "Nothing waits for a number.",
            ),
            section(
                "Wait for a certificate",
                &waiting.certificates,
                &[("Issue certificates", "/certificates/new?tick=all&")],
                "Nothing waits for a certificate.",
            ),
            Section {
                title: "Issued, and not printed yet".to_owned(),
                lines: prints,
                unshown,
                none: "Every certificate was printed.",
                ways: vec![Way::new("Print certificates", "/prints/new")],
                ..Section::default()
            },
            Section {
                title: "Labels".to_owned(),
                help: "With a code that leads to the piece's page. For the pieces of a series that are in the workshop.",
                lines: waiting.labels.iter().map(label).collect(),
                grouped: true,
                none: "No piece in the workshop has a serial.",
                ..Section::default()
            },
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "/office/numbers").into())
}

fn section(
    title: &str,
    waiting: &[(String, String, usize)],
    forms: &[(&str, &str)],
    none: &'static str,
) -> Section {
    let line = |(id, code, count): &(String, String, usize)| Line {
        words: format!("{code}: {}", counted(*count, "piece")),
        path: None,
        more: String::new(),
        ways: forms
            .iter()
            .map(|(words, path)| Way::new(*words, format!("{path}series={id}")))
            .collect(),
    };
    Section {
        title: title.to_owned(),
        lines: waiting.iter().map(line).collect(),
        grouped: true,
        none,
        ..Section::default()
    }
}

fn label((id, code, count): &(String, String, usize)) -> Line {
    Line {
        words: format!("{code}: {}", counted(*count, "label")),
        path: None,
        more: String::new(),
        ways: vec![Way::new("The sheet (PDF)", format!("/series/{id}/labels"))],
    }
}

fn find(book: &Book) -> Waiting {
    let printed = |piece: &Piece| {
        let newest = piece.certificate.and_then(|id| book.certificate(id));
        newest.is_some_and(waits_for_print)
    };
    Waiting {
        serials: by_series(book, |piece| waits_for_serial(book, piece)),
        finals: by_series(book, |piece| waits_for_final(book, piece)),
        numbers: by_series(book, |piece| waits_for_number(book, piece)),
        certificates: by_series(book, |piece| waits_for_certificate(book, piece)),
        prints: lines_of(book, printed, |piece| {
            vec![Way::new("Print", format!("/prints/new?piece={}", piece.piece))]
        }),
        labels: by_series(book, is_labelled),
    }
}

/// Whether a piece waits for the weighing that its certificate will state.
pub fn waits_for_final(book: &Book, piece: &Piece) -> bool {
    let Some(series) = book.series(piece.series) else {
        return false;
    };
    if piece.serial.is_none() || !super::board::is_graded(piece, &[Grade::Accepted]) {
        return false;
    }
    let marked = series.marking == Marking::Exempt || piece.hallmark.is_some();
    let struck = !series.struck || piece.is_struck();
    let last = piece.reading();
    let weighed = last.is_some_and(|reading| reading.stage == Stage::Final) && !piece.back_unweighed;
    let renumbered = series.number_on_metal
        && piece
            .numbered_at
            .is_some_and(|index| last.is_some_and(|reading| reading.index <= index));
    match piece.state {
        S::Serialled | S::Struck | S::Hallmarked => marked && struck && !weighed,
        S::Numbered => !weighed || renumbered,
        _ => false,
    }
}
