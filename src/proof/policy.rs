//! Policies (C2SP tlog-policy): which log key a reader trusts. A comment line of ours, `# root <thumbprint>`, names the
//! root key that the log's own key entries must descend from.
//!
//! Witnesses and groups are read and held to the form, and kept. Cosignatures are not checked here yet, so a quorum of
//! them is refused by name: only `quorum none` is a policy that can be kept to.

use super::note::NoteVerifier;
use super::{Hash, Unproven};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use std::collections::{BTreeSet, HashSet};
use std::fmt;

/// How long a policy may be, bytes.
const POLICY_BYTES_MAX: usize = 64_000;
/// A cosignature key of Ed25519 (C2SP tlog-cosignature): its type and the length of its public key, bytes.
const COSIGNS_ED25519: (u8, usize) = (4, 32);
/// A cosignature key of ML-DSA-44 (C2SP tlog-cosignature).
const COSIGNS_ML_DSA_44: (u8, usize) = (6, 1312);

/// What a reader trusts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Policy {
    /// RFC 7638 thumbprint of the root key.
    pub root: Option<String>,
    /// Logs, and where each is read.
    pub logs: Vec<(NoteVerifier, Option<String>)>,
    /// Witnesses that the policy knows; none of them is asked for.
    pub witnesses: Vec<Witness>,
    /// Groups of them, in the order of the policy.
    pub groups: Vec<Group>,
}

/// A witness: somebody else who cosigns checkpoints.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Witness {
    /// What the policy calls it.
    pub name: String,
    /// Its key, a vkey of a cosignature type whose form and key id hold.
    pub vkey: String,
    /// Where it is reached.
    pub url: Option<String>,
}

/// A group of witnesses and groups, named on earlier lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// What the policy calls it.
    pub name: String,
    /// `all`, `any` or how many of its members.
    pub threshold: Threshold,
    /// Its members.
    pub members: Vec<String>,
}

/// How many members of a group must have cosigned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Threshold {
    /// Every one.
    All,
    /// One.
    Any,
    /// This many.
    Of(usize),
}

/// Whether a text has the form of an RFC 7638 thumbprint: base64url, without padding, of the 32 bytes of a SHA-256.
#[must_use]
pub fn is_thumbprint(text: &str) -> bool {
    Hash::from_base64url(text).is_some()
}

impl Policy {
    /// Reads a policy.
    ///
    /// # Errors
    /// [`Unproven::Line`] names the line that is wrong; [`Unproven::Form`] what the whole lacks; [`Unproven::Quorum`]
    /// when it asks for witnesses.
    pub fn parse(text: &str) -> Result<Self, Unproven> {
        let wrong = |why| Unproven::form("policy", why);
        if text.len() > POLICY_BYTES_MAX {
            return Err(wrong("it is too long"));
        }
        let mut reading = Reading::default();
        for (number, line) in (1..).zip(text.split('\n')) {
            reading.line(line).map_err(|why| Unproven::Line { number, why })?;
        }
        match reading.quorum.as_deref() {
            Some("none") => Ok(reading.policy),
            Some(named) => Err(Unproven::Quorum(named.to_owned())),
            None => Err(wrong("it has no quorum line")),
        }
    }
}

/// A policy, as far as it was read.
#[derive(Default)]
struct Reading {
    policy: Policy,
    /// Names of witnesses and groups: one space of names.
    names: HashSet<String>,
    /// Names that are members of a group already.
    members: HashSet<String>,
    /// Public keys of witnesses.
    keys: BTreeSet<Vec<u8>>,
    quorum: Option<String>,
}

type Line = Result<(), String>;

impl Reading {
    fn line(&mut self, line: &str) -> Line {
        if line.bytes().any(|b| (b < 0x20 && b != b'\t') || b == 0x7f) {
            return Err("it holds a control character".to_owned());
        }
        let words: Vec<&str> = line.split([' ', '\t']).filter(|word| !word.is_empty()).collect();
        match words.as_slice() {
            [] => Ok(()),
            ["#", "root", rest @ ..] => self.root(rest),
            [word, ..] if word.starts_with('#') => Ok(()),
            ["log", vkey, url @ ..] => self.log(vkey, url),
            ["witness", name, vkey, url @ ..] => self.witness(name, vkey, url),
            ["group", name, threshold, members @ ..] => self.group(name, threshold, members),
            ["quorum", name] => self.quorum(name),
            ["log" | "witness" | "group" | "quorum", ..] => Err(
                "want log <vkey> [url], witness <name> <vkey> [url], group <name> all|any|<k> <name>... \
                     or quorum <name>|none"
                    .to_owned(),
            ),
            [word, ..] => Err(format!(
                "{word:?} is none of log, witness, group, quorum or a comment"
            )),
        }
    }

    fn root(&mut self, rest: &[&str]) -> Line {
        match rest {
            [thumbprint] if self.policy.root.is_none() => {
                if !is_thumbprint(thumbprint) {
                    return Err(format!(
                        "{thumbprint:?} is no thumbprint: that is 43 characters of base64url (RFC 7638)"
                    ));
                }
                self.policy.root = Some((*thumbprint).to_owned());
                Ok(())
            }
            _ => Err("a `# root` line holds one thumbprint, and stands once".to_owned()),
        }
    }

