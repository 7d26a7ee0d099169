//! The check of one piece's proof file, from the root thumbprint down to the grams.

use super::accepted::Accepted;
use super::ancestry::{Lineage, lineage};
use super::claims::{self, Claims, Told};
use super::display;
use super::evidence::{Evidence, Spoilt};
use super::proof_file::ProofFile;
use super::report::{Conclusion, Facts, Report, Step};
use crate::domain::KeyRole;
use crate::proof::{Checkpoint, Policy};
use crate::record::{KeyRow, Keys};

/// What the reader brings and trusts. It must not come from the file, nor from the server that gave the file.
#[derive(Clone, Debug)]
pub struct Trust {
    /// RFC 7638 thumbprint of the workshop's root key, as printed on its certificates.
    pub root: String,
    /// The reader's own policy, if there is one; its log key must then be the one that signed.
    pub policy: Option<Policy>,
}

/// Checks a proof file.
#[must_use]
pub fn check_piece(bytes: &[u8], trust: &Trust) -> Report {
    check_and_tell(bytes, trust).0
}

/// Checks a proof file, and gives what it holds to whoever tells it further: nothing unless every step holds.
#[must_use]
pub fn check_and_tell(bytes: &[u8], trust: &Trust) -> (Report, Option<Accepted>) {
    let mut check = Check {
        steps: Vec::new(),
        facts: Facts::default(),
    };
    let (conclusion, accepted) = match check.run(bytes, trust) {
        Ok(accepted) => {
            let size = accepted.checkpoint.size;
            (Conclusion::Holds { size }, Some(accepted))
        }
        Err(conclusion) => (conclusion, None),
    };
    let report = Report {
        steps: check.steps,
        conclusion,
        facts: check.facts,
    };
    (report, accepted)
}

struct Check {
    steps: Vec<Step>,
    facts: Facts,
}

impl Check {
    fn run(&mut self, bytes: &[u8], trust: &Trust) -> Result<Accepted, Conclusion> {
        let file = ProofFile::read(bytes).map_err(|why| Conclusion::Unreadable { why })?;
        self.facts.serial = file.serial.to_string();
        let evidence = Evidence::read(&file).map_err(|spoilt| match spoilt {
            Spoilt::Unreadable(why) => Conclusion::Unreadable { why },
            Spoilt::NotUnderstood(what) => Conclusion::NotUnderstood { what },
        })?;
        let (keys, checkpoint) = self.find_trust(&evidence, &file, trust)?;
        self.check_entries(&evidence, &file, &keys, &checkpoint)?;
        let lineage = self.follow(&evidence, &file)?;
        let claims = Claims {
            file: &file,
            evidence: &evidence,
            lineage: &lineage,
        };
        let told = self.check_claims(&claims)?;
        self.facts = display::facts(&claims, &keys, &told);
        Ok(Accepted::of(file.piece, checkpoint, evidence, lineage))
    }

    /// From the root that the reader trusts to the size and root that the log signed.
    fn find_trust(
        &mut self,
        evidence: &Evidence,
        file: &ProofFile,
        trust: &Trust,
    ) -> Result<(Keys, Checkpoint), Conclusion> {
        let keys = self.step("keys", "The keys descend from the root you trust", || {
            let keys = evidence.keys(&trust.root)?;
            Ok((format!("root {}", trust.root), keys))
        })?;
        let checkpoint = self.step("checkpoint", "The log signed its size and root", || {
            let checkpoint = evidence.checkpoint(&file.origin, &keys)?;
            policy_agrees(trust, file, &keys)?;
            Ok((
                format!("{} at size {}", checkpoint.origin, checkpoint.size),
                checkpoint,
            ))
        })?;
        Ok((keys, checkpoint))
    }

