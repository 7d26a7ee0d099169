//! One connection, and the patience that the server has with it.
//!
//! The HTTP library waits for the head of a connection's first request only, and does not look first whether it has come. Here
//! every head has a deadline, from the connection or the head's first byte on, and a size; a
//! connection between two requests may be idle so long, somebody who is being sent something must take it, and a connection
//! that the doors tell to go is ended. What is too slow or too long is told so (408, 431; RFC 9110 and RFC 6585) where that
//! can still be said, then the reading side ends and the library closes.
//!
//! A body is none of this file's: it is read while its request is being answered, and bounded there.

use super::doors::{Place, Taken};
use super::turns::{Room, Turns};
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

/// How long the head of a request may be, bytes: some four times what the largest browsers send.
const HEAD_BYTES_MAX: usize = 32 * 1024;
/// How long the library goes on reading, and throws away, behind an answer that came before the body was read.
const LINGERING: Duration = Duration::from_secs(2);
/// How long somebody who was told that it is over may take to hear it, and how much of what he still sends is read at a time.
const ENDING: Duration = Duration::from_millis(500);
const THROWN_AWAY: usize = 4_096;
/// How often a connection is looked at within its shortest patience.
const LOOKS: u32 = 4;

const TOO_SLOW: &[u8] =
    b"HTTP/1.1 408 Request Timeout\r\ncontent-length: 0\r\ncache-control: no-store\r\nconnection: close\r\n\r\n";
const TOO_LONG: &[u8] =
    b"HTTP/1.1 431 Request Header Fields Too Large\r\ncontent-length: 0\r\ncache-control: no-store\r\n\
    connection: close\r\n\r\n";
const NOTHING: &[u8] = b"";

/// How long a server waits for those who call.
#[derive(Clone, Copy, Debug)]
pub struct Patience {
    /// For the head of a request.
    pub request: Duration,
    /// Between two requests.
    pub idle: Duration,
    /// For somebody who takes nothing of what he is sent.
    pub stalled: Duration,
}

impl Patience {
    fn look_every(&self) -> Duration {
        self.request.min(self.idle).min(self.stalled) / LOOKS
    }
}

/// The head of a request that has begun to arrive.
#[derive(Clone, Copy, Default)]
struct Head {
    bytes: usize,
    begun: Option<Instant>,
}

/// A connection in its place.
pub struct Connection<T> {
    io: T,
    taken: Taken,
    patience: Patience,
    look: Pin<Box<Sleep>>,
    head: Head,
    turns: Turns,
    asked: u64,
    moved: Instant,
    wrote: Option<Instant>,
    stalled: Option<Instant>,
    ended: Option<Instant>,
}

impl<T> Connection<T> {
    /// A connection that has taken a place.
    pub fn new(io: T, taken: Taken, patience: Patience) -> Self {
        Self {
            io,
            taken,
            patience,
            look: Box::pin(sleep(patience.look_every())),
            head: Head {
                begun: Some(Instant::now()),
                ..Head::default()
            },
            turns: Turns::default(),
            asked: 0,
            moved: Instant::now(),
            wrote: None,
            stalled: None,
            ended: None,
        }
    }

    /// Its place.
    pub fn place(&self) -> &Arc<Place> {
        self.taken.place()
    }

    /// Whether the time for another look has come; asks to be woken at the next.
    fn is_time(&mut self, context: &mut Context<'_>) -> bool {
        let mut is_time = false;
        while self.look.as_mut().poll(context).is_ready() {
            is_time = true;
            let next = Instant::now() + self.patience.look_every();
            self.look.as_mut().reset(next);
        }
        is_time
    }

    /// A head ends where its request is being answered, or was.
    fn follow(&mut self) {
        let asked = self.place().asked();
        if asked != self.asked || self.place().is_answering() {
            self.asked = asked;
            self.head = Head::default();
        }
    }

    fn came(&mut self) {
        self.moved = Instant::now();
        self.taken.moved();
    }

    fn gave(&mut self, bytes: usize) {
        if bytes > 0 && !self.place().is_answering() {
            self.head.bytes = self.head.bytes.saturating_add(bytes);
            self.head.begun.get_or_insert_with(Instant::now);
        }
    }

    /// Nothing is given now: the library looks first, or its answer comes first.
    fn hold(&mut self, context: &Context<'_>, room: Room) -> Poll<io::Result<()>> {
        if room == Room::Look {
            self.turns.looks();
            context.waker().wake_by_ref();
        } else {
            self.place().holds(context.waker());
        }
        Poll::Pending
    }

    /// Something went out, or what was held back did.
    fn went(&mut self, context: &Context<'_>) {
        self.moved = Instant::now();
        self.taken.moved();
        self.wrote = Some(self.moved);
        if self.stalled.take().is_some() {
            // Nothing was read meanwhile.
            context.waker().wake_by_ref();
        }
        // Whoever is still being answered is not late with the next question.
        self.head.begun = self.head.begun.map(|_| self.moved);
    }

