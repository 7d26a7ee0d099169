//! The key chain: which key may sign what, by log index.
//!
//! Three kinds of key, never shared: the root key signs entries about keys, a recorder key signs all other entries, a
//! log key signs checkpoints. Entry 0 adds the root key, signed by itself; whoever checks must know its thumbprint from
//! elsewhere, since the log can only say that it is its own.
//!
//! Deliberately absent: time. A key is valid by index, since an index cannot be pretended.

use super::payload::{Entry, is_key_event};
use super::signature::{PublicKey, thumbprint, verify_signature};
use crate::domain::{Event, KeyAdded, KeyRole};
use crate::proof::{Hash, leaf_hash};

/// Why the key chain does not take an entry, or a key may not sign.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyFault {
    /// The first entry of a log must add the root key.
    #[error("entry 0 does not add the root key")]
    NoRoot,
    /// An entry about keys has one event and moves no other chain.
    #[error("an entry about keys has exactly one event and no prev")]
    NotAlone,
    /// `keys` is not the leaf hash of the newest key entry.
    #[error("keys does not name the newest key entry")]
    BrokenChain,
    /// An entry about keys by another key than the root key.
    #[error("an entry about keys is signed by the root key, not by {kid}")]
    NotByRoot {
        /// Who signed.
        kid: String,
    },
    /// The signature does not hold.
    #[error("the signature of the key entry does not hold")]
    Signature,
    /// `kid` is not the RFC 7638 thumbprint of `x`.
    #[error("{kid} is not the thumbprint of the key")]
    Thumbprint {
        /// What it says.
        kid: String,
    },
    /// `x` is no Ed25519 public key, or one of small order.
    #[error("{kid} is no Ed25519 key, or a weak one")]
    WeakKey {
        /// Its name.
        kid: String,
    },
    /// The key is in the chain already, in this or another role.
    #[error("{kid} was added before: a key has one role, for ever")]
    Again {
        /// Its name.
        kid: String,
    },
    /// There is one root key.
    #[error("the root key stays: no second one is added, and it is not revoked")]
    Root,
    /// No such key.
    #[error("{kid} is not a key of this log")]
    Unknown {
        /// Its name.
        kid: String,
    },
    /// It was added for something else.
    #[error("{kid} is a {role} key")]
    OtherRole {
        /// Its name.
        kid: String,
        /// What it may sign.
        role: KeyRole,
    },
    /// It signed before it was added.
    #[error("{kid} was added at {added} and is not valid at {index}")]
    NotYet {
        /// Its name.
        kid: String,
        /// Index of the entry that added it.
        added: u64,
        /// Where it was used.
        index: u64,
    },
    /// It signed at or after its revocation.
    #[error("{kid} was revoked at {revoked} and is not valid at {index}")]
    Revoked {
        /// Its name.
        kid: String,
        /// Index of the entry that revoked it.
        revoked: u64,
        /// Where it was used.
        index: u64,
    },
    /// It was revoked before.
    #[error("{kid} was revoked at {revoked} already")]
    RevokedBefore {
        /// Its name.
        kid: String,
        /// Index of the entry that revoked it.
        revoked: u64,
    },
    /// A doubt that begins after the entry that states it.
    #[error("a doubt about {kid} begins at {from}, which is after the entry that states it")]
    DoubtAhead {
        /// Its name.
        kid: String,
        /// Where it is said to begin.
        from: u64,
    },
}

/// One key of the chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyRow {
    /// Its RFC 7638 thumbprint.
    pub kid: String,
    /// What it may sign.
    pub role: KeyRole,
    /// The key.
    pub public: PublicKey,
    /// Index of the entry that added it; it may sign what comes after.
    pub added: u64,
    /// Index of the entry that revoked it; it may not sign that index or a later one.
    pub revoked: Option<u64>,
    /// From which index on what it signed is in doubt.
    pub suspect_from: Option<u64>,
}

/// The key chain as far as it was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keys {
    rows: Vec<KeyRow>,
    newest: Option<Hash>,
}

impl Keys {
    /// Takes an entry about keys. On a fault nothing changes.
    ///
    /// # Errors
    /// Why the chain does not take it.
    pub fn apply(&mut self, index: u64, entry: &Entry, bytes: &[u8]) -> Result<(), KeyFault> {
        let [recorded] = entry.payload.events.as_slice() else {
            return Err(KeyFault::NotAlone);
        };
        let event = recorded
            .event()
            .filter(|event| is_key_event(event))
            .ok_or(KeyFault::NotAlone)?;
        if !entry.payload.prev.is_empty() {
            return Err(KeyFault::NotAlone);
        }
        if entry.payload.keys != self.newest {
            return Err(KeyFault::BrokenChain);
        }
        match event {
            Event::KeyAdded(added) => {
                let row = self.admit(index, added)?;
                let root = self.rows.first().unwrap_or(&row);
                check_by_root(root, entry, bytes)?;
                self.rows.push(row);
            }
            Event::KeyRevoked(revoked) => {
                self.check_chained(entry, bytes)?;
                self.revoke(index, &revoked.kid)?;
            }
            Event::KeySuspect(suspect) => {
                self.check_chained(entry, bytes)?;
                self.doubt(index, &suspect.kid, suspect.from)?;
            }
            _ => return Err(KeyFault::NotAlone),
        }
        self.newest = Some(leaf_hash(bytes));
        Ok(())
    }

