//! `erase` and `key`: changes that an admin makes on a book that is not being served. On a served book they go through
//! the API.

use super::Failure;
use super::arguments::book_folder;
use crate::domain::{
    Draw, EraseField, EraseReason, Event, KeyAdded, KeyRevoked, KeyRole, KeySuspect, OperatorId, Timestamp,
};
use crate::log::{Files, RealFiles};
use crate::node::{BookFolder, BookReader, KeyFile, chance, clock, open_desk};
use crate::proof::Hash;
use crate::record::KeyEntryDraft;
use crate::writer::{Ask, Recorded, Submission};
use clap::{Args, Subcommand, ValueEnum};
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Why something is erased.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Ground {
    /// The person asked.
    Request,
    /// The term for keeping it ran out.
    Expired,
    /// It should not have been entered.
    Mistake,
}

/// What is erased.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  pourbook erase ./book 17 0 seller --reason request\n\n\
The entry, its proof and every checkpoint stay valid. Copies that were handed out are not recalled, and remnants on\n\
flash or copy-on-write disks are not promised away. The server must be stopped; on a served book use POST /v1/erasures."
)]
pub struct EraseArguments {
    /// The book.
    dir: PathBuf,
    /// Index of the entry.
    index: u64,
    /// Which of its events, from 0.
    event: u16,
    /// The member.
    member: String,
    /// Why.
    #[arg(long)]
    reason: Ground,
}

pub(super) fn erase(arguments: &EraseArguments) -> Result<String, Failure> {
    let reason = match arguments.reason {
        Ground::Request => EraseReason::Request,
        Ground::Expired => EraseReason::Expired,
        Ground::Mistake => EraseReason::Mistake,
    };
    let command = EraseField {
        index: arguments.index,
        event: arguments.event,
        member: arguments.member.clone(),
        reason,
        entry: String::new(),
    };
    let recorded = submit(&book_folder(&arguments.dir), Ask::Command(command.into()), None)?;
    Ok(format!("Erased; recorded as entry {}.", recorded.index))
}

/// Submits one thing to a book that nobody serves.
fn submit(folder: &BookFolder, ask: Ask, request: Option<Uuid>) -> Result<Recorded, Failure> {
    let mut desk = open_desk(folder).map_err(Failure::unusable)?;
    let mut draw = Draw::new(chance::bytes());
    let request = request.unwrap_or_else(|| draw.uuid());
    let submission = Submission {
        request,
        by: OperatorId(Uuid::nil()),
        at: None,
        expected: Vec::new(),
        ask,
    };
    let outcomes = desk
        .turn(clock::now(), chance::bytes(), vec![submission])
        .map_err(Failure::unusable)?;
    desk.release().map_err(Failure::unusable)?;
    let outcome = outcomes
        .into_iter()
        .next()
        .ok_or_else(|| Failure::unusable("the book gave no answer"))?;
    outcome.map_err(Failure::refused)
}

/// What a key may sign.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Duty {
    /// Entries.
    Recorder,
    /// Checkpoints.
    Log,
}

/// How a key entry is made: where the root key is.
#[derive(Debug, Args)]
pub struct RootArguments {
    /// The root key file; keys/root.key of the book if not given.
    #[arg(long)]
    root_key: Option<PathBuf>,
    /// Write the entry to this file instead of recording it: for a root key on another machine.
    #[arg(long, requires = "newest", requires = "origin")]
    output: Option<PathBuf>,
    /// With --output: leaf hash of the book's newest key entry, as `key newest` prints it.
    #[arg(long)]
    newest: Option<String>,
    /// With --output: the book's origin.
    #[arg(long)]
    origin: Option<String>,
}

/// What is done with keys.
#[derive(Debug, Subcommand)]
pub enum KeyCommand {
    /// Add a recorder or log key: a new key file is made, and the root key vouches for it.
    #[command(
        after_help = "Examples:\n  pourbook key add ./book --role recorder --key new-recorder.key\n\
  pourbook key add ./book --role log --key new-log.key --root-key /media/stick/root.key"
    )]
    Add {
        /// The book.
        dir: PathBuf,
        /// What it may sign.
        #[arg(long)]
        role: Duty,
        /// Where the new key file is written, or an existing one is read.
        #[arg(long)]
        key: PathBuf,
        #[command(flatten)]
        root: RootArguments,
    },
    /// Revoke a key, from the next entry on.
    Revoke {
        /// The book.
        dir: PathBuf,
        /// RFC 7638 thumbprint of the key.
        kid: String,
        #[command(flatten)]
        root: RootArguments,
    },
    /// Put what a key signed, from an index on, in doubt.
    Suspect {
        /// The book.
        dir: PathBuf,
        /// RFC 7638 thumbprint of the key.
        kid: String,
        /// The first index in doubt.
        #[arg(long)]
        from: u64,
        #[command(flatten)]
        root: RootArguments,
    },
    /// Print the leaf hash of the newest key entry, which the next one must name.
    Newest {
        /// The book.
        dir: PathBuf,
    },
    /// Record a key entry that was made on another machine.
    Record {
        /// The book.
        dir: PathBuf,
        /// The file.
        entry: PathBuf,
    },
}

