//! The page of a metal: its flow, the statement as a table, and what asks for a look.

use super::flow::{anchor, flow, under};
use super::headings::{Part, Place, named};
use super::{Leaf, Standing, capital, grams};
use crate::accounts::{Heading, Line, Statement, StatementError};
use crate::metal::{FineMass, Metal, Rounding};
use maud::{Markup, html};

/// Decimals of fine grams on a page: 0.1 mg, below any scale of the trade.
const FINE_DECIMALS: u32 = 4;

/// Something that the readings do not explain, or that is not as usual.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Look {
    /// What, in a sentence.
    pub words: String,
    /// Where it is shown.
    pub address: String,
}

/// What the page is made of.
pub struct StatementSeen<'a> {
    /// The statement.
    pub statement: &'a Statement,
    /// The lots that were received: number, mass in steps.
    pub lots: &'a [(u32, i64)],
    /// What asks for a look.
    pub looks: &'a [Look],
    /// As of when.
    pub standing: Standing,
}

/// The page.
#[must_use]
pub fn statement(seen: &StatementSeen<'_>) -> Leaf {
    let metal = seen.statement.metal;
    let path = format!("/metal/{metal}");
    let title = format!("{}: where every gram is", capital(metal.word()));
    let stream = flow(seen.statement, seen.lots, &seen.standing);
    let main = html! {
        header .plate { h1 { span .name { (title) } }
            (seen.standing.told(&path))
        }
        (verdict(seen.statement))
        @if !seen.looks.is_empty() {
            section .looks aria-labelledby="looks" {
                h2 #looks { "What asks for a look" }
                ul { @for look in seen.looks { li { a href=(look.address) { (look.words) } } } }
            }
        }
        section aria-labelledby="flow" {
            h2 #flow { "From what came in to where it is" }
            (stream.picture())
        }
        section aria-labelledby="figures" {
            h2 #figures { "The same in figures" }
            p .fine { "Grams as weighed, and the fine metal in them as declared. Each figure opens the movements that it is the sum of." }
            (table(seen))
        }
        p { a href=(seen.standing.to(&format!("/metal/{metal}/losses"))) { "What each melt of " (metal) " lost" } }
    };
    Leaf::new(title, main)
}

/// The page of a metal of which nothing can be told, because the book contradicts itself.
#[must_use]
pub fn untold(metal: Metal, why: StatementError, standing: &Standing) -> Leaf {
    let title = format!("{}: where every gram is", capital(metal.word()));
    let main = html! {
        header .plate {
            h1 { span .name { (title) } }
            (standing.told(&format!("/metal/{metal}")))
        }
        div .notice.grave role="alert" {
            h2 { "Nothing can be told of " (metal) }
            p {
                "The book knows where metal is in two ways, and they do not agree: " (why) ". So no figure is shown. This is a fault of \
                 the book itself, not of what was typed. Note what was recorded last, keep a backup, and have the log audited."
            }
        }
    };
    Leaf::new(title, main)
}

/// Whether it adds up: in so many words, and loud where it does not.
fn verdict(statement: &Statement) -> Markup {
    let (mass, fine) = (statement.difference.mass, statement.difference.fine);
    if mass.units() == 0 && fine.picograms() == 0 {
        return html! { p .adds-up { strong { "It adds up." } " What came in less all that is accounted for below is 0.00 g." } };
    }
    html! {
        div .notice.grave role="alert" {
            h2 { (mass) " g of " (statement.metal) " are not accounted for" }
            p {
                "What came in less all that stands below is " (mass) " g, and " (fine.grams(FINE_DECIMALS, Rounding::HalfUp))
                " g of fine metal. It must be nothing, whatever was typed: this is a fault of the book itself. Note what was \
                 recorded last, keep a backup, and have the log audited."
            }
        }
    }
}

