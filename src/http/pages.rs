//! Pages for people over HTTP: who holds a piece reads them in a browser, so faults are pages too, with their status.
//!
//! A page is made once for a version of its piece and a checkpoint, and kept as bytes like the proof that it is made from.
//! Every reply forbids what the page does not need: scripts and styles from elsewhere, frames, cookies are never set.

use super::asked::Asked;
use super::found::{ASK_AGAIN, FOR_EVER, Found};
use super::kept::KeptBodies;
use super::problem::{self, Problem};
use super::proofs::{self, Kept};
use super::public_record::{piece_of, serial_of};
use super::query::Parameters;
use super::routes::{ROUTES, Route};
use super::{App, OwnRoot, apart, beside, failed, log_failure, page_forms, private, proxies};
use crate::check::{Accepted, Conclusion, Report, Trust, check_and_tell};
use crate::domain::instant::in_words;
use crate::domain::{Event, Piece, Serial, SeriesId, Timestamp};
use crate::pages::{self, About, Fault, NoIssue};
use crate::proof::Policy;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::web::{self, Data, Payload};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder};
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

/// A page for people, or what a page loads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Page {
    /// Where a serial is typed.
    Start,
    /// The record of a piece.
    Piece,
    /// What was measured of a piece, from the form on its page.
    Comparison,
    /// The code of a certificate, from the form on the page of its piece.
    Code,
    /// Where a proof file is checked.
    Check,
    /// A module by which a browser checks.
    Module,
    /// A module of the bench, or the worker that keeps its pages.
    BenchModule,
    /// The stylesheet and its like.
    Asset,
    /// How a tablet comes to trust the certificate that the server made itself.
    Trust,
    /// That certificate.
    Root,
}

/// The media type of a page.
pub const HTML: &str = "text/html; charset=utf-8";
/// What a page may load and do: its own stylesheet, modules, images and font, asking this server, sending its own forms.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; font-src 'self'; \
                      connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
/// How many bytes of pages are kept: some ten thousand of a usual size.
const KEPT_BYTES_MAX: usize = 384 * 1024 * 1024;

/// Which page of a piece: whether its check digits were typed, and which issue the reader holds.
type Variant = (Serial, bool, Option<u32>);

#[derive(Clone)]
struct KeptPage {
    found: Found,
    /// What it rests on, each with its version: the piece; and a title may be erased, a check may fail.
    rests_on: Arc<[(Uuid, u64)]>,
    made: Timestamp,
}

/// The pages that are kept.
pub struct Pages {
    kept: KeptBodies<Variant, KeptPage>,
}

impl Default for Pages {
    fn default() -> Self {
        Self {
            kept: KeptBodies::new(KEPT_BYTES_MAX),
        }
    }
}

/// What a page's address leads to.
enum Outcome {
    Found(Found),
    /// What a form is answered with.
    Answer(page_forms::Answer),
    /// Another address of ours.
    See(String),
}

/// Whether an address is one where people look for pages.
pub fn are_at(path: &str) -> bool {
    let first = |path: &str| path.split('/').nth(1).map(str::to_owned).unwrap_or_default();
    let asked = first(path);
    asked.is_empty()
        || ROUTES
            .iter()
            .any(|route| route.is_page() && first(route.path) == asked)
}

/// Answers a page.
pub async fn answer(
    page: Page,
    route: &Route,
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
) -> HttpResponse {
    let asked = Asked::of(request, None);
    let outcome = match (app.limits.public(proxies::caller(request, app)), page) {
        (Err(too_often), _) => Err(too_often),
        (Ok(()), Page::Comparison | Page::Code) => form(page, &asked, request, payload, app).await,
        (Ok(()), _) => lead(page, &asked, app).await,
    };
    let mut reply = match outcome {
        Ok(Outcome::Found(found)) => found.reply(request.headers()),
        Ok(Outcome::Answer((status, found))) => {
            let mut reply = found.reply(request.headers());
            *reply.status_mut() = status;
            reply
        }
        Ok(Outcome::See(address)) => HttpResponse::SeeOther()
            .insert_header((header::LOCATION, address))
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .finish(),
        Err(problem) => {
            log_failure(&problem, route);
            let typed = asked.members.get("serial");
            return refuse(&problem, typed.map(String::as_str), app);
        }
    };
    guard(reply.headers_mut(), POLICY, "no-referrer");
    reply
}

