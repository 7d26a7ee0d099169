//! The command that corrects earlier entries.

use super::Command;
use crate::domain::CorrectionReason;
use serde::{Deserialize, Serialize};

commands! {
    /// Entries said what was not so. What they say instead is decided anew, and so is all that rests on it.
    CorrectEntries {
        /// The entries, each at most once.
        corrections: Vec<Correction>,
        /// Why.
        reason: CorrectionReason,
        /// Private.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    }
}

/// The correction of one entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// Index of the entry.
    pub index: u64,
    /// The command that should have been given, without private members; the entry is withdrawn if there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<Box<Command>>,
}
