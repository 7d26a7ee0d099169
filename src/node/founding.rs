//! Founding a book: its folder, its keys, and the three entries that say which keys may sign.

use super::folder::{BookFolder, FolderError};
use super::keyfile::KeyFile;
use crate::config::Settings;
use crate::domain::{Draw, Event, KeyAdded, KeyRole, OperatorId, Timestamp};
use crate::log::{FileStore, FileStoreOptions, Store};
use crate::proof::{Hash, NoteSigner, Policy, leaf_hash};
use crate::record::KeyEntryDraft;
use crate::writer::{Ask, Desk, DeskKeys, Observer, OpenError, Submission, SubmitError};
use std::sync::Arc;

/// What a book is founded with.
pub struct Founding<'a> {
    /// Its settings.
    pub settings: &'a Settings,
    /// When.
    pub now: Timestamp,
    /// 32 bytes from which keys, secret and ids are drawn.
    pub seed: [u8; 32],
}

/// A book that was founded.
pub struct Founded {
    /// RFC 7638 thumbprint of the root key: what a stranger needs to check anything.
    pub root: String,
    /// The policy, as `--policy` takes it.
    pub policy: Policy,
}

/// Why no book was founded.
#[derive(Debug, thiserror::Error)]
pub enum FoundingError {
    /// The folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The store.
    #[error(transparent)]
    Store(#[from] crate::log::StoreError),
    /// The desk.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// A name that cannot be one.
    #[error(transparent)]
    Name(#[from] crate::proof::Unproven),
    /// A key entry was refused.
    #[error(transparent)]
    Refused(#[from] SubmitError),
}

/// Founds a book in a folder that holds none.
///
/// # Errors
/// [`FoundingError`]; a book that is there already is never touched.
pub fn found(folder: &BookFolder, founding: &Founding<'_>) -> Result<Founded, FoundingError> {
    let settings = founding.settings;
    settings.check().map_err(FolderError::from)?;
    let mut draw = Draw::new(founding.seed);
    let files = folder.files();
    FileStore::create(folder.path(), &*files, &draw.bytes())?;
    folder.lay_out()?;
    folder.write_open("pourbook.toml", &settings.to_text().map_err(FolderError::from)?)?;
    let keys = [KeyRole::Root, KeyRole::Recorder, KeyRole::Log].map(|role| KeyFile {
        role,
        seed: draw.bytes(),
    });
    for key in &keys {
        folder.write_key(key, &folder.key_path(key.role))?;
    }
    let [root, recorder, log] = &keys;
    let mut chance = Draw::new(draw.bytes());
    let mut options = FileStoreOptions::new(Box::new(move || chance.bytes()));
    options.second_pin.clone_from(&settings.second_pin);
    let store = Arc::new(FileStore::open(folder.path(), options, files)?);
    let deskkeys = DeskKeys {
        recorder: recorder.signer(),
        log: NoteSigner::new(&settings.origin, &log.seed)?,
        next_log: None,
        secret: store.secret()?,
    };
    let verifier = deskkeys.log.verifier();
    let store: Arc<dyn Store> = store;
    let mut desk = Desk::open(store, &settings.origin, deskkeys, Observer::none())?;
    let submissions = key_entries(settings, founding.now, &keys, &mut draw);
    for outcome in desk.turn(founding.now, draw.bytes(), submissions)? {
        outcome?;
    }
    desk.release()?;
    let root = root.signer().kid().to_owned();
    let url = format!("{}/log", settings.address);
    let policy = Policy {
        root: Some(root.clone()),
        logs: vec![(verifier, Some(url))],
        ..Policy::default()
    };
    folder.write_open("policy", &policy.to_string())?;
    Ok(Founded { root, policy })
}

/// The first entries: the root key, signed by itself, then the two keys that work.
fn key_entries(settings: &Settings, now: Timestamp, keys: &[KeyFile; 3], draw: &mut Draw) -> Vec<Submission> {
    let [root, ..] = keys;
    let signer = root.signer();
    let by = OperatorId(draw.uuid());
    let mut newest: Option<Hash> = None;
    let mut submissions = Vec::new();
    for key in keys {
        let key_signer = key.signer();
        let event = KeyAdded {
            kid: key_signer.kid().to_owned(),
            role: key.role,
            x: key_signer.public().to_base64url(),
        };
        let jti = draw.uuid();
        let draft = KeyEntryDraft {
            iss: &settings.origin,
            jti,
            iat: now,
            by,
            keys: newest,
            event: Event::from(event),
        };
        let entry = crate::record::seal_key_entry(&draft, &signer)
            .unwrap_or_else(|_| unreachable!("an entry about one key is short"));
        newest = Some(leaf_hash(&entry));
        submissions.push(Submission {
            request: jti,
            by,
            at: None,
            expected: Vec::new(),
            ask: Ask::KeyEntry(entry),
        });
    }
    submissions
}