/// The page of a fault, with its status.
pub fn refuse(problem: &Problem, typed: Option<&str>, app: &App) -> HttpResponse {
    let title = problem::title(problem.code);
    let page = pages::fault(&Fault {
        code: problem.code,
        title: &title,
        detail: &problem.detail,
        typed,
        origin: &app.settings.origin,
    });
    let mut reply = HttpResponseBuilder::new(problem.status);
    reply.content_type(HTML);
    reply.insert_header((header::CACHE_CONTROL, "no-store"));
    for (name, value) in &problem.headers {
        reply.insert_header((name.clone(), value.as_str()));
    }
    let mut reply = reply.body(page);
    guard(reply.headers_mut(), POLICY, "no-referrer");
    reply
}

/// The headers of every page.
pub fn guard(headers: &mut HeaderMap, policy: &'static str, referrer: &'static str) {
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, policy),
        (header::REFERRER_POLICY, referrer),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
}

/// Answers a form. The first question after a start replays the log, so it is answered apart.
async fn form(
    page: Page,
    asked: &Asked,
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
) -> Result<Outcome, Problem> {
    let fields = page_forms::fields(app, request, payload).await?;
    let (app, asked, peer) = (Data::clone(app), asked.clone(), proxies::caller(request, app));
    let answered = web::block(move || match page {
        Page::Code => page_forms::code(&app, &asked, peer, fields),
        _ => page_forms::comparison(&app, &asked, fields),
    });
    let answered = answered.await;
    let answered = answered.unwrap_or_else(|_| Err(Problem::internal("no thread was free to answer")));
    answered.map(Outcome::Answer)
}

async fn lead(page: Page, asked: &Asked, app: &Data<App>) -> Result<Outcome, Problem> {
    let origin = &app.settings.origin;
    let found = match page {
        Page::Piece => piece(asked, app).await?,
        Page::Start => match typed_serial(asked)? {
            Some(serial) => return Ok(Outcome::See(address_of(&serial))),
            None => Found::bytes(HTML, pages::start(origin), ASK_AGAIN),
        },
        Page::Comparison | Page::Code => return Err(Problem::internal("a form is no plain read")),
        Page::Check => Found::bytes(HTML, pages::check(origin), ASK_AGAIN),
        Page::Module => {
            let module = pages::module(asked.member("module"));
            let module = module.ok_or_else(|| Problem::not_found("there is no module of that name"))?;
            Found::bytes(module.media, module.text, ASK_AGAIN)
        }
        Page::BenchModule => {
            let name = asked.path.rsplit('/').next().unwrap_or_default();
            let module = pages::workshop::bench::module(name);
            let module = module.ok_or_else(|| Problem::not_found("there is no module of that name"))?;
            Found::bytes(module.media, module.text, ASK_AGAIN)
        }
        Page::Asset => {
            let asset = pages::asset(asked.member("name"));
            let asset = asset.ok_or_else(|| Problem::not_found("there is nothing of that name"))?;
            Found::bytes(asset.media, asset.text, FOR_EVER)
        }
        Page::Trust => {
            let root = root_of(app)?;
            let rooted = pages::Rooted {
                fingerprint: &root.fingerprint,
                names: &root.names,
                ends: &in_words(root.ends),
            };
            Found::bytes(HTML, pages::trust(origin, &rooted), ASK_AGAIN)
        }
        Page::Root => Found::bytes(
            "application/x-x509-ca-cert",
            root_of(app)?.certificate.clone(),
            ASK_AGAIN,
        ),
    };
    Ok(Outcome::Found(found))
}

/// The root that the server made itself.
fn root_of(app: &App) -> Result<&OwnRoot, Problem> {
    let none =
        "this server has no certificate of its own: nothing needs to be trusted, or its owner tells how";
    app.settings.root.as_ref().ok_or_else(|| Problem::not_found(none))
}

/// What was typed into the form that looks a serial up.
fn typed_serial(asked: &Asked) -> Result<Option<String>, Problem> {
    let typed = Parameters::read(&asked.query)?.take("serial");
    Ok(typed
        .map(|typed| typed.trim().to_owned())
        .filter(|typed| !typed.is_empty()))
}

/// The address of what was typed, with every byte but letters, digits and hyphens escaped.
fn address_of(typed: &str) -> String {
    let mut address = "/p/".to_owned();
    for byte in typed.bytes().take(200) {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' => address.push(char::from(byte)),
            other => address.push_str(&format!("%{other:02X}")),
        }
    }
    address
}

/// The issue that an address names. A page is for people, so parameters that others added to a link are passed over.
fn issue_of(asked: &Asked) -> Result<Option<u32>, Problem> {
    let Some(text) = Parameters::read(&asked.query)?.take("issue") else {
        return Ok(None);
    };
    let digits = text.bytes().all(|byte| byte.is_ascii_digit());
    let issue = digits.then(|| text.parse().ok()).flatten();
    issue
        .map(Some)
        .ok_or_else(|| Problem::issue_unknown("an issue is named by its number"))
}

