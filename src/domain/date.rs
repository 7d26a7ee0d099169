//! A calendar day, for rows of dated tables. Deliberately absent: time zones and the clock.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;

/// A day of the proleptic Gregorian calendar, written `2026-11-25` (ISO 8601). Days compare in the order of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// Reads a day; `None` if it does not have the form, or is no day of the calendar.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let parts: Vec<&str> = text.split('-').collect();
        let [year, month, day] = parts.as_slice() else {
            return None;
        };
        let digits = |part: &str, count: usize| {
            (part.len() == count && part.bytes().all(|b| b.is_ascii_digit()))
                .then(|| part.parse::<u16>().ok())?
        };
        let (year, month, day) = (digits(year, 4)?, digits(month, 2)?, digits(day, 2)?);
        (1..=days_of(year, month)?).contains(&day).then_some(())?;
        Some(Self {
            year,
            month: u8::try_from(month).ok()?,
            day: u8::try_from(day).ok()?,
        })
    }
}

/// How many days a month has.
const fn days_of(year: u16, month: u16) -> Option<u16> {
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => Some(31),
        4 | 6 | 9 | 11 => Some(30),
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => Some(29),
        2 => Some(28),
        _ => None,
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl Serialize for Date {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Date {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?)
            .ok_or_else(|| serde::de::Error::custom("a day is written like 2026-11-25"))
    }
}

#[cfg(test)]
mod tests {
    use super::Date;

    #[test]
    fn leap_days_stand_where_the_gregorian_calendar_has_them() {
        for good in ["2024-02-29", "2000-02-29", "2026-12-31"] {
            assert_eq!(
                Date::parse(good).map(|day| day.to_string()).as_deref(),
                Some(good)
            );
        }
        for bad in [
            "2023-02-29",
            "1900-02-29",
            "2026-13-01",
            "2026-04-31",
            "2026-1-01",
            "2026-01-00",
            "+026-01-01",
        ] {
            assert_eq!(Date::parse(bad), None, "{bad}");
        }
    }
}
