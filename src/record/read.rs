//! Reading an entry strictly: one spelling, nothing unknown, nothing twice.
//!
//! It judges form alone. It checks no signature and no key, and whether the events may follow one another is not asked.

use super::ENTRY_BYTES_MAX;
use super::payload::{Entry, Frame, Payload, RecordedEvent, write_payload};
use super::signature::{HEADER_AFTER_KID, HEADER_BEFORE_KID, decode_signature};
use crate::domain::{Event, OperatorId, Timestamp};
use crate::proof::Hash;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, Visitor};
use std::collections::BTreeMap;
use std::fmt;
use uuid::Uuid;

/// The longest origin of a log, bytes.
const ORIGIN_BYTES_MAX: usize = 255;
/// The last second of the year 9999.
const TIME_MAX: i64 = 253_402_300_799;

/// Why bytes are no entry.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{at}: {why}")]
pub struct Malformed {
    /// Which part.
    pub at: &'static str,
    /// The fact.
    pub why: String,
}

fn malformed(at: &'static str, why: impl Into<String>) -> Malformed {
    Malformed { at, why: why.into() }
}

/// Reads an entry.
///
/// # Errors
/// Anything that is not the one spelling of an entry, with the part and the fact.
pub fn read(bytes: &[u8]) -> Result<Entry, Malformed> {
    if bytes.len() > ENTRY_BYTES_MAX {
        return Err(malformed(
            "entry",
            format!(
                "{} bytes long, and an entry has at most {ENTRY_BYTES_MAX}",
                bytes.len()
            ),
        ));
    }
    let mut parts = bytes.split(|byte| *byte == b'.');
    let (Some(header), Some(payload), Some(signature), None) =
        (parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return Err(malformed(
            "entry",
            "it is not three parts with points between them",
        ));
    };
    let kid = read_header(header)?;
    if decode_signature(signature).is_none() {
        return Err(malformed(
            "signature",
            "it is not the canonical base64url of 64 bytes",
        ));
    }
    let text = URL_SAFE_NO_PAD
        .decode(payload)
        .map_err(|_| malformed("payload", "it is not canonical base64url"))?;
    let payload = read_payload(&text)?;
    Ok(Entry { kid, payload })
}

