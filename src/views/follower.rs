//! Following the log: the rows that each entry changed are written whole.
//!
//! Whoever replays or records hands the rows over as they were after the entry, so nothing here knows a rule, and the
//! book is held in memory once.

use super::draft::Draft;
use super::keys::{self, Aspect, Home, followed_bytes, issue_key, member_key, name_key};
use super::row::{Table, Tabled};
use super::{ViewError, Views};
use crate::domain::{Event, Piece, Row, Touched};
use crate::proof::Hash;
use crate::record::Entry;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// An entry that stands in the log, and the rows that it changed, as they were after it.
#[derive(Clone, Copy)]
pub struct Heard<'a> {
    /// Its index.
    pub index: u64,
    /// Its leaf hash.
    pub leaf: Hash,
    /// What it says.
    pub entry: &'a Entry,
    /// The rows.
    pub rows: &'a [Row],
    /// Rows that it withdrew: only a correction can.
    pub gone: &'a [Touched],
}

/// The entries of a batch that move a chain.
#[derive(Default)]
pub(super) struct Moved {
    /// Their indexes, oldest first.
    pub entries: Vec<u64>,
    /// Whether the chain begins with the first of them.
    pub is_new: bool,
}

/// How much of what the views know is held in memory for sled to be written to, bytes.
const UNSETTLED_MAX: usize = 32 * 1024 * 1024;

/// The one writer of the views.
pub struct Follower {
    views: Views,
    next: u64,
    unsettled_max: usize,
}

impl Follower {
    /// A follower that goes on where the views end.
    #[must_use]
    pub fn new(views: Views) -> Self {
        Self::holding(views, UNSETTLED_MAX)
    }

    /// One that leaves so many bytes in memory at most that sled does not have yet.
    #[must_use]
    pub fn holding(views: Views, unsettled_max: usize) -> Self {
        let next = views.position();
        Self {
            views,
            next,
            unsettled_max,
        }
    }

    /// Index of the entry that is due.
    #[must_use]
    pub const fn next(&self) -> u64 {
        self.next
    }

    /// The views that it writes.
    #[must_use]
    pub const fn views(&self) -> &Views {
        &self.views
    }

    /// Takes one entry with the rows that it changed. One that the views already hold changes nothing.
    ///
    /// # Errors
    /// As [`Follower::follow_all`].
    pub fn follow(&mut self, heard: Heard<'_>) -> Result<(), ViewError> {
        self.follow_all(&[heard])
    }

