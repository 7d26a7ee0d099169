//! Lists in the order of creation, page by page.
//!
//! Order is by entry, never by time, and a page goes on after a cursor, never from an offset: what is appended while
//! somebody turns pages moves nothing.

use super::keys::Cursor;
use super::row::Tabled;
use super::{ViewError, Views, keys, row_key};
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
        let table = T::TABLE.byte();
        let mut rows = Vec::new();
        let mut last = None;
        for (looked_at, found) in self.inner.order.range(order_range(table, after)).enumerate() {
            if rows.len() >= limit || looked_at >= ROWS_LOOKED_AT_MAX {
                return Ok(Page { rows, next: last });
            }
            let (key, id) = found?;
            last = key
                .split_at_checked(1)
                .and_then(|(_, tail)| Cursor::from_key(tail));
            let id: Uuid = keys::id(&id).ok_or(ViewError::Unreadable("order"))?;
            let bytes = self.inner.rows.get(row_key(T::TABLE, id))?;
            let bytes = bytes.ok_or(ViewError::Unreadable("order"))?;
            let row: T = super::read_row(&bytes)?;
            if filter(&row) {
                rows.push(row);
            }
        }
        Ok(Page { rows, next: None })
    }
}

/// The keys of one table after a cursor.
fn order_range(table: u8, after: Option<Cursor>) -> (std::ops::Bound<Vec<u8>>, std::ops::Bound<Vec<u8>>) {
    use std::ops::Bound::{Excluded, Included};
    let end = Excluded(vec![table.saturating_add(1)]);
    match after {
        Some(cursor) => (Excluded(order_key(table, cursor)), end),
        None => (Included(vec![table]), end),
    }
}

/// The key of one row in the order of its table.
pub(super) fn order_key(table: u8, cursor: Cursor) -> Vec<u8> {
    std::iter::once(table).chain(cursor.key()).collect()
}
