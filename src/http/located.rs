//! From a JSON tree to a type, with the JSON pointer (RFC 6901) of the member that does not fit.
//!
//! The types say what they want; this file only carries the place along. Absent: a member that is `null` where the type
//! has an optional one is refused as any other null, since "not given" has one spelling.

use super::json::segment;
use serde::Deserialize;
use serde::de::value::{StrDeserializer, StringDeserializer};
use serde::de::{DeserializeSeed, Deserializer, IntoDeserializer, MapAccess, SeqAccess, Unexpected, Visitor};
use serde::forward_to_deserialize_any;
use serde_json::{Map, Value};
use std::fmt;

/// A member that does not fit, and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit {
    /// What is wrong, for a person.
    pub detail: String,
    /// JSON pointer from where the error was made upwards; complete once it leaves [`read`].
    pub pointer: String,
}

/// Reads a type from a tree.
///
/// # Errors
/// [`Misfit`], which names the first member that does not fit.
pub fn read<'de, T: Deserialize<'de>>(value: &'de Value) -> Result<T, Misfit> {
    T::deserialize(Located(value))
}

impl Misfit {
    fn below(mut self, member: &str) -> Self {
        self.pointer.insert_str(0, &segment(member));
        self
    }
}

impl fmt::Display for Misfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.detail)
    }
}

impl std::error::Error for Misfit {}

impl serde::de::Error for Misfit {
    fn custom<T: fmt::Display>(message: T) -> Self {
        Self {
            detail: message.to_string(),
            pointer: String::new(),
        }
    }

    fn invalid_type(unexpected: Unexpected<'_>, expected: &dyn serde::de::Expected) -> Self {
        match unexpected {
            Unexpected::Unit => Self::custom(format!("is null, {expected} is needed")),
            other => Self::custom(format!("is {other}, {expected} is needed")),
        }
    }

    fn missing_field(field: &'static str) -> Self {
        Self::custom("is missing").below(field)
    }

    fn unknown_field(field: &str, expected: &'static [&'static str]) -> Self {
        Self::custom(format!(
            "is not a member that is known here; known are {}",
            expected.join(", ")
        ))
        .below(field)
    }

    fn unknown_variant(variant: &str, expected: &'static [&'static str]) -> Self {
        let shown: String = variant.chars().take(40).collect();
        Self::custom(format!("{shown:?} is none of {}", expected.join(", ")))
    }
}

struct Located<'de>(&'de Value);

impl<'de> Deserializer<'de> for Located<'de> {
    type Error = Misfit;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misfit> {
        match self.0 {
            Value::Null => visitor.visit_unit(),
            Value::Bool(value) => visitor.visit_bool(*value),
            Value::Number(number) => match (number.as_u64(), number.as_i64()) {
                (Some(value), _) => visitor.visit_u64(value),
                (None, Some(value)) => visitor.visit_i64(value),
                (None, None) => Err(serde::de::Error::invalid_type(
                    Unexpected::Other("a fraction"),
                    &visitor,
                )),
            },
            Value::String(text) => visitor.visit_borrowed_str(text),
            Value::Array(items) => visitor.visit_seq(Items { items, at: 0 }),
            Value::Object(members) => visitor.visit_map(Members {
                members: members.iter(),
                next: None,
            }),
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Misfit> {
        visitor.visit_some(self)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _name: &'static str,
        visitor: V,
    ) -> Result<V::Value, Misfit> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        name: &'static str,
        variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Misfit> {
        match self.0 {
            Value::String(text) => {
                let word: StrDeserializer<'_, Misfit> = text.as_str().into_deserializer();
                word.deserialize_enum(name, variants, visitor)
            }
            _ => Err(serde::de::Error::custom(format!(
                "must be one of the words {}",
                variants.join(", ")
            ))),
        }
    }

    forward_to_deserialize_any! {
        <V: Visitor<'de>>
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit unit_struct seq tuple
        tuple_struct map struct identifier ignored_any
    }
}

struct Items<'de> {
    items: &'de [Value],
    at: usize,
}

impl<'de> SeqAccess<'de> for Items<'de> {
    type Error = Misfit;

    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Misfit> {
        let Some(item) = self.items.get(self.at) else {
            return Ok(None);
        };
        let at = self.at.to_string();
        self.at = self.at.saturating_add(1);
        seed.deserialize(Located(item))
            .map(Some)
            .map_err(|misfit| misfit.below(&at))
    }
}

struct Members<'de> {
    members: serde_json::map::Iter<'de>,
    next: Option<(&'de String, &'de Value)>,
}

impl<'de> MapAccess<'de> for Members<'de> {
    type Error = Misfit;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Misfit> {
        self.next = self.members.next();
        let Some((name, _)) = self.next else {
            return Ok(None);
        };
        let name: StringDeserializer<Misfit> = name.clone().into_deserializer();
        seed.deserialize(name).map(Some)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Misfit> {
        let Some((name, value)) = self.next.take() else {
            return Err(serde::de::Error::custom("a value without its name"));
        };
        seed.deserialize(Located(value))
            .map_err(|misfit| misfit.below(name))
    }
}

/// Takes the object out of a tree.
///
/// # Errors
/// [`Misfit`] at the root.
pub fn object(value: Value) -> Result<Map<String, Value>, Misfit> {
    match value {
        Value::Object(members) => Ok(members),
        _ => Err(serde::de::Error::custom("must be a JSON object")),
    }
}