    /// The row of a key that may be added.
    fn admit(&self, index: u64, added: &KeyAdded) -> Result<KeyRow, KeyFault> {
        let kid = added.kid.clone();
        match (self.rows.is_empty(), added.role) {
            (true, KeyRole::Root) if index == 0 => {}
            (true, _) => return Err(KeyFault::NoRoot),
            (false, KeyRole::Root) => return Err(KeyFault::Root),
            (false, _) => {}
        }
        let Some(public) = PublicKey::from_base64url(&added.x) else {
            return Err(KeyFault::WeakKey { kid });
        };
        if thumbprint(&public.to_bytes()) != kid {
            return Err(KeyFault::Thumbprint { kid });
        }
        if self.rows.iter().any(|row| row.kid == kid) {
            return Err(KeyFault::Again { kid });
        }
        Ok(KeyRow {
            kid,
            role: added.role,
            public,
            added: index,
            revoked: None,
            suspect_from: None,
        })
    }

    fn check_chained(&self, entry: &Entry, bytes: &[u8]) -> Result<(), KeyFault> {
        check_by_root(self.rows.first().ok_or(KeyFault::NoRoot)?, entry, bytes)
    }

    fn revoke(&mut self, index: u64, kid: &str) -> Result<(), KeyFault> {
        let row = self.row_mut(kid)?;
        if row.role == KeyRole::Root {
            return Err(KeyFault::Root);
        }
        if let Some(revoked) = row.revoked {
            return Err(KeyFault::RevokedBefore {
                kid: kid.to_owned(),
                revoked,
            });
        }
        row.revoked = Some(index);
        Ok(())
    }

    fn doubt(&mut self, index: u64, kid: &str, from: u64) -> Result<(), KeyFault> {
        let row = self.row_mut(kid)?;
        if from > index {
            return Err(KeyFault::DoubtAhead {
                kid: kid.to_owned(),
                from,
            });
        }
        // A later statement can only widen the doubt.
        row.suspect_from = Some(row.suspect_from.map_or(from, |earlier| earlier.min(from)));
        Ok(())
    }

    fn row_mut(&mut self, kid: &str) -> Result<&mut KeyRow, KeyFault> {
        self.rows
            .iter_mut()
            .find(|row| row.kid == kid)
            .ok_or_else(|| KeyFault::Unknown { kid: kid.to_owned() })
    }

    /// The key, if it may sign in a role at an index: after the entry that added it, before the one that revoked it. For
    /// a checkpoint the index is its size, and one that ends just before the entry that revoked its key still holds: it
    /// was sealed and shown before.
    ///
    /// # Errors
    /// Why it may not.
    pub fn valid(&self, kid: &str, role: KeyRole, index: u64) -> Result<&PublicKey, KeyFault> {
        let named = || kid.to_owned();
        let row = self.row(kid).ok_or_else(|| KeyFault::Unknown { kid: named() })?;
        if row.role != role {
            return Err(KeyFault::OtherRole {
                kid: named(),
                role: row.role,
            });
        }
        if index <= row.added && !(index == 0 && role == KeyRole::Root) {
            return Err(KeyFault::NotYet {
                kid: named(),
                added: row.added,
                index,
            });
        }
        let entries = index.saturating_sub(u64::from(role == KeyRole::Log));
        match row.revoked {
            Some(revoked) if entries >= revoked => Err(KeyFault::Revoked {
                kid: named(),
                revoked,
                index,
            }),
            _ => Ok(&row.public),
        }
    }

    /// The key that an entry at an index must be signed by, for [`verify_signature`]: a recorder key that is valid
    /// there, and `keys` names the newest key entry.
    ///
    /// # Errors
    /// Why the entry may not stand there. Entries about keys go through [`Keys::apply`].
    pub fn signer_of(&self, index: u64, entry: &Entry) -> Result<&PublicKey, KeyFault> {
        if self.newest.is_none() {
            return Err(KeyFault::NoRoot);
        }
        if entry.is_key_entry() {
            return Err(KeyFault::NotAlone);
        }
        if entry.payload.keys != self.newest {
            return Err(KeyFault::BrokenChain);
        }
        self.valid(&entry.kid, KeyRole::Recorder, index)
    }

    /// Whether what a key signed at an index is in doubt.
    #[must_use]
    pub fn is_suspect(&self, kid: &str, index: u64) -> bool {
        self.row(kid)
            .and_then(|row| row.suspect_from)
            .is_some_and(|from| index >= from)
    }

    /// A key by its name.
    #[must_use]
    pub fn row(&self, kid: &str) -> Option<&KeyRow> {
        self.rows.iter().find(|row| row.kid == kid)
    }

    /// Every key, in the order in which they were added.
    #[must_use]
    pub fn rows(&self) -> &[KeyRow] {
        &self.rows
    }

    /// Thumbprint of the root key.
    #[must_use]
    pub fn root(&self) -> Option<&str> {
        self.rows.first().map(|row| row.kid.as_str())
    }

    /// Leaf hash of the newest key entry: what `keys` of the next entry says.
    #[must_use]
    pub const fn newest(&self) -> Option<Hash> {
        self.newest
    }
}

fn check_by_root(root: &KeyRow, entry: &Entry, bytes: &[u8]) -> Result<(), KeyFault> {
    if entry.kid != root.kid {
        return Err(KeyFault::NotByRoot {
            kid: entry.kid.clone(),
        });
    }
    verify_signature(bytes, &root.public).map_err(|_| KeyFault::Signature)
}
