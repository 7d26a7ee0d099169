//! Who is calling: bearer tokens (RFC 6750), of which only SHA-256 hashes are kept, and their roles.
//!
//! `tokens.json` in the folder of the book is read again when it changes, so that a revoked token stops at once. This file
//! is the only place that reads or writes it. What a role may do stands in [`super::routes`].

use super::problem::Problem;
use crate::domain::{Draw, OperatorId, Timestamp};
use crate::log::files::MODE_PRIVATE;
use crate::log::{FileStamp, Files, RealFiles};
use actix_web::http::header;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use subtle::ConstantTimeEq;

/// What somebody's part in the workshop is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Readings, melts, pieces at the bench; sees no names and no money.
    Bench,
    /// All of the trade, names and money too.
    Office,
    /// Reads every entry, no disclosures, writes nothing.
    Auditor,
    /// Keys, erasures, the clock; no trade commands.
    Admin,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 4] = [Self::Bench, Self::Office, Self::Auditor, Self::Admin];

    /// Whether names, notes and money are shown.
    #[must_use]
    pub const fn sees_private(self) -> bool {
        matches!(self, Self::Office | Self::Admin)
    }

    /// The word as it is written.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bench => "bench",
            Self::Office => "office",
            Self::Auditor => "auditor",
            Self::Admin => "admin",
        }
    }
}

/// One token as it is kept: never the token itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TokenRow {
    /// Who calls with it; the id stands in entries.
    pub operator: OperatorId,
    /// A name for the people of the workshop; it stands nowhere else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The part.
    pub role: Role,
    /// SHA-256 of the token, base64url.
    pub hash: String,
    /// When it ends, seconds since 1970; without it, never.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires: Option<Timestamp>,
    /// When it was revoked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked: Option<Timestamp>,
}

impl TokenRow {
    fn is_in_force(&self, now: Timestamp) -> bool {
        self.revoked.is_none() && self.expires.is_none_or(|end| now < end)
    }
}

/// The file of tokens.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tokens {
    /// The tokens, oldest first.
    pub tokens: Vec<TokenRow>,
}

impl Tokens {
    /// Makes a token and keeps its hash. The token is returned once and can not be read again.
    pub fn add(
        &mut self,
        draw: &mut Draw,
        role: Role,
        name: Option<String>,
        expires: Option<Timestamp>,
    ) -> String {
        let token = format!("pb_{}", URL_SAFE_NO_PAD.encode(draw.bytes()));
        self.tokens.push(TokenRow {
            operator: OperatorId(draw.uuid()),
            name,
            role,
            hash: URL_SAFE_NO_PAD.encode(hash(&token)),
            expires,
            revoked: None,
        });
        token
    }

    /// Revokes every token of an operator; how many there were.
    pub fn revoke(&mut self, operator: OperatorId, now: Timestamp) -> usize {
        let live = self.tokens.iter_mut();
        live.filter(|row| row.operator == operator && row.revoked.is_none())
            .map(|row| row.revoked = Some(now))
            .count()
    }

    /// Reads the file; no file is no token.
    ///
    /// # Errors
    /// When the file cannot be read or is not a file of tokens.
    pub fn read(path: &Path) -> std::io::Result<Self> {
        Self::read_through(&RealFiles, path)
    }

    /// Reads the file through a door to the disk; no file is no token.
    ///
    /// # Errors
    /// As [`Tokens::read`].
    pub fn read_through(files: &dyn Files, path: &Path) -> std::io::Result<Self> {
        match files.read_whole(path) {
            Ok(bytes) => serde_json::from_slice(&bytes)
                .map_err(|error| std::io::Error::new(std::io::ErrorKind::InvalidData, error)),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(error) => Err(error),
        }
    }

    /// Writes the file whole: beside it first, then over it, so that a reader never sees half of it. When this returns
    /// it is durable: a token that was revoked does not come back with the next power cut.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> std::io::Result<()> {
        self.write_through(&RealFiles, path)
    }

    /// Writes the file through a door to the disk.
    ///
    /// # Errors
    /// As [`Tokens::write`].
    pub fn write_through(&self, files: &dyn Files, path: &Path) -> std::io::Result<()> {
        let mut bytes = serde_json::to_vec_pretty(self)?;
        bytes.push(b'\n');
        files.replace_synced(path, &bytes, MODE_PRIVATE)
    }

    /// The token that a client shows. Every row is compared in full, so that the time says nothing.
    fn find(&self, token: &str) -> Option<&TokenRow> {
        let shown = URL_SAFE_NO_PAD.encode(hash(token));
        let mut found = None;
        for row in &self.tokens {
            if bool::from(row.hash.as_bytes().ct_eq(shown.as_bytes())) {
                found = Some(row);
            }
        }
        found
    }
}