    fn log(&mut self, vkey: &str, url: &[&str]) -> Line {
        let url = one_url(url)?;
        let verifier = NoteVerifier::parse(vkey).map_err(|why| why.to_string())?;
        let known = self.policy.logs.iter().map(|(log, _)| log.public());
        if known.into_iter().any(|public| public == verifier.public()) {
            return Err("another log line has the same key".to_owned());
        }
        self.policy.logs.push((verifier, url));
        Ok(())
    }

    fn witness(&mut self, name: &str, vkey: &str, url: &[&str]) -> Line {
        let url = one_url(url)?;
        if !self.keys.insert(cosigning_key(vkey)?) {
            return Err("another witness line has the same key".to_owned());
        }
        self.name(name)?;
        self.policy.witnesses.push(Witness {
            name: name.to_owned(),
            vkey: vkey.to_owned(),
            url,
        });
        Ok(())
    }

    fn group(&mut self, name: &str, threshold: &str, members: &[&str]) -> Line {
        let threshold = match threshold {
            "all" => Threshold::All,
            "any" => Threshold::Any,
            digits => Threshold::Of(count(digits, members.len())?),
        };
        if members.is_empty() {
            return Err(format!("group {name} has no member"));
        }
        for member in members {
            if !self.names.contains(*member) {
                return Err(format!("{member} is no witness or group of a line before"));
            }
            if !self.members.insert((*member).to_owned()) {
                return Err(format!("{member} is a member of a group already"));
            }
        }
        self.name(name)?;
        self.policy.groups.push(Group {
            name: name.to_owned(),
            threshold,
            members: members.iter().map(|member| (*member).to_owned()).collect(),
        });
        Ok(())
    }

    fn quorum(&mut self, name: &str) -> Line {
        if self.quorum.is_some() {
            return Err("a policy has one quorum line".to_owned());
        }
        if name != "none" && !self.names.contains(name) {
            return Err(format!("{name} is no witness or group of a line before"));
        }
        self.quorum = Some(name.to_owned());
        Ok(())
    }

    fn name(&mut self, name: &str) -> Line {
        if name == "none" {
            return Err("none is no name: it stands for no quorum".to_owned());
        }
        if !self.names.insert(name.to_owned()) {
            return Err(format!("{name} is named twice"));
        }
        Ok(())
    }
}

fn one_url(rest: &[&str]) -> Result<Option<String>, String> {
    match rest {
        [] => Ok(None),
        [url] => Ok(Some((*url).to_owned())),
        _ => Err("more stands there than a key and one URL".to_owned()),
    }
}

/// A threshold in decimal digits, from 1 to the count of members.
fn count(digits: &str, members: usize) -> Result<usize, String> {
    let decimal = !digits.starts_with('0') && digits.bytes().all(|b| b.is_ascii_digit());
    digits
        .parse()
        .ok()
        .filter(|k| decimal && (1..=members).contains(k))
        .ok_or_else(|| format!("{digits:?} is neither all, any nor a number from 1 to its {members} members"))
}

/// The public key in a vkey of a cosignature type. Form, length and key id hold; an Ed25519 key is one that can sign.
fn cosigning_key(vkey: &str) -> Result<Vec<u8>, String> {
    let mut parts = vkey.splitn(3, '+');
    let (Some(name), Some(id), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
        return Err("a vkey is <name>+<id>+<key>".to_owned());
    };
    let bytes = STANDARD
        .decode(key)
        .map_err(|_| "the key of the vkey is not base64")?;
    let (kind, public) = bytes.split_first().ok_or("the vkey holds no key")?;
    if ![COSIGNS_ED25519, COSIGNS_ML_DSA_44].contains(&(*kind, public.len())) {
        return Err("a witness has a key of type 04 (Ed25519) or 06 (ML-DSA-44)".to_owned());
    }
    if let Ok(public) = <[u8; 32]>::try_from(public) {
        // A name that cannot be one, a point that is none, a weak key: the same rules as for every key of a note.
        NoteVerifier::new(name, public).map_err(|why| why.to_string())?;
    }
    let digest = Sha256::new()
        .chain_update(name)
        .chain_update(b"\n")
        .chain_update(&bytes)
        .finalize();
    let [a, b, c, d, ..] = <[u8; 32]>::from(digest);
    if id == format!("{:08x}", u32::from_be_bytes([a, b, c, d])) {
        Ok(public.to_vec())
    } else {
        Err("the key id of the vkey is not that of the key".to_owned())
    }
}

impl fmt::Display for Threshold {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::All => f.write_str("all"),
            Self::Any => f.write_str("any"),
            Self::Of(count) => write!(f, "{count}"),
        }
    }
}

impl fmt::Display for Policy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let after = |url: &Option<String>| url.as_ref().map_or_else(String::new, |url| format!(" {url}"));
        if let Some(root) = &self.root {
            writeln!(f, "# root {root}")?;
        }
        for (verifier, url) in &self.logs {
            writeln!(f, "log {verifier}{}", after(url))?;
        }
        for Witness { name, vkey, url } in &self.witnesses {
            writeln!(f, "witness {name} {vkey}{}", after(url))?;
        }
        for group in &self.groups {
            writeln!(
                f,
                "group {} {} {}",
                group.name,
                group.threshold,
                group.members.join(" ")
            )?;
        }
        writeln!(f, "quorum none")
    }
}
