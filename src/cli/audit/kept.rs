//! A checkpoint that somebody kept, held against the log that is audited: what tells an older copy or a fork where nothing in
//! the folder can.

use super::Stopped;
use crate::check::{Audit, AuditReport};
use crate::log::{Files, RealFiles};
use crate::proof::Checkpoint;
use std::path::Path;

/// A checkpoint that somebody kept must be one that the entries went through.
pub(super) fn hold(audit: &Audit, report: &AuditReport, kept: Option<&Path>) -> Result<(), Stopped> {
    let Some(path) = kept else { return Ok(()) };
    let unreadable = |why: &dyn std::fmt::Display| Stopped::Unreadable(format!("{}: {why}", path.display()));
    let bytes = RealFiles.read_whole(path).map_err(|error| unreadable(&error))?;
    let kept = String::from_utf8_lossy(&bytes);
    let size = Checkpoint::peek(&kept).map_err(|error| unreadable(&error))?.size;
    if size > report.size {
        let ends = format!(
            "the log ends at {} entries, before the checkpoint of size {size}",
            report.size
        );
        return Err(Stopped::wrong(
            ends + " that you kept: it was cut, or is an older copy",
        ));
    }
    audit.agrees(&kept)?;
    Ok(())
}
