//! Problems: the only errors that become replies (RFC 9457), and the page that explains each.
//!
//! A problem names the member and the fact. It says nothing of how the server is built.

use crate::domain::Refusal;
use actix_web::http::{StatusCode, header};
use actix_web::{HttpResponse, HttpResponseBuilder};
use serde_json::{Map, Value, json};

/// One problem on its way to the client.
#[derive(Clone, Debug)]
pub struct Problem {
    /// The fixed name of its kind, the last part of its `type`.
    pub code: &'static str,
    /// The HTTP status.
    pub status: StatusCode,
    /// What is wrong here and now.
    pub detail: String,
    /// Which members are wrong: what is said of each, and its JSON pointer without the `#`.
    pub errors: Vec<(String, String)>,
    /// Further members, such as the version that a subject has now.
    pub more: Map<String, Value>,
    /// Headers that the status needs.
    pub headers: Vec<(header::HeaderName, String)>,
}

macro_rules! kinds {
    ($($name:ident $code:literal $status:ident $title:literal $page:literal;)*) => {
        impl Problem {
            $(
                #[doc = $title]
                #[must_use]
                pub fn $name(detail: impl Into<String>) -> Self {
                    Self::of($code, StatusCode::$status, detail.into())
                }
            )*
        }

        /// Code, title and explanation of every kind of problem that is no refusal of the book.
        const PAGES: &[(&str, &str, &str)] = &[$(($code, $title, $page)),*];
    };
}

