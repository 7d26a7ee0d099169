//! Whether the caller takes the media type that a route answers with (`Accept`, RFC 9110 section 12.5.1).
//!
//! It is asked before anything is recorded. Problems are sent as they are, whatever is accepted: nobody is served by an
//! error that cannot be read. Absent: a choice between forms, since each route has one.

use super::problem::Problem;
use super::routes::Deed;
use crate::photographs;
use actix_web::http::header::{self, HeaderMap};

/// The media type that a deed answers with.
#[must_use]
pub const fn media(deed: Deed) -> &'static str {
    match deed {
        Deed::Policy | Deed::Checkpoint => "text/plain",
        Deed::HashTile | Deed::EntryTile => "application/octet-stream",
        Deed::ShowPhotograph => photographs::KEPT_MEDIA,
        Deed::Description => "application/yaml",
        Deed::Print | Deed::Labels | Deed::PackingList => "application/pdf",
        Deed::ProblemPage => "text/html",
        _ => "application/json",
    }
}

/// Holds the `Accept` headers against what will be sent. Without one, everything is accepted.
///
/// # Errors
/// 406.
pub fn check(headers: &HeaderMap, media: &str) -> Result<(), Problem> {
    let mut best: Option<(u8, bool)> = None;
    let mut said = false;
    for value in headers.get_all(header::ACCEPT) {
        for range in value.to_str().unwrap_or("").split(',') {
            said |= !range.trim().is_empty();
            // The range that names most decides (section 12.5.1).
            if let Some(found) = matched(range, media)
                && best.is_none_or(|(exact, _)| found.0 > exact)
            {
                best = Some(found);
            }
        }
    }
    if !said || best.is_some_and(|(_, wanted)| wanted) {
        return Ok(());
    }
    Err(Problem::not_acceptable(format!(
        "what stands here is {media}, which the Accept header does not take"
    )))
}

/// How much of a media type a range names, and whether its weight is above zero; `None` if it is another.
fn matched(range: &str, media: &str) -> Option<(u8, bool)> {
    let mut parts = range.split(';').map(str::trim);
    let named = parts.next()?;
    let (kind, _) = media.split_once('/')?;
    let exact = if named.eq_ignore_ascii_case(media) {
        2
    } else if named == "*/*" {
        0
    } else {
        let wide = named.strip_suffix("/*")?;
        wide.eq_ignore_ascii_case(kind).then_some(1)?
    };
    let weight = parts.find_map(|parameter| {
        let (name, value) = parameter.split_once('=')?;
        name.trim().eq_ignore_ascii_case("q").then(|| value.trim())
    });
    let none = weight.is_some_and(|weight| weight.bytes().all(|byte| matches!(byte, b'0' | b'.')));
    Some((exact, !none))
}
