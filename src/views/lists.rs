//! Lists in the order of creation, page by page.
//!
//! Order is by entry, never by time, and a page goes on after a cursor, never from an offset: what is appended while
//! somebody turns pages moves nothing.

use super::keys::{Cursor, Home};
use super::row::Tabled;
use super::{ViewError, Views, keys};

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
        let (from, end) = keys::rows(T::TABLE.byte(), after);
        let mut rows = Vec::new();
        let (mut last, mut looked_at) = (None, 0_usize);
        for found in self.inner.shelf.range(from, end) {
            let (key, row) = found?;
            let Some(cursor) = Home::of_row(&key) else {
                continue;
            };
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
        Ok(Page { rows, next: None })
    }
}