kinds! {
    unreadable "unreadable" BAD_REQUEST "The request cannot be read"
        "The body is not UTF-8, not JSON, nested too deep, or names a member twice; or a header or a query parameter does not have its form. Nothing was recorded.";
    code_in_address "code-in-address" BAD_REQUEST "A certificate code does not belong in an address"
        "Addresses are kept in histories and logs. Send what you look for in the body of a POST to /v1/find: that takes codes as well.";
    key_missing "idempotency-key-missing" BAD_REQUEST "The request has no Idempotency-Key"
        "Every request that records something carries an Idempotency-Key header with a fresh UUID, bare or in quotes. If the answer is lost, send the same request with the same key: it is recorded once.";
    unauthorized "unauthorized" UNAUTHORIZED "A valid token is needed"
        "Send the token as Authorization: Bearer. A token that is not known, that has expired or that was revoked is refused alike.";
    forbidden "forbidden" FORBIDDEN "The role of this token may not do that"
        "Bench, office, auditor and admin each have their part; the API's description says which role may call what.";
    not_found "not-found" NOT_FOUND "There is nothing at this address"
        "The address, or the thing that it names, is not known.";
    serial_unknown "serial-unknown" NOT_FOUND "No piece has this serial"
        "The serial has the right form, but this book has given it to no piece.";
    serial_form "serial-form" UNPROCESSABLE_ENTITY "This is not a serial"
        "A serial is a code of 2 to 4 letters, a number of 4 to 6 digits and two check digits, like TW-0007-65. Case, spaces and hyphens do not matter.";
    serial_slip "serial-slip" UNPROCESSABLE_ENTITY "The check digits do not fit"
        "One character is wrong, or two are swapped: read the serial again from the piece or the certificate. The check digits (ISO/IEC 7064 MOD 97-10) catch the slip but cannot tell which character it is, and no guess is made.";
    code_form "code-form" UNPROCESSABLE_ENTITY "This is not a certificate code"
        "A certificate code has 11 letters and digits, without I, L, O and U. Case, spaces and hyphens do not matter.";
    code_slip "code-slip" UNPROCESSABLE_ENTITY "There is a slip in the certificate code"
        "The last character of a code (ISO/IEC 7064 MOD 37,36) does not fit the rest. Such a code is not looked up, and not counted.";
    too_many_codes "too-many-codes" TOO_MANY_REQUESTS "Too many certificate codes were tried"
        "Codes are tried only so often from one address and for one serial, so that nobody can guess. Wait as Retry-After says.";
    issue_unknown "issue-unknown" NOT_FOUND "This issue of the certificate was never made"
        "The record knows the serial, but no issue of its certificate has this number.";
    does_not_hold "does-not-hold" INTERNAL_SERVER_ERROR "The record does not hold"
        "The server checks a record before it shows it, and a step of the check failed. Nothing of it should be relied on.";
    gone "print-gone" GONE "It can no longer be made"
        "What was printed is not kept, since it holds the code of the certificate; it is made again from the record. Something that it was made from has been erased since, so its bytes cannot be made any more. The paper that exists is what it was.";
    no_address "address-missing" CONFLICT "The book has no address"
        "A certificate carries a QR code to the page of its piece. Set `address` in pourbook.toml to where the book is reached from outside, then print.";
    unprintable "unprintable" CONFLICT "It cannot be set in type"
        "A name or a title has a character that the fonts of the certificate lack, or is too long for its place; or the code of the certificate was erased. The detail says which.";
    method "method-not-allowed" METHOD_NOT_ALLOWED "This address does not take that method"
        "The Allow header names the methods that it takes.";
    not_acceptable "not-acceptable" NOT_ACCEPTABLE "What stands here has another media type"
        "The Accept header takes none of the media types in which this address answers. The API's description names them. Nothing was recorded.";
    too_often "too-often" TOO_MANY_REQUESTS "This address asks too often"
        "The public side answers one address only so often. Wait as Retry-After says. What never changes, such as a full tile, need not be fetched twice.";
    wrong_tokens "too-many-wrong-tokens" TOO_MANY_REQUESTS "This address has sent too many wrong tokens"
        "Tokens that are not known, that have expired or that were revoked came too often from one address. Wait as Retry-After says. A token that is right is taken meanwhile.";
    timeout "body-too-slow" REQUEST_TIMEOUT "The body did not arrive in time"
        "The whole body must arrive within a few seconds. Nothing was recorded.";
    stale "stale" PRECONDITION_FAILED "It has changed since you read it"
        "The version that you named is not the version that it has now. Read it again, look at what changed, and decide anew. Nothing was recorded.";
    too_large "body-too-large" PAYLOAD_TOO_LARGE "The body is too large"
        "A body may have at most 256 KiB. Split the command.";
    photograph_too_large "photograph-too-large" PAYLOAD_TOO_LARGE "The picture is too large"
        "A picture may be sent with at most 20 MiB. Nothing was recorded.";
    photograph_unusable "photograph-unusable" UNPROCESSABLE_ENTITY "The picture cannot be kept"
        "A photograph is a JPEG, PNG or WebP by its bytes, whole, still, and of at most 50 megapixels; the detail says what this one is instead. It was not kept, and nothing was recorded.";
    photograph_lost "photograph-lost" INTERNAL_SERVER_ERROR "The file of the photograph is missing or damaged"
        "The record names this photograph, but its file is missing or has other bytes than the record says. The record stands. The workshop can put the file back from a copy: its name is the SHA-256 of its bytes.";
    media "media-type" UNSUPPORTED_MEDIA_TYPE "The body has the wrong media type"
        "Commands are application/json, key entries text/plain, photographs image/jpeg, image/png or image/webp, without a content encoding.";
    invalid "invalid" UNPROCESSABLE_ENTITY "A member does not fit"
        "The body is JSON, but a member is missing, unknown, or not what it should be; the errors name each by its JSON pointer. Nothing was recorded.";
    key_reused "idempotency-key-reused" UNPROCESSABLE_ENTITY "The key was used for other content"
        "The same Idempotency-Key came before with another command or from another operator. Use a fresh key for a new command.";
    precondition "precondition-required" PRECONDITION_REQUIRED "If-Match is needed"
        "A command about something that exists carries If-Match with the ETag that you read, so that nobody decides on what has changed meanwhile.";
    internal "internal" INTERNAL_SERVER_ERROR "The server failed"
        "Something is wrong with the server or its files. Whether the command was recorded can be found out by sending it again with the same key.";
    busy "busy" SERVICE_UNAVAILABLE "Too much is waiting"
        "The queue is full, or the answer took too long. Wait as Retry-After says and send the same request with the same key.";
    clock "clock" SERVICE_UNAVAILABLE "The clock is not to be trusted"
        "The clock stands before the last entry or far after it, so nothing is recorded until an admin has looked at it and recorded that it is right.";
    closing "closing" SERVICE_UNAVAILABLE "The server is stopping"
        "Nothing more is taken. Send the same request with the same key when it runs again.";
    not_released "not-released" SERVICE_UNAVAILABLE "There is no checkpoint yet that covers it"
        "A checkpoint is released about once a second. Ask again.";
}

/// Refusals that no state of the book could allow: the command itself is impossible.
const IMPOSSIBLE: &[&str] = &[
    "nothing-named",
    "named-twice",
    "too-many",
    "entry-too-long",
    "text-too-long",
    "zero-mass",
    "scale-impossible",
    "series-impossible",
    "fineness-impossible",
    "alloy-fineness",
    "line-impossible",
    "marks-missing",
    "nothing-promised",
    "witness-missing",
    "spot-not-positive",
    "price-impossible",
    "charge-impossible",
    "photograph-impossible",
    "not-made",
];

