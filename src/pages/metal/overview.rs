//! The page from which the others are reached: each metal with what came in and whether it adds up, each series.

use super::headings::{Part, Place};
use super::{Leaf, Standing, capital, grams};
use crate::accounts::{Heading, Statement};
use crate::metal::Metal;
use maud::{Markup, html};

/// The page. A metal stands for a statement that the book contradicts; `series` are code and title; `money` says whether the
/// reader may see what stock is worth.
#[must_use]
pub fn overview(
    statements: &[Result<Statement, Metal>],
    series: &[(String, Option<String>)],
    money: bool,
    standing: Standing,
) -> Leaf {
    let title = "Where every gram is".to_owned();
    let main = html! {
        header .plate { h1 { span .name { (title) } } (standing.told("/metal")) }
        section aria-labelledby="metals" {
            h2 #metals { "By metal" }
            @if statements.is_empty() { p { "No metal has come in yet. It begins with a lot." } }
            @else {
                div .wide tabindex="0" role="region" aria-label="Metals" {
                    table .figures {
                        thead { tr {
                            th scope="col" { "Metal" } th scope="col" .number { "Received g" }
                            @for part in Part::ALL { th scope="col" .number { (part.name()) " g" } }
                            th scope="col" .number { "Not accounted for g" } th scope="col" { "Losses" }
                        } }
                        tbody {
                            @for statement in statements {
                                @match statement {
                                    Ok(statement) => (row(statement, &standing)),
                                    Err(metal) => tr .out {
                                        th scope="row" { a href=(standing.to(&format!("/metal/{metal}"))) { (capital(metal.word())) } }
                                        td colspan="7" { strong { "The book contradicts itself about " (metal) "." } }
                                    },
                                }
                            }
                        }
                    }
                }
            }
        }
        section aria-labelledby="series" {
            h2 #series { "By series: weights and yield" }
            @if series.is_empty() { p { "There is no series yet." } }
            ul { @for (code, name) in series {
                li { a href=(standing.to(&format!("/metal/series/{code}"))) { (code) @if let Some(name) = name { " · " (name) } } }
            } }
        }
        @if money { p { a href=(standing.to("/metal/stock")) { "What the stock is worth, at cost and at spot" } } }
    };
    Leaf::new(title, main)
}

fn row(statement: &Statement, standing: &Standing) -> Markup {
    let path = format!("/metal/{}", statement.metal);
    html! {
        tr {
            th scope="row" { a href=(standing.to(&path)) { (capital(statement.metal.word())) } }
            td .number { (received(statement)) }
            @for part in Part::ALL { td .number { (of_part(statement, part)) } }
            td .number { (statement.difference.mass) }
            td { a href=(standing.to(&format!("{path}/losses"))) { "what " (statement.metal) " melts lost" } }
        }
    }
}

fn received(statement: &Statement) -> String {
    let lines = statement.lines.iter().filter(|line| line.heading.is_receipt());
    bare(lines.fold(0_i64, |sum, line| sum.saturating_add(line.amount.mass.units())))
}

fn of_part(statement: &Statement, part: Part) -> String {
    let in_part = |heading: Heading| Place::of(heading).is_some_and(|place| place.part() == part);
    let lines = statement.lines.iter().filter(|line| in_part(line.heading));
    bare(lines.fold(0_i64, |sum, line| sum.saturating_add(line.amount.mass.units())))
}

fn bare(units: i64) -> String {
    let text = grams(units);
    text.strip_suffix(" g").unwrap_or(&text).to_owned()
}