pub(super) fn key(command: &KeyCommand) -> Result<String, Failure> {
    match command {
        KeyCommand::Add { dir, role, key, root } => {
            let role = match role {
                Duty::Recorder => KeyRole::Recorder,
                Duty::Log => KeyRole::Log,
            };
            let signer = key_file(&book_folder(dir), key, role)?.signer();
            make(
                dir,
                root,
                &KeyAdded {
                    kid: signer.kid().to_owned(),
                    role,
                    x: signer.public().to_base64url(),
                }
                .into(),
            )
        }
        KeyCommand::Revoke { dir, kid, root } => make(dir, root, &KeyRevoked { kid: kid.clone() }.into()),
        KeyCommand::Suspect { dir, kid, from, root } => make(
            dir,
            root,
            &KeySuspect {
                kid: kid.clone(),
                from: *from,
            }
            .into(),
        ),
        KeyCommand::Newest { dir } => Ok(newest(&book_folder(dir))?.to_base64url()),
        KeyCommand::Record { dir, entry } => record(&book_folder(dir), &load(entry)?),
    }
}

fn load(path: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = RealFiles
        .read_whole(path)
        .map_err(|error| Failure::unusable(format!("{}: {error}", path.display())))?;
    while bytes.last() == Some(&b'\n') {
        bytes.pop();
    }
    Ok(bytes)
}

/// Reads the key file, or makes it if it is not there.
fn key_file(folder: &BookFolder, path: &Path, role: KeyRole) -> Result<KeyFile, Failure> {
    if RealFiles.exists(path).map_err(Failure::unusable)? {
        return folder.key_at(path, role).map_err(Failure::unusable);
    }
    let file = KeyFile {
        role,
        seed: chance::bytes(),
    };
    folder.write_key(&file, path).map_err(Failure::unusable)?;
    Ok(file)
}

fn newest(folder: &BookFolder) -> Result<Hash, Failure> {
    let reader = BookReader::open(folder).map_err(Failure::unusable)?;
    reader
        .newest_key_entry()
        .ok_or_else(|| Failure::unusable("the book has no key entry"))
}

fn make(dir: &Path, root: &RootArguments, event: &Event) -> Result<String, Failure> {
    let folder = BookFolder::at(dir);
    let path = root
        .root_key
        .clone()
        .unwrap_or_else(|| folder.key_path(KeyRole::Root));
    let signer = folder
        .key_at(&path, KeyRole::Root)
        .map_err(Failure::unusable)?
        .signer();
    let (origin, newest) = match (&root.origin, &root.newest) {
        (Some(origin), Some(newest)) => {
            let hash =
                Hash::from_base64url(newest).ok_or_else(|| Failure::unusable("--newest is no leaf hash"))?;
            (origin.clone(), hash)
        }
        _ => (
            folder.settings().map_err(Failure::unusable)?.origin,
            newest(&folder)?,
        ),
    };
    let mut draw = Draw::new(chance::bytes());
    let draft = KeyEntryDraft {
        iss: &origin,
        jti: draw.uuid(),
        iat: Timestamp(clock::now().0),
        by: OperatorId(Uuid::nil()),
        keys: Some(newest),
        event: event.clone(),
    };
    let entry = crate::record::seal_key_entry(&draft, &signer).map_err(Failure::unusable)?;
    match &root.output {
        Some(path) => {
            RealFiles
                .replace_synced(path, &entry, crate::log::files::MODE_OPEN)
                .map_err(Failure::unusable)?;
            Ok(format!(
                "{} holds the entry: record it with `pourbook key record`.",
                path.display()
            ))
        }
        None => record(&folder, &entry),
    }
}

fn record(folder: &BookFolder, entry: &[u8]) -> Result<String, Failure> {
    let read = crate::record::read(entry).map_err(Failure::unusable)?;
    let recorded = submit(folder, Ask::KeyEntry(entry.to_vec()), Some(read.payload.jti))?;
    Ok(format!(
        "Recorded as entry {}, leaf {}.",
        recorded.index,
        recorded.leaf.to_base64url()
    ))
}
