//! The workshop's zone: a fixed distance from UTC, named beside every time that is shown.
//!
//! Deliberately absent: zones by name and summer time. They change by decree, so a program would need their tables anew
//! each year; a fixed distance that is said beside the time is never wrong about when something was.

use super::date::Date;
use super::draw::Timestamp;
use super::instant;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::str::FromStr;

/// What a zone looks like.
const FORM: &str = "must be UTC, or hours and minutes from it like +01:00 or -03:30, at most 14 hours";
/// The greatest distance of a zone that anybody keeps, minutes.
const MINUTES_MAX: i64 = 14 * 60;

/// A fixed distance from UTC.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Zone {
    /// Minutes that the workshop's clock is ahead of UTC.
    minutes: i64,
}

impl Zone {
    /// UTC itself.
    pub const UTC: Self = Self { minutes: 0 };

    /// A moment by the clock on the workshop's wall, as if that were UTC.
    fn on_the_wall(self, at: Timestamp) -> Timestamp {
        Timestamp(at.0.saturating_add(self.minutes.saturating_mul(60)))
    }

    /// The day on which a moment falls here; none for what no calendar of four digits holds.
    #[must_use]
    pub fn day(self, at: Timestamp) -> Option<Date> {
        Date::of(self.on_the_wall(at))
    }

    /// A moment in words, with the zone: `14 March 2026, 10:26 UTC+01:00`.
    #[must_use]
    pub fn in_words(self, at: Timestamp) -> String {
        let wall = self.on_the_wall(at);
        let text = instant::write(wall);
        let of_day = text.split_once('T').and_then(|(_, time)| time.get(..5));
        format!(
            "{}, {} {self}",
            instant::in_words(wall),
            of_day.unwrap_or_default()
        )
    }

    /// A moment in few words, where the zone is named elsewhere: `14 March, 10:26`.
    #[must_use]
    pub fn shortly(self, at: Timestamp) -> String {
        let words = self.in_words(at);
        let (day, rest) = words.split_once(", ").unwrap_or((&words, ""));
        let day = day.rsplit_once(' ').map_or(day, |(day, _)| day);
        let time = rest.get(..5).unwrap_or_default();
        format!("{day}, {time}")
    }

    /// The day and minute of a moment on the workshop's wall, as a form's field takes it: `2026-03-14T10:26`.
    #[must_use]
    pub fn typed(self, at: Timestamp) -> String {
        let text = instant::write(self.on_the_wall(at));
        text.get(..16).unwrap_or_default().to_owned()
    }

    /// What a form's field gave, `2026-03-14T10:26` with or without seconds, as a moment with its offset (RFC 3339).
    #[must_use]
    pub fn moment(self, typed: &str) -> String {
        let seconds = if typed.len() == 16 { ":00" } else { "" };
        format!("{typed}{seconds}{}", self.offset())
    }

    fn offset(self) -> String {
        let sign = if self.minutes < 0 { '-' } else { '+' };
        let minutes = self.minutes.unsigned_abs();
        format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.minutes {
            0 => f.write_str("UTC"),
            _ => write!(f, "UTC{}", self.offset()),
        }
    }
}

impl FromStr for Zone {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, &'static str> {
        let text = text.trim();
        let text = text.strip_prefix("UTC").unwrap_or(text);
        if text.is_empty() || text == "Z" {
            return Ok(Self::UTC);
        }
        let seconds = instant::offset_seconds(text).ok_or(FORM)?;
        let minutes = seconds / 60;
        if minutes.abs() > MINUTES_MAX {
            return Err(FORM);
        }
        Ok(Self { minutes })
    }
}

impl Serialize for Zone {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Zone {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::{Timestamp, Zone};

    /// Seconds and wall clock times from GNU `date`, `TZ=UTC-1 date -d @1773480413` and its like.
    #[test]
    fn a_moment_is_told_by_the_clock_on_the_wall() {
        let at = Timestamp(1_773_480_413);
        for (zone, words, typed) in [
            ("UTC", "14 March 2026, 09:26 UTC", "2026-03-14T09:26"),
            ("+01:00", "14 March 2026, 10:26 UTC+01:00", "2026-03-14T10:26"),
            ("UTC-03:30", "14 March 2026, 05:56 UTC-03:30", "2026-03-14T05:56"),
            ("+14:00", "14 March 2026, 23:26 UTC+14:00", "2026-03-14T23:26"),
            ("-10:00", "13 March 2026, 23:26 UTC-10:00", "2026-03-13T23:26"),
        ] {
            let zone: Zone = zone.parse().unwrap();
            assert_eq!(zone.in_words(at), words);
            assert_eq!(zone.typed(at), typed);
            let back = crate::domain::instant::read(&zone.moment(typed)).unwrap();
            assert_eq!(back.0, at.0 - at.0 % 60, "{words}");
        }
    }

    #[test]
    fn what_is_no_zone_is_refused() {
        for text in ["Europe/Anywhere", "+1", "+25:00", "+14:01", "01:00", "GMT"] {
            assert!(text.parse::<Zone>().is_err(), "{text}");
        }
    }
}
