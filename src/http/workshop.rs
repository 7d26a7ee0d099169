//! The workshop's own pages over HTTP: who is signed in, what their role may see, and forms that give the commands of `/v1`.
//!
//! One way through: the session by its cookie, the role by the table of routes, then the page. A form is read into the body of
//! the command that `/v1` takes and goes the way that every command goes; there is no second decision here. Every reply is
//! `no-store`, names the cookie in `Vary`, and forbids what the pages do not need.

pub mod bench;
mod form;
mod forms;
mod home;
pub mod lists;
pub mod metal;
mod named;
mod names;
mod offered;
pub mod office;
mod pieces;
mod settings;
mod sign_in;
mod trials;
mod typed;
mod visit;

pub use form::Form;
pub use forms::*;
pub use home::home;
pub use pieces::{piece, print};
pub use settings::WorkshopSettings;
pub use visit::Visit;

use super::access::Role;
use super::asked::Asked;
use super::bodies::{self, Sender};
use super::found::Found;
use super::page_forms::MEDIA;
use super::problem::{self, Problem};
use super::routes::{Route, Who};
use super::sessions::{self, SignedIn};
use super::{App, apart, log_failure, pages, proxies};
use crate::pages::workshop::{Leaf, Markup, SignIn, Typed, html};
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::web::{Data, Payload, Query};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder};
use serde_json::json;

/// How many fields a form may send: more than any of ours has, and few enough to be looked through.
const FIELDS_MAX: usize = 8_192;
/// What a page may load and do: as the page for buyers, and what the bench needs: its camera's pictures, a worker, a manifest.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' blob:; font-src 'self'; \
                      connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";
/// The page that everybody comes to.
const HOME: &str = "/home";

