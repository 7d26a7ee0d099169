//! Dates in words, by UTC. Deliberately absent: time zones; a reader elsewhere is told that it is UTC.

pub use crate::domain::instant::in_words as day;
use crate::domain::{Timestamp, instant};

/// A moment like `14 March 2026, 09:26 UTC`.
pub fn moment(at: Timestamp) -> String {
    let text = instant::write(at);
    let of_day = text.split_once('T').and_then(|(_, time)| time.get(..5));
    format!("{}, {} UTC", day(at), of_day.unwrap_or_default())
}

/// A moment for a program, as `datetime` takes it.
pub fn machine(at: Timestamp) -> String {
    instant::write(at)
}