    /// That every entry stands in the log, is signed, and that none of the piece's own is missing.
    fn check_entries(
        &mut self,
        evidence: &Evidence,
        file: &ProofFile,
        keys: &Keys,
        checkpoint: &Checkpoint,
    ) -> Result<(), Conclusion> {
        self.step("inclusion", "Every entry stands in that log", || {
            evidence.included(checkpoint)?;
            Ok((format!("{} entries", evidence.entries.len()), ()))
        })?;
        self.step(
            "signatures",
            "Every entry is signed by a key valid at its place",
            || {
                evidence.signed(&file.origin, keys)?;
                Ok(("all of them".to_owned(), ()))
            },
        )?;
        self.step(
            "chain",
            "No entry of the piece is missing in between",
            || match evidence
                .corrected()
                .and_then(|()| evidence.unbroken(file.piece.0))?
            {
                0 => Err("the file holds no entry of the piece".to_owned()),
                count => Ok((format!("{count} entries, each naming the one before"), ())),
            },
        )
    }

    /// That the file holds what is behind the piece, and nothing else.
    fn follow(&mut self, evidence: &Evidence, file: &ProofFile) -> Result<Lineage, Conclusion> {
        self.step(
            "ancestry",
            "The file holds just the entries behind the piece",
            || {
                let lineage = lineage(file.piece, evidence).map_err(|why| why.to_string())?;
                if !lineage.indexes.iter().eq(evidence.entries.keys()) {
                    return Err("it holds entries that are not behind the piece".to_owned());
                }
                if lineage.traced != file.traced {
                    return Err(format!(
                        "it says {} is traced, the entries trace {}",
                        file.traced, lineage.traced
                    ));
                }
                Ok((
                    format!("{} melts, traced {}", lineage.melts.len(), lineage.traced),
                    lineage,
                ))
            },
        )
    }

    /// That what the entries claim holds.
    fn check_claims(&mut self, claims: &Claims) -> Result<Told, Conclusion> {
        self.step("serial", "The serial belongs to the piece", || {
            claims::serial(claims).map(|found| (found, ()))
        })?;
        let told = self.step(
            "life",
            "What happened to the piece could happen, one thing after another",
            || {
                let told = claims::follow(claims, u64::MAX)?;
                Ok((format!("last said: {}", told.life.state), told))
            },
        )?;
        self.step(
            "metal",
            "Every melt adds up, and what one gives the next takes",
            || claims::metal(claims).map(|found| (found, ())),
        )?;
        self.step(
            "weight",
            "The weighings and gradings follow from scale, check and limits",
            || claims::weight(claims).map(|found| (found, ())),
        )?;
        self.step(
            "office",
            "What went to the assay office came back or is accounted for",
            || claims::office(claims).map(|found| (found, ())),
        )?;
        self.step("edition", "The series counts the piece as it was", || {
            claims::edition(claims, &told).map(|found| (found, ()))
        })?;
        self.step(
            "certificate",
            "The certificate states no more than the record supports",
            || claims::certificate(claims, &told).map(|found| (found, ())),
        )?;
        Ok(told)
    }

    fn step<T>(
        &mut self,
        name: &'static str,
        checked: &'static str,
        find: impl FnOnce() -> Result<(String, T), String>,
    ) -> Result<T, Conclusion> {
        match find() {
            Ok((found, value)) => {
                self.steps.push(Step {
                    name,
                    checked,
                    holds: true,
                    found,
                });
                Ok(value)
            }
            Err(why) => {
                self.steps.push(Step {
                    name,
                    checked,
                    holds: false,
                    found: why.clone(),
                });
                Err(Conclusion::DoesNotHold { step: name, why })
            }
        }
    }
}

/// The reader's policy names a log key: it must be one that the key chain gives the log.
fn policy_agrees(trust: &Trust, file: &ProofFile, keys: &crate::record::Keys) -> Result<(), String> {
    let policy = trust.policy.as_ref();
    let Some(policy) = policy.filter(|policy| !policy.logs.is_empty()) else {
        return Ok(());
    };
    let known = policy.logs.iter().any(|(verifier, _)| {
        let of_key = |row: &KeyRow| row.role == KeyRole::Log && row.public.to_bytes() == verifier.public();
        verifier.name() == file.origin && keys.rows().iter().any(of_key)
    });
    if known {
        Ok(())
    } else {
        Err("your policy trusts another log key for this log".to_owned())
    }
}
