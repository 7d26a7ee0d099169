//! Photographs in a copy of a book: content-addressed files, so that each can be held against its own name.

use super::BackupError;
use crate::log::Files;
use crate::log::files::{MODE_DIR_OPEN, MODE_OPEN};
use crate::node::folder::io;
use sha2::{Digest, Sha256};
use std::path::Path;

/// Copies the photographs that are not in the copy yet; how many. One that is not what its name says is left out and told.
pub(in crate::node) fn copy(
    files: &dyn Files,
    from: &Path,
    to: &Path,
    notices: &mut Vec<String>,
) -> Result<u64, BackupError> {
    let (from, to) = (from.join("photos"), to.join("photos"));
    let mut copied = 0_u64;
    for part in files.list(&from).map_err(|error| io(&from, error))? {
        let (from, to) = (from.join(&part), to.join(&part));
        for name in files.list(&from).map_err(|error| io(&from, error))? {
            let (from, into) = (from.join(&name), to.join(&name));
            if !is_hash(&name) || files.exists(&into).map_err(|error| io(&into, error))? {
                continue;
            }
            let bytes = files.read_whole(&from).map_err(|error| io(&from, error))?;
            if lower_hex(&Sha256::digest(&bytes)) != name {
                notices.push(format!("{} is damaged, and not in the copy", from.display()));
                continue;
            }
            files
                .create_dirs(&to, MODE_DIR_OPEN)
                .map_err(|error| io(&to, error))?;
            // Never half a file under its name.
            let done = files.replace_synced(&into, &bytes, MODE_OPEN);
            done.map_err(|error| io(&into, error))?;
            copied = copied.saturating_add(1);
        }
    }
    Ok(copied)
}

fn is_hash(name: &str) -> bool {
    name.len() == 64 && name.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

fn lower_hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
