//! The page of one figure of a statement: the movements that it is the sum of, a part at a time.

use super::flow::under;
use super::headings::named;
use super::{Leaf, Standing, capital};
use crate::accounts::{Heading, Movement};
use crate::domain::Amount;
use crate::metal::{Metal, Rounding};
use maud::{Markup, html};

/// What the page is made of.
pub struct Opened<'a> {
    /// The metal.
    pub metal: Metal,
    /// The heading.
    pub heading: Heading,
    /// What stands under it.
    pub amount: Amount,
    /// How many movements there are.
    pub count: usize,
    /// How many come before these.
    pub from: usize,
    /// Each with what moved in words, and where that is shown, if it has a page.
    pub movements: &'a [(Movement, String, Option<String>)],
    /// As of when.
    pub standing: Standing,
}

/// The page.
#[must_use]
pub fn opened(seen: &Opened<'_>) -> Leaf {
    let path = under(seen.metal, seen.heading);
    let title = format!(
        "{}: {}",
        capital(seen.metal.word()),
        named(seen.heading).to_lowercase()
    );
    let fine = seen.amount.fine.grams(4, Rounding::HalfUp);
    let main = html! {
        header .plate { h1 { span .name { (title) } }
            p .sentence {
                strong { (seen.amount.mass) " g" } " (" (fine) " g fine), the sum of " (seen.count) " movements. "
                a href=(seen.standing.to(&format!("/metal/{}", seen.metal))) { "The whole statement" }
            }
            (seen.standing.told(&path))
        }
        section aria-labelledby="movements" {
            h2 #movements { "Movements, oldest first" }
            (table(seen))
            (turn(seen, &path))
        }
    };
    Leaf::new(title, main)
}

fn table(seen: &Opened<'_>) -> Markup {
    html! {
        div .wide tabindex="0" role="region" aria-label="Movements" {
            table .figures {
                thead { tr {
                    th scope="col" { "What" } th scope="col" .number { "Grams" } th scope="col" { "From or to" }
                    th scope="col" { "Recorded" } th scope="col" .number { "Fine grams" } th scope="col" .number { "Entry" }
                } }
                tbody {
                    @for (movement, what, address) in seen.movements {
                        tr {
                            th scope="row" { @match address { Some(address) => a href=(address) { (what) }, None => (what) } }
                            td .number { (movement.amount.mass) }
                            td { (side(seen.heading, movement)) }
                            td { (seen.standing.moment(movement.recorded)) }
                            td .number { (movement.amount.fine.grams(4, Rounding::HalfUp)) }
                            td .number { (movement.index) }
                        }
                    }
                }
            }
        }
    }
}

/// The other side of a movement. What came in is counted as it goes on from there.
fn side(heading: Heading, movement: &Movement) -> String {
    let other = named(movement.other).to_lowercase();
    let other = ["in the ", "at the "]
        .iter()
        .find_map(|place| other.strip_prefix(place))
        .map_or_else(|| other.clone(), |place| format!("the {place}"));
    let (mass, fine) = (movement.amount.mass.units(), movement.amount.fine.picograms());
    let more = mass > 0 || mass == 0 && fine >= 0;
    if more == heading.is_receipt() {
        format!("to {other}")
    } else {
        format!("from {other}")
    }
}

fn turn(seen: &Opened<'_>, path: &str) -> Markup {
    let end = seen.from.saturating_add(seen.movements.len());
    let part = seen.movements.len().max(1);
    html! {
        nav .turn aria-label="Parts of the list" {
            p {
                @if seen.count == 0 { "There is none." }
                @else if seen.movements.is_empty() { "There are only " (seen.count) "." }
                @else { (seen.from.saturating_add(1)) " to " (end) " of " (seen.count) }
            }
            @if seen.from > 0 {
                a href=(seen.standing.to(&format!("{path}?from={}", seen.from.saturating_sub(part.max(super::PART))))) { "Earlier" }
            }
            @if end < seen.count { a href=(seen.standing.to(&format!("{path}?from={end}"))) { "Later" } }
        }
    }
}
