//! What a workshop says of its own pages in `pourbook.toml`, under `[workshop]`.

use crate::domain::Zone;
use serde::{Deserialize, Serialize};

/// The longest that anybody may stay signed in without doing anything, hours: 31 days.
const HOURS_MAX: u32 = 744;
/// The longest that a consignment may be out before home says so, days.
const DAYS_MAX: u32 = 3_650;

/// The settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct WorkshopSettings {
    /// The zone in which times are told: `UTC`, or a fixed distance from it like `+01:00`.
    pub zone: Zone,
    /// After how many hours without a request somebody is signed out.
    pub session_hours: u32,
    /// Whether a proxy before this server speaks TLS with the browsers: then the cookie is sent over TLS only.
    pub behind_tls: bool,
    /// After how many days home says that a consignment is out long.
    pub consignment_days: u32,
}

impl Default for WorkshopSettings {
    fn default() -> Self {
        Self {
            zone: Zone::UTC,
            session_hours: 12,
            behind_tls: false,
            consignment_days: 14,
        }
    }
}

impl WorkshopSettings {
    /// Holds each member against what it must be.
    ///
    /// # Errors
    /// What is wrong, naming the member.
    pub fn check(&self) -> Result<(), &'static str> {
        if !(1..=HOURS_MAX).contains(&self.session_hours) {
            return Err("session_hours must be 1 to 744");
        }
        if !(1..=DAYS_MAX).contains(&self.consignment_days) {
            return Err("consignment_days must be 1 to 3650");
        }
        Ok(())
    }
}
