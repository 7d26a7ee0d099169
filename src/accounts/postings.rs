//! Double entry: every movement of metal leaves one heading and enters another, and names the entry that tells of it.
//!
//! Postings follow the events alone and ask no book, so they are a second way to every figure of the statement; the two are
//! held against each other whenever a statement is asked for. An event about something that was never told of posts
//! nothing, and then the two differ. Whatever bears mass posts a movement even when nothing has changed, such as a weighing
//! that shows what the last one showed, so that an event told twice can be counted.

mod following;
mod jar;
mod piece;

use super::{Emptying, Heading};
use crate::domain::{Amount, JarId, LotId, MeltId, PieceId, RefiningId};
use crate::metal::{FineMass, Fineness, MassDifference, Metal};
use following::Known;
use serde::Serialize;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a movement is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", content = "id", rename_all = "lowercase")]
pub enum Subject {
    /// A lot.
    Lot(LotId),
    /// A melt.
    Melt(MeltId),
    /// A jar.
    Jar(JarId),
    /// A piece.
    Piece(PieceId),
    /// What was sent to the refiner at one time.
    Refining(RefiningId),
}

impl Subject {
    /// Its id.
    #[must_use]
    pub const fn id(self) -> Uuid {
        match self {
            Self::Lot(id) => id.0,
            Self::Melt(id) => id.0,
            Self::Jar(id) => id.0,
            Self::Piece(id) => id.0,
            Self::Refining(id) => id.0,
        }
    }
}

/// One movement of metal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Posting {
    /// The metal.
    pub metal: Metal,
    /// The heading that it leaves.
    pub from: Heading,
    /// The heading that it enters.
    pub to: Heading,
    /// How much, in steps of 10 micrograms; below zero it goes the other way.
    pub units: i64,
    /// The fine metal in it, picograms.
    pub picograms: i128,
    /// Index of the entry.
    pub index: u64,
    /// Which event of the entry, counted from 0, of those that it says now.
    pub event: u16,
    /// What moved.
    pub subject: Subject,
}

/// A movement as it stands under one heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Leg<'a> {
    /// The movement.
    pub posting: &'a Posting,
    /// What it adds to the figure of the heading.
    pub amount: Amount,
}

/// What stands under one heading of one metal.
#[derive(Clone, Debug, Default)]
struct Account {
    units: i128,
    picograms: i128,
    /// Places of the movements, and whether each one left.
    legs: Vec<(u32, bool)>,
}

/// All movements of a log, as far as it was followed.
#[derive(Clone, Debug, Default)]
pub struct Postings {
    all: Vec<Posting>,
    accounts: BTreeMap<(Metal, Heading), Account>,
    known: Known,
    emptyings: Vec<Emptying>,
    /// The entry and the event that are followed now.
    at: (u64, u16),
}

impl Postings {
    /// All movements, in the order of the log.
    #[must_use]
    pub fn all(&self) -> &[Posting] {
        &self.all
    }

    /// Every emptying of a jar whose content is metal in the book, oldest first.
    #[must_use]
    pub fn emptyings(&self) -> &[Emptying] {
        &self.emptyings
    }

    /// The figure of a heading: what came in is counted as it leaves the outside. `None` beyond what can be written.
    #[must_use]
    pub fn amount(&self, metal: Metal, heading: Heading) -> Option<Amount> {
        let Some(account) = self.accounts.get(&(metal, heading)) else {
            return Some(Amount::default());
        };
        amount(heading, account.units, account.picograms)
    }

    /// How many movements stand under a heading.
    #[must_use]
    pub fn count(&self, metal: Metal, heading: Heading) -> usize {
        let account = self.accounts.get(&(metal, heading));
        account.map_or(0, |account| account.legs.len())
    }

    /// The movements under a heading from a place on, oldest first.
    pub fn under(&self, metal: Metal, heading: Heading, from: usize) -> impl Iterator<Item = Leg<'_>> {
        let legs = self.accounts.get(&(metal, heading));
        let legs = legs
            .and_then(|account| account.legs.get(from..))
            .unwrap_or_default();
        legs.iter().filter_map(move |(place, left)| {
            let posting = self.all.get(usize::try_from(*place).ok()?)?;
            let sign = if *left { -1 } else { 1 };
            let (units, picograms) = (i128::from(posting.units) * sign, posting.picograms * sign);
            let amount = amount(heading, units, picograms)?;
            Some(Leg { posting, amount })
        })
    }

    /// Moves a mass at one fineness.
    fn shift(
        &mut self,
        metal: Metal,
        (from, to): (Heading, Heading),
        units: i64,
        fineness: Fineness,
        subject: Subject,
    ) {
        let picograms = fine(units, fineness);
        self.post(metal, (from, to), (units, picograms), subject);
    }

    /// What is reckoned as less fine metal from now on, without a gram moving; below zero as more.
    fn revalue(&mut self, metal: Metal, of: Heading, picograms: i128, subject: Subject) {
        if picograms != 0 {
            self.post(metal, (of, Heading::Revaluation), (0, picograms), subject);
        }
    }

    fn post(
        &mut self,
        metal: Metal,
        (from, to): (Heading, Heading),
        (units, picograms): (i64, i128),
        subject: Subject,
    ) {
        let Ok(place) = u32::try_from(self.all.len()) else {
            return;
        };
        let (index, event) = self.at;
        self.all.push(Posting {
            metal,
            from,
            to,
            units,
            picograms,
            index,
            event,
            subject,
        });
        for (heading, left) in [(from, true), (to, false)] {
            let sign = if left { -1 } else { 1 };
            let account = self.accounts.entry((metal, heading)).or_default();
            account.units = account.units.saturating_add(i128::from(units) * sign);
            account.picograms = account.picograms.saturating_add(picograms * sign);
            account.legs.push((place, left));
        }
    }
}

/// The fine metal in a mass, picograms.
fn fine(units: i64, fineness: Fineness) -> i128 {
    i128::from(units) * i128::from(fineness.units())
}

fn amount(heading: Heading, units: i128, picograms: i128) -> Option<Amount> {
    let sign = if heading.is_receipt() { -1 } else { 1 };
    Some(Amount {
        mass: MassDifference::from_units(i64::try_from(units * sign).ok()?)?,
        fine: FineMass::from_picograms(picograms * sign)?,
    })
}
