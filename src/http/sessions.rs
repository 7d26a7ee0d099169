//! Who is signed in at the workshop's pages.
//!
//! A session is 256 bits of chance in a cookie that only this server is sent and no script reads; kept is its SHA-256, in
//! memory, so a restart ends all of them. It stands for a token and ends with it: each request looks the token up again.
//! Its *form token* is an HMAC under the session's own id: it proves that a form or a module of a page of ours sent the
//! request, and nothing is kept for it.
//!
//! A cookie alone reads pages. It changes nothing and does not open `/v1`: for that the form token is needed, in a hidden
//! field or in one header, and whatever the browser says of where the request comes from must be here.

use super::App;
use super::access::{Access, Caller, Holder};
use super::conditions::single;
use super::problem::Problem;
use crate::domain::Timestamp;
use actix_web::HttpRequest;
use actix_web::http::header::{self, HeaderName};
use actix_web::http::uri::Authority;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use subtle::ConstantTimeEq;

/// How many sessions are kept; beyond, the one that was silent longest ends.
const SESSIONS_MAX: usize = 1_024;
/// The cookie where the connection is TLS from the browser on: the prefix binds it to this host and to TLS.
const NAME_SECURE: &str = "__Host-pourbook";
/// The cookie on a plain connection.
const NAME_PLAIN: &str = "pourbook";
/// The header with the form token, from modules that call `/v1`.
pub const FORM_HEADER: HeaderName = HeaderName::from_static("pourbook-form");
/// The header of a page that is shown anew by itself.
const REFRESH_HEADER: HeaderName = HeaderName::from_static("pourbook-refresh");
/// Where a page asks whether the book has changed.
pub const CHANGED_PATH: &str = "/changed";
const SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// The sessions of a running server.
pub struct Sessions {
    kept: Mutex<HashMap<[u8; 32], Session>>,
    idle_seconds: i64,
}

struct Session {
    /// Hash of the token that it stands for.
    token: String,
    /// When it began.
    start: Timestamp,
    /// When it was last used.
    used: Timestamp,
}

/// Somebody who is signed in.
#[derive(Clone, Debug)]
pub struct SignedIn {
    /// Who, with which part.
    pub caller: Caller,
    /// What the people of the workshop call them.
    pub name: Option<String>,
    /// What a form or a module must send with whatever it wants changed.
    pub form_token: String,
    /// When they signed in.
    pub start: Timestamp,
}

impl Sessions {
    /// Sessions that end after so many hours of silence.
    #[must_use]
    pub fn new(idle_hours: u32) -> Self {
        Self {
            kept: Mutex::default(),
            idle_seconds: i64::from(idle_hours).saturating_mul(3_600),
        }
    }

    /// Begins a session under this id, for who holds a token; what the cookie will say.
    pub fn begin(&self, id: [u8; 32], holder: &Holder, now: Timestamp) -> String {
        let id = URL_SAFE_NO_PAD.encode(id);
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|_, session| !self.is_over(session, now));
        if kept.len() >= SESSIONS_MAX {
            let longest = kept.iter().min_by_key(|(_, session)| session.used.0);
            let longest = longest.map(|(hash, _)| *hash);
            longest.and_then(|hash| kept.remove(&hash));
        }
        let session = Session {
            token: holder.hash.clone(),
            start: now,
            used: now,
        };
        kept.insert(hash(&id), session);
        id
    }

    fn is_over(&self, session: &Session, now: Timestamp) -> bool {
        now.0.saturating_sub(session.used.0) >= self.idle_seconds
    }

    /// Who is signed in under an id; nobody once the session was silent too long or its token has ended. A page that looks
    /// by itself is no use of it: nobody stays signed in by leaving a page open.
    pub fn of(&self, access: &Access, id: &str, now: Timestamp, is_use: bool) -> Option<SignedIn> {
        let hash = hash(id);
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let session = kept.get_mut(&hash)?;
        let holder = access.holder_of(&session.token, now);
        if self.is_over(session, now) || holder.is_none() {
            kept.remove(&hash);
            return None;
        }
        if is_use {
            session.used = now;
        }
        let start = session.start;
        holder.map(|holder| SignedIn {
            caller: holder.caller,
            name: holder.name,
            form_token: form_token(id),
            start,
        })
    }

    /// Ends a session.
    pub fn end(&self, id: &str) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.remove(&hash(id));
    }
}

fn hash(id: &str) -> [u8; 32] {
    Sha256::digest(id.as_bytes()).into()
}

