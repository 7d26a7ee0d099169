//! In bulk: serials, edition numbers, spares, certificates and their prints.

use super::words::NOTE;
use crate::domain::{Book, Certificate, Grade, Piece, PieceState as S, SeriesId, SeriesKind, Stage};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit, named};
use crate::pages::workshop::{Field, FormSheet, Offer, Row};
use crate::writer::Recorded;

const PIECES: &str = "In the order in which they stand here.";
const PAPERS: &[(&str, &str)] = &[("a6", "A6, 105 by 148 mm"), ("a5", "A5, 148 by 210 mm")];
const REASONS: &[(&str, &str)] = &[
    ("damaged", "It was damaged or lost"),
    ("reweighed", "The piece was weighed again"),
    ("mistake", "It said something wrong"),
    ("corrected", "An entry that it rests on was corrected"),
];
/// Where a piece may get its number from.
const UNNUMBERED: &[S] = &[S::Serialled, S::Struck, S::Hallmarked, S::Spare];

/// Accepted pieces get their serials.
pub const GIVE_SERIALS: Form = Form {
    recording: &recordings::GIVE_SERIALS,
    sheet: FormSheet {
        title: "Give serials",
        lead: "Accepted pieces of melts that are weighed out. A serial is given once, for ever, whatever becomes of the piece.",
        cautions: &[],
        fields: &[Field::ticked("pieces", "Pieces", PIECES)],
        submit: "Give the serials",
    },
    offer: for_serials,
    ask: None,
    then: to_numbers,
};

/// Pieces get their edition numbers.
pub const NUMBER_PIECES: Form = Form {
    recording: &recordings::NUMBER_PIECES,
    sheet: FormSheet {
        title: "Give edition numbers",
        lead: "Last of all, to accepted pieces that bear their hallmark, if they need one, and are finally weighed. A number is never \
               given twice: what is lost later burns it.",
        cautions: &[],
        fields: &[Field::ticked("pieces", "Pieces", PIECES)],
        submit: "Give the numbers",
    },
    offer: for_numbers,
    ask: None,
    then: to_numbers,
};

/// Pieces are set aside as spares.
pub const SPARE_PIECES: Form = Form {
    recording: &recordings::SPARE_PIECES,
    sheet: FormSheet {
        title: "Set spares aside",
        lead: "Finally weighed pieces of an edition that get no number now. One may still be numbered later.",
        cautions: &[],
        fields: &[Field::ticked("pieces", "Pieces", "")],
        submit: "Set them aside",
    },
    offer: for_spares,
    ask: None,
    then: to_numbers,
};

/// First certificates are issued.
pub const ISSUE_CERTIFICATES: Form = Form {
    recording: &recordings::ISSUE_CERTIFICATES,
    sheet: FormSheet {
        title: "Issue certificates",
        lead: "Each states the final reading with its uncertainty, and no more. The session of that reading must be over, and its \
               closing check have held.",
        cautions: &["A stated weight is a minimum."],
        fields: &[Field::ticked("pieces", "Pieces", "")],
        submit: "Issue the certificates",
    },
    offer: for_certificates,
    ask: None,
    then: to_numbers,
};

/// Certificates are printed.
pub const PRINT_CERTIFICATES: Form = Form {
    recording: &recordings::PRINT_CERTIFICATES,
    sheet: FormSheet {
        title: "Print certificates",
        lead: "One PDF, a certificate a page, in the order of the pieces. The book remembers what was printed.",
        cautions: &[],
        fields: &[
            Field::ticked("certificates", "Certificates", ""),
            Field::choice("paper", "Paper", "", PAPERS),
        ],
        submit: "Make the PDF",
    },
    offer: for_prints,
    ask: None,
    then: super::to_entry,
};

/// A new issue takes the place of a certificate.
pub const SUPERSEDE: Form = Form {
    recording: &recordings::SUPERSEDE,
    sheet: FormSheet {
        title: "A new issue of a certificate",
        lead: "The old issue stays to be read, and says that it was superseded.",
        cautions: &[],
        fields: &[Field::choice("reason", "Why", "", REASONS), NOTE],
        submit: "Issue it anew",
    },
    offer: super::of_piece,
    ask: None,
    then: super::to_piece,
};

/// The page of numbers and certificates.
fn to_numbers(_: &App, _: &Visit, _: &Recorded) -> String {
    "/office/numbers".to_owned()
}