/// A page of the workshop.
#[derive(Clone, Copy, Debug)]
pub enum Sheet {
    /// Where somebody signs in.
    SignIn,
    /// A token, from there.
    SendToken,
    /// The button that signs out.
    SignOut,
    /// A page that is read.
    Show(Show),
    /// A form, to be filled in.
    Form(&'static Form),
    /// The same form, filled in.
    Sent(&'static Form),
    /// How many entries the book has, for a page that looks by itself.
    Changed,
}

/// Makes a page that is read, on a thread that may wait for the disk.
pub type Show = fn(&App, &Visit) -> Result<Seen, Problem>;

/// What stands at an address.
pub enum Seen {
    /// A page.
    Page(Leaf),
    /// Another address of ours.
    See(String),
    /// A file, and the name under which a browser keeps it.
    File(Found, String),
}

impl From<Leaf> for Seen {
    fn from(leaf: Leaf) -> Self {
        Self::Page(leaf)
    }
}

/// Answers a page of the workshop.
pub async fn answer(
    sheet: Sheet,
    route: &Route,
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
) -> HttpResponse {
    let signed_in = sessions::of_request(request, app);
    let mut reply = match handle(sheet, route, request, payload, app, signed_in.as_ref()).await {
        Ok(reply) => reply,
        Err(problem) => {
            log_failure(&problem, route);
            refuse(&problem, request, app, signed_in)
        }
    };
    let headers = reply.headers_mut();
    pages::guard(headers, POLICY, "same-origin");
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(header::VARY, HeaderValue::from_static("cookie"));
    reply
}

async fn handle(
    sheet: Sheet,
    route: &Route,
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
    signed_in: Option<&SignedIn>,
) -> Result<HttpResponse, Problem> {
    if signed_in.is_none() {
        app.limits.public(proxies::caller(request, app))?;
    }
    match sheet {
        Sheet::SignIn => return sign_in::show(request, app, signed_in),
        Sheet::SendToken => return sign_in::send(request, payload, app).await,
        Sheet::SignOut => return sign_in::out(request, payload, app, signed_in).await,
        Sheet::Show(_) | Sheet::Form(_) | Sheet::Sent(_) | Sheet::Changed => {}
    }
    let Some(signed_in) = signed_in else {
        return match sheet {
            Sheet::Sent(_) => turned_away(request, payload, app).await,
            _ => Ok(see(&sign_in::address(request))),
        };
    };
    let roles: &[Role] = match route.who {
        Who::Roles(roles) => roles,
        Who::Public | Who::Entries => return Err(Problem::internal("a page of the workshop is for roles")),
    };
    if !roles.contains(&signed_in.caller.role) {
        return Err(Problem::forbidden(format!(
            "you are signed in as {}, and this is not the part of that role",
            signed_in.caller.role.word()
        )));
    }
    let visit = Visit::of(request, signed_in.clone());
    match sheet {
        Sheet::Show(show) => shown(app, show, visit).await,
        Sheet::Changed => Ok(HttpResponse::Ok()
            .content_type("application/json")
            .body(json!({"position": app.views.position()}).to_string())),
        Sheet::Form(form) => form::show(app, form, &visit).await,
        Sheet::Sent(form) => {
            sessions::from_here(request, app)?;
            let typed = fields(app, request, payload, Sender::Caller).await?;
            form::take(app, form, &visit, typed).await
        }
        Sheet::SignIn | Sheet::SendToken | Sheet::SignOut => Err(Problem::internal("answered already")),
    }
}

/// A form that was sent when nobody was signed in any more: the page to sign in, with all that was typed kept on it.
async fn turned_away(
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
) -> Result<HttpResponse, Problem> {
    sessions::from_here(request, app)?;
    let mut kept = fields(app, request, payload, Sender::Stranger).await?;
    kept.take("form_token");
    let next = Asked::of(request, None).address();
    let page = SignIn {
        next: Some(&next),
        kept: Some(&kept),
        ..SignIn::default()
    };
    sign_in::page(request, app, &page, StatusCode::UNAUTHORIZED)
}

async fn shown(app: &Data<App>, show: Show, visit: Visit) -> Result<HttpResponse, Problem> {
    let (on_thread, asked) = (Data::clone(app), visit.clone());
    let seen = apart(move || show(&on_thread, &asked)).await?;
    Ok(match seen {
        Seen::Page(leaf) => page(StatusCode::OK, visit.framed(app, &leaf)),
        Seen::See(address) => see(&address),
        Seen::File(found, name) => HttpResponse::Ok()
            .content_type(found.media)
            .insert_header((
                header::CONTENT_DISPOSITION,
                format!("attachment; filename=\"{name}\""),
            ))
            .body(found.body),
    })
}

/// The fields of a form that was sent. A name may come several times: each box that is ticked has the same.
async fn fields(
    app: &App,
    request: &HttpRequest,
    payload: Payload,
    sender: Sender,
) -> Result<Typed, Problem> {
    let sent = bodies::body(app, request, payload, MEDIA, sender).await?;
    let text = std::str::from_utf8(&sent).map_err(|_| Problem::unreadable("the form is not UTF-8"))?;
    let read = Query::<Vec<(String, String)>>::from_query(text);
    let pairs = read.map_err(|_| Problem::unreadable("the form cannot be read"))?;
    let pairs = pairs.into_inner();
    if pairs.len() > FIELDS_MAX {
        let most = format!("a form has at most {FIELDS_MAX} fields");
        return Err(Problem::too_large(most));
    }
    Ok(Typed::new(pairs))
}

fn page(status: StatusCode, html: String) -> HttpResponse {
    HttpResponseBuilder::new(status)
        .content_type(pages::HTML)
        .body(html)
}

/// Another address of ours.
fn see(address: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((header::LOCATION, address))
        .finish()
}

/// What went wrong, as a page of the workshop with its status.
fn refuse(problem: &Problem, request: &HttpRequest, app: &App, signed_in: Option<SignedIn>) -> HttpResponse {
    let title = problem::title(problem.code);
    let detail = if problem.status.is_server_error() && problem.code == "internal" {
        "The server failed; its own log says more. Try again later.".to_owned()
    } else {
        named::in_words(app, &problem.detail)
    };
    let leaf = Leaf::new(title.clone(), fault(&title, &detail));
    let html = match signed_in {
        Some(signed_in) => Visit::of(request, signed_in).framed(app, &leaf),
        None => visit::unframed(app, request.path(), &leaf),
    };
    let mut reply = page(problem.status, html);
    with_headers(&mut reply, [problem].into_iter());
    reply
}

/// Adds the headers that a problem's status needs to a page that tells it.
fn with_headers<'a>(reply: &mut HttpResponse, problem: impl Iterator<Item = &'a Problem>) {
    for (name, value) in problem.flat_map(|problem| &problem.headers) {
        if let Ok(value) = HeaderValue::from_str(value) {
            reply.headers_mut().insert(name.clone(), value);
        }
    }
}

fn fault(title: &str, detail: &str) -> Markup {
    html! {
        header .plate {
            h1 { span .name { (title) } }
            p .sentence { (detail) }
        }
        p { a href=(HOME) { "To the first page" } }
    }
}
