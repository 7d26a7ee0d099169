//! Lists in the order of creation, page by page.
//!
//! Order is by entry, never by time, and a page goes on after a cursor, never from an offset: what is appended while
//! somebody turns pages moves nothing.

use super::keys::{Aspect, Cursor, Home};
use super::row::{Table, Tabled};
use super::shelf::Range;
use super::{ViewError, Views, keys};
use sled::IVec;
use std::collections::HashMap;
use std::iter::Peekable;
use uuid::Uuid;

/// How many rows one page may look at: a filter that lets nothing through must not keep the server busy.
const ROWS_LOOKED_AT_MAX: usize = 5_000;

/// Which rows a list shows.
pub type Filter<'a, T> = &'a dyn Fn(&T) -> bool;

/// One page of a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page<T> {
    /// The rows, oldest first.
    pub rows: Vec<T>,
    /// Where to go on; `None` at the end. A page may be short and still go on, since it looks at so many rows at most.
    pub next: Option<Cursor>,
}

impl Views {
    /// The rows of a table that a filter lets through, after a cursor, at most `limit`.
    ///
    /// # Errors
    /// As [`Views::row`].
    pub fn list<T: Tabled>(
        &self,
        filter: Filter<'_, T>,
        after: Option<Cursor>,
        limit: usize,
    ) -> Result<Page<T>, ViewError> {
        let first = after.map_or(0, |cursor| cursor.index);
        let mut things = Things::of(self, T::TABLE, first);
        let mut rows = Vec::new();
        let (mut last, mut looked_at) = (None, 0_usize);
        while let Some(made) = things.next_made()? {
            for (cursor, row) in made {
                if after.is_some_and(|after| cursor <= after) {
                    continue;
                }
                if rows.len() >= limit || looked_at >= ROWS_LOOKED_AT_MAX {
                    return Ok(Page { rows, next: last });
                }
                looked_at = looked_at.saturating_add(1);
                last = Some(cursor);
                let row: T = super::read_row(&row)?;
                if filter(&row) {
                    rows.push(row);
                }
            }
        }
        Ok(Page { rows, next: None })
    }
}

/// The rows of a table, entry by entry.
struct Things<'a> {
    records: Peekable<Range<'a>>,
}

impl<'a> Things<'a> {
    fn of(views: &'a Views, table: Table, since: u64) -> Self {
        let (from, end) = keys::things(table.byte(), since);
        Self {
            records: views.inner.shelf.range(from, end).peekable(),
        }
    }

    /// The rows that the next entry made, in the order in which it made them; `None` at the end.
    fn next_made(&mut self) -> Result<Option<Vec<(Cursor, IVec)>>, ViewError> {
        let mut entry = None;
        let mut rows: HashMap<Uuid, (u32, Option<IVec>)> = HashMap::new();
        while let Some(record) = self.records.next_if(|record| match record {
            Ok((key, _)) => entry.is_none_or(|entry| Home::of(key).is_some_and(|(since, ..)| since == entry)),
            Err(_) => true,
        }) {
            let (key, value) = record?;
            let (since, id, aspect) = Home::of(&key).ok_or(ViewError::Unreadable("order"))?;
            entry = Some(since);
            let row = rows.entry(id).or_default();
            match aspect {
                Aspect::Row => row.1 = Some(value),
                Aspect::Place => row.0 = keys::place(&value).ok_or(ViewError::Unreadable("order"))?,
                Aspect::Chain => {}
            }
        }
        let Some(index) = entry else { return Ok(None) };
        let rows = rows.into_values();
        let made = rows.filter_map(|(place, row)| Some((Cursor { index, place }, row?)));
        let mut made: Vec<(Cursor, IVec)> = made.collect();
        made.sort_by_key(|(cursor, _)| *cursor);
        Ok(Some(made))
    }
}
