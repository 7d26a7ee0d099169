//! What an entry says now, as a form of its correction takes it.

use super::super::super::offered::of_now;
use super::super::super::{App, Form, Visit, named};
use super::index_of;
use super::things::things;
use crate::domain::{Event, MeltInput, is_correctable};
use crate::http::commands::event_json;
use crate::http::problem::Problem;
use crate::pages::workshop::{self as page, Choice, Offer, html};
use crate::record::Entry;
use serde_json::{Map, Value};
use std::collections::BTreeSet;
use std::sync::Arc;

/// What may be corrected of an entry: the last part of the address, and the form.
pub type Deeds = Vec<(&'static str, &'static Form)>;

/// The entry that the path names, as it was recorded.
///
/// # Errors
/// 404 for one that is not there.
pub fn entry_of(app: &App, visit: &Visit) -> Result<(u64, Arc<Entry>), Problem> {
    let index = index_of(visit)?;
    if index >= app.views.position() {
        return Err(Problem::not_found(format!("there is no entry {index}")));
    }
    Ok((index, app.entry(index)?))
}

/// What an entry says now.
///
/// # Errors
/// When the log cannot be read.
pub fn said_now(app: &App, index: u64, entry: &Entry) -> Result<Vec<Event>, Problem> {
    of_now(app, |book| book.said(index, entry.events()))
}

/// The forms that fit an entry: by what it was recorded as.
#[must_use]
pub fn deeds(entry: &Entry) -> Deeds {
    let mut events = entry.events();
    let finishing = entry
        .events()
        .any(|event| matches!(event, Event::PieceFinished(_)));
    let own = events.find_map(|event| match event {
        Event::LotReceived(_) => Some(("lot", &super::LOT)),
        Event::ScaleRegistered(_) => Some(("scale", &super::SCALE)),
        Event::SessionOpened(_) => Some(("opening", &super::OPENING)),
        Event::SessionChecked(_) => Some(("check", &super::CHECK)),
        Event::SessionClosed(_) => Some(("closing", &super::CLOSING)),
        Event::MeltCharged(_) => Some(("charge", &super::CHARGE)),
        Event::PiecePoured(_) => Some(("pours", &super::POURS)),
        Event::PieceWeighed(_) if !finishing => Some(("weighing", &super::WEIGHING)),
        Event::PieceFinished(_) => Some(("finishing", &super::FINISHING)),
        Event::MeltClosed(_) => Some(("melt", &super::MELT)),
        Event::PieceStruck(_) => Some(("strikes", &super::STRUCK)),
        Event::ConsignmentReturned(_) => Some(("return", &super::RETURNED)),
        _ => None,
    });
    let withdrawn = entry
        .events()
        .all(is_correctable)
        .then_some(("withdrawal", &super::WITHDRAWAL));
    own.into_iter().chain(withdrawn).collect()
}

/// A question before an entry is withdrawn.
pub(super) fn sure_of_withdrawing(
    app: &App,
    visit: &Visit,
    _: &Map<String, Value>,
) -> Result<Option<String>, Problem> {
    let (index, entry) = entry_of(app, visit)?;
    let kinds: BTreeSet<&str> = entry.events().map(Event::kind).collect();
    let kinds: Vec<String> = kinds.into_iter().map(named::kind_words).collect();
    Ok(Some(format!(
        "entry {index} ({}) will say nothing any more. Withdraw it?",
        kinds.join(", ")
    )))
}

/// What a form of a correction holds: what the entry says now, and what could stand there instead.
pub(super) fn offered(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let (index, entry) = entry_of(app, visit)?;
    let wanted = visit.asked.path.rsplit('/').next();
    if !deeds(&entry).iter().any(|(place, _)| wanted == Some(*place)) {
        return Err(Problem::not_found(format!(
            "entry {index} is not corrected by this form"
        )));
    }
    let mut said = said_now(app, index, &entry)?;
    let mut filled = vec![("index".to_owned(), index.to_string())];
    // A withdrawn entry is begun from what it first said.
    if said.is_empty() {
        said = entry.events().cloned().collect();
    }
    for event in &said {
        fill(&mut filled, event);
    }
    pours(&mut filled, &said);
    let mut offer = things(app, visit, &said)?;
    offer
        .choices
        .push(("hallmark", own_hallmarks(&mut filled, &said)));
    offer.about = Some(html! {
        p .about { strong { "Entry " (index) } ", recorded " (app.settings.workshop.zone.in_words(entry.payload.iat)) "." }
    });
    offer.filled = filled;
    Ok(offer)
}

