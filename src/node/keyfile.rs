//! Key files: one line, `pourbook-key <role> <thumbprint> <seed>`, readable by their owner only.

use crate::domain::KeyRole;
use crate::record::Signer;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

/// The content of a key file.
#[derive(Clone)]
pub struct KeyFile {
    /// What the key may sign.
    pub role: KeyRole,
    /// The Ed25519 seed. Whoever has it can sign.
    pub seed: [u8; 32],
}

/// Why a key file is not usable.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyFileError {
    /// It has not the form.
    #[error("a key file is one line: pourbook-key <role> <thumbprint> <seed>")]
    Form,
    /// It is for something else.
    #[error("this is the {found} key, the {wanted} key is needed")]
    Role {
        /// What it is.
        found: KeyRole,
        /// What was wanted.
        wanted: KeyRole,
    },
    /// Thumbprint and seed do not belong together.
    #[error("the thumbprint is not that of the seed: the file was altered")]
    Altered,
}

impl KeyFile {
    /// The text of the file.
    #[must_use]
    pub fn to_text(&self) -> String {
        let seed = URL_SAFE_NO_PAD.encode(self.seed);
        format!("pourbook-key {} {} {seed}\n", self.role, self.signer().kid())
    }

    /// Reads a key file that must be of this role.
    ///
    /// # Errors
    /// [`KeyFileError`].
    pub fn read(text: &str, wanted: KeyRole) -> Result<Self, KeyFileError> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let ["pourbook-key", role, kid, seed] = words.as_slice() else {
            return Err(KeyFileError::Form);
        };
        let roles = [KeyRole::Root, KeyRole::Recorder, KeyRole::Log];
        let found = roles
            .into_iter()
            .find(|r| r.word() == *role)
            .ok_or(KeyFileError::Form)?;
        if found != wanted {
            return Err(KeyFileError::Role { found, wanted });
        }
        let seed = URL_SAFE_NO_PAD
            .decode(seed)
            .ok()
            .and_then(|seed| seed.try_into().ok())
            .ok_or(KeyFileError::Form)?;
        let file = Self { role: found, seed };
        if file.signer().kid() == *kid {
            Ok(file)
        } else {
            Err(KeyFileError::Altered)
        }
    }

    /// The key, for signing entries.
    #[must_use]
    pub fn signer(&self) -> Signer {
        Signer::from_seed(&self.seed)
    }
}
