//! Recording: from a request to a submission, and from what stands in the log to the reply.
//!
//! A handler never waits on the writer's queue: it hands over a callback and awaits it. A client that goes away cancels
//! nothing; the same key tells it later what became of it.

use super::access::Caller;
use super::problem::Problem;
use super::routes::Recording;
use super::{App, conditions, done_at, json, located, prints};
use crate::domain::{Event, Refusal};
use crate::proof::Hash;
use crate::views::Table;
use crate::writer::{Ask, Expected, Recorded, Submission, SubmitError};
use actix_web::http::header;
use actix_web::rt::time::timeout;
use actix_web::web::{Bytes, Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use uuid::Uuid;

/// How long what was recorded waits for the views: at least this, and less than twice.
const VIEW_PATIENCE: Duration = Duration::from_secs(2);
/// How many times so long a handler waits for the writer's answer: 20 seconds.
const ANSWER_LOOKS: u32 = 10;

type Outcome = Result<Recorded, SubmitError>;

/// Records a command.
///
/// # Errors
/// Every [`Problem`] of a request that is not recorded.
pub async fn record(
    app: &Data<App>,
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
    let (command, unmade) = match recording.prepare {
        Some(prepare) => prints::prepared(app, prepare, command).await,
        None => (command, None),
    };
    let submission = Submission {
        request: key,
        by: caller.operator,
        at,
        expected,
        ask: Ask::Command(command),
    };
    let recorded = submit(app, submission, path.map(|(_, subject)| subject)).await;
    // What could not be made now may have been made and recorded before: then it is a repeat, and answered as one.
    let recorded = match (recorded, unmade) {
        (Err(problem), Some(unmade)) if problem.code == prints::NOT_MADE => return Err(unmade),
        (recorded, _) => recorded?,
    };
    reply(app, recording.main, &recorded)
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
    reply(app, "entry", &recorded)
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

/// Hands a submission to the writer and awaits its answer. What was recorded is answered once the views show it, so that
/// the handler is woken once; should they lag, it is answered without them.
///
/// # Errors
/// Every [`Problem`] of a submission that is not recorded. `path` is the id that stands in the path, if one does.
pub async fn submit(app: &App, submission: Submission, path: Option<Uuid>) -> Result<Recorded, Problem> {
    let (tell, mut told) = tokio::sync::oneshot::channel();
    let answered = Arc::new(Mutex::new(None));
    let (views, answer) = (app.views.clone(), Arc::clone(&answered));
    let handed = app.writer.submit(
        submission,
        // When nobody waits any more, the answer is not needed: the key finds it again.
        Box::new(move |outcome: Outcome| {
            let index = outcome.as_ref().ok().map(|recorded| recorded.index);
            *answer.lock().unwrap_or_else(PoisonError::into_inner) = Some(outcome);
            match index {
                Some(index) => views.once_followed(index, move || {
                    let _ = tell.send(());
                }),
                None => {
                    let _ = tell.send(());
                }
            }
        }),
    );
    handed.map_err(|error| refuse(error, path))?;
    let take = || answered.lock().unwrap_or_else(PoisonError::into_inner).take();
    for _ in 0..ANSWER_LOOKS {
        let waited = timeout(VIEW_PATIENCE, &mut told).await;
        if let Some(outcome) = take() {
            return outcome.map_err(|error| refuse(error, path));
        }
        if waited.is_ok() {
            // The writer went away and dropped the callback.
            return Err(refuse(SubmitError::Closed, path));
        }
    }
    Err(busy(
        "the answer takes too long; what becomes of the command is not known yet",
    ))
}

/// Too much is under way: come again in a second.
pub fn busy(detail: &str) -> Problem {
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
        Refusal::UnknownSpot { spot } => Some(spot.0),
        Refusal::UnknownQuote { quote } => Some(quote.0),
        Refusal::UnknownCharge { charge } => Some(charge.0),
        _ => None,
    }
}

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
