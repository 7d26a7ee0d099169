//! What is answered once something stands in the log: its events, its index, the versions of what it moved.

use crate::domain::Event;
use crate::http::App;
use crate::http::problem::Problem;
use crate::proof::Hash;
use crate::views::Table;
use crate::writer::Recorded;
use actix_web::HttpResponse;
use actix_web::http::header;
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

/// What a reply says, in the order in which objects of ours are written.
#[derive(Serialize)]
struct Told<'a> {
    events: Vec<ToldEvent<'a>>,
    index: u64,
    leaf: Hash,
    size: u64,
    subjects: Vec<ToldSubject>,
}

#[derive(Serialize)]
struct ToldEvent<'a> {
    kind: &'static str,
    v: u8,
    #[serde(flatten)]
    event: &'a Event,
}

#[derive(Serialize)]
struct ToldSubject {
    id: Uuid,
    #[serde(skip_serializing_if = "Option::is_none")]
    kind: Option<&'static str>,
    version: u64,
}

/// The reply to what stands in the log; the same for the first time and for a repeat.
///
/// # Errors
/// 500 when it cannot be written as JSON.
pub fn reply(app: &App, main: &str, recorded: &Recorded) -> Result<HttpResponse, Problem> {
    let told = Told {
        events: recorded.events.iter().map(told_event).collect(),
        index: recorded.index,
        leaf: recorded.leaf,
        size: recorded.index.saturating_add(1),
        subjects: recorded
            .subjects
            .iter()
            .map(|(id, version)| ToldSubject {
                id: *id,
                kind: kind_of(app, recorded, *id),
                version: *version,
            })
            .collect(),
    };
    let body = serde_json::to_vec(&told).map_err(|error| Problem::internal(error.to_string()))?;
    let mut reply = HttpResponse::Created();
    match main_subject(main, recorded) {
        Some((id, version)) => {
            let plural = if main == "series" {
                "series".to_owned()
            } else {
                format!("{main}s")
            };
            reply.insert_header((header::LOCATION, format!("/v1/{plural}/{id}")));
            if let Some(version) = version {
                reply.insert_header((header::ETAG, format!("\"{version}\"")));
            }
        }
        None => {
            let at = match main {
                "print" => format!("/v1/prints/{}", recorded.index),
                _ => format!("/v1/events?from={}&limit=1", recorded.index),
            };
            reply.insert_header((header::LOCATION, at));
        }
    }
    reply.insert_header((header::CACHE_CONTROL, "no-store"));
    Ok(reply.content_type("application/json").body(body))
}

/// Which kind of thing a subject is.
fn kind_of(app: &App, recorded: &Recorded, id: Uuid) -> Option<&'static str> {
    // What an event is about first is of the kind before the dot; the others are looked up.
    let about =
        |event: &&Event| !matches!(event, Event::EntryCorrected(_)) && event.subjects().first() == Some(&id);
    let told = recorded.events.iter().find(about);
    let kind = told.and_then(|event| event.kind().split('.').next());
    kind.or_else(|| app.views.table_of(id).ok().flatten().map(Table::word))
}

/// The first thing of the wanted kind that the events are about, and its version since.
fn main_subject(main: &str, recorded: &Recorded) -> Option<(Uuid, Option<u64>)> {
    let mut of_kind = recorded
        .events
        .iter()
        .filter(|event| event.kind().split('.').next() == Some(main));
    let id = of_kind.find_map(|event| event.subjects().first().copied())?;
    let version = recorded.subjects.iter().find(|(subject, _)| *subject == id);
    Some((id, version.map(|(_, version)| *version)))
}

fn told_event(event: &Event) -> ToldEvent<'_> {
    let kind = event.kind();
    ToldEvent { kind, v: 1, event }
}

/// An event as the log spells it, without its digests.
#[must_use]
pub fn event_json(event: &Event) -> Value {
    serde_json::to_value(told_event(event)).unwrap_or_default()
}
