//! Trees, tiles, notes, checkpoints and proofs: bytes, never pieces.
//!
//! The tree is that of RFC 6962 section 2; tiles, signed notes, checkpoints, proofs and policies are those of C2SP
//! (tlog-tiles, signed-note, tlog-checkpoint, tlog-proof, tlog-policy). Every reader here is strict: a text has one
//! form, and any other is refused.
//!
//! Deliberately absent: IO, entries and what they mean, cosignatures of witnesses.

mod checkpoint;
mod hash;
mod inclusion;
mod note;
mod policy;
pub mod tile;
mod tlog_proof;
mod tree;

pub use checkpoint::Checkpoint;
pub use hash::{Hash, leaf_hash, node_hash};
pub use inclusion::{verify_consistency, verify_inclusion};
pub use note::{NoteSigner, NoteVerifier, Opened, open, sign};
pub use policy::{Group, Policy, Threshold, Witness, is_thumbprint};
pub use tlog_proof::TlogProof;
pub use tree::Tree;

/// Why a proof, a note or a text of this floor does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unproven {
    /// A text has not the form that its specification gives.
    #[error("{what} has not the form it must have: {why}")]
    Form {
        /// Which text.
        what: &'static str,
        /// What is wrong.
        why: &'static str,
    },
    /// The index is not below the size.
    #[error("index {index} is not in a tree of size {size}")]
    OutsideTree {
        /// The index.
        index: u64,
        /// The size.
        size: u64,
    },
    /// The path has too few or too many hashes.
    #[error("the path has the wrong length")]
    PathLength,
    /// The path leads to another root.
    #[error("the path leads to another root")]
    OtherRoot,
    /// No trusted key signed.
    #[error("no trusted key signed it")]
    Unsigned,
    /// A trusted key's signature does not hold.
    #[error("the signature of {0} does not hold")]
    Forged(String),
    /// A line of a policy is wrong.
    #[error("line {number} of the policy: {why}")]
    Line {
        /// Which, from 1.
        number: u64,
        /// What is wrong.
        why: String,
    },
    /// A policy asks for cosignatures, which are not checked here yet.
    #[error("the policy asks for quorum {0} of witnesses, whose cosignatures are not checked here yet")]
    Quorum(String),
    /// The note is of another log.
    #[error("it is of {found}, not of {wanted}")]
    OtherLog {
        /// What it says.
        found: String,
        /// What was wanted.
        wanted: String,
    },
}

impl Unproven {
    const fn form(what: &'static str, why: &'static str) -> Self {
        Self::Form { what, why }
    }
}
