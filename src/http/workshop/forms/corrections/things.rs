//! What could stand in a form of a correction: what the entry speaks of, and what there is of such things.

use super::super::super::offered::{self, customer_by_id, of_now};
use super::super::super::{App, Visit, named};
use super::super::words::MARKS;
use crate::domain::{Book, Event, Lot, MeltInput, PieceId, PieceState, Residue, Session};
use crate::http::problem::Problem;
use crate::pages::workshop::{Choice, Offer, Row};
use std::cmp::Reverse;
use std::collections::BTreeSet;
use uuid::Uuid;

/// What could stand in the fields of any correction: the entry's own things first of all.
pub(super) fn things(app: &App, visit: &Visit, said: &[Event]) -> Result<Offer, Problem> {
    let pieces: Vec<PieceId> = said.iter().filter_map(Event::piece).collect();
    let charged = said.iter().any(|event| matches!(event, Event::MeltCharged(_)));
    let mut labelled = Vec::new();
    let found = of_now(app, |book| Found::of(book, said, &pieces, charged))?;
    for (member, things) in found.choices {
        let choices = things.into_iter().map(|(id, else_called)| {
            let label = offered::said(app, visit, id, "label")?;
            let name = offered::said(app, visit, id, "name")?;
            Ok(Choice {
                value: id.to_string(),
                words: label.or(name).unwrap_or(else_called),
            })
        });
        labelled.push((member, choices.collect::<Result<Vec<Choice>, Problem>>()?));
    }
    let mut sessions = Vec::new();
    for session in &found.sessions {
        sessions.push(offered::session_choice(app, visit, session)?);
    }
    labelled.push(("session", sessions));
    labelled.push(("series", offered::series(app, |_| true)?));
    Ok(Offer {
        choices: labelled,
        rows: found.rows,
        ..Offer::default()
    })
}

/// What the book has of such things.
struct Found {
    rows: Vec<(&'static str, Vec<Row>)>,
    sessions: Vec<Session>,
    choices: Vec<(&'static str, Vec<(Uuid, String)>)>,
}

/// How many sessions before and after are offered instead of the one that was said.
const SESSIONS_MOST: usize = 60;

impl Found {
    fn of(book: &Book, said: &[Event], pieces: &[PieceId], charged: bool) -> Self {
        let own: BTreeSet<PieceId> = pieces.iter().copied().collect();
        let of_entry = offered::sorted(book, book.pieces().filter(|piece| own.contains(&piece.piece)));
        let of_entry: Vec<Row> = of_entry
            .into_iter()
            .map(|piece| offered::line(book, piece))
            .collect();
        let mut rows = vec![("items", of_entry.clone()), ("lines", of_entry)];
        rows.push((
            "hallmark/marks",
            MARKS.iter().map(|(id, words)| row(id, words, "")).collect(),
        ));
        if charged {
            rows.extend(sources(book, said));
        }
        let mut sessions: Vec<_> = book.sessions().cloned().collect();
        sessions.sort_by_key(|session| Reverse(session.since));
        sessions.truncate(SESSIONS_MOST);
        let mut named = said.iter().filter_map(|event| match event {
            Event::LotReceived(e) => Some(e.session),
            Event::PieceWeighed(e) => Some(e.session),
            Event::MeltCharged(e) => Some(e.session),
            Event::MeltClosed(e) => Some(e.session),
            Event::SessionChecked(e) => Some(e.session),
            Event::SessionClosed(e) => Some(e.session),
            _ => None,
        });
        let missing = named.find(|id| sessions.iter().all(|session| session.session != *id));
        sessions.extend(missing.and_then(|id| book.session(id).cloned()));
        Self {
            rows,
            sessions,
            choices: vec![
                (
                    "owner",
                    book.owners()
                        .map(|owner| (owner.owner.0, customer_by_id(owner.owner)))
                        .collect(),
                ),
                (
                    "scale",
                    book.scales()
                        .map(|scale| (scale.scale.0, format!("Scale to {} g", scale.max)))
                        .collect(),
                ),
                (
                    "die",
                    book.dies()
                        .map(|die| (die.die.0, format!("Die of the {}", die.owner)))
                        .collect(),
                ),
                ("jar", jars(book, Residue::Lemel)),
                ("prills/jar", jars(book, Residue::Prills)),
            ],
        }
    }
}

fn jars(book: &Book, residue: Residue) -> Vec<(Uuid, String)> {
    let jars = book.jars().filter(|jar| jar.residue == residue);
    jars.map(|jar| {
        (
            jar.jar.0,
            format!("Jar of {}, {} {}", jar.residue, jar.metal, jar.fineness),
        )
    })
    .collect()
}

fn row(id: &str, words: &str, more: &str) -> Row {
    Row {
        id: id.to_owned(),
        words: words.to_owned(),
        more: more.to_owned(),
        version: 0,
    }
}

/// What could have gone into a crucible: every lot, and of heels, jars and pieces what went in and what is there.
fn sources(book: &Book, said: &[Event]) -> Vec<(&'static str, Vec<Row>)> {
    let inputs = said.iter().filter_map(|event| match event {
        Event::MeltCharged(e) => Some(&e.inputs),
        _ => None,
    });
    let own: BTreeSet<Uuid> = inputs.flatten().map(MeltInput::subject).collect();
    let mut lots: Vec<&Lot> = book.lots().collect();
    lots.sort_by_key(|lot| lot.number);
    let lots = lots.into_iter().map(|lot| {
        let words = format!("Lot {}", lot.number);
        row(
            &lot.lot.to_string(),
            &words,
            &format!("{} {}, {} g left", lot.metal, lot.fineness, lot.left),
        )
    });
    let mut melts: Vec<_> = book.melts().collect();
    melts.sort_by_key(|melt| melt.number);
    let heels = melts.into_iter().filter(|melt| {
        let there = melt.heel.is_some_and(|heel| !heel.is_zero()) && melt.heel_taken.is_none();
        own.contains(&melt.melt.0) || there
    });
    let heels = heels.map(|melt| {
        let mass = melt.heel.map(|heel| format!("{heel} g")).unwrap_or_default();
        row(
            &melt.melt.to_string(),
            &format!("Heel of melt {}", melt.number),
            &mass,
        )
    });
    let jars = book
        .jars()
        .filter(|jar| own.contains(&jar.jar.0) || !jar.mass.is_zero());
    let jars = jars.map(|jar| {
        let more = format!("{} {}, {} g by the book now", jar.metal, jar.fineness, jar.mass);
        row(&jar.jar.to_string(), &format!("Jar of {}", jar.residue), &more)
    });
    let pieces = book
        .pieces()
        .filter(|piece| own.contains(&piece.piece.0) || piece.state == PieceState::Condemned);
    let pieces = offered::sorted(book, pieces).into_iter();
    let pieces = pieces.map(|piece| {
        row(
            &piece.piece.to_string(),
            &named::piece(piece),
            &offered::more_of(book, piece),
        )
    });
    vec![
        ("lots", lots.collect()),
        ("heels", heels.collect()),
        ("jars", jars.collect()),
        ("pieces", pieces.collect()),
    ]
}
