//! From a command to an entry that is ready to be appended: what it names, what the book decides, what is sealed.

use super::desk::Desk;
use super::submission::{Submission, SubmitError};
use crate::check::ChainEnd;
use crate::domain::{
    Command, Draft, Draw, Event, FieldErased, KeyRole, Moment, OperatorId, Refusal, Refused, Row, Timestamp,
    Touched,
};
use crate::log::{StoreError, VaultKind, VaultRecord};
use crate::proof::{Hash, leaf_hash};
use crate::record::{Entry, Malformed, Sealed, Unsealed};
use std::sync::Arc;
use uuid::Uuid;

/// How many chains one entry may move.
const SUBJECTS_MAX: usize = 64;
/// How long an entry may be, bytes: a tlog-proof carries it, and readers of those refuse long lines.
const ENTRY_BYTES_MAX: usize = 40_000;

/// A command with its entry named, and the chains that an erasure moves.
type Named = (Command, Option<Vec<Uuid>>);

/// What was decided in this turn and is not durable yet.
pub(super) struct Landing {
    pub index: u64,
    pub leaf: Hash,
    pub bytes: Arc<[u8]>,
    /// What the bytes say.
    pub entry: Arc<Entry>,
    pub by: OperatorId,
    pub digest: Vec<u8>,
    pub events: Arc<[Event]>,
    pub subjects: Vec<Uuid>,
    pub changes: Changes,
    pub private: Vec<VaultRecord>,
    pub erases: Option<FieldErased>,
}

/// What an entry changed in the book.
#[derive(Default)]
pub(super) struct Changes {
    /// Rows, as they were after it.
    pub rows: Vec<Row>,
    /// Rows that are no more: only a correction can withdraw one.
    pub gone: Vec<Touched>,
}

impl Desk {
    pub(super) fn take_command(
        &mut self,
        now: Timestamp,
        draw: &mut Draw,
        command: &Command,
        submission: &Submission,
    ) -> Result<Result<Landing, SubmitError>, StoreError> {
        let index = self.size();
        let (command, named) = match self.name_entry(command)? {
            Ok(named) => named,
            Err(refusal) => return Ok(Err(SubmitError::Refused(refusal.into()))),
        };
        let seed = draw.bytes();
        let mut moment = Moment {
            now,
            by: submission.by,
            draw: Draw::new(seed),
        };
        let drafts = match self.book.decide(index, &command, &mut moment) {
            Ok(drafts) => drafts,
            Err(refused) => return Ok(Err(SubmitError::Refused(refused))),
        };
        let subjects =
            named.unwrap_or_else(|| distinct(drafts.iter().flat_map(|draft| draft.event.subjects())));
        match self.seal(now, submission, &drafts, &subjects, &mut moment.draw) {
            Ok(sealed) => {
                self.last = now;
                let changes = self.changes(index);
                Ok(Ok(
                    self.landing(index, submission, drafts, subjects, sealed, changes)
                ))
            }
            Err(refused) => {
                self.book.undo();
                Ok(Err(SubmitError::Refused(refused)))
            }
        }
    }

    /// An operator who was revoked records nothing, and is not revoked again.
    pub(super) fn revoked(&self, by: OperatorId, command: Option<&Command>) -> Option<Refused> {
        let named = match command {
            Some(Command::RevokeOperator(c)) => Some(c.operator),
            _ => None,
        };
        std::iter::once(by).chain(named).find_map(|operator| {
            let revoked = self.operators.revoked_at(operator)?;
            Some(Refusal::OperatorRevoked { operator, revoked }.into())
        })
    }

    /// An entry by a key that may not sign could be recorded, but the book would never open again.
    pub(super) fn may_sign(&self) -> Result<(), SubmitError> {
        let next = self.size().saturating_add(1);
        if self.sealers_at(next).is_empty() {
            let why = "no log key is at hand that could seal it".to_owned();
            return Err(SubmitError::Refused(Refusal::RecorderKey { why }.into()));
        }
        let kid = self.deskkeys.recorder.kid();
        match self.keys.valid(kid, KeyRole::Recorder, self.size()) {
            Ok(_) => Ok(()),
            Err(fault) => {
                let why = fault.to_string();
                Err(SubmitError::Refused(Refusal::RecorderKey { why }.into()))
            }
        }
    }

    /// An erasure names an entry: its leaf hash and its chains are the writer's to know.
    fn name_entry(&self, command: &Command) -> Result<Result<Named, Refusal>, StoreError> {
        let Command::EraseField(erase) = command else {
            return Ok(Ok((command.clone(), None)));
        };
        let missing = || Refusal::NotErasable {
            index: erase.index,
            event: erase.event,
            member: erase.member.clone(),
        };
        let Some(bytes) = self.store.read(erase.index)? else {
            return Ok(Err(missing()));
        };
        let wanted = VaultKind::Disclosure {
            event: erase.event,
            member: erase.member.clone(),
        };
        let held = self
            .store
            .private(erase.index)?
            .into_iter()
            .find(|record| record.kind == wanted);
        match held {
            None => return Ok(Err(missing())),
            Some(record) if record.body.is_empty() => return Ok(Err(Refusal::AlreadyErased)),
            Some(_) => {}
        }
        let entry = crate::record::read(&bytes).map_err(|malformed| unreadable(erase.index, &malformed))?;
        let mut erase = erase.clone();
        erase.entry = leaf_hash(&bytes).to_base64url();
        Ok(Ok((
            Command::EraseField(erase),
            Some(entry.payload.prev.keys().copied().collect()),
        )))
    }

