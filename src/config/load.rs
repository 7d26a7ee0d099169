//! What a server bears at once, and how long it waits for others: `[load]` in `pourbook.toml`.
//!
//! Each member bounds something that a stranger could otherwise make grow: places for connections, memory for bodies, time.
//! How long a body may be, how deep JSON may be nested and how many pixels a picture may have are no settings: they are part
//! of what the API says of itself.

use serde::{Deserialize, Serialize};

/// The longest that anything may be waited for, seconds.
const SECONDS_MAX: u64 = 3_600;
/// The most that may be counted.
const COUNT_MAX: usize = 1_000_000;
/// The most memory for bodies, MiB.
const MEBIBYTES_MAX: usize = 65_536;

/// The settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Load {
    /// Connections at once. Where all places are taken, the one that has been quiet longest makes room, or 503 is answered.
    pub connections: usize,
    /// Connections of one address at once, but for the proxies of `[proxy]`; 0 is no limit.
    pub connections_per_address: usize,
    /// How long the head of a request may take to arrive, seconds.
    pub request_seconds: u64,
    /// How long a body may take to arrive, seconds; a picture six times as long.
    pub body_seconds: u64,
    /// How long a connection may be idle between two requests, seconds.
    pub idle_seconds: u64,
    /// How long somebody who is being sent a reply may take nothing of it, seconds.
    pub stalled_seconds: u64,
    /// Commands that may wait for the writer; one more is answered with 503.
    pub commands_waiting: usize,
    /// Streams of entries that may be open.
    pub streams: usize,
    /// Bodies that are coming in, MiB in all: so much for callers with a token, and as much for everybody else.
    pub bodies_mebibytes: usize,
}

/// Room for a workshop, its tablets and a fair; not for one address alone.
impl Default for Load {
    fn default() -> Self {
        Self {
            connections: 10_000,
            connections_per_address: 500,
            request_seconds: 10,
            body_seconds: 10,
            idle_seconds: 75,
            stalled_seconds: 30,
            commands_waiting: 4_096,
            streams: 64,
            bodies_mebibytes: 64,
        }
    }
}

impl Load {
    /// Holds each member against what it must be.
    ///
    /// # Errors
    /// What is wrong, naming the member.
    pub fn check(&self) -> Result<(), String> {
        let counts = [
            ("connections", 1, self.connections, COUNT_MAX),
            (
                "connections_per_address",
                0,
                self.connections_per_address,
                COUNT_MAX,
            ),
            ("commands_waiting", 1, self.commands_waiting, COUNT_MAX),
            ("streams", 1, self.streams, COUNT_MAX),
            ("bodies_mebibytes", 1, self.bodies_mebibytes, MEBIBYTES_MAX),
        ];
        let seconds = [
            ("request_seconds", 1, self.request_seconds, SECONDS_MAX),
            ("body_seconds", 1, self.body_seconds, SECONDS_MAX),
            ("idle_seconds", 1, self.idle_seconds, SECONDS_MAX),
            ("stalled_seconds", 1, self.stalled_seconds, SECONDS_MAX),
        ];
        counts.into_iter().try_for_each(within)?;
        seconds.into_iter().try_for_each(within)
    }
}

/// Holds one member against the least and the most that it may be.
fn within<N: PartialOrd + std::fmt::Display>(
    (member, least, is, most): (&str, N, N, N),
) -> Result<(), String> {
    if (&least..=&most).contains(&&is) {
        return Ok(());
    }
    Err(format!("{member} must be {least} to {most}"))
}
