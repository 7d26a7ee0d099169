//! `key`: which keys may sign. The root key vouches for each change, and may stay on another machine: the book writes a
//! slip of what is asked, the other machine signs it, the book records what comes back. No key travels.

use super::Failure;
use super::arguments::{book_folder, json};
use super::erase::submit;
use super::slip::{Asked, Slip};
use crate::check::Ancestry;
use crate::domain::{Draw, KeyAdded, KeyRevoked, KeyRole, KeySuspect, OperatorId};
use crate::log::{Files, RealFiles};
use crate::node::{BookFolder, BookReader, KeyFile, chance, clock};
use crate::proof::{NoteVerifier, Policy, is_thumbprint};
use crate::record::{KeyEntryDraft, Keys, Signer};
use crate::writer::Ask;
use clap::{Args, Subcommand, ValueEnum};
use serde_json::{Value, json};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// How the root key is used, here or on another machine.
pub(super) const KEY_EXAMPLES: &str = "Examples, with the root key at hand (a stick, say):
  pourbook key add ./book --role recorder --key ./book/keys/recorder-2.key --root-key /media/stick/root.key

Example with the root key on another machine, which has no book and no network:
  book $ pourbook key add ./book --role recorder --key ./book/keys/recorder-2.key --slip add.json
  root $ pourbook key sign add.json --root-key ./root.key -o add.entry
  book $ pourbook key record ./book add.entry
Only the slip and the signed entry travel, in any way you like: neither is secret. Read the slip before you sign it.

The server must be stopped; a signed entry can also be sent to a served book with POST /v1/keys.
A new recorder key signs nothing by itself: put it in place of ./book/keys/recorder.key, start the server again, then revoke the
old one. A new log key is best made as ./book/keys/log-next.key: once it is added and the server started again, both keys sign
every checkpoint, so that readers with the old policy and with the new one take it. When your readers have the new policy, revoke
the old key and rename log-next.key to log.key.
Keys that are lost: add new ones as ./book/keys/log.key and then ./book/keys/recorder.key, and revoke the old ones.
With --json, add, revoke, suspect, sign and record print one shape: {\"kind\": key.added, key.revoked or key.suspect,
\"kid\": thumbprint, \"slip\": file or null, \"entry\": file or null, \"index\": where it was recorded or null, \"leaf\": or null}.";

/// What a key may sign.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Duty {
    /// Entries.
    Recorder,
    /// Checkpoints.
    Log,
}

