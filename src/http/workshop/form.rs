//! One form of a page: shown, taken, and shown again with what is wrong beside the field that it is about.
//!
//! The key of the request is minted when the form is made and travels in it, so however often it is sent it is recorded once;
//! the version of what it is about travels too, so that who is late is told. What is wrong comes from the same refusals as in
//! the API: their JSON pointers name the fields.

use super::typed::{self, Members};
use super::{App, Visit, named, page, see, with_headers};
use crate::http::commands::{self, Given};
use crate::http::conditions::hyphenated;
use crate::http::problem::Problem;
use crate::http::routes::Recording;
use crate::http::{apart, failed, sessions};
use crate::pages::workshop::{FormSeen, FormSheet, Kind, Offer, Question, Row, Taken, Typed, form as drawn};
use crate::writer::Recorded;
use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::web::Data;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// A form that gives one command.
#[derive(Clone, Copy, Debug)]
pub struct Form {
    /// The command, as `/v1` reads it.
    pub recording: &'static Recording,
    /// What stands in it.
    pub sheet: FormSheet,
    /// What the book offers in it as of now.
    pub offer: fn(&App, &Visit) -> Result<Offer, Problem>,
    /// What is asked once before it is taken, if anything is.
    pub ask: Option<Ask>,
    /// Where one sees what was recorded.
    pub then: fn(&App, &Visit, &Recorded) -> String,
}

/// A question about a command that is about to be given.
pub type Ask = fn(&App, &Visit, &Map<String, Value>) -> Result<Option<String>, Problem>;

/// What became of a form that was sent.
enum Outcome {
    Recorded(Recorded),
    Asked(Question),
    Refused(Problem),
}

/// What stands on a form that is shown.
struct Shown<'a> {
    typed: &'a Typed,
    key: Uuid,
    version: Option<u64>,
    problem: Option<&'a Problem>,
    members: &'a Members,
    question: Option<&'a Question>,
    status: StatusCode,
}

/// A fresh key, by which what a form gives is recorded once.
fn fresh_key(app: &App) -> Uuid {
    let [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p, ..] = (app.chance)();
    uuid::Builder::from_random_bytes([a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p]).into_uuid()
}

/// The thing that the path names; of an entry that is corrected, what it is about.
fn subject(app: &App, form: &Form, visit: &Visit) -> Result<Option<Uuid>, Problem> {
    if form.recording.entry.is_some() {
        let (_, entry) = super::corrections::entry_of(app, visit)?;
        return Ok(entry.events().find_map(|event| event.subjects().first().copied()));
    }
    let member = form.recording.subject;
    member.map(|member| visit.asked.id(member)).transpose()
}

/// The version of the thing that the path names.
fn version_now(app: &App, form: &Form, visit: &Visit) -> Result<Option<u64>, Problem> {
    let Some(subject) = subject(app, form, visit)? else {
        return Ok(None);
    };
    match app.views.version(subject).map_err(failed)? {
        0 => Err(Problem::not_found("there is nothing with that id")),
        version => Ok(Some(version)),
    }
}

/// Shows a form as it begins.
pub async fn show(app: &Data<App>, form: &'static Form, visit: &Visit) -> Result<HttpResponse, Problem> {
    let version = version_now(app, form, visit)?;
    let offer = offered(app, form, visit).await?;
    let typed = offer.begun();
    let key = fresh_key(app);
    Ok(to_fill(app, form, visit, &offer, (&typed, key, version)))
}

/// Shows a form with what was typed into it before somebody had to sign in again.
pub async fn show_again(
    app: &Data<App>,
    form: &'static Form,
    visit: &Visit,
    mut typed: Typed,
) -> Result<HttpResponse, Problem> {
    let sent = Control::take(&mut typed);
    let version = match sent.version {
        None => version_now(app, form, visit)?,
        seen => seen,
    };
    let offer = with_lines_sent(app, form, offered(app, form, visit).await?, &typed)?;
    let key = sent.key.unwrap_or_else(|| fresh_key(app));
    Ok(to_fill(app, form, visit, &offer, (&typed, key, version)))
}

