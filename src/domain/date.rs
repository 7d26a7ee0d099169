//! A calendar day, for rows of dated tables. Deliberately absent: time zones and the clock.

use super::Timestamp;
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

    /// The day of a moment, by UTC; none before the year 0 or after 9999.
    #[must_use]
    pub fn of(moment: Timestamp) -> Option<Self> {
        // The reverse of `first_second`, in eras of 400 years, which have 146,097 days each.
        let days = moment.0.div_euclid(86_400).checked_add(719_468)?;
        let (era, day) = (days.div_euclid(146_097), days.rem_euclid(146_097));
        let of_era = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
        let day = day - (365 * of_era + of_era / 4 - of_era / 100);
        let from_march = (5 * day + 2) / 153;
        let month = if from_march < 10 {
            from_march + 3
        } else {
            from_march - 9
        };
        let year = era.checked_mul(400)?.checked_add(of_era)? + i64::from(month <= 2);
        (0..=9_999).contains(&year).then_some(())?;
        Some(Self {
            year: u16::try_from(year).ok()?,
            month: u8::try_from(month).ok()?,
            day: u8::try_from(day - (153 * from_march + 2) / 5 + 1).ok()?,
        })
    }

    /// Its last second, by UTC.
    #[must_use]
    pub fn last_second(self) -> Timestamp {
        Timestamp(self.first_second().0 + 86_399)
    }

    /// Its first second, by UTC.
    #[must_use]
    pub fn first_second(self) -> Timestamp {
        // The year is reckoned from March on, so that a leap day is its last; 719,468 days lie between 0000-03-01 and
        // 1970-01-01.
        let (year, month, day) = (i64::from(self.year), i64::from(self.month), i64::from(self.day));
        let (year, month) = if month > 2 {
            (year, month - 3)
        } else {
            (year - 1, month + 9)
        };
        let days = 365 * year + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
        let days = days + (153 * month + 2) / 5 + day - 1 - 719_468;
        Timestamp(days * 86_400)
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
    use super::{Date, Timestamp};

    /// Days since 1970-01-01 as POSIX.1 (XBD 4.16, seconds since the epoch) reckons them: from memory.
    fn posix_days(year: i64, day_of_year: i64) -> i64 {
        let since = year - 1900;
        day_of_year + (since - 70) * 365 + (since - 69) / 4 - (since - 1) / 100 + (since + 299) / 400
    }

    #[test]
    fn every_day_has_its_seconds_and_every_second_its_day() {
        for beyond in [i64::MIN, i64::MAX, -62_167_219_201, 253_402_300_800] {
            assert_eq!(Date::of(Timestamp(beyond)), None, "{beyond}");
        }
        for year in 1970..2401_u16 {
            let mut of_year = 0;
            for (month, day) in (1..=12_u16).flat_map(|month| (1..=31_u16).map(move |day| (month, day))) {
                let Some(date) = Date::parse(&format!("{year:04}-{month:02}-{day:02}")) else {
                    continue;
                };
                let days = posix_days(i64::from(year), of_year);
                assert_eq!(date.last_second(), Timestamp(days * 86_400 + 86_399), "{date}");
                assert_eq!(Date::of(Timestamp(days * 86_400)), Some(date));
                assert_eq!(Date::of(date.last_second()), Some(date));
                of_year += 1;
            }
            assert!(of_year == 365 || of_year == 366);
        }
    }

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
