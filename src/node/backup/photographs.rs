//! Photographs in a copy of a book: each is under the hash of its bytes, so it is held against its own name, here and there.

use super::BackupError;
use crate::domain::PhotographHash;
use crate::log::{PhotographFiles, PhotographState};
use crate::node::folder::{BookFolder, io};

/// Copies the photographs that do not stand whole in the copy; how many. One that is not what its name says is left out and
/// told: no entry is hidden by it.
pub(in crate::node) fn copy(
    from: &BookFolder,
    to: &BookFolder,
    notices: &mut Vec<String>,
) -> Result<u64, BackupError> {
    let (source, target) = (from.photographs(), to.photographs());
    let mut copied = 0_u64;
    for hash in all(from)? {
        if target.state(hash)? == PhotographState::Whole {
            continue;
        }
        match read(&source, hash)? {
            Some(bytes) if target.keep(&bytes)? == hash => copied = copied.saturating_add(1),
            _ => notices.push(format!(
                "{} is damaged, and not in the copy",
                source.path(hash).display()
            )),
        }
    }
    Ok(copied)
}

/// Every photograph that has a file, named by an entry or not.
fn all(from: &BookFolder) -> Result<Vec<PhotographHash>, BackupError> {
    let (files, dir) = (from.files(), from.path().join("photos"));
    let mut found = Vec::new();
    for part in files.list(&dir).map_err(|error| io(&dir, error))? {
        let part = dir.join(part);
        let names = files.list(&part).map_err(|error| io(&part, error))?;
        found.extend(
            names
                .iter()
                .filter_map(|name| name.parse::<PhotographHash>().ok()),
        );
    }
    Ok(found)
}

fn read(source: &PhotographFiles, hash: PhotographHash) -> Result<Option<Vec<u8>>, BackupError> {
    let Ok(open) = source.open(hash)? else {
        return Ok(None);
    };
    let path = source.path(hash);
    let mut bytes = Vec::new();
    loop {
        let offset = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        match open.part(offset).map_err(|error| io(&path, error))? {
            Some(part) => bytes.extend(part),
            None => return Ok(Some(bytes)),
        }
    }
}