async fn piece(asked: &Asked, app: &Data<App>) -> Result<Found, Problem> {
    let issue = issue_of(asked)?;
    let (serial, checked) = serial_of(asked)?;
    let variant = (serial, checked, issue);
    if let Some(found) = kept(app, &variant)? {
        return Ok(found);
    }
    let seen_at = app.views.position();
    let piece = piece_of(app, &variant.0)?;
    let version = app.views.version(piece.piece.0).map_err(failed)?;
    let proof = proofs::once_released(app, || proofs::of_piece(app, &piece)).await?;
    let app = Data::clone(app);
    apart(move || {
        let (found, mut rests_on) = make(&app, &piece, &proof, checked, issue)?;
        rests_on.push((piece.piece.0, version));
        let page = KeptPage {
            found: found.clone(),
            rests_on: rests_on.into(),
            made: proof.made,
        };
        app.pages.kept.keep(variant, page, found.body.len(), seen_at);
        Ok(found)
    })
    .await
}

/// A page that is kept and still true as of its checkpoint.
fn kept(app: &App, variant: &Variant) -> Result<Option<Found>, Problem> {
    let found = app.pages.kept.find(variant, app.views.position(), |page| {
        for (subject, version) in page.rests_on.iter() {
            if app.views.version(*subject).map_err(failed)? != *version {
                return Ok(false);
            }
        }
        Ok(true)
    })?;
    let found = found.filter(|page| proofs::is_fresh(page.made, (app.clock)()));
    Ok(found.map(|page| page.found))
}

/// A page, and what it rests on beside the piece, each with its version.
type Made = (Found, Vec<(Uuid, u64)>);

fn make(app: &App, piece: &Piece, proof: &Kept, checked: bool, issue: Option<u32>) -> Result<Made, Problem> {
    let root = Policy::parse(&app.settings.policy)
        .ok()
        .and_then(|policy| policy.root);
    let root = root.ok_or_else(|| Problem::internal("the policy names no root"))?;
    let (report, accepted) = check(&proof.found.body, &root)?;
    let series: Vec<SeriesId> = accepted
        .events()
        .filter_map(|(_, event)| match event {
            Event::SeriesOpened(opened) => Some(opened.series),
            _ => None,
        })
        .collect();
    // The row anew, since the piece may have moved while its proof was made.
    let unknown = || Problem::internal("a piece that has a proof is not in the views");
    let row = app
        .views
        .piece(piece.piece)
        .map_err(failed)?
        .ok_or_else(unknown)?;
    let mut subjects = beside::subjects(app, &row)?;
    subjects.extend(series.iter().map(|id| id.0));
    // The versions first: a title that is erased meanwhile makes the page anew.
    let versions: Result<Vec<(Uuid, u64)>, Problem> = subjects
        .into_iter()
        .map(|id| Ok((id, app.views.version(id).map_err(failed)?)))
        .collect();
    let versions = versions?;
    let mut titles = BTreeMap::new();
    for id in series {
        let public = private::of_subject(app, id.0, None)?;
        titles.extend(
            public
                .get("title")
                .and_then(|title| Some((id, title.as_str()?.to_owned()))),
        );
    }
    let beside = beside::told(app, &row)?;
    let about = About {
        report: &report,
        accepted: &accepted,
        beside: &beside,
        titles: &titles,
        origin: &app.settings.origin,
        root: &root,
        at: proof.made,
        proof_bytes: proof.found.body.len(),
        slip_checked: checked,
        issue,
    };
    let page = pages::record(&about).map_err(|error| match error {
        NoIssue::NeverMade(_) => Problem::issue_unknown(error.to_string()),
        NoIssue::Untold(untold) => Problem::internal(format!("piece {}: {untold}", piece.piece)),
    })?;
    Ok((Found::bytes(HTML, page, ASK_AGAIN), versions))
}

/// The server believes its own proof file no more than anybody does.
fn check(file: &[u8], root: &str) -> Result<(Report, Accepted), Problem> {
    let trust = Trust {
        root: root.to_owned(),
        policy: None,
    };
    let (report, accepted) = check_and_tell(file, &trust);
    match (accepted, &report.conclusion) {
        (Some(accepted), _) => Ok((report, accepted)),
        (None, Conclusion::DoesNotHold { step, why }) => {
            Err(Problem::does_not_hold(format!("{step}: {why}")))
        }
        (None, Conclusion::Unreadable { why }) => Err(Problem::does_not_hold(why.clone())),
        (None, Conclusion::NotUnderstood { what }) => Err(Problem::does_not_hold(what.clone())),
        (None, Conclusion::Holds { .. }) => Err(Problem::internal("a check held and accepted nothing")),
    }
}