fn hash(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

/// Who calls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caller {
    /// The operator.
    pub operator: OperatorId,
    /// The part.
    pub role: Role,
}

/// Who holds a token that is in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holder {
    /// Who calls with it.
    pub caller: Caller,
    /// What the people of the workshop call them.
    pub name: Option<String>,
    /// The token's hash, as it is kept.
    pub hash: String,
}

impl Holder {
    fn of(row: &TokenRow) -> Self {
        Self {
            caller: Caller {
                operator: row.operator,
                role: row.role,
            },
            name: row.name.clone(),
            hash: row.hash.clone(),
        }
    }
}

/// The tokens in force.
pub struct Access {
    path: Option<PathBuf>,
    state: Mutex<State>,
}

struct State {
    tokens: Arc<Tokens>,
    stamp: Option<FileStamp>,
}

impl Access {
    /// The tokens of a file, which is read again when it changes.
    ///
    /// # Errors
    /// As [`Tokens::read`].
    pub fn open(path: PathBuf) -> std::io::Result<Self> {
        let state = State {
            stamp: stamp(&path),
            tokens: Arc::new(Tokens::read(&path)?),
        };
        Ok(Self {
            path: Some(path),
            state: Mutex::new(state),
        })
    }

    /// Tokens that stand in no file.
    #[must_use]
    pub fn fixed(tokens: Tokens) -> Self {
        Self {
            path: None,
            state: Mutex::new(State {
                tokens: Arc::new(tokens),
                stamp: None,
            }),
        }
    }

    /// The tokens as they stand now. A file that has become unreadable lets nobody in.
    fn current(&self) -> Arc<Tokens> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(path) = &self.path {
            let now = stamp(path);
            if now != state.stamp {
                // One that could not be read is tried again, whether it changes or not.
                let read = Tokens::read(path);
                state.stamp = now.filter(|_| read.is_ok());
                state.tokens = Arc::new(read.unwrap_or_default());
            }
        }
        Arc::clone(&state.tokens)
    }

    /// Whose token this is, if it is in force.
    #[must_use]
    pub fn holder(&self, token: &str, now: Timestamp) -> Option<Holder> {
        self.current()
            .find(token)
            .filter(|row| row.is_in_force(now))
            .map(Holder::of)
    }

    /// Who holds the token with this hash, if it is in force.
    #[must_use]
    pub fn holder_of(&self, hash: &str, now: Timestamp) -> Option<Holder> {
        let tokens = self.current();
        let mut rows = tokens.tokens.iter();
        let row = rows.find(|row| bool::from(row.hash.as_bytes().ct_eq(hash.as_bytes())));
        row.filter(|row| row.is_in_force(now)).map(Holder::of)
    }

    /// What the people of the workshop call an operator; none where no token of theirs has a name.
    #[must_use]
    pub fn name_of(&self, operator: OperatorId) -> Option<String> {
        let tokens = self.current();
        let mut rows = tokens.tokens.iter().rev();
        rows.find_map(|row| (row.operator == operator).then(|| row.name.clone()).flatten())
    }

    /// The caller that an `Authorization` header names.
    ///
    /// # Errors
    /// 401 without a header, and alike for a token that is unknown, expired or revoked.
    pub fn caller(&self, authorization: Option<&str>, now: Timestamp) -> Result<Caller, Problem> {
        let challenge = |detail: &str| Problem::unauthorized(detail).with(header::WWW_AUTHENTICATE, "Bearer");
        let Some(authorization) = authorization else {
            return Err(challenge("no token was sent"));
        };
        let token = match authorization.split_once(' ') {
            Some((scheme, token)) if scheme.eq_ignore_ascii_case("bearer") => token.trim(),
            _ => return Err(challenge("the Authorization header is not a bearer token")),
        };
        let holder = self.holder(token, now);
        holder
            .map(|holder| holder.caller)
            .ok_or_else(|| challenge("the token is not known, or it has ended"))
    }
}

/// A file that cannot be looked at counts as absent: nobody is let in by it.
fn stamp(path: &Path) -> Option<FileStamp> {
    RealFiles.stamp(path).ok().flatten()
}
