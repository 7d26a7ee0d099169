//! What goes into a charge and what could be added, and the texts that people and programs write for it.

use crate::metal::digits::{Unreadable, quote, serde_as_text};
use crate::metal::fineness::Fineness;
use crate::metal::mass::Mass;

/// The fineness of something that goes into a charge: parts per thousand, or the word `alloy` for none of the metal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Content(pub Fineness);

impl std::str::FromStr for Content {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        match text {
            "alloy" => Ok(Self(Fineness::ZERO)),
            other => other.parse().map(Self),
        }
    }
}

impl std::fmt::Display for Content {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            Fineness::ZERO => f.write_str("alloy"),
            fineness => fineness.fmt(f),
        }
    }
}

serde_as_text!(Content);

/// Something that goes into a charge; as text, grams and fineness, `300@998.6`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Grams.
    pub mass: Mass,
    /// Parts per thousand, or `alloy`.
    pub fineness: Content,
}

impl std::str::FromStr for Part {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let (mass, fineness) = text
            .split_once('@')
            .ok_or_else(|| Unreadable::NotAPart(quote(text)))?;
        Ok(Self {
            mass: mass.parse()?,
            fineness: fineness.parse()?,
        })
    }
}

impl std::fmt::Display for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}@{}", self.mass, self.fineness)
    }
}

serde_as_text!(Part);

/// Metal that could be added; as text `999.9`, `120.5@999.9` or `feed=120.5@999.9`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lot {
    /// What it is called, if it has a name.
    pub name: Option<String>,
    /// Parts per thousand, or `alloy`.
    pub fineness: Content,
    /// How much of it there is, grams; as much as it takes if nothing is said.
    pub left: Option<Mass>,
}

impl std::str::FromStr for Lot {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let (name, rest) = text
            .rsplit_once('=')
            .map_or((None, text), |(name, rest)| (Some(name), rest));
        let (left, fineness) = rest
            .split_once('@')
            .map_or((None, rest), |(left, rest)| (Some(left), rest));
        Ok(Self {
            name: name.map(str::to_owned),
            fineness: fineness.parse()?,
            left: left.map(str::parse).transpose()?,
        })
    }
}

impl std::fmt::Display for Lot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(name) = &self.name {
            write!(f, "{name}=")?;
        }
        if let Some(left) = self.left {
            write!(f, "{left}@")?;
        }
        self.fineness.fmt(f)
    }
}

serde_as_text!(Lot);
