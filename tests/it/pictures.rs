//! Pictures and the pages about metal: that widths are true, that what is small or wrong is seen, that bars open what they count.

mod pages;
mod points;
mod streams;
mod weights;
mod yields;

use pourbook::accounts::{AsOf, Heading, Line, Statement, by_rows};
use pourbook::domain::{Book, Zone};
use pourbook::metal::Metal;
use pourbook::pages::metal::Standing;

pub fn now() -> Standing {
    Standing {
        asked: AsOf::Newest,
        position: 0,
        recorded: None,
        zone: Zone::UTC,
    }
}

/// The statement of a book without its log: the rows alone.
pub fn statement_of(book: &Book, metal: Metal) -> Statement {
    let masses = book.masses(metal).unwrap();
    let lines = Heading::all().map(|heading| {
        let (pieces, amount) = by_rows(&masses, heading);
        Line {
            heading,
            pieces,
            amount,
            movements: 1,
        }
    });
    Statement {
        metal,
        lines: lines.collect(),
        difference: masses.difference().unwrap(),
    }
}

/// The lots that were received: number and mass in steps.
pub fn received(book: &Book, metal: Metal) -> Vec<(u32, i64)> {
    let lots = book.lots();
    let received =
        lots.filter(|lot| lot.metal == metal && lot.outturn_of.is_none() && lot.found_in.is_none());
    let mut lots: Vec<(u32, i64)> = received
        .map(|lot| (lot.number, lot.mass.mass().units()))
        .collect();
    lots.sort_unstable();
    lots
}

/// The one of two drawings of a picture that is for a telephone.
pub fn narrow(picture: &str) -> &str {
    let start = picture
        .find("<svg class=\"picture narrow\"")
        .expect("a narrow picture");
    let drawn = &picture[start..];
    &drawn[..drawn.find("</svg>").unwrap()]
}