fn table(seen: &StatementSeen<'_>) -> Markup {
    let lines = &seen.statement.lines;
    let stands = |line: &&Line| line.amount.mass.units() != 0 || line.amount.fine.picograms() != 0;
    let below = |line: &&Line| line.amount.mass.is_negative();
    let came_in: Vec<&Line> = lines
        .iter()
        .filter(|line| line.heading.is_receipt() || below(line))
        .collect();
    let empty: Vec<&Line> = lines
        .iter()
        .filter(|line| !stands(line) && !line.heading.is_receipt())
        .collect();
    html! {
        div .wide tabindex="0" role="region" aria-label="The statement" {
            table .figures {
                thead { tr { th scope="col" { "Where" } th scope="col" .number { "Grams" } th scope="col" .number { "Fine grams" } th scope="col" .number { "Movements" } } }
                tbody {
                    tr .part { th scope="rowgroup" { "Came in" } td .number { (sum(&came_in)) } td {} td {} }
                    @for line in came_in {
                        (row(seen, line))
                        @if line.heading == Heading::Received { (lots(seen.lots)) }
                    }
                }
                @for part in Part::ALL {
                    @let of_part: Vec<&Line> = lines.iter().filter(|line| stands(line) && !below(line) && part_of(line.heading) == Some(part)).collect();
                    @if !of_part.is_empty() {
                        tbody {
                            tr .part {
                                th scope="rowgroup" { (part.name()) }
                                td .number { (sum(&of_part)) }
                                td {}
                                td {}
                            }
                            @for line in of_part { (row(seen, line)) }
                        }
                    }
                }
                tbody {
                    tr .part {
                        th scope="row" { "Not accounted for" }
                        td .number { (seen.statement.difference.mass) }
                        td .number { (seen.statement.difference.fine.grams(FINE_DECIMALS, Rounding::HalfUp)) }
                        td {}
                    }
                }
            }
        }
        @if !empty.is_empty() {
            p .fine {
                "Nothing stands there now, but metal went through: "
                @for (number, line) in empty.iter().enumerate() {
                    @if number > 0 { ", " }
                    a href=(seen.standing.to(&under(seen.statement.metal, line.heading))) { (named(line.heading)) }
                }
                "."
            }
        }
    }
}

/// The lots that were received, each as it was weighed.
fn lots(lots: &[(u32, i64)]) -> Markup {
    html! {
        @for (number, units) in lots {
            tr .within { th scope="row" { "lot " (number) } td .number { (bare(*units)) } td {} td {} }
        }
    }
}

fn part_of(heading: Heading) -> Option<Part> {
    match heading {
        Heading::Revaluation => Some(Part::Lost),
        heading => Place::of(heading).map(Place::part),
    }
}

/// What a group of lines is together: those below zero came in as much.
fn sum(lines: &[&Line]) -> String {
    let units = lines.iter().fold(0_i64, |sum, line| {
        sum.saturating_add(line.amount.mass.magnitude().units())
    });
    bare(units)
}

/// Grams without their unit, for a column that names it.
fn bare(units: i64) -> String {
    let text = grams(units);
    text.strip_suffix(" g").unwrap_or(&text).to_owned()
}

fn row(seen: &StatementSeen<'_>, line: &Line) -> Markup {
    let id = Place::of(line.heading).map(anchor);
    // Of several headings at one place only the first bears its id.
    let same =
        |other: &&Line| Place::of(other.heading) == Place::of(line.heading) && other.amount.mass.units() != 0;
    let first = seen
        .statement
        .lines
        .iter()
        .find(same)
        .is_some_and(|first| first.heading == line.heading);
    // What is below zero was more than before: it stands with what came in, as it does in the picture.
    let (name, mass, fine) = match Place::of(line.heading).filter(|_| line.amount.mass.is_negative()) {
        Some(place) => (
            place.name_below_zero(),
            line.amount.mass.magnitude().to_string(),
            FineMass::ZERO.checked_sub(line.amount.fine),
        ),
        None => (
            named(line.heading),
            line.amount.mass.to_string(),
            Some(line.amount.fine),
        ),
    };
    html! {
        tr id=[id.filter(|_| first)] {
            th scope="row" {
                a href=(seen.standing.to(&under(seen.statement.metal, line.heading))) { (name) }
                @if let Some(count) = line.pieces { " (" (count) ")" }
            }
            td .number { (mass) }
            td .number { (fine.map_or_else(String::new, |fine| fine.grams(FINE_DECIMALS, Rounding::HalfUp))) }
            td .number { (line.movements) }
        }
    }
}
