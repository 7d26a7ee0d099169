//! The token of an auditor, as it comes to a command: from a file or the environment, which only their owner reads. What is typed
//! behind a command stands in the list of processes, for everybody on the machine.

use super::Stopped;
use crate::log::{Files, RealFiles};
use std::path::Path;

/// Where a token may stand instead of in a file.
const VARIABLE: &str = "POURBOOK_TOKEN";

pub(super) fn read(file: Option<&Path>) -> Result<Option<String>, Stopped> {
    let Some(path) = file else {
        return Ok(std::env::var(VARIABLE).ok());
    };
    let unreadable = |why: &dyn std::fmt::Display| Stopped::Unreadable(format!("{}: {why}", path.display()));
    let bytes = RealFiles.read_whole(path).map_err(|error| unreadable(&error))?;
    let text = String::from_utf8(bytes).map_err(|_| unreadable(&"it holds no token"))?;
    Ok(Some(text.trim().to_owned()))
}