/// What an event puts into the fields: its members under their names, those of a line under the line's.
fn fill(filled: &mut Vec<(String, String)>, event: &Event) {
    match event {
        Event::PieceWeighed(e) => {
            once(filled, "session", &e.session.to_string());
            once(filled, "stage", e.stage.word());
            line(filled, "items", &e.piece.to_string(), &[("mass", e.mass.text())]);
        }
        Event::PieceFinished(e) => once(filled, "jar", &e.jar.to_string()),
        Event::PieceStruck(e) => {
            once(filled, "die", &e.die.to_string());
            line(
                filled,
                "items",
                &e.piece.to_string(),
                &[("outcome", e.outcome.word())],
            );
        }
        Event::MeltCharged(e) => {
            once(filled, "metal", e.metal.word());
            once(filled, "session", &e.session.to_string());
            e.inputs.iter().for_each(|input| drawn(filled, input));
        }
        Event::MeltClosed(e) => {
            once(filled, "melt", &e.melt.to_string());
            once(filled, "session", &e.session.to_string());
            once(filled, "heel", e.heel.text());
            if let Some(prills) = &e.prills {
                once(filled, "prills/jar", &prills.jar.to_string());
                once(filled, "prills/mass", prills.mass.text());
            }
        }
        Event::PieceHallmarked(_)
        | Event::PieceUnmarked(_)
        | Event::PieceKept(_)
        | Event::PieceMissing(_) => {
            returned(filled, event);
        }
        other => plain(filled, other),
    }
}

/// What became of a piece at the assay office.
fn returned(filled: &mut Vec<(String, String)>, event: &Event) {
    match event {
        Event::PieceHallmarked(e) => {
            let first = filled.iter().all(|(known, _)| known != "hallmark/fineness");
            once(filled, "hallmark/fineness", &e.hallmark.fineness.to_string());
            for seen in e.hallmark.marks.iter().filter(|_| first) {
                let legible = if seen.legible { "yes" } else { "" };
                line(
                    filled,
                    "hallmark/marks",
                    seen.mark.word(),
                    &[("legible", legible)],
                );
            }
            line(filled, "lines", &e.piece.to_string(), &[("outcome", "marked")]);
        }
        Event::PieceUnmarked(e) => {
            let assay = e.assay.map(|assay| assay.to_string()).unwrap_or_default();
            let members = [
                ("outcome", "unmarked"),
                ("reason", e.reason.word()),
                ("assay", &assay),
            ];
            line(filled, "lines", &e.piece.to_string(), &members);
        }
        Event::PieceKept(e) => {
            let assay = e.assay.map(|assay| assay.to_string()).unwrap_or_default();
            line(
                filled,
                "lines",
                &e.piece.to_string(),
                &[("outcome", e.how.word()), ("assay", &assay)],
            );
        }
        Event::PieceMissing(e) => line(filled, "lines", &e.piece.to_string(), &[("outcome", "missing")]),
        _ => {}
    }
}

/// The marks that pieces bear otherwise than the first one that was marked: offered as they are, and chosen by those that do.
fn own_hallmarks(filled: &mut Vec<(String, String)>, said: &[Event]) -> Vec<Choice> {
    let mut marked = said.iter().filter_map(|event| match event {
        Event::PieceHallmarked(e) => Some(e),
        _ => None,
    });
    let Some(first) = marked.next() else {
        return Vec::new();
    };
    let mut own: Vec<Choice> = Vec::new();
    for e in marked.filter(|e| e.hallmark != first.hallmark) {
        let value = serde_json::to_string(&e.hallmark).unwrap_or_default();
        once(filled, &format!("lines/{}/hallmark", e.piece), &value);
        if own.iter().all(|choice| choice.value != value) {
            let words = page::marks(&e.hallmark);
            own.push(Choice { value, words });
        }
    }
    own
}

/// The members of an event that the form's fields are called by.
fn plain(filled: &mut Vec<(String, String)>, event: &Event) {
    let Value::Object(members) = event_json(event) else {
        return;
    };
    for (name, value) in members {
        match value {
            Value::String(text) => once(filled, &name, &text),
            Value::Bool(true) => once(filled, &name, "yes"),
            _ => {}
        }
    }
}

fn once(filled: &mut Vec<(String, String)>, name: &str, value: &str) {
    if filled.iter().all(|(known, _)| known != name) {
        filled.push((name.to_owned(), value.to_owned()));
    }
}

/// A line that is ticked, with what stands in its fields.
fn line(filled: &mut Vec<(String, String)>, member: &str, id: &str, fields: &[(&str, &str)]) {
    let tick = (member.to_owned(), id.to_owned());
    if !filled.contains(&tick) {
        filled.push(tick);
    }
    for (name, value) in fields {
        once(filled, &format!("{member}/{id}/{name}"), value);
    }
}

fn drawn(filled: &mut Vec<(String, String)>, input: &MeltInput) {
    let id = input.subject().to_string();
    match input {
        MeltInput::Lot { mass, .. } => line(filled, "lots", &id, &[("mass", mass.text())]),
        MeltInput::Jar { mass, .. } => line(filled, "jars", &id, &[("mass", mass.text())]),
        MeltInput::Heel { .. } => line(filled, "heels", &id, &[]),
        MeltInput::Piece { .. } => line(filled, "pieces", &id, &[]),
    }
}

/// Pours are lines without a thing of their own: the first line is the first pour.
fn pours(filled: &mut Vec<(String, String)>, said: &[Event]) {
    let poured = said.iter().filter_map(|event| match event {
        Event::PiecePoured(e) => Some(e),
        _ => None,
    });
    for (number, e) in (1_usize..).zip(poured) {
        filled.push((format!("pours/{number}/series"), e.series.to_string()));
        filled.push((format!("pours/{number}/shape"), e.shape.to_string()));
        filled.extend(
            e.mould
                .iter()
                .map(|mould| (format!("pours/{number}/mould"), mould.to_string())),
        );
    }
}
