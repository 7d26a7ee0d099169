//! How far something long has come: a bar where standard error is a terminal, else a line now and then. Both say the
//! rate and the time left.

use crate::node::clock::Stopwatch;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::{IsTerminal, Write};
use std::time::Duration;

/// The progress of work on a known count of entries.
pub(super) struct Pace {
    size: u64,
    watch: Stopwatch,
    bar: Option<ProgressBar>,
    every: Duration,
    next: Duration,
}

impl Pace {
    /// Starts. Without a terminal the first line comes after `every`, so that short work says nothing.
    pub(super) fn start(size: u64, every: Duration) -> Self {
        let bar = std::io::stderr().is_terminal().then(|| {
            let style = ProgressStyle::with_template("{bar:30} {msg}");
            ProgressBar::new(size).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
        });
        Self {
            size,
            watch: Stopwatch::start(),
            bar,
            every,
            next: every,
        }
    }

    /// So many entries are done.
    pub(super) fn at(&mut self, done: u64) {
        let elapsed = self.watch.elapsed();
        if let Some(bar) = &self.bar {
            bar.set_message(line(done, self.size, elapsed));
            bar.set_position(done);
        } else if elapsed >= self.next {
            self.next = elapsed.saturating_add(self.every);
            // Who does not read it misses nothing.
            let _ = writeln!(std::io::stderr(), "{}", line(done, self.size, elapsed));
        }
    }

    /// Takes the bar away; the time it took.
    pub(super) fn end(self) -> Duration {
        if let Some(bar) = self.bar {
            bar.finish_and_clear();
        }
        self.watch.elapsed()
    }
}

/// Progress in words.
fn line(done: u64, size: u64, elapsed: Duration) -> String {
    let milliseconds = elapsed.as_millis().max(1);
    let rate = u128::from(done).saturating_mul(1000) / milliseconds;
    let left = match u128::from(done).saturating_mul(1000) {
        0 => "time left not known yet".to_owned(),
        thousands => {
            let ahead = u128::from(size.saturating_sub(done)).saturating_mul(milliseconds);
            format!("{} left", duration(ahead.div_ceil(thousands)))
        }
    };
    format!("{done} of {size} entries, {rate} a second, {left}")
}

/// A length of time in its two greatest units.
fn duration(seconds: u128) -> String {
    match seconds {
        0..=59 => format!("{seconds} s"),
        60..=3599 => format!("{} min {} s", seconds / 60, seconds % 60),
        _ => format!("{} h {} min", seconds / 3600, seconds % 3600 / 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_says_rate_and_time_left() {
        let at = |done, seconds| line(done, 1_000_000, Duration::from_secs(seconds));
        assert_eq!(
            at(8_192, 2),
            "8192 of 1000000 entries, 4096 a second, 4 min 3 s left"
        );
        assert_eq!(
            at(999_999, 10),
            "999999 of 1000000 entries, 99999 a second, 1 s left"
        );
        assert_eq!(
            at(1_000_000, 10),
            "1000000 of 1000000 entries, 100000 a second, 0 s left"
        );
        assert_eq!(
            at(100, 1),
            "100 of 1000000 entries, 100 a second, 2 h 46 min left"
        );
        assert_eq!(
            at(0, 5),
            "0 of 1000000 entries, 0 a second, time left not known yet"
        );
    }
}
