//! How many files the system lets this process have open: each connection is one, and the book's own files must never lack
//! one, since a log that cannot be written ends the process.

use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};

/// What is kept for the book: its files, those of the views, pictures on their way out, and connections that are refused or on their way out.
const KEPT: u64 = 768;

/// How many connections can be held of so many that are wanted. Asks the system for more where it allows more.
#[must_use]
pub fn connections(wanted: usize) -> usize {
    let needed = u64::try_from(wanted).unwrap_or(u64::MAX).saturating_add(KEPT);
    let limit = getrlimit(Resource::Nofile);
    let mut allowed = limit.current.unwrap_or(u64::MAX);
    if allowed < needed {
        let raised = limit.maximum.unwrap_or(u64::MAX).min(needed);
        let asked = setrlimit(
            Resource::Nofile,
            Rlimit {
                current: Some(raised),
                maximum: limit.maximum,
            },
        );
        if raised > allowed && asked.is_ok() {
            allowed = raised;
        }
    }
    let room = usize::try_from(allowed.saturating_sub(KEPT)).unwrap_or(usize::MAX);
    let held = wanted.min(room.max(1));
    if held < wanted {
        tracing::warn!(
            "the system lets this process have {allowed} files open, so at most {held} connections are held and not \
             {wanted}: raise its limit (ulimit -n) or lower connections under [load]"
        );
    }
    held
}