fn form_token(id: &str) -> String {
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(id.as_bytes()) else {
        // HMAC takes a key of any length (RFC 2104 section 3).
        return String::new();
    };
    mac.update(b"pourbook form token");
    URL_SAFE_NO_PAD.encode(mac.finalize().into_bytes())
}

/// Whether what was sent is the form token of a session.
#[must_use]
pub fn is_form_token(signed_in: &SignedIn, sent: &str) -> bool {
    !sent.is_empty() && bool::from(signed_in.form_token.as_bytes().ct_eq(sent.as_bytes()))
}

/// Whether the browser speaks TLS, here or with a proxy before us.
fn is_secure(app: &App) -> bool {
    app.settings.tls || app.settings.workshop.behind_tls
}

/// The session's id that a request carries. Two of them are none: nobody could say which is ours.
#[must_use]
pub fn id_of(request: &HttpRequest, app: &App) -> Option<String> {
    let wanted = if is_secure(app) { NAME_SECURE } else { NAME_PLAIN };
    let headers = request.headers().get_all(header::COOKIE);
    let texts = headers.filter_map(|value| value.to_str().ok());
    let mut found = texts.flat_map(|text| text.split(';')).filter_map(|pair| {
        let (name, value) = pair.trim().split_once('=')?;
        (name == wanted).then(|| value.to_owned())
    });
    let id = found.next()?;
    found.next().is_none().then_some(id)
}

/// Who is signed in, by the cookie alone: enough to read a page.
#[must_use]
pub fn of_request(request: &HttpRequest, app: &App) -> Option<SignedIn> {
    let id = id_of(request, app)?;
    let is_use = !request.headers().contains_key(REFRESH_HEADER) && request.path() != CHANGED_PATH;
    app.sessions.of(&app.access, &id, (app.clock)(), is_use)
}

/// Who calls `/v1` from a module of ours: the cookie, with the form token in its header. A cookie without that header is
/// nobody, as if it had not been sent.
///
/// # Errors
/// 401 for a request from elsewhere, and for a form token that is not the session's.
pub fn of_module(request: &HttpRequest, app: &App) -> Result<Option<Caller>, Problem> {
    let Some(sent) = single(request.headers(), FORM_HEADER)? else {
        return Ok(None);
    };
    let challenge = |detail: &str| Problem::unauthorized(detail).with(header::WWW_AUTHENTICATE, "Bearer");
    from_here(request, app).map_err(|elsewhere| challenge(&elsewhere.detail))?;
    let signed_in = of_request(request, app).filter(|signed_in| is_form_token(signed_in, sent));
    let caller = signed_in.map(|signed_in| signed_in.caller);
    caller
        .map(Some)
        .ok_or_else(|| challenge("you are not signed in any more"))
}

/// Holds what a browser says of where a request comes from (`Sec-Fetch-Site`, `Origin`) against here. A client that says
/// neither is no browser that another page could drive.
///
/// # Errors
/// 403 for a request from elsewhere.
pub fn from_here(request: &HttpRequest, app: &App) -> Result<(), Problem> {
    let elsewhere = || Problem::forbidden("this came from a page of another site, so nothing was done");
    let site = single(request.headers(), SITE)?;
    if site.is_some_and(|site| !matches!(site, "same-origin" | "none")) {
        return Err(elsewhere());
    }
    let Some(origin) = single(request.headers(), header::ORIGIN)? else {
        return Ok(());
    };
    // HTTP/2 has no such header: there the address names the host.
    let named = single(request.headers(), header::HOST)?;
    let host = named.or_else(|| request.uri().authority().map(Authority::as_str));
    let host = host.unwrap_or_default();
    let scheme = if is_secure(app) { "https" } else { "http" };
    let here =
        origin == format!("{scheme}://{host}") || (origin == app.settings.address && !origin.is_empty());
    here.then_some(()).ok_or_else(elsewhere)
}

/// The `Set-Cookie` of a session that begins.
#[must_use]
pub fn cookie(app: &App, id: &str) -> String {
    let (name, secure) = names(app);
    format!("{name}={id}; Path=/; HttpOnly; SameSite=Strict{secure}")
}

/// The `Set-Cookie` that takes a session's cookie away.
#[must_use]
pub fn no_cookie(app: &App) -> String {
    let (name, secure) = names(app);
    format!("{name}=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0{secure}")
}

fn names(app: &App) -> (&'static str, &'static str) {
    if is_secure(app) {
        (NAME_SECURE, "; Secure")
    } else {
        (NAME_PLAIN, "")
    }
}
