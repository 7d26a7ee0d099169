//! What a read found, before it is a reply: body, entity tag, how long it may be kept.

use super::conditions;
use actix_web::HttpResponse;
use actix_web::body::{BodySize, MessageBody};
use actix_web::http::header::{self, HeaderMap};
use actix_web::web::Bytes;
use base64::Engine as _;
use sha2::{Digest, Sha256};
use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

/// For ever: what never changes, since its address names its content.
pub const FOR_EVER: &str = "public, max-age=31536000, immutable";
/// Ask each time whether it has changed.
pub const ASK_AGAIN: &str = "public, no-cache";
/// As [`ASK_AGAIN`], and only in the caller's own cache.
pub const PRIVATE: &str = "private, no-cache";

/// How long a body may be that is handed over whole, and how much of a longer one is at a time, bytes.
const PART: usize = 64 * 1024;

/// A long body on its way out: whoever takes nothing of it holds a part and not all.
struct InParts(Bytes);

impl MessageBody for InParts {
    type Error = Infallible;

    fn size(&self) -> BodySize {
        BodySize::Sized(u64::try_from(self.0.len()).unwrap_or(u64::MAX))
    }

    fn poll_next(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Result<Bytes, Infallible>>> {
        if self.0.is_empty() {
            return Poll::Ready(None);
        }
        let part = self.0.len().min(PART);
        Poll::Ready(Some(Ok(self.0.split_to(part))))
    }
}

/// What a read found.
#[derive(Clone, Debug)]
pub struct Found {
    /// The media type.
    pub media: &'static str,
    /// The bytes.
    pub body: Bytes,
    /// The `ETag`, quotes included.
    pub etag: String,
    /// Whether the tag changes whenever the bytes do, so that `If-None-Match` may be answered with 304.
    pub exact: bool,
    /// `Cache-Control`.
    pub cache: &'static str,
    /// `Link`.
    pub link: Option<String>,
}

impl Found {
    /// Bytes, tagged with their own hash.
    #[must_use]
    pub fn bytes(media: &'static str, body: impl Into<Bytes>, cache: &'static str) -> Self {
        let body = body.into();
        let hash = Sha256::digest(&body);
        Self::made_of(media, body, hash.into(), cache)
    }

    /// Bytes that follow from something shorter, which is hashed in their place: whoever makes the same from it makes the same
    /// bytes.
    #[must_use]
    pub fn made_of(media: &'static str, body: impl Into<Bytes>, hash: [u8; 32], cache: &'static str) -> Self {
        let body = body.into();
        let (short, _) = hash.split_at(12);
        let tag = base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(short);
        Self {
            media,
            body,
            etag: format!("\"{tag}\""),
            exact: true,
            cache,
            link: None,
        }
    }

    /// JSON, tagged with its own hash.
    #[must_use]
    pub fn json(value: &serde_json::Value, cache: &'static str) -> Self {
        Self::bytes("application/json", value.to_string(), cache)
    }

    /// What answers a POST: only a read that changes nothing on either side is answered with 304 (RFC 9110 section 13.1.2).
    #[must_use]
    pub const fn posted(mut self) -> Self {
        self.exact = false;
        self
    }

    /// Tagged with a version instead, as `If-Match` takes it.
    #[must_use]
    pub fn version(mut self, version: u64, exact: bool) -> Self {
        self.etag = format!("\"{version}\"");
        self.exact = exact;
        self
    }

    /// The reply: 304 when the caller has it already.
    #[must_use]
    pub fn reply(self, headers: &HeaderMap) -> HttpResponse {
        let unchanged = self.exact && conditions::if_none_match(headers, &self.etag);
        let mut reply = if unchanged {
            HttpResponse::NotModified()
        } else {
            HttpResponse::Ok()
        };
        reply.insert_header((header::ETAG, self.etag));
        reply.insert_header((header::CACHE_CONTROL, self.cache));
        if let Some(link) = self.link {
            reply.insert_header((header::LINK, link));
        }
        if unchanged {
            return reply.finish();
        }
        reply.content_type(self.media);
        if self.body.len() > PART {
            return reply.body(InParts(self.body));
        }
        reply.body(self.body)
    }
}
