//! What the second pin knows of a log that is put back: whether more was released than the backup holds.

use super::RestoreError;
use crate::check::Audit;
use crate::config::Settings;
use crate::node::backup::text_of;
use crate::node::folder::{BookFolder, io};
use crate::proof::Checkpoint;
use std::path::{Path, PathBuf};

/// A pinned checkpoint.
pub(super) struct Pin {
    pub size: u64,
    pub note: String,
}

/// The second pin, as it was found.
pub(super) struct Second {
    pub found: Option<(PathBuf, Pin)>,
    /// Whether it can be written where the settings say.
    pub reachable: bool,
    /// Released entries that are not in the backup.
    pub lost: u64,
    pub notices: Vec<String>,
}

/// Looks at the second pin. It must be of the log that was audited; a longer one is refused unless its surplus is given up.
pub(super) fn second_pin(
    from: &BookFolder,
    settings: &Settings,
    checkpoint: &Checkpoint,
    audit: &Audit,
    given: u64,
) -> Result<Second, RestoreError> {
    let mut second = Second {
        found: None,
        reachable: false,
        lost: 0,
        notices: Vec::new(),
    };
    let cannot_tell = format!(
        "nothing here can tell whether more than {} entries were recorded: what came after the backup is lost",
        checkpoint.size
    );
    match &settings.second_pin {
        None => second
            .notices
            .push(format!("the book has no second pin: {cannot_tell}")),
        Some(path) => {
            second.reachable = from
                .files()
                .exists(parent(path))
                .map_err(|error| io(path, error))?;
            let there = from.files().exists(path).map_err(|error| io(path, error))?;
            if there {
                hold(from, path, checkpoint, audit, &mut second)?;
            } else {
                let path = path.display();
                second
                    .notices
                    .push(format!("the second pin {path} is not there: {cannot_tell}"));
            }
            if !second.reachable {
                let folder = parent(path).display();
                let told = format!(
                    "mount {folder} before the book is served, or change second_pin in pourbook.toml"
                );
                second.notices.push(told);
            }
        }
    }
    match (second.lost, given) {
        (lost, given) if lost == given => Ok(second),
        (lost, 0) => {
            let (path, pin) = second
                .found
                .unwrap_or_else(|| unreachable!("only a pin that was found knows of more"));
            let (path, pinned, size) = (text_of(&path), pin.size, checkpoint.size);
            Err(RestoreError::Behind {
                path,
                pinned,
                size,
                lost,
            })
        }
        (lost, given) => Err(RestoreError::NotLost { given, lost }),
    }
}

fn hold(
    from: &BookFolder,
    path: &Path,
    checkpoint: &Checkpoint,
    audit: &Audit,
    second: &mut Second,
) -> Result<(), RestoreError> {
    let note = from.text(path)?;
    let forked = |why: String| RestoreError::Forked {
        path: text_of(path),
        why,
    };
    let pin = Checkpoint::peek(&note).map_err(|why| forked(why.to_string()))?;
    if pin.origin != checkpoint.origin {
        return Err(forked(format!("it is of {}", pin.origin)));
    }
    second.lost = pin.size.saturating_sub(checkpoint.size);
    if second.lost == 0 {
        audit.agrees(&note).map_err(|why| forked(why.to_string()))?;
        let told = match pin.size == checkpoint.size {
            true => "of as many entries: nothing that was released is missing".to_owned(),
            false => format!("older, of {} entries", pin.size),
        };
        second
            .notices
            .push(format!("the second pin {} is {told}", path.display()));
    } else {
        second.notices.push(format!(
            "{} released entries are lost. Whoever holds a checkpoint or a proof file of more than {} entries holds it against \
             this book: publish that it was put back; what the second pin said is kept as pin.lost-{}",
            second.lost, checkpoint.size, pin.size
        ));
    }
    second.found = Some((path.to_owned(), Pin { size: pin.size, note }));
    Ok(())
}

fn parent(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}
