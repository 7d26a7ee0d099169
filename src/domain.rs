//! The trade: commands, events, refusals, and the book that decides.
//!
//! A command is what somebody asks for, an event is what then stands in the log, a refusal is the fact that forbids.
//! `Book` is the state that decisions need and nothing more.
//!
//! Deliberately absent: IO, the clock and chance (they come in with the `Moment`), signatures, names and money (private
//! members pass through unread).

mod book;
mod command;
mod correct;
mod date;
mod decide;
mod draw;
mod event;
mod id;
pub mod instant;
mod photograph;
mod private;
mod refusal;
mod serial;
mod words;
mod zone;

pub use book::*;
pub use command::*;
pub use correct::{Corrected, Correcting, PastEntry, is_correctable};
pub use date::Date;
pub use decide::{Draft, ITEMS_MAX, QuoteInputs, TEXT_CHARACTERS_MAX};
pub use draw::{Draw, Moment, Stamp, Timestamp};
pub use event::*;
pub use id::*;
pub use photograph::{PHOTOGRAPH_PIXELS_MAX, PHOTOGRAPH_SIDE_MAX, PHOTOGRAPHS_MAX, PhotographHash};
pub use private::{Audience, Private, PrivateMember, PrivateValue};
pub use refusal::{Refusal, Refused};
pub use serial::{CodeError, Serial, SerialError, SeriesCode, certificate_code, read_certificate_code};
pub use words::*;
pub use zone::Zone;
