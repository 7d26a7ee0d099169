//! Recording: from a request to a submission, and from what stands in the log to the reply.
//!
//! A handler never waits on the writer's queue: it hands over a callback and awaits it. A client that goes away cancels
//! nothing; the same key tells it later what became of it.

use super::access::Caller;
use super::problem::Problem;
use super::routes::Recording;
use super::{App, conditions, done_at, json, located};
use crate::domain::{Event, Refusal};
use crate::writer::{Ask, Expected, Recorded, Submission, SubmitError};
use actix_web::http::header;
use actix_web::rt::time::{sleep, timeout};
use actix_web::web::{Bytes, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde_json::{Map, Value, json};
use std::time::Duration;
use uuid::Uuid;

/// How long a handler waits for the writer's answer.
const ANSWER_TIMEOUT: Duration = Duration::from_secs(20);
/// How often and how many times a handler looks whether the views have followed: about two seconds in all.
const VIEW_PAUSE: Duration = Duration::from_millis(2);
const VIEW_LOOKS: u32 = 1_000;

/// Records a command.
///
/// # Errors
/// Every [`Problem`] of a request that is not recorded.
pub async fn record(
    app: &App,
    recording: &Recording,
    caller: Caller,
    request: &HttpRequest,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let key = conditions::idempotency_key(request.headers())?;
    let mut expected = Vec::new();
    let mut path = None;
    if let Some(member) = recording.subject {
        let subject = path_id(request, member)?;
        expected.push(Expected {
            subject,
            version: conditions::if_match(request.headers())?,
            pointer: String::new(),
        });
        path = Some((member, subject));
    }
    let bytes = body_of(app, request, payload, "application/json").await?;
    let value = json::read(&bytes).map_err(unreadable)?;
    let mut body = located::object(value).map_err(misfit)?;
    check_hidden(recording, &body)?;
    let at = done_at::take(&mut body, (app.clock)())?;
    if recording.tray {
        expected.extend(take_versions(&mut body)?);
    }
    if let Some((member, subject)) = path {
        body.insert(member.to_owned(), json!(subject));
    }
    let command = (recording.read)(&Value::Object(body)).map_err(misfit)?;
    let submission = Submission {
        request: key,
        by: caller.operator,
        at,
        expected,
        ask: Ask::Command(command),
    };
    let recorded = submit(app, submission, path.map(|(_, subject)| subject)).await?;
    Ok(reply(app, recording.main, &recorded))
}

/// Records an entry that the root key signed, sent as it stands.
///
/// # Errors
/// As [`record`].
pub async fn record_key(
    app: &App,
    caller: Caller,
    request: &HttpRequest,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let key = conditions::idempotency_key(request.headers())?;
    let bytes = body_of(app, request, payload, "text/plain").await?;
    let submission = Submission {
        request: key,
        by: caller.operator,
        at: None,
        expected: Vec::new(),
        ask: Ask::KeyEntry(bytes.trim_ascii().to_vec()),
    };
    let recorded = submit(app, submission, None).await?;
    Ok(reply(app, "entry", &recorded))
}

async fn body_of(app: &App, request: &HttpRequest, payload: Payload, media: &str) -> Result<Bytes, Problem> {
    conditions::body(request, payload, media, app.settings.body_timeout).await
}

/// The id that stands in the path.
///
/// # Errors
/// 404 when it is no UUID: nothing can be there.
pub fn path_id(request: &HttpRequest, member: &str) -> Result<Uuid, Problem> {
    let text = request.match_info().get(member).unwrap_or("");
    let id = (text.len() == 36).then(|| Uuid::try_parse(text).ok()).flatten();
    id.ok_or_else(|| Problem::not_found(format!("there is no {member} with that id")))
}

/// A body that is no JSON of ours, as a problem.
pub fn unreadable(unreadable: json::Unreadable) -> Problem {
    let problem = Problem::unreadable(unreadable.detail);
    match unreadable.pointer {
        Some(pointer) => problem.at(pointer),
        None => problem,
    }
}

/// A member that does not fit, as a problem.
pub fn misfit(misfit: located::Misfit) -> Problem {
    Problem::invalid(misfit.detail).at(misfit.pointer)
}

/// What stands in the path or is filled in by the writer is no member of the body.
fn check_hidden(recording: &Recording, body: &Map<String, Value>) -> Result<(), Problem> {
    for member in recording.hidden.iter().chain(recording.subject.iter()) {
        if body.contains_key(*member) {
            return Err(Problem::invalid("is not a member that is known here").at(json::segment(member)));
        }
    }
    Ok(())
}

/// Takes the versions out of a tray's items.
fn take_versions(body: &mut Map<String, Value>) -> Result<Vec<Expected>, Problem> {
    let mut expected = Vec::new();
    let Some(Value::Array(items)) = body.get_mut("items") else {
        // Missing or of another kind: reading the command says so.
        return Ok(expected);
    };
    for (at, item) in items.iter_mut().enumerate() {
        let Value::Object(members) = item else {
            continue;
        };
        let pointer = format!("/items/{at}/version");
        let Some(version) = members.remove("version") else {
            return Err(Problem::invalid("is missing: the version of the piece that you saw").at(pointer));
        };
        let Some(version) = version.as_u64() else {
            return Err(
                Problem::invalid("must be a whole number, the version of the piece that you saw").at(pointer),
            );
        };
        if let Some(subject) = members
            .get("piece")
            .and_then(Value::as_str)
            .and_then(|text| Uuid::try_parse(text).ok())
        {
            expected.push(Expected {
                subject,
                version,
                pointer,
            });
        }
    }
    Ok(expected)
}

/// Hands a submission to the writer and awaits its answer, then the views.
async fn submit(app: &App, submission: Submission, path: Option<Uuid>) -> Result<Recorded, Problem> {
    let (tell, answer) = tokio::sync::oneshot::channel();
    let handed = app.writer.submit(
        submission,
        // When nobody waits any more, the answer is not needed: the key finds it again.
        Box::new(move |outcome| drop(tell.send(outcome))),
    );
    handed.map_err(|error| refuse(error, path))?;
    let recorded = match timeout(ANSWER_TIMEOUT, answer).await {
        Err(_) => {
            return Err(busy(
                "the answer takes too long; what becomes of the command is not known yet",
            ));
        }
        Ok(Err(_)) => return Err(refuse(SubmitError::Closed, path)),
        Ok(Ok(outcome)) => outcome.map_err(|error| refuse(error, path))?,
    };
    for _ in 0..VIEW_LOOKS {
        if app.views.position() > recorded.index {
            break;
        }
        sleep(VIEW_PAUSE).await;
    }
    Ok(recorded)
}

fn busy(detail: &str) -> Problem {
    Problem::busy(detail).with(header::RETRY_AFTER, "1")
}

fn refuse(error: SubmitError, path: Option<Uuid>) -> Problem {
    let says = error.to_string();
    match error {
        SubmitError::Refused(refused) => {
            if let Some(missing) = missing(&refused.refusal)
                && path == Some(missing)
            {
                return Problem::not_found(says);
            }
            let problem = Problem::refused(&refused.refusal);
            match refused.pointer {
                Some(pointer) => problem.at(pointer),
                None => problem,
            }
        }
        SubmitError::Stale { subject, version, .. } if version == 0 && path == Some(subject) => {
            Problem::not_found(format!("there is nothing with the id {subject}"))
        }
        SubmitError::Stale {
            subject,
            version,
            pointer,
        } => {
            let problem = Problem::stale(says)
                .and("subject", subject.to_string())
                .and("version", version);
            if pointer.is_empty() {
                problem
            } else {
                problem.at(pointer)
            }
        }
        SubmitError::OtherContent | SubmitError::OtherOperator => Problem::key_reused(says),
        SubmitError::Busy => busy(&says),
        SubmitError::Clock { .. } => Problem::clock(says).with(header::RETRY_AFTER, "60"),
        SubmitError::Closed => Problem::closing(says).with(header::RETRY_AFTER, "10"),
    }
}

/// The id of the thing that is not there.
fn missing(refusal: &Refusal) -> Option<Uuid> {
    match refusal {
        Refusal::UnknownLot { lot } => Some(lot.0),
        Refusal::UnknownSession { session } => Some(session.0),
        Refusal::UnknownMelt { melt } => Some(melt.0),
        Refusal::UnknownPiece { piece } => Some(piece.0),
        Refusal::UnknownJar { jar } => Some(jar.0),
        Refusal::UnknownSeries { series } => Some(series.0),
        Refusal::UnknownDie { die } => Some(die.0),
        Refusal::UnknownConsignment { consignment } => Some(consignment.0),
        Refusal::UnknownOrder { order } => Some(order.0),
        Refusal::UnknownSale { sale } => Some(sale.0),
        Refusal::UnknownRefining { refining } => Some(refining.0),
        Refusal::UnknownOwner { owner } => Some(owner.0),
        _ => None,
    }
}

/// The reply to what stands in the log; the same for the first time and for a repeat.
fn reply(app: &App, main: &str, recorded: &Recorded) -> HttpResponse {
    let subjects: Vec<Value> = recorded
        .subjects
        .iter()
        .map(|(id, version)| subject_json(app, *id, *version))
        .collect();
    let events: Vec<Value> = recorded.events.iter().map(event_json).collect();
    let body = json!({
        "index": recorded.index,
        "leaf": recorded.leaf,
        "size": recorded.index.saturating_add(1),
        "subjects": subjects,
        "events": events,
    });
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
            reply.insert_header((
                header::LOCATION,
                format!("/v1/events?from={}&limit=1", recorded.index),
            ));
        }
    }
    reply.insert_header((header::CACHE_CONTROL, "no-store"));
    reply.content_type("application/json").body(body.to_string())
}

fn subject_json(app: &App, id: Uuid, version: u64) -> Value {
    let mut members = Map::new();
    members.insert("id".into(), json!(id));
    members.insert("version".into(), json!(version));
    if let Ok(Some(table)) = app.views.table_of(id) {
        members.insert("kind".into(), json!(table.word()));
    }
    Value::Object(members)
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

/// An event as the log spells it, without its digests.
#[must_use]
pub fn event_json(event: &Event) -> Value {
    let mut members = Map::new();
    members.insert("kind".into(), json!(event.kind()));
    members.insert("v".into(), json!(1));
    if let Ok(Value::Object(rest)) = serde_json::to_value(event) {
        members.extend(rest);
    }
    Value::Object(members)
}
