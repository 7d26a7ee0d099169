//! Signed notes (C2SP signed-note): a text and Ed25519 signatures of type 01 over it.

use super::Unproven;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use ed25519_dalek::{Signature, Signer as _, SigningKey, VerifyingKey};
use sha2::{Digest, Sha256};
use std::fmt;

const ED25519: u8 = 1;
/// How long a note may be, bytes.
pub(super) const NOTE_BYTES_MAX: usize = 64_000;
/// How many signature lines a note may have.
const SIGNATURES_MAX: usize = 64;

/// A name and a key that signs notes.
#[derive(Clone)]
pub struct NoteSigner {
    verifier: NoteVerifier,
    key: SigningKey,
}

/// A name and a public key that verifies notes; its text form is the vkey.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoteVerifier {
    name: String,
    id: u32,
    key: VerifyingKey,
}

/// A note that at least one trusted key signed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opened {
    /// The signed text, its last line feed included.
    pub text: String,
    /// Names of the trusted keys that signed.
    pub signed_by: Vec<String>,
}

fn name_holds(name: &str) -> bool {
    !name.is_empty()
        && !name.contains('+')
        && !name.chars().any(char::is_whitespace)
        && !name.chars().any(char::is_control)
}

fn key_id(name: &str, public: &[u8; 32]) -> u32 {
    let digest = Sha256::new()
        .chain_update(name)
        .chain_update([b'\n', ED25519])
        .chain_update(public)
        .finalize();
    let [a, b, c, d, ..] = <[u8; 32]>::from(digest);
    u32::from_be_bytes([a, b, c, d])
}

impl NoteSigner {
    /// A signer from a 32-byte Ed25519 seed.
    ///
    /// # Errors
    /// [`Unproven::Form`] if the name cannot be one.
    pub fn new(name: &str, seed: &[u8; 32]) -> Result<Self, Unproven> {
        let key = SigningKey::from_bytes(seed);
        Ok(Self {
            verifier: NoteVerifier::new(name, key.verifying_key().to_bytes())?,
            key,
        })
    }

    /// Its public side.
    #[must_use]
    pub fn verifier(&self) -> NoteVerifier {
        self.verifier.clone()
    }
}

impl NoteVerifier {
    /// A verifier from a public key.
    ///
    /// # Errors
    /// [`Unproven::Form`] if the name or the key cannot be one.
    pub fn new(name: &str, public: [u8; 32]) -> Result<Self, Unproven> {
        if !name_holds(name) {
            return Err(Unproven::form("key name", "it is empty or has spaces or `+`"));
        }
        let key =
            VerifyingKey::from_bytes(&public).map_err(|_| Unproven::form("vkey", "it is no Ed25519 key"))?;
        if key.is_weak() {
            return Err(Unproven::form("vkey", "the key is weak"));
        }
        Ok(Self {
            name: name.to_owned(),
            id: key_id(name, &public),
            key,
        })
    }

    /// Reads a vkey of type 01.
    ///
    /// # Errors
    /// [`Unproven::Form`].
    pub fn parse(text: &str) -> Result<Self, Unproven> {
        let wrong = |why| Unproven::form("vkey", why);
        let mut parts = text.splitn(3, '+');
        let (Some(name), Some(id), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(wrong("want <name>+<id>+<key>"));
        };
        let key = STANDARD.decode(key).map_err(|_| wrong("the key is not base64"))?;
        let (Some((&ED25519, public)), true) = (key.split_first(), key.len() == 33) else {
            return Err(wrong("only keys of type 01 (Ed25519) are known here"));
        };
        let public = public
            .try_into()
            .map_err(|_| wrong("the key is not 32 bytes long"))?;
        let verifier = Self::new(name, public)?;
        if verifier.to_string() == text && format!("{:08x}", verifier.id) == id {
            Ok(verifier)
        } else {
            Err(wrong("the key id is not that of the key"))
        }
    }

    /// The name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The public key.
    #[must_use]
    pub fn public(&self) -> [u8; 32] {
        self.key.to_bytes()
    }
}