/// The header is one text with one gap, so it is compared and not parsed.
fn read_header(part: &[u8]) -> Result<String, Malformed> {
    let header = URL_SAFE_NO_PAD
        .decode(part)
        .map_err(|_| malformed("header", "it is not canonical base64url"))?;
    std::str::from_utf8(&header)
        .ok()
        .and_then(|text| {
            text.strip_prefix(HEADER_BEFORE_KID)?
                .strip_suffix(HEADER_AFTER_KID)
        })
        .filter(|kid| Hash::from_base64url(kid).is_some())
        .map(str::to_owned)
        .ok_or_else(|| {
            malformed(
                "header",
                "it is not exactly alg Ed25519, typ pourbook-entry+sd-jwt and a thumbprint as kid",
            )
        })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PayloadForm {
    iss: String,
    jti: Uuid,
    iat: Timestamp,
    by: OperatorId,
    #[serde(default)]
    at: Option<Timestamp>,
    #[serde(default)]
    keys: Option<Hash>,
    events: Vec<RecordedEvent>,
    prev: Prev,
    #[serde(default, rename = "_sd_alg")]
    sd_alg: Option<String>,
}

fn read_payload(text: &[u8]) -> Result<Payload, Malformed> {
    let form: PayloadForm =
        serde_json::from_slice(text).map_err(|error| malformed("payload", error.to_string()))?;
    let has_digests = form.events.iter().any(|event| !event.digests().is_empty());
    if form.sd_alg.as_deref() != has_digests.then_some("sha-256") {
        return Err(malformed(
            "_sd_alg",
            "it is sha-256 if an event has _sd, and absent if none has",
        ));
    }
    let payload = Payload {
        iss: form.iss,
        jti: form.jti,
        iat: form.iat,
        by: form.by,
        at: form.at,
        keys: form.keys,
        events: form.events,
        prev: form.prev.0,
    };
    check_values(&payload)?;
    check_digests(&payload)?;
    check_chains(&payload)?;
    check_spelling(text, &payload)?;
    Ok(payload)
}

fn check_values(payload: &Payload) -> Result<(), Malformed> {
    let graphic = payload
        .iss
        .bytes()
        .all(|byte| byte.is_ascii_graphic() && byte != b'+');
    if payload.iss.is_empty() || payload.iss.len() > ORIGIN_BYTES_MAX || !graphic {
        return Err(malformed(
            "iss",
            "it is no origin: at most 255 visible ASCII characters without +",
        ));
    }
    let is_time = |Timestamp(seconds): Timestamp| (0..=TIME_MAX).contains(&seconds);
    if !is_time(payload.iat) {
        return Err(malformed("iat", "it is outside the years 1970 to 9999"));
    }
    if payload.at.is_some_and(|at| !is_time(at)) {
        return Err(malformed("at", "it is outside the years 1970 to 9999"));
    }
    if payload.events.is_empty() {
        return Err(malformed("events", "an entry has at least one event"));
    }
    if payload.events.len() > usize::from(u16::MAX) {
        return Err(malformed("events", "there are more than can be numbered"));
    }
    Ok(())
}

/// No digest stands twice in an entry (RFC 9901, section 7.1).
fn check_digests(payload: &Payload) -> Result<(), Malformed> {
    let mut digests: Vec<&Hash> = payload.events.iter().flat_map(RecordedEvent::digests).collect();
    digests.sort_unstable();
    if digests.is_sorted_by(|a, b| a < b) {
        Ok(())
    } else {
        Err(malformed("_sd", "a digest stands twice in the entry"))
    }
}

/// `prev` names exactly the chains that the events move. An erasure and a correction also move those of the entries that
/// they name, which only the log knows.
fn check_chains(payload: &Payload) -> Result<(), Malformed> {
    let mut moved = Vec::new();
    for recorded in &payload.events {
        match recorded.event() {
            None | Some(Event::FieldErased(_) | Event::EntryCorrected(_)) => return Ok(()),
            Some(event) => moved.extend(event.subjects()),
        }
    }
    moved.sort_unstable();
    moved.dedup();
    if payload.prev.keys().eq(moved.iter()) {
        Ok(())
    } else {
        Err(malformed(
            "prev",
            "it does not name exactly the chains that the events move",
        ))
    }
}

/// The bytes must be the ones that this program would write. Of an event that it does not know it cannot say.
fn check_spelling(text: &[u8], payload: &Payload) -> Result<(), Malformed> {
    let mut events = Vec::with_capacity(payload.events.len());
    for recorded in &payload.events {
        match recorded {
            RecordedEvent::Known { event, sd } => events.push((event, sd.as_slice())),
            RecordedEvent::Unknown { .. } => return Ok(()),
        }
    }
    let frame: Frame<'_> = payload.frame();
    let mut written = Vec::with_capacity(text.len());
    write_payload(&mut written, &frame, events.into_iter());
    if written == text {
        return Ok(());
    }
    let place = written.iter().zip(text).take_while(|(a, b)| a == b).count();
    Err(malformed(
        "payload",
        format!("it is spelled another way than an entry is, from byte {place} on"),
    ))
}

/// The ends of the chains before an entry, by subject; none twice.
struct Prev(BTreeMap<Uuid, Option<Hash>>);

impl<'de> Deserialize<'de> for Prev {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct PrevVisitor;

        impl<'de> Visitor<'de> for PrevVisitor {
            type Value = Prev;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the chains that the entry moves")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Prev, A::Error> {
                let mut prev = BTreeMap::new();
                while let Some((subject, leaf)) = map.next_entry()? {
                    if prev.insert(subject, leaf).is_some() {
                        return Err(A::Error::custom("a chain stands twice in prev"));
                    }
                }
                Ok(Prev(prev))
            }
        }

        deserializer.deserialize_map(PrevVisitor)
    }
}
