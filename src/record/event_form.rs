//! One event between its struct and its bytes: `kind` and `v` first, then its members, then `_sd`.
//!
//! Since `kind` and `v` come first, an event is read in one pass, straight into its struct. Deliberately absent: any
//! tree of JSON values.

use super::payload::{RecordedEvent, write_hash, write_json};
use crate::domain::Event;
use crate::proof::Hash;
use serde::de::value::MapAccessDeserializer;
use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, de};
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::fmt;

/// The version that this program writes of every kind, and the only one that it knows.
const VERSION: u64 = 1;
/// The longest name of a kind, bytes.
const KIND_BYTES_MAX: usize = 64;

/// Writes an event; nothing is serialised twice.
pub(super) fn write_event(out: &mut Vec<u8>, event: &Event, sd: &[Hash]) {
    out.extend_from_slice(br#"{"kind":""#);
    out.extend_from_slice(event.kind().as_bytes());
    out.extend_from_slice(br#"","v":1"#);
    let members = out.len();
    write_json(out, event);
    // The members were written as an object of their own; its brace becomes the comma after `v`.
    if let Some(brace) = out.get_mut(members) {
        *brace = b',';
    }
    if !sd.is_empty() {
        let closing = out.pop();
        assert!(
            closing == Some(b'}'),
            "an event is written as an object, so it ends with a brace"
        );
        out.extend_from_slice(br#","_sd":["#);
        for (number, digest) in sd.iter().enumerate() {
            if number > 0 {
                out.push(b',');
            }
            write_hash(out, digest);
        }
        out.extend_from_slice(b"]}");
    }
}

impl<'de> Deserialize<'de> for RecordedEvent {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(EventVisitor)
    }
}

/// A member's name or a kind, borrowed where the JSON has no escapes.
struct Text<'de>(Cow<'de, str>);

impl<'de> Deserialize<'de> for Text<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TextVisitor;

        impl<'de> Visitor<'de> for TextVisitor {
            type Value = Text<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a text")
            }

            fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Text<'de>, E> {
                Ok(Text(Cow::Borrowed(text)))
            }

            fn visit_str<E>(self, text: &str) -> Result<Text<'de>, E> {
                Ok(Text(Cow::Owned(text.to_owned())))
            }
        }

        deserializer.deserialize_str(TextVisitor)
    }
}

struct EventVisitor;

impl<'de> Visitor<'de> for EventVisitor {
    type Value = RecordedEvent;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an event")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<RecordedEvent, A::Error> {
        expect_key(&mut map, "kind")?;
        let Text(kind) = map.next_value()?;
        if !is_kind(&kind) {
            return Err(A::Error::custom("a kind is subject.verb in small letters"));
        }
        expect_key(&mut map, "v")?;
        let v: u64 = map.next_value()?;
        if v == 0 {
            return Err(A::Error::custom("a version is at least 1"));
        }
        let mut sd = None;
        let members = Members {
            map: &mut map,
            sd: &mut sd,
        };
        let slots = Event::digest_slots(&kind);
        let known = if v == VERSION && Event::KINDS.contains(&&*kind) {
            Event::from_members(&kind, MapAccessDeserializer::new(members)).transpose()?
        } else {
            MapAccessDeserializer::new(members).deserialize_map(Strict)?;
            None
        };
        let sd = sd.unwrap_or_default();
        match known {
            Some(_) if sd.len() != slots => Err(A::Error::custom(format_args!(
                "{kind} has {slots} digests in _sd, not {}",
                sd.len()
            ))),
            Some(event) => Ok(RecordedEvent::Known { event, sd }),
            None => Ok(RecordedEvent::Unknown {
                kind: kind.into_owned(),
                v,
                sd,
            }),
        }
    }
}

fn is_kind(kind: &str) -> bool {
    let word = |word: &str| !word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
    kind.len() <= KIND_BYTES_MAX
        && kind
            .split_once('.')
            .is_some_and(|(subject, verb)| word(subject) && word(verb))
}

fn expect_key<'de, A: MapAccess<'de>>(map: &mut A, name: &str) -> Result<(), A::Error> {
    match map.next_key::<Text<'de>>()? {
        Some(Text(key)) if key == name => Ok(()),
        _ => Err(A::Error::custom("an event begins with kind and v")),
    }
}

/// The members of an event after `v`, with `_sd` taken out on the way.
struct Members<'a, A> {
    map: &'a mut A,
    sd: &'a mut Option<Vec<Hash>>,
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for Members<'_, A> {
    type Error = A::Error;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, A::Error> {
        let Some(Text(mut key)) = self.map.next_key()? else {
            return Ok(None);
        };
        while key == "_sd" {
            let Digests(digests) = self.map.next_value()?;
            if self.sd.replace(digests).is_some() {
                return Err(A::Error::custom("duplicate field `_sd`"));
            }
            match self.map.next_key()? {
                Some(Text(next)) => key = next,
                None => return Ok(None),
            }
        }
        let key: de::value::CowStrDeserializer<'de, A::Error> = de::IntoDeserializer::into_deserializer(key);
        seed.deserialize(key).map(Some)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}

/// The digests of an event: sorted by their text, none twice.
struct Digests(Vec<Hash>);

impl<'de> Deserialize<'de> for Digests {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let digests = Vec::<Hash>::deserialize(deserializer)?;
        if digests.is_empty() {
            return Err(D::Error::custom("_sd without a digest is left out"));
        }
        if !is_sorted_as_text(&digests) {
            return Err(D::Error::custom("the digests in _sd are sorted, none twice"));
        }
        Ok(Self(digests))
    }
}

/// The order in which digests stand in `_sd`: that of their text, which is not that of their bytes.
pub(super) fn sort_as_text(digests: &mut [Hash]) {
    digests.sort_by_cached_key(Hash::to_base64url);
}

fn is_sorted_as_text(digests: &[Hash]) -> bool {
    digests.is_sorted_by(|a, b| a != b && a.to_base64url() < b.to_base64url())
}

/// Reads what it does not know, and still refuses duplicate keys and floats at any depth, which the ready-made way of
/// ignoring a value would let pass.
#[derive(Clone, Copy)]
struct Strict;

impl<'de> DeserializeSeed<'de> for Strict {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value without fractions")
    }

    fn visit_bool<E>(self, _: bool) -> Result<(), E> {
        Ok(())
    }

    fn visit_i64<E>(self, _: i64) -> Result<(), E> {
        Ok(())
    }

    fn visit_u64<E>(self, _: u64) -> Result<(), E> {
        Ok(())
    }

    fn visit_str<E>(self, _: &str) -> Result<(), E> {
        Ok(())
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<(), A::Error> {
        while seq.next_element_seed(self)?.is_some() {}
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let mut seen = BTreeSet::new();
        while let Some(Text(key)) = map.next_key()? {
            map.next_value_seed(self)?;
            if !seen.insert(key) {
                return Err(A::Error::custom("a key stands twice"));
            }
        }
        Ok(())
    }
}
