//! Private members of events: free text, money, names, places, codes.
//!
//! They pass through the domain unread. In the log stands only a salted digest of each; its value can be shown to those
//! whom its audience names, and can be erased.

use crate::metal::Money;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Who may be shown a private member.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Audience {
    /// Everybody who asks the server; still erasable, and never in the public proof file.
    Public,
    /// Whoever shows the certificate code.
    Holder,
    /// Office and admin.
    Staff,
    /// The server alone: a certificate code is compared, never shown.
    Nobody,
}

/// A private member that a kind of event may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PrivateMember {
    /// Its name, unique within the event.
    pub name: &'static str,
    /// Who may be shown it.
    pub audience: Audience,
}

/// The value of one private member.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum PrivateValue {
    /// Text of at most 2,000 characters.
    Text(String),
    /// An amount of money.
    Money(Money),
}

/// The private members of one event, with their values.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Private(BTreeMap<&'static str, PrivateValue>);

impl Private {
    /// No private members.
    #[must_use]
    pub const fn none() -> Self {
        Self(BTreeMap::new())
    }

    /// With a text, if there is one.
    #[must_use]
    pub fn text(mut self, name: &'static str, value: Option<&str>) -> Self {
        if let Some(value) = value {
            self.0.insert(name, PrivateValue::Text(value.to_owned()));
        }
        self
    }

    /// With an amount, if there is one.
    #[must_use]
    pub fn money(mut self, name: &'static str, value: Option<&Money>) -> Self {
        if let Some(value) = value {
            self.0.insert(name, PrivateValue::Money(*value));
        }
        self
    }

    /// Every member that has a value, by name.
    pub fn iter(&self) -> impl Iterator<Item = (&'static str, &PrivateValue)> {
        self.0.iter().map(|(name, value)| (*name, value))
    }

    /// How many members have a value.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether no member has a value.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
