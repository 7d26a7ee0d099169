//! The question that a browser asks before a page from elsewhere reads from us (CORS preflight, WHATWG Fetch).
//!
//! It is answered on the public side only; the workshop's own side gives no page from elsewhere leave, and says 405.

use super::routes;
use actix_web::http::{Method, header};
use actix_web::{HttpRequest, HttpResponse};

/// How long a browser may remember the answer, seconds: a day.
const REMEMBER_SECONDS: &str = "86400";

/// Whether a request is that question.
#[must_use]
pub fn is_one(request: &HttpRequest) -> bool {
    let headers = request.headers();
    request.method() == Method::OPTIONS
        && headers.contains_key(header::ORIGIN)
        && headers.contains_key(header::ACCESS_CONTROL_REQUEST_METHOD)
}

/// The answer: everybody may read with the methods of the path, and may ask whether a copy is still good.
#[must_use]
pub fn reply(path: &str) -> HttpResponse {
    HttpResponse::NoContent()
        .insert_header((header::ALLOW, routes::allowed(path)))
        .insert_header((header::ACCESS_CONTROL_ALLOW_ORIGIN, "*"))
        .insert_header((header::ACCESS_CONTROL_ALLOW_METHODS, routes::allowed(path)))
        .insert_header((
            header::ACCESS_CONTROL_ALLOW_HEADERS,
            "accept, content-type, if-none-match",
        ))
        .insert_header((header::ACCESS_CONTROL_MAX_AGE, REMEMBER_SECONDS))
        .finish()
}
