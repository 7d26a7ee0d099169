//! The event that corrects earlier entries: what they said stays, what holds instead stands here.

use super::Event;
use crate::domain::CorrectionReason;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Error, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use uuid::Uuid;

/// Entries were corrected. Every entry whose events differ by it is named, with all that it says from now on: so whoever
/// replays the log only puts these events in place of the others.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EntryCorrected {
    /// The entries, in the order of the log.
    pub entries: Vec<Restated>,
    /// Why.
    pub reason: CorrectionReason,
}

/// What an entry says from now on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Restated {
    /// Index of the entry.
    pub index: u64,
    /// Leaf hash of the entry, base64url.
    pub entry: String,
    /// Whether somebody asked for it; else it follows from what was asked.
    pub asked: bool,
    /// Its events; none where it is withdrawn.
    pub events: Vec<Told>,
}

/// An event inside another one, with its kind and version, and without digests: private members stay those of the event
/// that stood in its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told(pub Event);

impl EntryCorrected {
    /// The chains of all events that hold from now on.
    pub(super) fn subjects(&self) -> Vec<Uuid> {
        let events = self.entries.iter().flat_map(|restated| &restated.events);
        events.flat_map(|told| told.0.subjects()).collect()
    }
}

impl Serialize for Told {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Form<'a> {
            kind: &'a str,
            v: u8,
            #[serde(flatten)]
            members: &'a Event,
        }
        let (kind, v, members) = (self.0.kind(), 1, &self.0);
        Form { kind, v, members }.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Told {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct ToldVisitor;

        impl<'de> Visitor<'de> for ToldVisitor {
            type Value = Told;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an event with its kind and version first")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Told, A::Error> {
                let kind = match map.next_entry::<String, String>()? {
                    Some((member, kind)) if member == "kind" => kind,
                    _ => return Err(A::Error::custom("an event begins with its kind")),
                };
                match map.next_entry::<String, u64>()? {
                    Some((member, 1)) if member == "v" => {}
                    _ => return Err(A::Error::custom("an event's kind is followed by its version, 1")),
                }
                let event = Event::from_members(&kind, MapAccessDeserializer::new(map))
                    .ok_or_else(|| A::Error::custom(format_args!("{kind} is no kind of event")))??;
                Ok(Told(event))
            }
        }

        deserializer.deserialize_map(ToldVisitor)
    }
}
