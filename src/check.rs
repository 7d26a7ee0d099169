//! The checks that anybody can make: of one piece's proof file, and of a whole log;
//! and the one way to replay a log, which opening a book takes too.
//!
//! The server runs the very same code before it shows a page; there is one verifier. Nothing here reads a file, a clock
//! or a network: bytes come in, a report goes out.
//!
//! Deliberately absent: trust in anything but the root thumbprint that the caller brings. A proof file cannot show that
//! nothing came later; the report says so each time.

mod accepted;
mod ancestry;
mod audit;
mod build;
mod claims;
mod corrected;
mod display;
mod evidence;
mod fault;
mod measures;
mod operators;
mod piece;
mod proof_file;
mod read_ahead;
mod replay;
mod report;
mod stated;

pub use accepted::{Accepted, AcceptedEntry};
pub use ancestry::{Ancestry, Lineage, MELTS_MAX, Untraceable, lineage};
pub use audit::{Audit, AuditError, AuditReport, BLOCK, Wrong};
pub use build::{BuildError, Materials, build};
pub use evidence::log_verifiers;
pub use fault::{Fault, Faulty};
pub use operators::Operators;
pub use piece::{Trust, check_and_tell, check_piece};
pub use proof_file::{FILE_BYTES_MAX, ProofFile};
pub use replay::{ChainEnd, Changed, Leaf, Past, Replay, Taken};
pub use report::{Conclusion, Facts, LotShare, Report, Step};
pub use stated::{Stated, stated};
