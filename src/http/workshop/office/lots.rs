//! The page of a lot: what came, what was drawn of it and into what, and where its metal is now.

use super::super::names::Names;
use super::super::offered::{customer, of_now};
use super::super::{App, Seen, Visit, named};
use super::fact;
use crate::accounts::AsOf;
use crate::accounts::holders::Place;
use crate::accounts::recall::Source;
use crate::accounts::told::HeldTold;
use crate::domain::{Book, Lot, LotId, MeltInput};
use crate::http::failed;
use crate::http::problem::Problem;
use crate::pages::workshop::office::{Facts, Line, Office, Section, Way};
use crate::pages::workshop::{html, reckoned, stands};

/// How many holders the page shows.
const HELD_MOST: usize = 60;

/// `GET /lots/{lot}`.
///
/// # Errors
/// 404 for a lot that is not there.
pub fn lot(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = LotId(visit.asked.id("lot")?);
    let found = of_now(app, |book| Some((book.lot(id)?.clone(), draws(book, id))))?;
    let (row, draws) = found.ok_or_else(|| Problem::not_found("there is no lot with that id"))?;
    let told = app.accounts.ask(AsOf::Newest, |reckoning| {
        let told = reckoning.recall(Source::Lot(id))?;
        let count = told.held.len();
        let lines: Vec<Line> = told
            .held
            .iter()
            .take(HELD_MOST)
            .map(|held| line(reckoning.book(), held))
            .collect();
        Some((lines, count))
    });
    let (held, count) = told.map_err(failed)?.unwrap_or_default();
    let page = Office {
        title: format!("Lot {}", row.number),
        facts: facts(app, visit, &row)?,
        ways: vec![Way::new("Its entry", format!("/entries/{}", row.since))],
        sections: vec![
            Section {
                title: "Drawn of it".to_owned(),
                lines: draws,
                none: "Nothing was drawn yet.",
                ..Section::default()
            },
            Section {
                title: "Where its metal is now".to_owned(),
                help: "By shares: all that comes out of a melt is taken to have the shares of what went in.",
                unshown: count.saturating_sub(held.len()),
                lines: held,
                none: "It is nowhere.",
                ..Section::default()
            },
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "").into())
}

fn facts(app: &App, visit: &Visit, row: &Lot) -> Result<Facts, Problem> {
    let names = Names::new(app, visit);
    let id = row.lot.0;
    let basis = row.basis.word().replace('_', " ");
    let mut facts = vec![
        ("Metal", html! { (row.metal) " " (row.fineness) " ‰, " (basis) }),
        (
            "Weighed here",
            html! { (row.mass) " g on " (names.scale_of(row.session)?) },
        ),
    ];
    if let Some(invoiced) = row.invoiced {
        facts.push(("On the invoice", html! { (invoiced) " g" }));
    }
    facts.push(("Left", html! { strong { (row.left) " g" } }));
    if row.found_in.is_some() {
        facts.push(("How it came", html! { "Found in a stock-take" }));
    }
    if let Some(refining) = row.outturn_of {
        let number = named::of(app, refining.0).unwrap_or_default();
        facts.push((
            "How it came",
            html! { "Back from the refiner, refining " (number) },
        ));
    }
    if let Some(owner) = row.owner {
        facts.push(("Whose metal", html! { (customer(app, visit, owner)?) }));
    }
    let zone = app.settings.workshop.zone;
    facts.push(("Recorded", html! { (zone.in_words(row.at)) }));
    for (member, word) in [("seller", "From whom"), ("document", "Invoice or receipt")] {
        facts.extend(fact(app, visit, id, member, word)?);
    }
    facts.extend(
        names
            .money_of(id, "price")?
            .map(|price| ("What it cost", html! { (price) })),
    );
    facts.extend(fact(app, visit, id, "note", "Note")?);
    Ok(facts)
}

/// The melts that drew of it.
fn draws(book: &Book, id: LotId) -> Vec<Line> {
    let mut melts: Vec<_> = book.melts().collect();
    melts.sort_by_key(|melt| melt.number);
    let drawn = melts.into_iter().filter_map(|melt| {
        let mass = melt.inputs.iter().find_map(|input| match input {
            MeltInput::Lot { lot, mass } if *lot == id => Some(mass),
            _ => None,
        })?;
        Some(Line {
            words: format!("Melt {}", melt.number),
            path: Some(format!("/metal/melts/{}", melt.number)),
            more: format!("{mass} g of a charge of {} g", melt.charge),
            ways: Vec::new(),
        })
    });
    drawn.collect()
}

/// One holder with how much of the lot it holds.
fn line(book: &Book, held: &HeldTold) -> Line {
    let number = held.number.map(|number| number.to_string()).unwrap_or_default();
    let of_piece = || {
        held.serial
            .as_ref()
            .map_or_else(|| held.pour.clone().unwrap_or_default(), ToString::to_string)
    };
    let melt = Some(format!("/metal/melts/{number}"));
    let (words, path, more) = match held.place {
        Place::Unmelted { .. } => ("Not melted yet".to_owned(), None, String::new()),
        Place::Heel { .. } => (format!("Heel of melt {number}"), melt, String::new()),
        Place::Crucible { .. } => (format!("In the crucible, melt {number}"), melt, String::new()),
        Place::Jar { jar } => {
            let jar = book.jar(jar).map(|jar| format!("Jar of {}", jar.residue));
            (jar.unwrap_or_default(), None, String::new())
        }
        Place::Piece { piece, state } => (
            format!("Piece {}", of_piece()),
            Some(format!("/pieces/{piece}")),
            format!(", it {}", stands(state)),
        ),
        Place::AtRefiner { .. } => (format!("At the refiner, refining {number}"), None, String::new()),
        Place::Settled { .. } => (
            format!("Paid for by the refiner, refining {number}"),
            None,
            String::new(),
        ),
        Place::RefiningLoss { .. } => (
            format!("Lost at the refiner, refining {number}"),
            None,
            String::new(),
        ),
        Place::MeltLoss { .. } => (format!("Lost in melt {number}"), melt, String::new()),
        Place::JarLoss { .. } => (
            format!("What a jar was short of in melt {number}"),
            melt,
            String::new(),
        ),
        Place::SentJarLoss { .. } => (
            format!("What a jar was short of in refining {number}"),
            None,
            String::new(),
        ),
        Place::AssayLoss { .. } => (
            format!("Taken off {} by the assay office", of_piece()),
            None,
            String::new(),
        ),
        Place::WeighingVariance { .. } => (
            format!("{} weighed otherwise later", of_piece()),
            None,
            String::new(),
        ),
        _ => ("Variance of a stock-take".to_owned(), None, String::new()),
    };
    Line {
        words,
        path,
        more: format!("{} g of it{more}", reckoned(&held.mass.grams)),
        ways: Vec::new(),
    }
}
