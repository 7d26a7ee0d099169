//! Stock: what may be sold, what is kept or on its way, what does not fit its edition, and what was given up, lost or stolen.

use super::super::offered::of_now;
use super::super::{App, Seen, Visit};
use super::board::is_graded;
use super::lines_of;
use crate::domain::{Book, Grade, Piece, PieceState as S, Refining, RefiningState};
use crate::http::problem::Problem;
use crate::pages::workshop::office::{Line, Office, Section, Way};

/// One part of the page: its pieces and what is done about each.
struct Part {
    title: &'static str,
    help: &'static str,
    none: &'static str,
    wanted: fn(&Piece) -> bool,
    /// What may be done: words, and the last part of the address below the piece's.
    each: &'static [(&'static str, &'static str)],
    all: &'static [(&'static str, &'static str)],
}

const PARTS: &[Part] = &[
    Part {
        title: "To sell",
        help: "",
        none: "Nothing is for sale.",
        wanted: |piece| piece.state == S::Certified,
        each: &[
            ("Sell", "/sales/new?piece="),
            ("Keep for somebody", "reservation"),
            ("New certificate", "supersession"),
        ],
        all: &[("Sell", "/sales/new")],
    },
    Part {
        title: "Kept for somebody",
        help: "",
        none: "",
        wanted: |piece| piece.state == S::Reserved,
        each: &[("Sell", "/sales/new?piece="), ("Keep no longer", "release")],
        all: &[],
    },
    Part {
        title: "Spares",
        help: "Finally weighed, without a number.",
        none: "",
        wanted: |piece| piece.state == S::Spare,
        each: &[("Number it", "/numbers/new?piece="), ("Give up", "condemnation")],
        all: &[],
    },
    Part {
        title: "Came back",
        help: "For sale again once you have looked at it and say so.",
        none: "",
        wanted: |piece| matches!(piece.state, S::Returned | S::BoughtBack),
        each: &[("Back into stock", "restocking"), ("Give up", "condemnation")],
        all: &[],
    },
    Part {
        title: "Outside their limits",
        help: "Too heavy: it may be filed down at the bench. Handsome: it moves to an open series and is sold by its actual weight. Else it \
               is given up. A borderline piece may be weighed once more on a better scale.",
        none: "Nothing is outside its limits.",
        wanted: |piece| {
            let open = matches!(piece.state, S::Graded | S::Serialled | S::Struck | S::Hallmarked);
            open && is_graded(
                piece,
                &[Grade::Under, Grade::Over, Grade::Borderline, Grade::Faulty],
            )
        },
        each: &[("Move to an open series", "series"), ("Give up", "condemnation")],
        all: &[],
    },
    Part {
        title: "Mis-struck",
        help: "Never for sale.",
        none: "",
        wanted: |piece| piece.state == S::MisStruck,
        each: &[("Keep it", "archive"), ("Give up", "condemnation")],
        all: &[],
    },
    Part {
        title: "Given up",
        help: "They wait for a crucible, where the bench charges them, or for the refiner.",
        none: "",
        wanted: |piece| piece.state == S::Condemned,
        each: &[],
        all: &[
            ("Charge a crucible", "/bench/charge"),
            ("Send to the refiner", "/refinings/new"),
        ],
    },
    Part {
        title: "Stolen",
        help: "",
        none: "",
        wanted: |piece| piece.state == S::Stolen,
        each: &[("It is back", "recovery")],
        all: &[],
    },
    Part {
        title: "Lost on the way",
        help: "",
        none: "",
        wanted: |piece| piece.state == S::Lost,
        each: &[("It turned up", "finding")],
        all: &[],
    },
];

/// `GET /office/stock`.
///
/// # Errors
/// When the log cannot be read.
pub fn stock(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let (mut sections, refinings) = of_now(app, |book| (sections(book), refinings(book)))?;
    let zone = app.settings.workshop.zone;
    let lines = refinings.iter().map(|row| Line {
        words: format!("Refining {}", row.number),
        path: None,
        more: format!("{} g of {}, sent {}", row.mass, row.metal, zone.in_words(row.at)),
        ways: vec![Way::new(
            "The refiner's account",
            format!("/refinings/{}/return", row.refining),
        )],
    });
    sections.push(Section {
        title: "At the refiner".to_owned(),
        lines: lines.collect(),
        none: "Nothing is at the refiner.",
        ways: vec![Way::new("Send residues", "/refinings/new")],
        ..Section::default()
    });
    let page = Office {
        title: "Stock".to_owned(),
        lead: "Whether a piece is stolen, destroyed or bought back is said on its own page.".to_owned(),
        sections,
        ..Office::default()
    };
    Ok(super::page(visit, page, "/office/stock").into())
}

fn sections(book: &Book) -> Vec<Section> {
    let section = |part: &Part| {
        let (lines, unshown) = lines_of(book, part.wanted, |piece| ways(part, piece));
        // What is done with all of them is offered where there is one.
        let all = part.all.iter().filter(|_| !lines.is_empty());
        let ways = all.map(|(words, path)| Way::new(*words, *path)).collect();
        Section {
            title: part.title.to_owned(),
            help: part.help,
            lines,
            unshown,
            grouped: false,
            none: part.none,
            ways,
        }
    };
    PARTS.iter().map(section).collect()
}

fn ways(part: &Part, piece: &Piece) -> Vec<Way> {
    let id = piece.piece;
    let way = |(words, place): &(&str, &str)| match place.starts_with('/') {
        true => Way::new(*words, format!("{place}{id}")),
        false => Way::new(*words, format!("/pieces/{id}/{place}")),
    };
    part.each.iter().map(way).collect()
}

fn refinings(book: &Book) -> Vec<Refining> {
    let away = book
        .refinings()
        .filter(|row| row.state == RefiningState::AtRefiner);
    let mut away: Vec<Refining> = away.cloned().collect();
    away.sort_by_key(|row| row.number);
    away
}