/// Where the root key is, and how the outcome is printed.
#[derive(Debug, Args)]
pub struct RootArguments {
    /// The root key file; keys/root.key of the book if not given.
    #[arg(long)]
    root_key: Option<PathBuf>,
    /// The root key is on another machine: write a slip to this file, for `key sign` there.
    #[arg(long, conflicts_with = "root_key", value_name = "FILE")]
    slip: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// What is done with keys.
#[derive(Debug, Subcommand)]
pub enum KeyCommand {
    /// List the keys of a book and what they may do.
    #[command(after_help = "Example:\n  pourbook key list ./book\n\n\
With --json: {\"keys\": [{\"kid\", \"role\", \"added\", \"revoked\", \"suspect_from\"}]}, the last three indexes or null.")]
    List {
        /// The book.
        dir: PathBuf,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Add a recorder or log key: a new key file is made, and the root key vouches for it.
    #[command(after_help = KEY_EXAMPLES)]
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
    #[command(
        after_help = "Examples:\n  pourbook key revoke ./book 1IG2tMH7J2wbJZnOf8LJzQitKf7LMvoAElsuDMVM54Y --root-key /media/stick/root.key\n  \
pourbook key revoke ./book 1IG2tMH7J2wbJZnOf8LJzQitKf7LMvoAElsuDMVM54Y --slip revoke.json\n\n\
`pourbook key list ./book` shows the thumbprints. What the key signed before stays valid; `key suspect` puts it in doubt.\nWith --json: the members that `pourbook key --help` lists."
    )]
    Revoke {
        /// The book.
        dir: PathBuf,
        /// RFC 7638 thumbprint of the key.
        #[arg(value_parser = kid, allow_hyphen_values = true)]
        kid: String,
        #[command(flatten)]
        root: RootArguments,
    },
    /// Put what a key signed, from an index on, in doubt.
    #[command(
        after_help = "Example:\n  pourbook key suspect ./book 1IG2tMH7J2wbJZnOf8LJzQitKf7LMvoAElsuDMVM54Y --from 120 --slip suspect.json\n\n\
Nothing is taken away: audits and proof checks say what is in doubt.\nWith --json: the members that `pourbook key --help` lists."
    )]
    Suspect {
        /// The book.
        dir: PathBuf,
        /// RFC 7638 thumbprint of the key.
        #[arg(value_parser = kid, allow_hyphen_values = true)]
        kid: String,
        /// The first index in doubt.
        #[arg(long)]
        from: u64,
        #[command(flatten)]
        root: RootArguments,
    },
    /// On the machine with the root key: sign a slip. It needs no book.
    #[command(
        after_help = "Example:\n  pourbook key sign add.json --root-key ./root.key -o add.entry\n\nWith --json: the members that `pourbook key --help` lists."
    )]
    Sign {
        /// The slip.
        slip: PathBuf,
        /// The root key file.
        #[arg(long)]
        root_key: PathBuf,
        /// Where the signed entry is written: a new file.
        #[arg(short, long)]
        output: PathBuf,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Record what the root key signed on another machine.
    #[command(after_help = "Example:\n  pourbook key record ./book add.entry\n\n\
Recording the same entry again changes nothing and says where it stands.\nWith --json: the members that `pourbook key --help` lists.")]
    Record {
        /// The book.
        dir: PathBuf,
        /// The signed entry.
        entry: PathBuf,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
}

/// Holds a typed key name against the form of a thumbprint.
fn kid(typed: &str) -> Result<String, String> {
    let why = "a key is named by its thumbprint: 43 characters A-Z a-z 0-9 - _ (RFC 7638), as `key list` shows them";
    is_thumbprint(typed)
        .then(|| typed.to_owned())
        .ok_or_else(|| why.to_owned())
}

pub(super) fn key(command: &KeyCommand) -> Result<String, Failure> {
    match command {
        KeyCommand::List { dir, json: as_json } => list(&book_folder(dir)?, *as_json),
        KeyCommand::Add { dir, role, key, root } => {
            let role = match role {
                Duty::Recorder => KeyRole::Recorder,
                Duty::Log => KeyRole::Log,
            };
            let folder = book_folder(dir)?;
            let signer = key_file(&folder, key, role)?.signer();
            let (kid, x) = (signer.kid().to_owned(), signer.public().to_base64url());
            make(&folder, root, Asked::Added(KeyAdded { kid, role, x }))
        }
        KeyCommand::Revoke { dir, kid, root } => make(
            &book_folder(dir)?,
            root,
            Asked::Revoked(KeyRevoked { kid: kid.clone() }),
        ),
        KeyCommand::Suspect { dir, kid, from, root } => {
            let (kid, from) = (kid.clone(), *from);
            make(&book_folder(dir)?, root, Asked::Suspect(KeySuspect { kid, from }))
        }
        KeyCommand::Sign {
            slip,
            root_key,
            output,
            json,
        } => sign(slip, root_key, output, *json),
        KeyCommand::Record { dir, entry, json } => {
            let mut bytes = load(entry)?;
            while bytes.last().is_some_and(u8::is_ascii_whitespace) {
                bytes.pop();
            }
            record(&book_folder(dir)?, &bytes, *json)
        }
    }
}

fn load(path: &Path) -> Result<Vec<u8>, Failure> {
    RealFiles
        .read_whole(path)
        .map_err(|error| Failure::unusable(format!("{}: {error}", path.display())))
}

/// Writes a new file; never over another, which may be a key or another slip.
fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let written = RealFiles.write_new_synced(path, bytes, crate::log::files::MODE_OPEN);
    written.map_err(|error| {
        let there = error.kind() == ErrorKind::AlreadyExists;
        let more = if there { ": nothing is written over it" } else { "" };
        Failure::unusable(format!("{}: {error}{more}", path.display()))
    })
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

/// The one shape that commands about keys print.
fn shape(asked: &Asked, over: &[(&str, Value)]) -> String {
    let mut value = json!({ "kind": asked.kind(), "kid": asked.kid(), "slip": null, "entry": null, "index": null,
        "leaf": null });
    if let Some(members) = value.as_object_mut() {
        members.extend(
            over.iter()
                .map(|(name, value)| ((*name).to_owned(), value.clone())),
        );
    }
    json(&value)
}

fn list(folder: &BookFolder, as_json: bool) -> Result<String, Failure> {
    let reader = BookReader::open(folder).map_err(Failure::unusable)?;
    let mut keys = Keys::default();
    for index in reader.key_entries() {
        let entry = reader.entry(index);
        let bytes = crate::log::Store::read(reader.store(), index).map_err(Failure::unusable)?;
        if let (Some(entry), Some(bytes)) = (entry, bytes) {
            keys.apply(index, &entry, &bytes).map_err(Failure::refused)?;
        }
    }
    if as_json {
        let rows = keys.rows().iter().map(|row| {
            json!({ "kid": row.kid, "role": row.role, "added": row.added, "revoked": row.revoked,
                "suspect_from": row.suspect_from })
        });
        return Ok(json(&json!({ "keys": rows.collect::<Vec<_>>() })));
    }
    let lines = keys.rows().iter().map(|row| {
        let mut line = format!("{}  {:<8}  added at {}", row.kid, row.role.word(), row.added);
        if let Some(at) = row.revoked {
            line.push_str(&format!(", revoked at {at}"));
        }
        if let Some(from) = row.suspect_from {
            line.push_str(&format!(", in doubt from {from} on"));
        }
        line
    });
    Ok(lines.collect::<Vec<_>>().join("\n"))
}

fn make(folder: &BookFolder, root: &RootArguments, asked: Asked) -> Result<String, Failure> {
    let reader = BookReader::open(folder).map_err(Failure::unusable)?;
    let newest = reader
        .newest_key_entry()
        .ok_or_else(|| Failure::unusable("the book has no key entry"))?;
    let origin = folder.settings().map_err(Failure::unusable)?.origin;
    let slip = Slip::new(origin, newest, asked);
    if let Some(path) = &root.slip {
        write(path, slip.to_text().as_bytes())?;
        if root.json {
            return Ok(shape(&slip.event, &[("slip", json!(path))]));
        }
        return Ok(format!(
            "{path}: a slip that asks to {}.\nOn the machine with the root key: pourbook key sign {path} --root-key ROOT.KEY -o FILE\n\
             Then here: pourbook key record {} FILE",
            slip.event,
            folder.path().display(),
            path = path.display(),
        ));
    }
    let path = root.root_key.clone();
    let path = path.unwrap_or_else(|| folder.key_path(KeyRole::Root));
    if !RealFiles.exists(&path).map_err(Failure::unusable)? {
        return Err(Failure::unusable(format!(
            "{}: the root key is not here. Give --root-key, or --slip if it is on another machine",
            path.display()
        )));
    }
    let signer = folder
        .key_at(&path, KeyRole::Root)
        .map_err(Failure::unusable)?
        .signer();
    record(folder, &seal(&slip, &signer)?, root.json)
}

fn seal(slip: &Slip, root: &Signer) -> Result<Vec<u8>, Failure> {
    let mut draw = Draw::new(chance::bytes());
    let draft = KeyEntryDraft {
        iss: &slip.origin,
        jti: draw.uuid(),
        iat: clock::now(),
        by: OperatorId(Uuid::nil()),
        keys: Some(slip.newest()?),
        event: slip.event.event(),
    };
    crate::record::seal_key_entry(&draft, root).map_err(Failure::unusable)
}

fn sign(slip: &Path, root_key: &Path, output: &Path, as_json: bool) -> Result<String, Failure> {
    let slip =
        Slip::read(&load(slip)?).map_err(|why| Failure::unusable(format!("{}: {why}", slip.display())))?;
    // It needs no book: the key is read through the folder that it stands in.
    let folder = BookFolder::at(root_key.parent().unwrap_or(Path::new(".")));
    let file = folder
        .key_at(root_key, KeyRole::Root)
        .map_err(Failure::unusable)?;
    write(output, &seal(&slip, &file.signer())?)?;
    if as_json {
        return Ok(shape(&slip.event, &[("entry", json!(output))]));
    }
    Ok(format!(
        "{}: signed by root {}, for the book {}, to {}.\nWhere the book is: pourbook key record BOOK {}",
        output.display(),
        file.signer().kid(),
        slip.origin,
        slip.event,
        output.display(),
    ))
}

fn record(folder: &BookFolder, entry: &[u8], as_json: bool) -> Result<String, Failure> {
    let read = crate::record::read(entry)
        .map_err(|why| Failure::unusable(format!("this is no signed entry: {why}")))?;
    let asked = read
        .events()
        .next()
        .and_then(Asked::of)
        .filter(|_| read.is_key_entry());
    let asked = asked.ok_or_else(|| Failure::unusable("this entry is not about a key"))?;
    let recorded = submit(folder, Ask::KeyEntry(entry.to_vec()), Some(read.payload.jti))?;
    let policy = keep_policy(folder, &asked)?;
    let leaf = recorded.leaf.to_base64url();
    if as_json {
        return Ok(shape(
            &asked,
            &[("index", json!(recorded.index)), ("leaf", json!(leaf))],
        ));
    }
    let policy = if policy {
        "\nThe policy file names the log keys anew: hand it out again."
    } else {
        ""
    };
    Ok(format!(
        "Recorded as entry {}, to {asked}; leaf {leaf}.{policy}",
        recorded.index
    ))
}

/// A log key that is added or revoked is one that the book's own policy names, or no longer names.
fn keep_policy(folder: &BookFolder, asked: &Asked) -> Result<bool, Failure> {
    let path = folder.path().join("policy");
    let text = folder.text(&path).map_err(Failure::unusable)?;
    let mut policy = Policy::parse(&text).map_err(Failure::unusable)?;
    let named = |log: &NoteVerifier, kid: &str| crate::record::thumbprint(&log.public()) == kid;
    match asked {
        Asked::Added(added) if added.role == KeyRole::Log => {
            let public = crate::record::PublicKey::from_base64url(&added.x);
            let public = public.ok_or_else(|| Failure::unusable("the key is no Ed25519 key"))?;
            let settings = folder.settings().map_err(Failure::unusable)?;
            let verifier =
                NoteVerifier::new(&settings.origin, public.to_bytes()).map_err(Failure::unusable)?;
            if !policy.logs.iter().any(|(log, _)| named(log, &added.kid)) {
                policy
                    .logs
                    .push((verifier, Some(format!("{}/log", settings.address))));
            }
        }
        Asked::Revoked(revoked) => policy.logs.retain(|(log, _)| !named(log, &revoked.kid)),
        Asked::Added(_) | Asked::Suspect(_) => {}
    }
    let changed = policy.to_string();
    if changed == text {
        return Ok(false);
    }
    folder.write_open("policy", &changed).map_err(Failure::unusable)?;
    Ok(true)
}
