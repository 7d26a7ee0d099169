//! Policies (C2SP tlog-policy): which log key a reader trusts. A comment line of ours, `# root <thumbprint>`, names the
//! root key that the log's own key entries must descend from.
//!
//! Witnesses and groups are read, and refused by name where a quorum of them is asked for: cosignatures are not checked
//! here yet.

use super::Unproven;
use super::note::NoteVerifier;
use std::fmt;

/// What a reader trusts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Policy {
    /// RFC 7638 thumbprint of the root key.
    pub root: Option<String>,
    /// Logs, and where each is read.
    pub logs: Vec<(NoteVerifier, Option<String>)>,
}

impl Policy {
    /// Reads a policy.
    ///
    /// # Errors
    /// [`Unproven::Form`]; [`Unproven::Quorum`] when it asks for witnesses.
    pub fn parse(text: &str) -> Result<Self, Unproven> {
        let wrong = |why| Unproven::form("policy", why);
        if text.len() > 64_000 {
            return Err(wrong("it is too long"));
        }
        let mut policy = Self::default();
        let mut quorum = None;
        for line in text.lines() {
            let words: Vec<&str> = line.split_whitespace().collect();
            match words.as_slice() {
                ["#", "root", thumbprint] if policy.root.is_none() => {
                    policy.root = Some((*thumbprint).to_owned())
                }
                ["#", "root", ..] => {
                    return Err(wrong("a `# root` line holds one thumbprint, and stands once"));
                }
                [] => {}
                [word, ..] if word.starts_with('#') => {}
                ["log", vkey] => policy.logs.push((NoteVerifier::parse(vkey)?, None)),
                ["log", vkey, url] => policy
                    .logs
                    .push((NoteVerifier::parse(vkey)?, Some((*url).to_owned()))),
                ["witness", _, _] | ["witness", _, _, _] | ["group", _, _, ..] => {}
                ["quorum", name] if quorum.is_none() => quorum = Some(*name),
                _ => {
                    return Err(wrong(
                        "a line is none of log, witness, group, quorum or a comment",
                    ));
                }
            }
        }
        match quorum {
            Some("none") => Ok(policy),
            Some(group) => Err(Unproven::Quorum(group.to_owned())),
            None => Err(wrong("it has no quorum line")),
        }
    }
}

impl fmt::Display for Policy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(root) = &self.root {
            writeln!(f, "# root {root}")?;
        }
        for (verifier, url) in &self.logs {
            match url {
                Some(url) => writeln!(f, "log {verifier} {url}")?,
                None => writeln!(f, "log {verifier}")?,
            }
        }
        writeln!(f, "quorum none")
    }
}
