//! Pages for people who hold a piece: data in, HTML out.
//!
//! A page tells what a check accepted ([`crate::check::Accepted`]) and nothing else; every figure on it comes from the
//! entries of the proof file that it offers. It is whole without a script, loads nothing from elsewhere, and says what it
//! cannot tell. Deliberately absent: HTTP, the clock, the vault (a title comes in as text), and any word that calls an object
//! genuine or not.

mod assets;
mod beside;
mod certificate;
mod code;
mod dates;
mod document;
mod fault;
mod matching;
pub mod metal;
mod notices;
mod photographs;
pub mod pictures;
mod proof;
mod record;
mod sentence;
mod start;
mod story;
mod told;
mod trust;
mod words;
pub mod workshop;

pub use assets::{Asset, asset, module};
pub use beside::{Beside, Printed};
pub use code::{CodeAnswer, Shown, code};
pub use fault::{Fault, fault};
pub use matching::{Answered, Filled, compared};
pub use record::{NoIssue, record};
pub use start::{check, start};
pub use told::{About, Untold};
pub use trust::{Rooted, trust};