    pub(super) fn seal(
        &self,
        now: Timestamp,
        submission: &Submission,
        drafts: &[Draft],
        subjects: &[Uuid],
        draw: &mut Draw,
    ) -> Result<Sealed, Refused> {
        if subjects.len() > SUBJECTS_MAX {
            return Err(Refusal::TooMany {
                count: subjects.len(),
                most: SUBJECTS_MAX,
            }
            .into());
        }
        let prev = subjects
            .iter()
            .map(|s| (*s, self.chains.get(s).map(|end| end.leaf)))
            .collect();
        let unsealed = Unsealed {
            iss: &self.origin,
            jti: submission.request,
            iat: now,
            by: submission.by,
            at: submission.at,
            keys: self.keys.newest(),
            drafts,
            prev,
        };
        crate::record::seal(&unsealed, &self.deskkeys.recorder, draw).map_err(|_| {
            Refusal::EntryTooLong {
                bytes_max: ENTRY_BYTES_MAX,
            }
            .into()
        })
    }

    /// What the open journal changed, and closes it. Taken now, since later entries of the turn may change it again.
    fn changes(&mut self, index: u64) -> Changes {
        let touched = self.book.keep();
        let rows = if self.observer.observes(index) {
            self.book.rows(&touched)
        } else {
            Vec::new()
        };
        let gone = Vec::new();
        Changes { rows, gone }
    }

    pub(super) fn landing(
        &mut self,
        index: u64,
        submission: &Submission,
        drafts: Vec<Draft>,
        subjects: Vec<Uuid>,
        sealed: Sealed,
        changes: Changes,
    ) -> Landing {
        let private = sealed.disclosures.into_iter().map(|disclosure| VaultRecord {
            index,
            kind: VaultKind::Disclosure {
                event: disclosure.event,
                member: disclosure.member,
            },
            body: disclosure.text.into_bytes(),
        });
        let private = private.collect();
        let erases = drafts.iter().find_map(|draft| match &draft.event {
            Event::FieldErased(erased) => Some(erased.clone()),
            _ => None,
        });
        self.move_chains(&subjects, sealed.leaf);
        Landing {
            index,
            leaf: sealed.leaf,
            bytes: sealed.entry,
            entry: Arc::new(sealed.says),
            by: submission.by,
            digest: Vec::new(),
            events: drafts.into_iter().map(|draft| draft.event).collect(),
            subjects,
            changes,
            private,
            erases,
        }
    }

    pub(super) fn take_key_entry(
        &mut self,
        bytes: &[u8],
        submission: &Submission,
    ) -> Result<Landing, SubmitError> {
        let refused = |why: &dyn std::fmt::Display| {
            SubmitError::Refused(Refusal::KeyEntry { why: why.to_string() }.into())
        };
        let entry = crate::record::read(bytes).map_err(|_| refused(&"it is not a well-formed entry"))?;
        if entry.payload.iss != self.origin {
            return Err(refused(&"it names another book"));
        }
        if entry.payload.jti != submission.request {
            return Err(refused(&"its jti is not the Idempotency-Key"));
        }
        // It was signed elsewhere, and names its operator itself.
        if let Some(refused) = self.revoked(entry.payload.by, None) {
            return Err(SubmitError::Refused(refused));
        }
        let index = self.size();
        // A book that is founded entry by entry adds its log key last.
        let founded = self.keys.rows().iter().any(|row| row.role == KeyRole::Log);
        if founded && !self.seals_after(index, &entry) {
            return Err(refused(
                &"no key at hand could seal the checkpoints of the book then: put the new log key in its place first",
            ));
        }
        self.keys
            .apply(index, &entry, bytes)
            .map_err(|fault| refused(&fault))?;
        self.published.note_key_entry(index);
        let leaf = leaf_hash(bytes);
        self.published.push(leaf);
        Ok(Landing {
            index,
            leaf,
            bytes: bytes.into(),
            by: submission.by,
            digest: Vec::new(),
            events: entry.events().cloned().collect(),
            entry: Arc::new(entry),
            subjects: Vec::new(),
            changes: Changes::default(),
            private: Vec::new(),
            erases: None,
        })
    }

    /// Whether a log key at hand could sign the checkpoint that covers an entry about keys.
    fn seals_after(&self, index: u64, entry: &Entry) -> bool {
        let size = index.saturating_add(1);
        self.sealers.iter().any(|(kid, _)| {
            let told = entry.events().find_map(|event| match event {
                Event::KeyRevoked(revoked) if revoked.kid == *kid => Some(false),
                Event::KeyAdded(added) if added.kid == *kid => Some(added.role == KeyRole::Log),
                _ => None,
            });
            told.unwrap_or_else(|| self.keys.valid(kid, KeyRole::Log, size).is_ok())
        })
    }

    fn move_chains(&mut self, subjects: &[Uuid], leaf: Hash) {
        self.published.push(leaf);
        for subject in subjects {
            let version = self.version(*subject).saturating_add(1);
            self.chains.insert(*subject, ChainEnd { leaf, version });
        }
    }
}

pub(super) fn distinct(subjects: impl Iterator<Item = Uuid>) -> Vec<Uuid> {
    let mut seen = Vec::new();
    for subject in subjects {
        if !seen.contains(&subject) {
            seen.push(subject);
        }
    }
    seen
}

pub(super) fn unreadable(index: u64, malformed: &Malformed) -> StoreError {
    StoreError::Corrupt {
        at: format!("entry {index}"),
        why: malformed.to_string(),
    }
}
