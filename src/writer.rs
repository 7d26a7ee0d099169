//! The writer: one thread that decides and appends, and nothing else does.
//!
//! [`Desk`] is the whole of it without a thread: it gathers what waits, decides each, seals, appends, answers, in that
//! order, on state that it alone owns. [`Writer`] puts a queue and a thread around it. The time and chance of a turn
//! come in with the turn, so that a seeded run of the whole book is a short test.
//!
//! Deliberately absent: views, HTTP, the clock, retries. A failed append ends the desk: what is on disk is then found
//! by opening again, never guessed.

mod correcting;
mod desk;
mod landing;
mod opening;
mod published;
mod queue;
mod requests;
mod submission;

pub use desk::{Appended, Desk, DeskKeys, Observer};
pub use opening::OpenError;
pub use published::{Published, Released};
pub use queue::{Surroundings, Told, Writer};
pub use submission::{Answer, Ask, Expected, Recorded, Submission, SubmitError};
