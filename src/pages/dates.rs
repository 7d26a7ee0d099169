//! Dates in words, by UTC. Deliberately absent: time zones; a reader elsewhere is told that it is UTC.

use crate::domain::{Date, Timestamp, instant};

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A day like `14 March 2026`.
pub fn day(at: Timestamp) -> String {
    let text = Date::of(at).map_or_else(String::new, |day| day.to_string());
    let mut parts = text.split('-');
    let (year, month, day) = (parts.next(), parts.next(), parts.next());
    let month = month.and_then(|month| month.parse::<usize>().ok());
    let month = month.and_then(|month| MONTHS.get(month.checked_sub(1)?));
    match (year, month, day) {
        (Some(year), Some(month), Some(day)) => format!("{} {month} {year}", day.trim_start_matches('0')),
        _ => text,
    }
}

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
