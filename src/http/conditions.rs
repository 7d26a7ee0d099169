//! What the headers of a request say: its key, the version it was decided on, its media type.

use super::problem::Problem;
use actix_web::HttpRequest;
use actix_web::http::header::{self, HeaderMap, HeaderName};
use actix_web::web::{Bytes, Payload};
use std::time::Duration;
use uuid::Uuid;

/// How long a body may be, bytes.
pub const BODY_BYTES_MAX: usize = 256 * 1024;

/// A header's text. A header that is sent twice is refused, since two readers could take either.
///
/// # Errors
/// 400.
pub fn single(headers: &HeaderMap, name: HeaderName) -> Result<Option<&str>, Problem> {
    let mut values = headers.get_all(&name);
    let Some(value) = values.next() else {
        return Ok(None);
    };
    if values.next().is_some() {
        return Err(Problem::unreadable(format!("the header {name} is sent twice")));
    }
    let text = value.to_str();
    text.map(Some)
        .map_err(|_| Problem::unreadable(format!("the header {name} is not ASCII text")))
}

/// The request's `Idempotency-Key`: a UUID, bare or as a quoted string (RFC 9651).
///
/// # Errors
/// 400 when there is none, or it is no UUID.
pub fn idempotency_key(headers: &HeaderMap) -> Result<Uuid, Problem> {
    let name = HeaderName::from_static("idempotency-key");
    let Some(text) = single(headers, name)? else {
        return Err(Problem::key_missing(
            "an Idempotency-Key header with a UUID is needed",
        ));
    };
    let text = text.trim();
    let bare = text
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'))
        .unwrap_or(text);
    // Only the hyphenated form of RFC 9562: the library reads others too, and one key must have one spelling.
    hyphenated(bare).ok_or_else(|| {
        Problem::unreadable("the Idempotency-Key is not a UUID like 8e03978e-40d5-43e8-bc93-6894a57f9324")
    })
}

/// An id in its hyphenated form; none for any other spelling.
#[must_use]
pub fn hyphenated(text: &str) -> Option<Uuid> {
    (text.len() == 36).then(|| Uuid::try_parse(text).ok()).flatten()
}

/// The version that `If-Match` names: `"3"`, as `ETag` gave it.
///
/// # Errors
/// 428 when it is absent, 412 when it cannot be the ETag of anything, 400 when it is not one entity tag.
pub fn if_match(headers: &HeaderMap) -> Result<u64, Problem> {
    let Some(text) = single(headers, header::IF_MATCH)? else {
        return Err(Problem::precondition(
            "send If-Match with the ETag of what the command is about",
        ));
    };
    let text = text.trim();
    let inner = text.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
    match inner {
        Some(inner) if inner.bytes().all(|byte| byte.is_ascii_digit()) && !inner.is_empty() => inner
            .parse()
            .map_err(|_| Problem::stale("no version is that high")),
        // What an entity tag may hold (RFC 9110 section 8.8.3), though none of ours does.
        Some(inner)
            if inner
                .bytes()
                .all(|byte| matches!(byte, 0x21 | 0x23..=0x7e) && byte != b',') =>
        {
            Err(Problem::stale("If-Match names a version that was never given"))
        }
        _ if text.starts_with("W/") => Err(Problem::stale("If-Match needs the strong ETag that was given")),
        _ => Err(Problem::unreadable("If-Match must be one entity tag, like \"3\"")),
    }
}

/// Whether `If-None-Match` names an entity tag (weak comparison, RFC 9110 section 13.1.2).
#[must_use]
pub fn if_none_match(headers: &HeaderMap, etag: &str) -> bool {
    headers.get_all(header::IF_NONE_MATCH).any(|value| {
        let listed = value.to_str().unwrap_or("");
        listed
            .split(',')
            .map(str::trim)
            .any(|tag| tag == "*" || tag.strip_prefix("W/").unwrap_or(tag) == etag)
    })
}

/// Reads the body, once its media type is seen to be the wanted one: UTF-8 text of at most [`BODY_BYTES_MAX`] bytes.
///
/// # Errors
/// 415 for another media type or a content encoding, 413 for too large a body, 408 for one that is too slow, 400 for one
/// that broke off.
pub async fn body(
    request: &HttpRequest,
    payload: Payload,
    media: &str,
    patience: Duration,
) -> Result<Bytes, Problem> {
    let wanted = Wanted {
        media: &[media],
        bytes_max: BODY_BYTES_MAX,
        too_large: || Problem::too_large(format!("a body may have at most {BODY_BYTES_MAX} bytes")),
        patience,
    };
    body_as(request, payload, &wanted).await
}

/// What a body must be.
pub struct Wanted<'a> {
    /// The media types that are taken.
    pub media: &'a [&'a str],
    /// How many bytes it may have.
    pub bytes_max: usize,
    /// What is said of one that has more.
    pub too_large: fn() -> Problem,
    /// How long it may take to arrive.
    pub patience: Duration,
}

/// Reads a body of this kind.
///
/// # Errors
/// As [`body`].
pub async fn body_as(request: &HttpRequest, payload: Payload, wanted: &Wanted<'_>) -> Result<Bytes, Problem> {
    let headers = request.headers();
    let sent = single(headers, header::CONTENT_TYPE)?.unwrap_or("");
    check_media(sent, wanted.media)?;
    if single(headers, header::CONTENT_ENCODING)?
        .is_some_and(|encoding| !encoding.eq_ignore_ascii_case("identity"))
    {
        return Err(Problem::media("a body with a content encoding is not read"));
    }
    let length = single(headers, header::CONTENT_LENGTH)?.and_then(|length| length.parse::<usize>().ok());
    if length.is_some_and(|length| length > wanted.bytes_max) {
        return Err((wanted.too_large)());
    }
    let reading = payload.to_bytes_limited(wanted.bytes_max);
    match actix_web::rt::time::timeout(wanted.patience, reading).await {
        Err(_) => Err(Problem::timeout("the body did not arrive in time")),
        Ok(Err(_)) => Err((wanted.too_large)()),
        Ok(Ok(Err(_))) => Err(Problem::unreadable("the body broke off")),
        Ok(Ok(Ok(bytes))) => Ok(bytes),
    }
}

fn check_media(sent: &str, media: &[&str]) -> Result<(), Problem> {
    let mut parts = sent.split(';').map(str::trim);
    let named = parts.next().unwrap_or("");
    let utf8 = parts.all(|parameter| {
        let mut halves = parameter.splitn(2, '=');
        let name = halves.next().unwrap_or("");
        let value = halves.next().unwrap_or("").trim_matches('"');
        !name.eq_ignore_ascii_case("charset") || value.eq_ignore_ascii_case("utf-8")
    });
    if utf8 && media.iter().any(|media| named.eq_ignore_ascii_case(media)) {
        return Ok(());
    }
    let encoding = match media {
        [text] if !text.starts_with("image/") => " in UTF-8",
        _ => "",
    };
    let media = media.join(", ");
    Err(Problem::media(format!("the body must be {media}{encoding}")).with(header::ACCEPT, media))
}