    /// Takes entries that follow one another. A row that several of them changed is written once, as the last left it,
    /// so what a busy turn costs is what it changed in the end.
    ///
    /// # Errors
    /// [`ViewError::OutOfTurn`] when one comes after the entry that is due; [`ViewError::Store`].
    pub fn follow_all(&mut self, told: &[Heard<'_>]) -> Result<(), ViewError> {
        let due = told.iter().skip_while(|told| told.index < self.next);
        let due: Vec<&Heard<'_>> = due.collect();
        for (wanted, told) in (self.next..).zip(&due) {
            if told.index != wanted {
                let found = told.index;
                return Err(ViewError::OutOfTurn { wanted, found });
            }
        }
        if let Some(last) = due.last() {
            self.views.follow(&due)?;
            self.next = last.index.saturating_add(1);
            if self.views.unsettled_bytes() > self.unsettled_max {
                self.views.settle()?;
            }
        }
        Ok(())
    }
}

impl Views {
    /// Shows what entries changed, all of it at once, then the position behind the last. Following an entry twice changes
    /// nothing.
    fn follow(&self, due: &[&Heard<'_>]) -> Result<(), ViewError> {
        let mut draft = Draft::new(&self.inner.shelf);
        draft.follow(due)?;
        let Some(last) = due.last() else { return Ok(()) };
        let end = self.position().max(last.index.saturating_add(1));
        draft.show(followed_bytes(end, Some(last.leaf)));
        self.advance(end);
        Ok(())
    }
}

impl Draft<'_> {
    fn follow(&mut self, due: &[&Heard<'_>]) -> Result<(), ViewError> {
        let mut newest: HashMap<(Table, Uuid), u64> = HashMap::new();
        for told in due {
            newest.extend(told.rows.iter().map(|row| (named(row), told.index)));
        }
        let mut chains: BTreeMap<Uuid, Moved> = BTreeMap::new();
        for told in due {
            let index = told.index;
            for touched in told.gone {
                self.forget(Table::of(*touched).1, index)?;
            }
            for row in told.rows {
                let is_newest = newest.get(&named(row)) == Some(&index);
                self.write(index, told.entry, row, is_newest)?;
            }
            for (subject, before) in &told.entry.payload.prev {
                let moved = chains.entry(*subject).or_default();
                moved.is_new |= before.is_none();
                moved.entries.push(index);
            }
            for event in told.entry.events() {
                if let Event::FieldErased(erased) = event {
                    let key = member_key(erased.index, erased.event, &erased.member);
                    self.put(&key, &[]);
                }
            }
        }
        for (subject, moved) in &chains {
            self.lengthen(*subject, moved)?;
        }
        Ok(())
    }

    fn write(&mut self, index: u64, entry: &Entry, row: &Row, is_newest: bool) -> Result<(), ViewError> {
        self.number(index, entry, row);
        match row {
            Row::Lot(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Scale(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Session(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Jar(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Series(row) => {
                if names(entry, index, row.since) {
                    self.name(b'c', row.code.as_str(), row.as_ref());
                }
                self.place(index, entry, row.as_ref(), is_newest)
            }
            Row::Melt(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Piece(row) => {
                self.name_piece(index, entry, row);
                self.place(index, entry, row.as_ref(), is_newest)
            }
            Row::Certificate(row) => {
                if names(entry, index, row.since) {
                    self.put(&issue_key(row.piece.0, row.issue), row.id().as_bytes());
                }
                self.place(index, entry, row.as_ref(), is_newest)
            }
            Row::Die(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Consignment(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Order(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Sale(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Refining(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Owner(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Stocktake(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Spot(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Quote(row) => self.place(index, entry, row.as_ref(), is_newest),
            Row::Charge(row) => self.place(index, entry, row.as_ref(), is_newest),
        }
    }

    /// The names of a piece that an entry gives it.
    fn name_piece(&mut self, index: u64, entry: &Entry, row: &Piece) {
        if names(entry, index, row.since) {
            self.name(b'p', &row.pour, row);
        }
        for photograph in &row.photographs {
            if names(entry, index, photograph.index) {
                for hash in [photograph.photograph, photograph.thumbnail] {
                    // One picture may show several pieces, so each has a name of its own for it.
                    self.name(b'h', &format!("{hash}{}", row.piece), row);
                }
            }
        }
        if let Some(serial) = &row.serial
            && (corrects(entry) || entry.events().any(|event| gives_serial(event, row)))
        {
            self.name(b's', &serial.to_string(), row);
        }
    }

    /// What is counted in the workshop is found by its number as well.
    fn number(&mut self, index: u64, entry: &Entry, row: &Row) {
        match row {
            Row::Lot(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Melt(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Consignment(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Order(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Sale(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Refining(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Stocktake(row) => self.numbered(index, entry, row.number, row.as_ref()),
            Row::Quote(row) => self.numbered(index, entry, row.number, row.as_ref()),
            _ => {}
        }
    }

    fn numbered<T: Tabled>(&mut self, index: u64, entry: &Entry, number: u32, row: &T) {
        if names(entry, index, row.since()) {
            self.name(T::TABLE.byte(), &number.to_string(), row);
        }
    }

    fn name<T: Tabled>(&mut self, kind: u8, name: &str, row: &T) {
        self.put(&name_key(kind, name), row.id().as_bytes());
    }

    /// Writes a row beside those of the things that the same entry made.
    fn place<T: Tabled>(
        &mut self,
        index: u64,
        entry: &Entry,
        row: &T,
        is_newest: bool,
    ) -> Result<(), ViewError> {
        let (table, id): (Table, Uuid) = (T::TABLE, row.id());
        let home = Home {
            table: table.byte(),
            since: row.since(),
        };
        if let Some(place) = made_at(entry, index, row.since(), id) {
            self.house(id, home)?;
            self.put(&home.key(id, Aspect::Place), &place.to_be_bytes());
        }
        self.meet(id, home);
        if is_newest {
            let written = self.put_json(&home.key(id, Aspect::Row), row);
            written.map_err(|_| ViewError::Unreadable(table.plural()))?;
        }
        Ok(())
    }

    /// Removes a row that the correction at `index` withdrew, and every way to it. Its history stays, beside the tables: that
    /// was recorded.
    fn forget(&mut self, id: Uuid, index: u64) -> Result<(), ViewError> {
        for prefix in [keys::names(), keys::issues(None)] {
            for key in self.leading_to(id, &prefix)? {
                self.remove(&key);
            }
        }
        if let Some(home) = self.home(id)? {
            for aspect in [Aspect::Row, Aspect::Place] {
                self.remove(&home.key(id, aspect));
            }
            let beside = Home {
                table: Home::WITHDRAWN,
                since: index,
            };
            self.house(id, beside)?;
        }
        Ok(())
    }
}

/// Which place in its entry the event has that made a thing: in the entry that is followed or, when that corrects the
/// one in which the thing was made, in what is said instead. `None` where the entry makes nothing of the kind.
fn made_at(entry: &Entry, index: u64, since: u64, id: Uuid) -> Option<u32> {
    let place = if since == index {
        let made = entry.events().position(|event| event.subjects().contains(&id));
        made.unwrap_or(0)
    } else {
        entry.events().find_map(|event| match event {
            Event::EntryCorrected(corrected) => {
                let restated = corrected
                    .entries
                    .iter()
                    .find(|restated| restated.index == since)?;
                let mut told = restated.events.iter();
                told.position(|restated| restated.0.subjects().contains(&id))
            }
            _ => None,
        })?
    };
    Some(u32::try_from(place).unwrap_or(u32::MAX))
}

/// Whether an entry can give or change the name that the entry at `since` gave: it is that entry, or corrects the past. A name
/// is new once only, and all other entries need not look whether it is there.
fn names(entry: &Entry, index: u64, since: u64) -> bool {
    since == index || corrects(entry)
}

fn corrects(entry: &Entry) -> bool {
    entry
        .events()
        .any(|event| matches!(event, Event::EntryCorrected(_)))
}

fn gives_serial(event: &Event, row: &Piece) -> bool {
    matches!(event, Event::PieceSerialled(given) if given.piece == row.piece)
}

fn named(row: &Row) -> (Table, Uuid) {
    fn of<T: Tabled>(row: &T) -> (Table, Uuid) {
        (T::TABLE, row.id())
    }
    match row {
        Row::Lot(row) => of(row.as_ref()),
        Row::Scale(row) => of(row.as_ref()),
        Row::Session(row) => of(row.as_ref()),
        Row::Jar(row) => of(row.as_ref()),
        Row::Series(row) => of(row.as_ref()),
        Row::Melt(row) => of(row.as_ref()),
        Row::Piece(row) => of(row.as_ref()),
        Row::Certificate(row) => of(row.as_ref()),
        Row::Die(row) => of(row.as_ref()),
        Row::Consignment(row) => of(row.as_ref()),
        Row::Order(row) => of(row.as_ref()),
        Row::Sale(row) => of(row.as_ref()),
        Row::Refining(row) => of(row.as_ref()),
        Row::Owner(row) => of(row.as_ref()),
        Row::Stocktake(row) => of(row.as_ref()),
        Row::Spot(row) => of(row.as_ref()),
        Row::Quote(row) => of(row.as_ref()),
        Row::Charge(row) => of(row.as_ref()),
    }
}
