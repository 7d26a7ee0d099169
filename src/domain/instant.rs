//! Dates and times of RFC 3339 in whole seconds, read and written: how commands say when something was.
//!
//! Deliberately absent: the calendar (it is that of `date`), the clock, leap seconds, and time zones by name.

use super::date::Date;
use super::draw::Timestamp;

/// What a date and time looks like.
pub const FORM: &str =
    "must be a date and time with its offset from UTC, in whole seconds, like 2026-03-14T09:26:53Z";

/// Reads a date and time (RFC 3339 section 5.6) without a fraction.
///
/// # Errors
/// What it is not, in words for a person.
pub fn read(text: &str) -> Result<Timestamp, &'static str> {
    let field = |from: usize, to: usize| -> Option<i64> {
        let digits = text.get(from..to)?;
        let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
        plain.then(|| digits.parse().ok()).flatten()
    };
    let mark = |at: usize, marks: &[u8]| text.as_bytes().get(at).is_some_and(|byte| marks.contains(byte));
    let marked = mark(4, b"-") && mark(7, b"-") && mark(10, b"Tt") && mark(13, b":") && mark(16, b":");
    let fields = [(0, 4), (5, 7), (8, 10), (11, 13), (14, 16), (17, 19)].map(|(from, to)| field(from, to));
    let [Some(_), Some(_), Some(_), Some(hour), Some(minute), Some(second)] = fields else {
        return Err(FORM);
    };
    let offset = offset_seconds(text.get(19..).unwrap_or(""));
    let (true, Some(offset)) = (marked, offset) else {
        return Err(FORM);
    };
    let date = text.get(..10).and_then(Date::parse);
    let date = date.ok_or("is no day of the calendar")?;
    if hour > 23 || minute > 59 || second > 59 {
        return Err("is no time of day: 00:00:00 to 23:59:59");
    }
    let of_day = hour
        .saturating_mul(3_600)
        .saturating_add(minute.saturating_mul(60));
    let seconds = date
        .first_second()
        .0
        .saturating_add(of_day)
        .saturating_add(second)
        .saturating_sub(offset);
    if seconds < 0 {
        return Err("is before 1970");
    }
    if Date::of(Timestamp(seconds)).is_none() {
        return Err("is after 9999");
    }
    Ok(Timestamp(seconds))
}

/// `Z`, or hours and minutes east or west of UTC.
pub(super) fn offset_seconds(text: &str) -> Option<i64> {
    if text.eq_ignore_ascii_case("z") {
        return Some(0);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1_i64, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let two = |digits: &str, below: i64| -> Option<i64> {
        let plain = digits.len() == 2 && digits.bytes().all(|byte| byte.is_ascii_digit());
        let count: i64 = plain.then(|| digits.parse().ok()).flatten()?;
        (count < below).then_some(count)
    };
    let east = two(hours, 24)?
        .saturating_mul(3_600)
        .saturating_add(two(minutes, 60)?.saturating_mul(60));
    Some(sign.saturating_mul(east))
}

/// Writes a date and time by UTC, `2026-03-14T09:26:53Z`; nothing for what no calendar day of four digits holds.
#[must_use]
pub fn write(at: Timestamp) -> String {
    let of_day = at.0.rem_euclid(86_400);
    let (hour, minute, second) = (of_day / 3_600, of_day / 60 % 60, of_day % 60);
    Date::of(at).map_or_else(String::new, |day| {
        format!("{day}T{hour:02}:{minute:02}:{second:02}Z")
    })
}

/// A time as text, for commands.
pub mod text {
    use super::Timestamp;
    use serde::{Deserialize as _, Deserializer, Serializer};

    /// Writes it.
    ///
    /// # Errors
    /// As the serializer says.
    pub fn serialize<S: Serializer>(at: &Timestamp, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&super::write(*at))
    }

    /// Reads it.
    ///
    /// # Errors
    /// What the text is not.
    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Timestamp, D::Error> {
        super::read(&String::deserialize(deserializer)?).map_err(serde::de::Error::custom)
    }
}

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

/// The day of a moment in words, by UTC: `14 March 2026`.
#[must_use]
pub fn in_words(at: Timestamp) -> String {
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

#[cfg(test)]
mod tests {
    use super::{Timestamp, read, write};

    /// The first two are examples of RFC 3339 section 5.8, without their fraction and the leap second, with seconds since
    /// 1970 from GNU `date -d`; so are the rest.
    #[test]
    fn dates_are_read_as_others_read_them() {
        for (text, seconds) in [
            ("1985-04-12T23:20:50Z", 482_196_050),
            ("1996-12-19T16:39:57-08:00", 851_042_397),
            ("1970-01-01T00:00:00Z", 0),
            ("2000-02-29T12:00:00+05:30", 951_805_800),
            ("2026-11-25T14:09:20z", 1_795_615_760),
            ("2100-03-01T00:00:00Z", 4_107_542_400),
            ("9999-12-31T23:59:59Z", 253_402_300_799),
            ("1970-01-01T01:00:00+01:00", 0),
        ] {
            assert_eq!(read(text).map(|at| at.0), Ok(seconds), "{text}");
            let written = write(Timestamp(seconds));
            assert_eq!(read(&written), Ok(Timestamp(seconds)), "{written}");
            if text.ends_with('Z') {
                assert_eq!(written, text);
            }
        }
    }

    #[test]
    fn every_time_is_written_as_it_is_read() {
        for count in (0..253_402_300_800_i64).step_by(654_321) {
            let at = Timestamp(count);
            assert_eq!(read(&write(at)), Ok(at));
        }
        assert_eq!(write(Timestamp(253_402_300_800)), "");
    }

    #[test]
    fn what_is_no_date_is_refused() {
        for text in [
            "",
            "2026-11-25",
            "2026-11-25T14:09:20",
            "2026-11-25 14:09:20Z",
            "2026-11-25T14:09:20.5Z",
            "2026-11-25T14:09Z",
            "2026-13-01T00:00:00Z",
            "2026-00-01T00:00:00Z",
            "2026-02-29T00:00:00Z",
            "2100-02-29T00:00:00Z",
            "2026-04-31T00:00:00Z",
            "2026-11-25T24:00:00Z",
            "2026-11-25T14:60:00Z",
            "1990-12-31T23:59:60Z",
            "1969-12-31T23:59:59Z",
            "9999-12-31T23:59:59-00:01",
            "1970-01-01T00:59:59+01:00",
            "2026-11-25T14:09:20+24:00",
            "2026-11-25T14:09:20+1:00",
            "2026-11-25T14:09:20+0100",
            "2026-11-25T14:09:20Zx",
            "+026-11-25T14:09:20Z",
            "2026-1é-25T14:09:20Z",
            "1790000000",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }
}