/// Adds the lines that were sent and are not offered any more: what is wrong with one stands beside it, and nothing that was
/// ticked is lost.
fn with_lines_sent(app: &App, form: &Form, mut offer: Offer, typed: &Typed) -> Result<Offer, Problem> {
    for field in form.sheet.fields {
        let lines = matches!(field.kind, Kind::Rows(rows) if !matches!(rows.taken, Taken::Blank(_)));
        for id in typed.all(field.member).filter(|_| lines) {
            let Some(known) = hyphenated(id) else { continue };
            if offer.rows_of(field.member).iter().any(|row| row.id == id) {
                continue;
            }
            let row = Row {
                id: id.to_owned(),
                words: named::of(app, known).unwrap_or_else(|| id.to_owned()),
                more: "not offered any more".to_owned(),
                version: app.views.version(known).map_err(failed)?,
            };
            match offer.rows.iter_mut().find(|(member, _)| *member == field.member) {
                Some((_, rows)) => rows.push(row),
                None => offer.rows.push((field.member, vec![row])),
            }
        }
    }
    Ok(offer)
}

async fn offered(app: &Data<App>, form: &'static Form, visit: &Visit) -> Result<Offer, Problem> {
    let (on_thread, asked) = (Data::clone(app), visit.clone());
    apart(move || (form.offer)(&on_thread, &asked)).await
}

/// What a form carries beside what was typed.
struct Control {
    form_token: String,
    key: Option<Uuid>,
    version: Option<u64>,
    sure: String,
}

impl Control {
    fn take(typed: &mut Typed) -> Self {
        Self {
            form_token: typed.take("form_token").unwrap_or_default(),
            key: typed.take("key").and_then(|key| hyphenated(&key)),
            version: typed.take("version").and_then(|version| version.parse().ok()),
            sure: typed.take("sure").unwrap_or_default(),
        }
    }
}

/// Takes a form that was sent: recorded, it leads to where one sees that; else it is shown again as it was filled in.
pub async fn take(
    app: &Data<App>,
    form: &'static Form,
    visit: &Visit,
    mut typed: Typed,
) -> Result<HttpResponse, Problem> {
    let sent = Control::take(&mut typed);
    let members = typed::members(form.sheet.fields, &typed, &app.settings);
    let outcome = if sessions::is_form_token(&visit.signed_in, &sent.form_token) {
        decide(app, form, visit, &sent, &members).await?
    } else {
        Outcome::Refused(Problem::forbidden(
            "this form was made before you last signed in: look it over, and send it again",
        ))
    };
    let (problem, question) = match outcome {
        Outcome::Recorded(recorded) => {
            let to = (form.then)(app, visit, &recorded);
            let joint = if to.contains('?') { '&' } else { '?' };
            return Ok(see(&format!("{to}{joint}recorded={}", recorded.index)));
        }
        Outcome::Asked(question) => (None, Some(question)),
        Outcome::Refused(problem) => (Some(problem), None),
    };
    let is = |code: &str| problem.as_ref().is_some_and(|problem| problem.code == code);
    let version = match sent.version {
        seen if seen.is_some() && !is("stale") => seen,
        _ => version_now(app, form, visit)?,
    };
    // Content that differs from what the key was used for becomes an entry of its own, if it is sent once more.
    let key = sent.key.filter(|_| !is("idempotency-key-reused"));
    let offer = with_lines_sent(app, form, offered(app, form, visit).await?, &typed)?;
    let shown = Shown {
        typed: &typed,
        key: key.unwrap_or_else(|| fresh_key(app)),
        version,
        problem: problem.as_ref(),
        members: &members,
        question: question.as_ref(),
        status: problem.as_ref().map_or(StatusCode::OK, |problem| problem.status),
    };
    Ok(drawn_page(app, form, visit, &offer, &shown))
}