impl Problem {
    fn of(code: &'static str, status: StatusCode, detail: String) -> Self {
        Self {
            code,
            status,
            detail,
            errors: Vec::new(),
            more: Map::new(),
            headers: Vec::new(),
        }
    }

    /// A refusal of the book: 422 if it could never be otherwise, else 409.
    #[must_use]
    pub fn refused(refusal: &Refusal) -> Self {
        let code = refusal.code();
        let status = if IMPOSSIBLE.contains(&code) {
            StatusCode::UNPROCESSABLE_ENTITY
        } else {
            StatusCode::CONFLICT
        };
        Self::of(code, status, refusal.to_string())
    }

    /// With a member that is wrong, by its JSON pointer.
    #[must_use]
    pub fn at(mut self, pointer: impl Into<String>) -> Self {
        self.errors.push((self.detail.clone(), pointer.into()));
        self
    }

    /// With a header.
    #[must_use]
    pub fn with(mut self, name: header::HeaderName, value: impl Into<String>) -> Self {
        self.headers.push((name, value.into()));
        self
    }

    /// With a further member.
    #[must_use]
    pub fn and(mut self, name: &str, value: impl Into<Value>) -> Self {
        self.more.insert(name.to_owned(), value.into());
        self
    }

    /// The reply. `address` is where the server is reached from outside; the `type` stands below it.
    #[must_use]
    pub fn reply(&self, address: &str) -> HttpResponse {
        let mut body = self.more.clone();
        body.insert("type".into(), json!(format!("{address}/problems/{}", self.code)));
        body.insert("title".into(), json!(title(self.code)));
        body.insert("status".into(), json!(self.status.as_u16()));
        // What failed inside is for the server's own log.
        let detail = if self.code == "internal" {
            "the server failed; its own log says more"
        } else {
            &self.detail
        };
        body.insert("detail".into(), json!(detail));
        if !self.errors.is_empty() {
            let errors = self.errors.iter();
            let errors: Vec<Value> = errors
                .map(|(detail, pointer)| json!({"detail": detail, "pointer": format!("#{}", fragment(pointer))}))
                .collect();
            body.insert("errors".into(), Value::Array(errors));
        }
        let mut reply = HttpResponseBuilder::new(self.status);
        reply.content_type("application/problem+json");
        reply.insert_header((header::CACHE_CONTROL, "no-store"));
        for (name, value) in &self.headers {
            reply.insert_header((name.clone(), value.as_str()));
        }
        reply.body(Value::Object(body).to_string())
    }
}

/// A JSON pointer as a URI fragment (RFC 6901 section 6).
fn fragment(pointer: &str) -> String {
    let mut text = String::new();
    for byte in pointer.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'_' | b'.' | b'~' => {
                text.push(char::from(byte))
            }
            other => text.push_str(&format!("%{other:02X}")),
        }
    }
    text
}

/// The fixed title of a kind of problem.
#[must_use]
pub fn title(code: &str) -> String {
    if let Some((_, title, _)) = PAGES.iter().find(|(known, ..)| *known == code) {
        return (*title).to_owned();
    }
    format!("Refused: {}", code.replace('-', " "))
}

/// The page of a kind of problem; `None` for a code that does not exist.
#[must_use]
pub fn page(code: &str) -> Option<String> {
    let explained = PAGES
        .iter()
        .find(|(known, ..)| *known == code)
        .map(|(_, _, page)| *page);
    let impossible = "The book refuses the command, whatever else it holds: as it stands, it cannot be. The detail of the \
                      reply names the fact, its errors the member. Nothing was recorded.";
    let refusal = "The book refuses the command: the detail of the reply names the fact that forbids it, its errors the \
                   member. Nothing was recorded. When the fact has changed, the same command may be sent again.";
    let text = match explained {
        Some(text) => text,
        None if !Refusal::CODES.contains(&code) => return None,
        None if IMPOSSIBLE.contains(&code) => impossible,
        None => refusal,
    };
    let title = title(code);
    let says = Refusal::MESSAGES.iter().find(|(known, _)| *known == code);
    let says = says.map_or_else(String::new, |(_, says)| {
        format!("<p>It says: <q>{}</q></p>\n", escape(says))
    });
    Some(format!(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width\">\n<title>{title}</title>\n<h1>{title}</h1>\n<p><code>{code}</code></p>\n\
         {says}<p>{text}</p>\n</html>\n"
    ))
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// Every code of a problem.
pub fn codes() -> impl Iterator<Item = &'static str> {
    PAGES
        .iter()
        .map(|(code, ..)| *code)
        .chain(Refusal::CODES.iter().copied())
}