    /// What is said to somebody for whom there is no more patience.
    fn too_late(&self) -> Option<&'static [u8]> {
        if self.place().is_answering() {
            return None;
        }
        let late = |since: Instant, patience| since.elapsed() >= patience;
        if self
            .head
            .begun
            .is_some_and(|begun| late(begun, self.patience.request))
        {
            return Some(TOO_SLOW);
        }
        late(self.moved, self.patience.idle).then_some(NOTHING)
    }

    /// Whether what comes is thrown away by the library, behind an answer.
    fn lingers(&self) -> bool {
        self.wrote.is_some_and(|wrote| wrote.elapsed() < LINGERING)
    }
}

impl<T: AsyncRead + Unpin> Connection<T> {
    /// Reads on for a while, for nobody, and then no more.
    fn throw_away(&mut self, context: &mut Context<'_>, ended: Instant) -> Poll<io::Result<()>> {
        let mut room = [0; THROWN_AWAY];
        while ended.elapsed() < ENDING {
            let mut part = ReadBuf::new(&mut room);
            match Pin::new(&mut self.io).poll_read(context, &mut part) {
                Poll::Ready(Ok(())) if !part.filled().is_empty() => {}
                Poll::Ready(_) => break,
                Poll::Pending => {
                    self.is_time(context);
                    return Poll::Pending;
                }
            }
        }
        Poll::Ready(Ok(()))
    }
}

impl<T: AsyncWrite + Unpin> Connection<T> {
    /// Says why, if that can be said at once, and ends the reading side.
    fn end(&mut self, context: &mut Context<'_>, says: &[u8]) -> Poll<io::Result<()>> {
        if !says.is_empty() && Pin::new(&mut self.io).poll_write(context, says).is_ready() {
            // It goes out or it does not: the connection ends in either case.
            let _ = Pin::new(&mut self.io).poll_flush(context);
        }
        self.ended = Some(Instant::now());
        if says.is_empty() {
            return Poll::Ready(Ok(()));
        }
        // Closing over bytes that nobody read would take back what was said.
        self.look.as_mut().reset(Instant::now() + ENDING);
        context.waker().wake_by_ref();
        Poll::Pending
    }

    /// What is to be sent does not go out: that is waited for only so long.
    fn stall<R>(&mut self, context: &mut Context<'_>) -> Poll<io::Result<R>> {
        let since = *self.stalled.get_or_insert_with(Instant::now);
        self.is_time(context);
        if since.elapsed() >= self.patience.stalled {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        Poll::Pending
    }
}

impl<T: AsyncRead + AsyncWrite + Unpin> AsyncRead for Connection<T> {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        if this.place().leaves() {
            return Poll::Ready(Ok(()));
        }
        if let Some(ended) = this.ended {
            return this.throw_away(context, ended);
        }
        this.follow();
        if this.head.bytes >= HEAD_BYTES_MAX && !this.lingers() {
            return this.end(context, TOO_LONG);
        }
        if this.stalled.is_some() {
            // Whoever takes no answer asks nothing more. The next write that goes out wakes this.
            return Poll::Pending;
        }
        let place = Arc::clone(this.place());
        let room = this.turns.room(&place);
        if this.turns.waits() {
            if matches!(room, Room::Look | Room::Answer) {
                return this.hold(context, room);
            }
            let gave = this.turns.give_on(buffer, room, &place);
            this.gave(gave);
            return Poll::Ready(Ok(()));
        }
        let before = buffer.filled().len();
        match Pin::new(&mut this.io).poll_read(context, buffer) {
            Poll::Ready(Ok(())) => {
                if buffer.filled().len() == before {
                    return Poll::Ready(Ok(()));
                }
                this.came();
                let gave = this.turns.give(buffer, before, room, &place);
                this.gave(gave);
                if gave == 0 {
                    return this.hold(context, room);
                }
                Poll::Ready(Ok(()))
            }
            Poll::Pending => {
                place.waits(context.waker());
                match this.is_time(context).then(|| this.too_late()).flatten() {
                    Some(says) => this.end(context, says),
                    None => Poll::Pending,
                }
            }
            failed => failed,
        }
    }
}

impl<T: AsyncRead + AsyncWrite + Unpin> AsyncWrite for Connection<T> {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let this = self.get_mut();
        match Pin::new(&mut this.io).poll_write(context, bytes) {
            Poll::Pending => this.stall(context),
            done => {
                this.went(context);
                done
            }
        }
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        match Pin::new(&mut this.io).poll_flush(context) {
            Poll::Pending => this.stall(context),
            done => {
                if this.stalled.is_some() {
                    this.went(context);
                }
                done
            }
        }
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        match Pin::new(&mut this.io).poll_shutdown(context) {
            Poll::Pending => this.stall(context),
            done => done,
        }
    }
}