impl fmt::Display for NoteVerifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut key = vec![ED25519];
        key.extend(self.key.as_bytes());
        write!(f, "{}+{:08x}+{}", self.name, self.id, STANDARD.encode(key))
    }
}

/// Signs a text, which must end with a line feed and hold no other control character.
///
/// # Panics
/// If it does not end so: only a text of our own making is signed.
#[must_use]
pub fn sign(text: &str, signers: &[&NoteSigner]) -> String {
    assert!(
        text.ends_with('\n'),
        "what is signed as a note ends with a line feed"
    );
    let mut note = format!("{text}\n");
    for signer in signers {
        let mut signature = signer.verifier.id.to_be_bytes().to_vec();
        signature.extend(signer.key.sign(text.as_bytes()).to_bytes());
        note.push_str(&format!(
            "\u{2014} {} {}\n",
            signer.verifier.name,
            STANDARD.encode(signature)
        ));
    }
    note
}

/// Opens a note: at least one trusted key must have signed, and no trusted key's signature may fail. Lines of unknown
/// keys are passed over.
///
/// # Errors
/// [`Unproven`].
pub fn open(note: &str, trusted: &[NoteVerifier]) -> Result<Opened, Unproven> {
    let (text, lines) = split(note)?;
    let mut signed_by: Vec<String> = Vec::new();
    for line in lines {
        let (name, id, signature) = signature_line(line)?;
        let Some(key) = trusted.iter().find(|key| key.name == name && key.id == id) else {
            continue;
        };
        let signature: Result<[u8; 64], _> = signature.as_slice().try_into();
        let holds = signature.is_ok_and(|signature| {
            key.key
                .verify_strict(text.as_bytes(), &Signature::from_bytes(&signature))
                .is_ok()
        });
        if !holds {
            return Err(Unproven::Forged(name.to_owned()));
        }
        if !signed_by.iter().any(|known| known == name) {
            signed_by.push(name.to_owned());
        }
    }
    if signed_by.is_empty() {
        return Err(Unproven::Unsigned);
    }
    Ok(Opened {
        text: text.to_owned(),
        signed_by,
    })
}

/// Splits a note into its text and its signature lines, at the last empty line.
pub(super) fn split(note: &str) -> Result<(&str, Vec<&str>), Unproven> {
    let wrong = |why| Unproven::form("signed note", why);
    if note.len() > NOTE_BYTES_MAX {
        return Err(wrong("it is too long"));
    }
    if note.chars().any(|c| u32::from(c) < 0x20 && c != '\n') {
        return Err(wrong("it holds control characters"));
    }
    let at = note
        .rfind("\n\n")
        .ok_or_else(|| wrong("no empty line stands before the signatures"))?;
    let (text, signatures) = note
        .split_at_checked(at.saturating_add(1))
        .ok_or_else(|| wrong("it cannot be split"))?;
    let signatures = signatures.strip_prefix('\n').and_then(|s| s.strip_suffix('\n'));
    let lines: Vec<&str> = signatures
        .ok_or_else(|| wrong("it does not end with a line feed"))?
        .split('\n')
        .collect();
    if lines.len() > SIGNATURES_MAX {
        return Err(wrong("it has too many signatures"));
    }
    Ok((text, lines))
}

fn signature_line(line: &str) -> Result<(&str, u32, Vec<u8>), Unproven> {
    let wrong = || Unproven::form("signature line", "want a dash, a name and base64");
    let (name, signature) = line
        .strip_prefix("\u{2014} ")
        .and_then(|l| l.split_once(' '))
        .ok_or_else(wrong)?;
    if !name_holds(name) {
        return Err(wrong());
    }
    let bytes = STANDARD.decode(signature).map_err(|_| wrong())?;
    let (id, signature) = bytes.split_first_chunk::<4>().ok_or_else(wrong)?;
    if signature.is_empty() {
        return Err(wrong());
    }
    Ok((name, u32::from_be_bytes(*id), signature.to_vec()))
}
