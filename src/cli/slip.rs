//! A slip: what the machine of the book asks the machine of the root key to sign. JSON that a person can read, and
//! nothing secret in it.

use super::Failure;
use crate::domain::{Event, KeyAdded, KeyRevoked, KeySuspect};
use crate::proof::Hash;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A slip.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Slip {
    /// The version of this form.
    v: u8,
    /// The origin of the book.
    pub(super) origin: String,
    /// Leaf hash of the book's newest key entry, which the new one must name, base64url.
    keys: String,
    /// What is asked.
    pub(super) event: Asked,
}

/// A change that only the root key can make.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind")]
pub(super) enum Asked {
    #[serde(rename = "key.added")]
    Added(KeyAdded),
    #[serde(rename = "key.revoked")]
    Revoked(KeyRevoked),
    #[serde(rename = "key.suspect")]
    Suspect(KeySuspect),
}

impl Slip {
    pub(super) fn new(origin: String, newest: Hash, event: Asked) -> Self {
        Self {
            v: 1,
            origin,
            keys: newest.to_base64url(),
            event,
        }
    }

    pub(super) fn to_text(&self) -> String {
        let mut text = super::arguments::json(self);
        text.push('\n');
        text
    }

    /// Reads a slip.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(super) fn read(bytes: &[u8]) -> Result<Self, String> {
        let slip: Self = serde_json::from_slice(bytes).map_err(|why| format!("this is no slip: {why}"))?;
        if slip.v != 1 {
            return Err(format!(
                "a slip of version {} is not understood by this version",
                slip.v
            ));
        }
        slip.newest().map_err(|failure| failure.message)?;
        Ok(slip)
    }

    pub(super) fn newest(&self) -> Result<Hash, Failure> {
        Hash::from_base64url(&self.keys)
            .ok_or_else(|| Failure::unusable("this is no slip: `keys` is not a leaf hash in base64url"))
    }
}

impl Asked {
    pub(super) const fn kind(&self) -> &'static str {
        match self {
            Self::Added(_) => "key.added",
            Self::Revoked(_) => "key.revoked",
            Self::Suspect(_) => "key.suspect",
        }
    }

    pub(super) fn kid(&self) -> &str {
        match self {
            Self::Added(event) => &event.kid,
            Self::Revoked(event) => &event.kid,
            Self::Suspect(event) => &event.kid,
        }
    }

    pub(super) fn event(&self) -> Event {
        match self.clone() {
            Self::Added(event) => event.into(),
            Self::Revoked(event) => event.into(),
            Self::Suspect(event) => event.into(),
        }
    }

    pub(super) fn of(event: &Event) -> Option<Self> {
        match event {
            Event::KeyAdded(event) => Some(Self::Added(event.clone())),
            Event::KeyRevoked(event) => Some(Self::Revoked(event.clone())),
            Event::KeySuspect(event) => Some(Self::Suspect(event.clone())),
            _ => None,
        }
    }
}

impl fmt::Display for Asked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Added(event) => write!(f, "add the {} key {}", event.role, event.kid),
            Self::Revoked(event) => write!(f, "revoke the key {}", event.kid),
            Self::Suspect(event) => {
                write!(
                    f,
                    "put in doubt what the key {} signed from entry {} on",
                    event.kid, event.from
                )
            }
        }
    }
}
