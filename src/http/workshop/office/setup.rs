//! What the workshop has set up: scales, lots, jars, dies, customers whose metal is here.

use super::super::offered::{self, customer, of_now, said};
use super::super::{App, Seen, Visit, named};
use super::shown;
use crate::domain::{Book, Die, DieState, Jar, Lot, Owner, Residue, Scale};
use crate::http::problem::Problem;
use crate::pages::workshop::office::{Line, Office, Section, Way, counted};

/// `GET /office/setup`.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn setup(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let (scales, dies, lots, owners, jars) = of_now(app, found)?;
    let jars = each(&jars, |row| jar(app, visit, row))?;
    let scales = each(&scales, |row| scale(app, visit, row))?;
    let dies = each(&dies, |row| die(app, visit, row))?;
    let (lots, unshown) = shown(lots);
    let lots = each(&lots, |row| lot(app, visit, row))?;
    let owners = each(&owners, |row| owner(app, visit, row))?;
    let page = Office {
        title: "Set up".to_owned(),
        lead: "What there must be before metal is poured.".to_owned(),
        sections: vec![
            section(
                "Scales",
                scales,
                "No scale yet: begin here.",
                &[("Register a scale", "/scales/new")],
            ),
            Section {
                unshown,
                ..section(
                    "Lots of metal",
                    lots,
                    "No metal yet.",
                    &[("Metal received", "/lots/new")],
                )
            },
            section(
                "Jars of residues",
                jars,
                "No jar yet: one for each metal and kind of residue.",
                &[("Open a jar", "/bench/jars/new")],
            ),
            section(
                "Dies",
                dies,
                "No die yet: one is needed where pieces are struck.",
                &[("Register a die", "/dies/new")],
            ),
            section(
                "Customers whose metal is here",
                owners,
                "Nobody's but the workshop's own.",
                &[("Register a customer", "/owners/new")],
            ),
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "/office/setup").into())
}

fn each<T>(rows: &[T], line: impl Fn(&T) -> Result<Line, Problem>) -> Result<Vec<Line>, Problem> {
    rows.iter().map(line).collect()
}

fn section(title: &str, lines: Vec<Line>, none: &'static str, ways: &[(&str, &str)]) -> Section {
    Section {
        title: title.to_owned(),
        lines,
        none,
        ways: ways.iter().map(|(words, path)| Way::new(*words, *path)).collect(),
        ..Section::default()
    }
}

type Found = (Vec<Scale>, Vec<Die>, Vec<Lot>, Vec<Owner>, Vec<Jar>);

fn found(book: &Book) -> Found {
    let mut scales: Vec<Scale> = book.scales().cloned().collect();
    scales.sort_by_key(|row| row.since);
    let mut dies: Vec<Die> = book.dies().cloned().collect();
    dies.sort_by_key(|row| (row.state != DieState::InUse, row.since));
    let mut lots: Vec<Lot> = book.lots().cloned().collect();
    lots.sort_by_key(|row| std::cmp::Reverse(row.number));
    let mut owners: Vec<Owner> = book.owners().cloned().collect();
    owners.sort_by_key(|row| row.since);
    let mut jars: Vec<Jar> = book.jars().cloned().collect();
    jars.sort_by_key(|row| row.since);
    (scales, dies, lots, owners, jars)
}

fn scale(app: &App, visit: &Visit, row: &Scale) -> Result<Line, Problem> {
    let verified = if row.verified {
        "verified"
    } else {
        "not verified: it supports no certificate"
    };
    let session = if row.session.is_some() { ", in session" } else { "" };
    Ok(Line {
        words: said(app, visit, row.scale.0, "label")?.unwrap_or_else(|| "Scale".to_owned()),
        path: Some(format!("/entries/{}", row.since)),
        more: format!(
            "class {:?}, d = {} g, e = {} g, up to {} g, {verified}{session}",
            row.class, row.d, row.e, row.max
        ),
        ways: Vec::new(),
    })
}

fn die(app: &App, visit: &Visit, row: &Die) -> Result<Line, Problem> {
    let series = row.series.and_then(|series| named::of(app, series.0));
    let series = series.map(|series| format!(", for {series}")).unwrap_or_default();
    let mut ways = Vec::new();
    if row.state == DieState::InUse {
        ways.push(Way::new("It goes", format!("/dies/{}/disposal", row.die)));
    }
    ways.push(Way::new(
        "Record its bill",
        format!("/charges/new?die={}", row.die),
    ));
    Ok(Line {
        words: offered::die(app, visit, row)?,
        path: Some(format!("/entries/{}", row.since)),
        more: format!(
            "of the {}{series}, {}, {}",
            row.owner,
            counted(row.strikes, "strike"),
            row.state.word().replace('_', " "),
        ),
        ways,
    })
}

fn lot(app: &App, visit: &Visit, row: &Lot) -> Result<Line, Problem> {
    let seller = said(app, visit, row.lot.0, "seller")?
        .map(|seller| format!(", from {seller}"))
        .unwrap_or_default();
    let invoiced = row
        .invoiced
        .map(|invoiced| format!(", {invoiced} g invoiced"))
        .unwrap_or_default();
    let owner = row.owner.map(|owner| customer(app, visit, owner)).transpose()?;
    let whose = owner
        .map(|owner| format!(", metal of {owner}"))
        .unwrap_or_default();
    Ok(Line {
        words: format!("Lot {}", row.number),
        path: Some(format!("/lots/{}", row.lot)),
        more: format!(
            "{} {} ‰ {}, {} g{invoiced}, {} g left{seller}{whose}",
            row.metal,
            row.fineness,
            row.basis.word(),
            row.mass,
            row.left
        ),
        ways: Vec::new(),
    })
}

fn jar(app: &App, visit: &Visit, row: &Jar) -> Result<Line, Problem> {
    let (mut ways, mut swept) = (Vec::new(), String::new());
    if row.residue == Residue::Sweeps {
        ways.push(Way::new(
            "Sweepings go in",
            format!("/bench/jars/{}/sweepings", row.jar),
        ));
        swept = format!(", {} g swept", row.swept);
    }
    Ok(Line {
        words: offered::jar(app, visit, row)?,
        path: Some(format!("/entries/{}", row.since)),
        more: format!(
            "{} of {} {} ‰ and finer, {} g by the book{swept}",
            row.residue, row.metal, row.fineness, row.mass
        ),
        ways,
    })
}

fn owner(app: &App, visit: &Visit, row: &Owner) -> Result<Line, Problem> {
    let mut ways = Vec::new();
    if !row.agreed {
        ways.push(Way::new(
            "They agree to mixing",
            format!("/owners/{}/agreement", row.owner),
        ));
    }
    Ok(Line {
        words: customer(app, visit, row.owner)?,
        path: Some(format!("/entries/{}", row.since)),
        more: if row.agreed {
            "mixing is agreed"
        } else {
            "their metal is kept apart"
        }
        .to_owned(),
        ways,
    })
}
