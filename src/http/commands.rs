//! Recording: from a request to a submission, and from what stands in the log to the reply.
//!
//! A handler never waits on the writer's queue: it hands over a callback and awaits it. A client that goes away cancels
//! nothing; the same key tells it later what became of it.

mod reply;

pub use reply::{event_json, reply};

use super::access::Caller;
use super::bodies::{self, Sender};
use super::problem::Problem;
use super::routes::Recording;
use super::{App, conditions, done_at, json, located, prints};
use crate::domain::{Command, Refusal, Timestamp};
use crate::writer::{Ask, Expected, Recorded, Submission, SubmitError};
use actix_web::http::header;
use actix_web::rt::time::timeout;
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
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
    let subject = match recording.subject {
        Some(member) => Some((
            path_id(request, member)?,
            conditions::if_match(request.headers())?,
        )),
        None => None,
    };
    let sent = bodies::body(app, request, payload, "application/json", Sender::Caller).await?;
    let body = sent.read(members).await?;
    let recorded = carry_out(app, recording, caller, Given { key, subject, body }).await?;
    reply(app, recording.main, &recorded)
}

/// The members of a body.
///
/// # Errors
/// 400 for what is no JSON as we read it, 422 for what is no object.
pub fn members(bytes: &[u8]) -> Result<Map<String, Value>, Problem> {
    let value = json::read(bytes).map_err(unreadable)?;
    located::object(value).map_err(misfit)
}

/// A command as it was given, by a program or by a form.
pub struct Given {
    /// The request's id.
    pub key: Uuid,
    /// The thing that it is about, as the path names it, and the version of it that the asker saw.
    pub subject: Option<(Uuid, u64)>,
    /// The members of the command, without what stands in the path.
    pub body: Map<String, Value>,
}

/// A command as it was read.
#[derive(Clone, Debug)]
pub struct Understood {
    /// The command.
    pub command: Command,
    /// When it was done, where the asker says another time than now.
    pub at: Option<Timestamp>,
    /// The versions of things that the asker saw.
    pub expected: Vec<Expected>,
}

/// Reads a command. It asks nobody and changes nothing.
///
/// # Errors
/// 422, at the member that does not fit.
pub fn understood(recording: &Recording, given: Given, now: Timestamp) -> Result<Understood, Problem> {
    let mut body = given.body;
    check_hidden(recording, &body)?;
    let at = done_at::take(&mut body, now)?;
    let mut expected = Vec::new();
    if let Some((subject, version)) = given.subject {
        expected.push(Expected {
            subject,
            version,
            pointer: String::new(),
        });
    }
    if recording.tray {
        expected.extend(take_versions(&mut body)?);
    }
    if let Some((member, (subject, _))) = recording.subject.zip(given.subject) {
        body.insert(member.to_owned(), json!(subject));
    }
    let command = (recording.read)(&Value::Object(body)).map_err(misfit)?;
    Ok(Understood {
        command,
        at,
        expected,
    })
}

/// Reads a command and has it decided: the one way in, for the API and for the forms of pages.
///
/// # Errors
/// Every [`Problem`] of a command that is not recorded.
pub async fn carry_out(
    app: &Data<App>,
    recording: &Recording,
    caller: Caller,
    given: Given,
) -> Result<Recorded, Problem> {
    let (key, subject) = (given.key, given.subject);
    let Understood {
        command,
        at,
        expected,
    } = understood(recording, given, (app.clock)())?;
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
    let path = recording.subject.and(subject).map(|(subject, _)| subject);
    let recorded = submit(app, submission, path).await;
    // What could not be made now may have been made and recorded before: then it is a repeat, and answered as one.
    match (recorded, unmade) {
        (Err(problem), Some(unmade)) if problem.code == prints::NOT_MADE => Err(unmade),
        (recorded, _) => recorded,
    }
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
    let sent = bodies::body(app, request, payload, "text/plain", Sender::Caller).await?;
    let submission = Submission {
        request: key,
        by: caller.operator,
        at: None,
        expected: Vec::new(),
        ask: Ask::KeyEntry(sent.trim_ascii().to_vec()),
    };
    let recorded = submit(app, submission, None).await?;
    reply(app, "entry", &recorded)
}

/// The id that stands in the path.
///
/// # Errors
/// 404 when it is no UUID: nothing can be there.
pub fn path_id(request: &HttpRequest, member: &str) -> Result<Uuid, Problem> {
    let id = conditions::hyphenated(request.match_info().get(member).unwrap_or(""));
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
