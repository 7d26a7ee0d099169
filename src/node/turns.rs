//! One question after the other, on one connection.
//!
//! The HTTP library takes apart whatever it is given before it looks how many questions wait already, and each of them
//! costs it some 7 KiB: what fits into its 128 KiB could hold 50 MiB of one connection. So it is given a head and no more,
//! then the body that the question has, and what comes behind that once the answer is over. Until then a few bytes
//! wait here and the rest with the system, which makes the sender wait: answers come in the order of the questions in either
//! case (RFC 9112 section 9.3.2).
//!
//! Deliberately absent: judging what comes. What is no head and no body is the library's to refuse.

mod ends;

use super::doors::{Body, Place};
use actix_web::web::BytesMut;
use ends::{Chunks, Lines};
use tokio::io::ReadBuf;

/// A head that was given.
#[derive(Default)]
struct Given {
    /// How many questions had been begun before it.
    asked: u64,
    /// Whether the library has had the time to look at it.
    shown: bool,
    /// How much of its body was given, bytes.
    passed: u64,
    chunks: Chunks,
}

/// What may be given now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// The next head, to its end.
    Head,
    /// So many bytes of a body.
    Bytes(u64),
    /// A body in chunks, to its end.
    Chunks,
    /// Nothing before the library has looked at what it was given.
    Look,
    /// Nothing before the answer is over.
    Answer,
}

/// What is given when, and what waits.
#[derive(Default)]
pub struct Turns {
    behind: BytesMut,
    lines: Lines,
    given: Option<Given>,
}

impl Turns {
    /// What may be given now.
    pub fn room(&mut self, place: &Place) -> Room {
        let Some(given) = &self.given else {
            return Room::Head;
        };
        let begun = place.asked() != given.asked;
        if begun && place.is_answering() {
            return match place.body() {
                Body::Chunked if given.chunks.ended() => Room::Answer,
                Body::Chunked => Room::Chunks,
                Body::Bytes(bytes) if bytes <= given.passed => Room::Answer,
                Body::Bytes(bytes) => Room::Bytes(bytes.saturating_sub(given.passed)),
            };
        }
        if !begun && !given.shown {
            return Room::Look;
        }
        // Its answer is over, or the library saw no question in it: then it says so itself.
        self.given = None;
        Room::Head
    }

    /// The library is given nothing this time, so that it looks at what it has.
    pub fn looks(&mut self) {
        if let Some(given) = &mut self.given {
            given.shown = true;
        }
    }

    /// Whether something came that waits.
    #[must_use]
    pub fn waits(&self) -> bool {
        !self.behind.is_empty()
    }

    /// Gives of what waits, as much as there is room for; how much that was, bytes.
    pub fn give_on(&mut self, buffer: &mut ReadBuf<'_>, room: Room, place: &Place) -> usize {
        let mut waiting = std::mem::take(&mut self.behind);
        let (next, _) = waiting.split_at(waiting.len().min(buffer.remaining()));
        let gives = self.gives(next, room, place);
        buffer.put_slice(&waiting.split_to(gives));
        if !waiting.is_empty() {
            self.behind = waiting;
        }
        gives
    }

    /// Gives of what has come into a buffer behind its first bytes; the rest is taken out and waits.
    pub fn give(&mut self, buffer: &mut ReadBuf<'_>, before: usize, room: Room, place: &Place) -> usize {
        let (_, came) = buffer.filled().split_at(before);
        let gives = self.gives(came, room, place);
        let (_, rest) = came.split_at(gives);
        self.behind.extend_from_slice(rest);
        buffer.set_filled(before.saturating_add(gives));
        gives
    }

    /// How much of these bytes may be given; it is given then.
    fn gives(&mut self, bytes: &[u8], room: Room, place: &Place) -> usize {
        match (room, &mut self.given) {
            (Room::Head, given) => {
                let Some(end) = self.lines.end(bytes) else {
                    return bytes.len();
                };
                *given = Some(Given {
                    asked: place.asked(),
                    ..Given::default()
                });
                end
            }
            (Room::Bytes(left), Some(given)) => {
                let gives = bytes.len().min(usize::try_from(left).unwrap_or(usize::MAX));
                let more = u64::try_from(gives).unwrap_or(u64::MAX);
                given.passed = given.passed.saturating_add(more);
                gives
            }
            (Room::Chunks, Some(given)) => given.chunks.end(bytes).unwrap_or(bytes.len()),
            _ => 0,
        }
    }
}