fn is_accepted(piece: &Piece) -> bool {
    piece
        .grading
        .as_ref()
        .is_some_and(|grading| grading.grade == Grade::Accepted)
}

fn is_weighed_finally(piece: &Piece) -> bool {
    let last = piece
        .reading()
        .is_some_and(|reading| reading.stage == Stage::Final);
    last && !piece.back_unweighed
}

fn is_edition(book: &Book, series: SeriesId) -> bool {
    book.series(series)
        .is_some_and(|series| series.kind_of == SeriesKind::Edition)
}

/// Whether a piece waits for its serial.
#[must_use]
pub fn waits_for_serial(book: &Book, piece: &Piece) -> bool {
    let closed = book.melt(piece.melt).is_some_and(|melt| melt.closed.is_some());
    let kept = matches!(piece.state, S::Graded | S::Struck) && is_accepted(piece);
    piece.serial.is_none() && closed && kept
}

/// Whether a piece waits for an edition number, and has all that one needs.
#[must_use]
pub fn waits_for_number(book: &Book, piece: &Piece) -> bool {
    let series = book.series(piece.series);
    let numbered = series.is_some_and(|series| series.kind_of == SeriesKind::Edition && !series.unnumbered);
    let ready = UNNUMBERED.contains(&piece.state) && piece.serial.is_some() && piece.number.is_none();
    numbered && ready && is_accepted(piece) && is_weighed_finally(piece)
}

/// Whether a piece waits for its certificate, and has all that one needs.
#[must_use]
pub fn waits_for_certificate(book: &Book, piece: &Piece) -> bool {
    if piece.certificate.is_some() || piece.serial.is_none() || !is_weighed_finally(piece) {
        return false;
    }
    let series = book.series(piece.series);
    match piece.state {
        S::Numbered => true,
        S::Spare => series.is_some_and(|series| series.spares_sold),
        S::Serialled | S::Struck | S::Hallmarked => {
            series.is_some_and(|series| series.kind_of == SeriesKind::Open || series.unnumbered)
        }
        _ => false,
    }
}

/// Whether a certificate is the newest of its piece and was never printed.
#[must_use]
pub fn waits_for_print(certificate: &Certificate) -> bool {
    certificate.superseded.is_none() && certificate.prints.is_empty()
}

fn for_serials(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    offered::pieces(app, visit, "pieces", waits_for_serial)
}

fn for_numbers(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    offered::pieces(app, visit, "pieces", waits_for_number)
}

fn for_spares(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let ready = |book: &Book, piece: &Piece| {
        let place = matches!(piece.state, S::Serialled | S::Struck | S::Hallmarked);
        place && is_weighed_finally(piece) && is_accepted(piece) && is_edition(book, piece.series)
    };
    offered::pieces(app, visit, "pieces", ready)
}

fn for_certificates(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    offered::pieces(app, visit, "pieces", waits_for_certificate)
}

/// Certificates that were never printed, and the one of a piece that the address names, printed or not.
fn for_prints(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let mut query = visit.asked.parameters()?;
    let one: Option<uuid::Uuid> = query.parse("piece", "an id")?;
    let rows = of_now(app, |book| {
        let newest = book
            .certificates()
            .filter(|certificate| certificate.superseded.is_none());
        let wanted = newest
            .filter(|certificate| one.map_or(waits_for_print(certificate), |one| one == certificate.piece.0));
        let mut found: Vec<&Certificate> = wanted.collect();
        found.sort_by_key(|certificate| (certificate.since, certificate.serial.clone()));
        let row = |certificate: &&Certificate| {
            let piece = book.piece(certificate.piece);
            Row {
                id: certificate.certificate.to_string(),
                words: piece.map_or_else(|| certificate.serial.to_string(), named::piece),
                more: piece
                    .map(|piece| offered::more_of(book, piece))
                    .unwrap_or_default(),
                version: 0,
            }
        };
        found.iter().map(row).collect::<Vec<Row>>()
    })?;
    // As many as one PDF takes are ticked: printing is what one comes here for.
    let ticked = rows
        .iter()
        .take(64)
        .map(|row| ("certificates".to_owned(), row.id.clone()));
    Ok(Offer {
        filled: ticked.collect(),
        rows: vec![("certificates", rows)],
        ..Offer::default()
    })
}
