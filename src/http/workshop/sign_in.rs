//! Signing in with a token, and out again.
//!
//! A wrong token is slowed for its address as in the API. The session before ends, whoever signs in, and a fresh id is drawn.
//! What somebody typed into a form when they were signed out already is kept on the page and stands in the form again.

use super::{HOME, Sender, Sheet, Visit, fields, form, page as whole_page, see, visit, with_headers};
use crate::http::App;
use crate::http::asked::Asked;
use crate::http::problem::Problem;
use crate::http::proxies;
use crate::http::query::Parameters;
use crate::http::routes::{self, Deed, Who};
use crate::http::sessions::{self, SignedIn};
use crate::pages::workshop::{SignIn, Typed, sign_in};
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};

/// How long an address may be to which somebody is sent back.
const NEXT_MAX: usize = 2_000;
const WRONG: &str = "This token is not known here, or it has ended. Nothing was changed.";
const SLOWED: &str =
    "Too many wrong tokens came from here. Wait a minute, and try again. Nothing was changed.";

/// The address of the page to sign in, which leads back to what was asked for.
#[must_use]
pub fn address(request: &HttpRequest) -> String {
    let asked = Asked::of(request, None).address();
    format!("/sign-in?next={}", escaped(&asked))
}

/// Text for a query, with every byte but letters, digits and a few marks escaped.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut escaped = String::new();
    for byte in text.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'/' => {
                escaped.push(char::from(byte))
            }
            other => escaped.push_str(&format!("%{other:02X}")),
        }
    }
    escaped
}

/// Whether an address is a path of ours, and no way to anywhere else: browsers take `//` and `/\` for another host.
fn is_local(next: &str) -> bool {
    let mut bytes = next.bytes();
    bytes.next() == Some(b'/')
        && !matches!(bytes.next(), Some(b'/' | b'\\'))
        && next.len() <= NEXT_MAX
        && next.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\')
        && !next.starts_with("/sign-")
}

/// The page to sign in.
pub fn show(request: &HttpRequest, app: &App, signed_in: Option<&SignedIn>) -> Result<HttpResponse, Problem> {
    let next = Parameters::read(request.query_string())?.take("next");
    let next = next.filter(|next| is_local(next));
    let who = signed_in.map(|signed_in| {
        let visit = Visit::of(request, signed_in.clone());
        (visit.name(), visit.role().word())
    });
    let said = SignIn {
        next: next.as_deref(),
        who: who.as_ref().map(|(name, role)| (name.as_str(), *role)),
        ..SignIn::default()
    };
    page(request, app, &said, StatusCode::OK)
}

/// The page to sign in, with what it says.
pub fn page(
    request: &HttpRequest,
    app: &App,
    said: &SignIn<'_>,
    status: StatusCode,
) -> Result<HttpResponse, Problem> {
    let leaf = sign_in(said);
    Ok(whole_page(status, visit::unframed(app, request.path(), &leaf)))
}

/// Takes a token.
pub async fn send(request: &HttpRequest, payload: Payload, app: &Data<App>) -> Result<HttpResponse, Problem> {
    sessions::from_here(request, app)?;
    let mut typed = fields(app, request, payload, Sender::Stranger).await?;
    let token = typed.take("token").unwrap_or_default();
    let next = typed.take("next").filter(|next| is_local(next));
    let kept = kept(&typed);
    let now = (app.clock)();
    let Some(holder) = app.access.holder(token.trim(), now) else {
        let slowed = app.limits.wrong_token(proxies::caller(request, app)).err();
        let said = SignIn {
            next: next.as_deref(),
            fault: Some(slowed.as_ref().map_or(WRONG, |_| SLOWED)),
            kept: kept.as_ref(),
            who: None,
        };
        let status = slowed
            .as_ref()
            .map_or(StatusCode::UNAUTHORIZED, |problem| problem.status);
        let mut reply = page(request, app, &said, status)?;
        with_headers(&mut reply, slowed.iter());
        return Ok(reply);
    };
    if let Some(before) = sessions::id_of(request, app) {
        app.sessions.end(&before);
    }
    let id = app.sessions.begin((app.chance)(), &holder, now);
    let signed_in = app.sessions.of(&app.access, &id, now, true);
    let signed_in = signed_in.ok_or_else(|| Problem::internal("a session ended as it began"))?;
    let next = next.unwrap_or_else(|| HOME.to_owned());
    let mut reply = match kept {
        Some(kept) => again(app, &next, signed_in, kept).await?,
        None => see(&next),
    };
    set_cookie(&mut reply, &sessions::cookie(app, &id))?;
    Ok(reply)
}

/// What was typed before somebody had to sign in again.
fn kept(typed: &Typed) -> Option<Typed> {
    let pairs = typed.pairs().iter();
    let kept =
        pairs.filter_map(|(name, value)| Some((name.strip_prefix("kept.")?.to_owned(), value.clone())));
    let kept: Vec<(String, String)> = kept.collect();
    (!kept.is_empty()).then(|| Typed::new(kept))
}

/// The form that was sent too late, with what was typed into it.
async fn again(
    app: &Data<App>,
    next: &str,
    signed_in: SignedIn,
    kept: Typed,
) -> Result<HttpResponse, Problem> {
    let (path, query) = next.split_once('?').unwrap_or((next, ""));
    let found = routes::at("GET", path);
    let (Some((route, members)), role) = (found, signed_in.caller.role) else {
        return Ok(see(HOME));
    };
    let Deed::Sheet(Sheet::Form(sheet)) = route.deed else {
        return Ok(see(next));
    };
    if !matches!(route.who, Who::Roles(roles) if roles.contains(&role)) {
        return Ok(see(next));
    }
    let asked = Asked {
        path: path.to_owned(),
        query: query.to_owned(),
        members,
        caller: Some(signed_in.caller),
    };
    form::show_again(app, sheet, &Visit::at(asked, signed_in), kept).await
}

/// Signs out.
pub async fn out(
    request: &HttpRequest,
    payload: Payload,
    app: &Data<App>,
    signed_in: Option<&SignedIn>,
) -> Result<HttpResponse, Problem> {
    sessions::from_here(request, app)?;
    let sender = signed_in.map_or(Sender::Stranger, |_| Sender::Caller);
    let typed = fields(app, request, payload, sender).await?;
    if let Some(signed_in) = signed_in {
        if !sessions::is_form_token(signed_in, typed.text("form_token")) {
            return Err(Problem::forbidden(
                "this button was made for another session: you are still signed in",
            ));
        }
        if let Some(id) = sessions::id_of(request, app) {
            app.sessions.end(&id);
        }
    }
    let mut reply = see("/sign-in");
    set_cookie(&mut reply, &sessions::no_cookie(app))?;
    Ok(reply)
}

fn set_cookie(reply: &mut HttpResponse, cookie: &str) -> Result<(), Problem> {
    let value = HeaderValue::from_str(cookie).map_err(|error| Problem::internal(error.to_string()))?;
    reply.headers_mut().insert(header::SET_COOKIE, value);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::is_local;

    #[test]
    fn only_a_path_of_ours_is_gone_back_to() {
        for local in ["/home", "/pieces?state=accepted&series=TW", "/lots/new"] {
            assert!(is_local(local), "{local}");
        }
        for other in [
            "",
            "home",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "https://elsewhere.example",
            "/a\\b",
            "/a b",
            "/\r\nx",
            "/sign-in",
            "/sign-out",
            "javascript:alert(1)",
            "/\u{e9}",
        ] {
            assert!(!is_local(other), "{other:?}");
        }
    }
}
