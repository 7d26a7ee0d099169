//! Reading JSON strictly: UTF-8, no member twice, not too deep, no number that is not whole.
//!
//! What comes out is a plain tree of `serde_json` values; [`super::located`] reads types from it and names the member that
//! does not fit. Deliberately absent: any repair.

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};
use std::fmt;

/// How deep arrays and objects may stand in each other.
const DEPTH_MAX: usize = 16;

/// Why bytes are not the JSON that we read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// What is wrong, for a person.
    pub detail: String,
    /// JSON pointer (RFC 6901) of the place, where there is one.
    pub pointer: Option<String>,
}

/// Reads one JSON value and nothing after it.
///
/// # Errors
/// [`Unreadable`], which says where.
pub fn read(bytes: &[u8]) -> Result<Value, Unreadable> {
    let text = std::str::from_utf8(bytes).map_err(|error| Unreadable {
        detail: format!("byte {} is not UTF-8", error.valid_up_to()),
        pointer: None,
    })?;
    let mut fault = None;
    let mut deserializer = serde_json::Deserializer::from_str(text);
    let strict = Strict {
        pointer: String::new(),
        depth: 0,
        fault: &mut fault,
    };
    let read = strict
        .deserialize(&mut deserializer)
        .and_then(|value| deserializer.end().map(|()| value));
    read.map_err(|error| {
        fault.unwrap_or_else(|| Unreadable {
            detail: format!("is not JSON: {error}"),
            pointer: None,
        })
    })
}

/// One segment of a JSON pointer.
#[must_use]
pub fn segment(member: &str) -> String {
    format!("/{}", member.replace('~', "~0").replace('/', "~1"))
}

struct Strict<'a> {
    pointer: String,
    depth: usize,
    /// The fault that we found ourselves: `serde_json` keeps only its text.
    fault: &'a mut Option<Unreadable>,
}

impl Strict<'_> {
    fn refuse<E: serde::de::Error>(&mut self, detail: String) -> E {
        *self.fault = Some(Unreadable {
            detail: detail.clone(),
            pointer: Some(self.pointer.clone()),
        });
        E::custom(detail)
    }

    fn below(&mut self, member: &str) -> Strict<'_> {
        Strict {
            pointer: format!("{}{}", self.pointer, segment(member)),
            depth: self.depth.saturating_add(1),
            fault: self.fault,
        }
    }
}

impl<'de> DeserializeSeed<'de> for Strict<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(mut self, deserializer: D) -> Result<Value, D::Error> {
        if self.depth > DEPTH_MAX {
            return Err(self.refuse(format!("is nested more than {DEPTH_MAX} deep")));
        }
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    /// `508.0` is a whole number to a JSON Schema, so it is one here; a real fraction is refused, since no quantity is
    /// written as a JSON number.
    fn visit_f64<E: serde::de::Error>(mut self, value: f64) -> Result<Value, E> {
        match value.to_string().parse::<i64>() {
            Ok(whole) => Ok(Value::Number(Number::from(whole))),
            Err(_) => {
                Err(self.refuse("is a number with a fraction or beyond 64 bits: quantities are text".into()))
            }
        }
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(mut self, mut seq: A) -> Result<Value, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = seq.next_element_seed(self.below(&items.len().to_string()))? {
            items.push(item);
        }
        Ok(Value::Array(items))
    }

    fn visit_map<A: MapAccess<'de>>(mut self, mut map: A) -> Result<Value, A::Error> {
        let mut members = Map::new();
        while let Some(name) = map.next_key::<String>()? {
            if members.contains_key(&name) {
                let mut place = self.below(&name);
                return Err(place.refuse(format!("{name:?} is given twice")));
            }
            let value = map.next_value_seed(self.below(&name))?;
            members.insert(name, value);
        }
        Ok(Value::Object(members))
    }
}