async fn decide(
    app: &Data<App>,
    form: &'static Form,
    visit: &Visit,
    sent: &Control,
    members: &Members,
) -> Result<Outcome, Problem> {
    let (Some(key), Some(subject)) = (sent.key, subject_seen(app, form, visit, sent)?) else {
        return Ok(Outcome::Refused(Problem::unreadable(
            "something of this form was lost on its way: look it over, and send it again",
        )));
    };
    if let Some(ask) = form.ask
        && let Some(words) = ask(app, visit, &members.body)?
    {
        let question = Question {
            mark: mark(&words),
            words,
        };
        if sent.sure != question.mark {
            return Ok(Outcome::Asked(question));
        }
    }
    let given = Given {
        key,
        subject: subject.0,
        body: members.body.clone(),
    };
    let carried = commands::carry_out(app, form.recording, visit.signed_in.caller, given).await;
    Ok(carried.map_or_else(Outcome::Refused, Outcome::Recorded))
}

/// The thing that the path names with the version that was seen, where one is named; nothing when its version was lost.
struct SubjectSeen(Option<(Uuid, u64)>);

fn subject_seen(
    app: &App,
    form: &Form,
    visit: &Visit,
    sent: &Control,
) -> Result<Option<SubjectSeen>, Problem> {
    Ok(match subject(app, form, visit)? {
        None => Some(SubjectSeen(None)),
        Some(subject) => sent.version.map(|version| SubjectSeen(Some((subject, version)))),
    })
}

/// What stands for a question once it was answered with yes.
fn mark(words: &str) -> String {
    let hash: [u8; 32] = Sha256::digest(words).into();
    let (short, _) = hash.split_at(12);
    URL_SAFE_NO_PAD.encode(short)
}

/// A form that nothing is wrong with yet: what stands in it, the key of what it will give, and the version it is about.
fn to_fill(
    app: &App,
    form: &Form,
    visit: &Visit,
    offer: &Offer,
    (typed, key, version): (&Typed, Uuid, Option<u64>),
) -> HttpResponse {
    let shown = Shown {
        typed,
        key,
        version,
        problem: None,
        members: &Members::default(),
        question: None,
        status: StatusCode::OK,
    };
    drawn_page(app, form, visit, offer, &shown)
}

fn drawn_page(app: &App, form: &Form, visit: &Visit, offer: &Offer, shown: &Shown<'_>) -> HttpResponse {
    let (faults, fault) = shown.problem.map_or_else(
        || (Vec::new(), None),
        |problem| wrong(app, problem, shown.members),
    );
    let key = shown.key.to_string();
    let seen = FormSeen {
        sheet: &form.sheet,
        offer,
        typed: shown.typed,
        action: &visit.asked.address(),
        form_token: &visit.signed_in.form_token,
        key: &key,
        version: shown.version,
        faults: &faults,
        fault: fault.as_deref(),
        in_doubt: shown
            .problem
            .is_some_and(|problem| problem.status.is_server_error()),
        question: shown.question,
        versions_anew: shown.problem.is_some_and(|problem| problem.code == "stale"),
        zone: app.settings.workshop.zone,
        currency: &app.settings.currency,
    };
    let mut reply = page(shown.status, visit.framed(app, &drawn(&seen)));
    with_headers(&mut reply, shown.problem.into_iter());
    reply
}

/// What is wrong, by field, and what is wrong with the whole.
fn wrong(app: &App, problem: &Problem, members: &Members) -> (Vec<(String, String)>, Option<String>) {
    let whole = match problem.code {
        "stale" => Some(
            "Somebody has recorded something about this since you opened the form. What you typed stands below; what is offered \
             is as of now. Look it over, and send it again if it is still right."
                .to_owned(),
        ),
        "idempotency-key-reused" => Some(
            "This form was recorded before, with other content. If you send it again, it becomes a second entry.".to_owned(),
        ),
        "internal" => Some("The server failed; its own log says more.".to_owned()),
        _ if problem.errors.is_empty() => Some(named::in_words(app, &problem.detail)),
        _ => None,
    };
    let told = problem.errors.iter().map(|(why, pointer)| {
        let why = match why.as_str() {
            "is missing" => "is needed here".to_owned(),
            _ if problem.code == "stale" => "has changed since you opened the form".to_owned(),
            why => named::in_words(app, why),
        };
        (members.name_of(pointer), why)
    });
    (told.collect(), whole)
}
