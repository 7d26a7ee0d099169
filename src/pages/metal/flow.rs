//! The flow of one metal: from the lots to where it is now.

use super::headings::{Part, Place};
use super::{Standing, capital, grams};
use crate::accounts::{Heading, Statement};
use crate::metal::Metal;
use crate::pages::pictures::{Branch, Row, Stream, Tone};
use std::collections::BTreeMap;

/// Where a heading's movements are shown.
pub(super) fn under(metal: Metal, heading: Heading) -> String {
    format!("/metal/{metal}/under/{heading}")
}

/// What stands at one place: its sum, and the headings in it under which something stands.
type Standings = BTreeMap<Place, (i64, Vec<Heading>)>;

fn standings(statement: &Statement) -> Standings {
    let mut all = Standings::new();
    for line in &statement.lines {
        let units = line.amount.mass.units();
        if let Some(place) = Place::of(line.heading).filter(|_| units != 0) {
            let (sum, headings) = all.entry(place).or_default();
            *sum = sum.saturating_add(units);
            headings.push(line.heading);
        }
    }
    all
}

/// The stream of a statement. `lots` are those that were received, each with its number and its mass in steps.
#[must_use]
pub fn flow(statement: &Statement, lots: &[(u32, i64)], standing: &Standing) -> Stream {
    let metal = statement.metal;
    let all = standings(statement);
    let address = |headings: &[Heading], place: Place| match headings {
        [only] => standing.to(&under(metal, *only)),
        _ => format!("#{}", anchor(place)),
    };
    let mut inlets: Vec<Branch> = lots
        .iter()
        .map(|(number, units)| lot(metal, *number, *units, standing))
        .collect();
    let alloyed = statement
        .lines
        .iter()
        .find(|line| line.heading == Heading::AlloyedIn);
    if let Some(units) = alloyed
        .map(|line| line.amount.mass.units())
        .filter(|units| *units > 0)
    {
        let address = standing.to(&under(metal, Heading::AlloyedIn));
        inlets.push(branch("Alloy metal added", units, Tone::Away, address));
    }
    for (place, (sum, headings)) in all.iter().filter(|(_, (sum, _))| *sum < 0) {
        inlets.push(branch(
            place.name_below_zero(),
            sum.saturating_neg(),
            place.tone(),
            address(headings, *place),
        ));
    }
    let mut rows = Vec::new();
    for part in Part::ALL {
        let mut of_part = all
            .iter()
            .filter(|(place, (sum, _))| place.part() == part && *sum > 0)
            .peekable();
        if of_part.peek().is_none() {
            continue;
        }
        let sum = of_part
            .clone()
            .fold(0_i64, |sum, (_, (units, _))| sum.saturating_add(*units));
        rows.push(Row::Mark(part.name().to_owned(), grams(sum)));
        for (place, (sum, headings)) in of_part {
            rows.push(Row::Branch(branch(
                place.name(),
                *sum,
                place.tone(),
                address(headings, *place),
            )));
        }
    }
    Stream {
        id: format!("flow-{metal}"),
        title: format!("Where the {metal} is"),
        description: told(statement, &all),
        inlets,
        rows,
        figure: grams,
        again: None,
    }
}

fn lot(metal: Metal, number: u32, units: i64, standing: &Standing) -> Branch {
    branch(
        &format!("Lot {number}"),
        units,
        Tone::Here,
        standing.to(&under(metal, Heading::Received)),
    )
}

fn branch(name: &str, amount: i64, tone: Tone, address: String) -> Branch {
    Branch {
        name: name.to_owned(),
        figure: grams(amount),
        amount,
        tone,
        address: Some(address),
    }
}

/// Where a place stands in the table.
pub(super) fn anchor(place: Place) -> String {
    format!("place-{}", format!("{place:?}").to_lowercase())
}

/// The picture in a sentence.
fn told(statement: &Statement, all: &Standings) -> String {
    let came_in = statement.lines.iter().filter(|line| line.heading.is_receipt());
    let came_in = came_in.fold(0_i64, |sum, line| sum.saturating_add(line.amount.mass.units()));
    let parts = Part::ALL.into_iter().map(|part| {
        let of_part = all.iter().filter(|(place, _)| place.part() == part);
        let sum = of_part.fold(0_i64, |sum, (_, (units, _))| sum.saturating_add(*units));
        format!("{}: {}", part.name().to_lowercase(), grams(sum))
    });
    let parts: Vec<String> = parts.collect();
    format!(
        "A stream that is as wide as the metal in it. {} came in; {}. The table below has every figure.",
        grams(came_in),
        capital(&parts.join("; "))
    )
}
