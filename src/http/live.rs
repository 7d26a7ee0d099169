//! Entries as they come: server-sent events (WHATWG HTML, section 9.2), for an auditor who follows the log.
//!
//! Each event is one entry, its `id` the index, so that a reader who was cut off goes on with `Last-Event-ID`. Entries are
//! read from the log by position, never handed over by the writer: a slow reader waits on nobody, nobody waits on it, and
//! it misses nothing. What is held for one reader is the part that it is being sent and one more. Only what the views
//! show is sent, and that is durable.
//!
//! A stream ends when the server stops or the token does. Deliberately absent: events of our own making, filters.

use super::asked::Asked;
use super::problem::Problem;
use super::{App, conditions, reads};
use crate::domain::Timestamp;
use actix_web::body::{BodySize, MessageBody};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName};
use actix_web::rt::time::sleep;
use actix_web::web::{self, Bytes, Data};
use actix_web::{HttpRequest, HttpResponse};
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::sync::mpsc::{self, Receiver, Sender};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// The media type.
pub const MEDIA: &str = "text/event-stream";
/// How often a stream looks for what came.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How many entries are read at a time.
const ENTRIES_READ: usize = 50;
/// How long a reader waits before it asks again, milliseconds.
const RETRY: &str = "retry: 2000\n\n";
/// After how many seconds a stream that was one too many may be asked for again.
const STREAM_WAIT: &str = "30";
const BEAT: &[u8] = b": \n\n";
const LAST_EVENT_ID: HeaderName = HeaderName::from_static("last-event-id");

/// What all streams have in common.
pub struct Streams {
    ended: AtomicBool,
    looks_per_beat: u32,
    free: Arc<Semaphore>,
}

impl Streams {
    /// So many streams at once, which send a comment after so long a silence, so that nobody between takes the connection
    /// for dead.
    #[must_use]
    pub fn new(most: usize, beat: Duration) -> Self {
        let looks = beat.as_millis().checked_div(LOOK_EVERY.as_millis());
        Self {
            ended: AtomicBool::new(false),
            looks_per_beat: looks
                .and_then(|looks| u32::try_from(looks).ok())
                .unwrap_or(u32::MAX),
            free: Arc::new(Semaphore::new(most)),
        }
    }

    /// Ends every stream: the server stops.
    pub fn end(&self) {
        self.ended.store(true, Ordering::Release);
    }

    fn ended(&self) -> bool {
        self.ended.load(Ordering::Acquire)
    }
}

/// Whether a request asks for a stream: its `Accept` names the media type of one, and no JSON.
#[must_use]
pub fn is_wanted(headers: &HeaderMap) -> bool {
    let named = |media: &str| {
        headers
            .get_all(header::ACCEPT)
            .filter_map(|value| value.to_str().ok())
            .flat_map(|value| value.split(','))
            .any(|range| {
                range
                    .split(';')
                    .next()
                    .unwrap_or("")
                    .trim()
                    .eq_ignore_ascii_case(media)
            })
    };
    named(MEDIA) && !named("application/json")
}

/// Begins a stream: after `Last-Event-ID`, else at `from`, else at the first entry.
///
/// # Errors
/// 400 for a position that is none, 503 when too many streams are open; 401 without a token: a stream ends when its token
/// does, and a session has none to show.
pub fn begin(app: &Data<App>, asked: Asked, request: &HttpRequest) -> Result<HttpResponse, Problem> {
    let mut query = asked.parameters()?;
    let from = query.index("from", "an index")?.unwrap_or(0);
    query.finish()?;
    let last = conditions::single(request.headers(), LAST_EVENT_ID)?;
    let position = match last.filter(|last| !last.is_empty()) {
        None => from,
        Some(last) => {
            let plain = last.bytes().all(|byte| byte.is_ascii_digit());
            let index: Option<u64> = plain.then(|| last.parse().ok()).flatten();
            let next = index.and_then(|index| index.checked_add(1));
            next.ok_or_else(|| Problem::unreadable("Last-Event-ID must be the id of an event that was sent"))?
        }
    };
    let shown = conditions::single(request.headers(), header::AUTHORIZATION)?;
    let authorization = shown.ok_or_else(|| {
        let token = "a stream is opened with a token of its own";
        Problem::unauthorized(token).with(header::WWW_AUTHENTICATE, "Bearer")
    })?;
    let mut reply = HttpResponse::Ok();
    reply.insert_header((header::CONTENT_TYPE, MEDIA));
    reply.insert_header((header::CACHE_CONTROL, "no-store"));
    if request.method() == Method::HEAD {
        return Ok(reply.finish());
    }
    let open = Arc::clone(&app.streams.free).try_acquire_owned();
    let open = open.map_err(|_| {
        Problem::busy("too many streams of entries are open").with(header::RETRY_AFTER, STREAM_WAIT)
    })?;
    let (sender, receiver) = mpsc::channel(1);
    let telling = Telling {
        app: Data::clone(app),
        authorization: authorization.to_owned(),
        position,
        sender,
        _open: open,
    };
    actix_web::rt::spawn(telling.run());
    Ok(reply.body(Live(receiver)))
}

/// The side that reads the log.
struct Telling {
    app: Data<App>,
    authorization: String,
    position: u64,
    sender: Sender<Bytes>,
    _open: OwnedSemaphorePermit,
}

impl Telling {
    /// Until the server stops, the token ends, the reader is gone, or the log cannot be read. The reader asks again then
    /// and is told why.
    async fn run(mut self) {
        let mut silent = 0_u32;
        if self.send(Bytes::from_static(RETRY.as_bytes())).await.is_none() {
            return;
        }
        while !self.app.streams.ended() && !self.sender.is_closed() {
            let due = silent >= self.app.streams.looks_per_beat;
            let part = if self.position < self.app.views.position() {
                self.next_part().await
            } else if due {
                Some(Bytes::from_static(BEAT))
            } else {
                silent = silent.saturating_add(1);
                sleep(LOOK_EVERY).await;
                continue;
            };
            silent = 0;
            let Some(part) = part.filter(|_| self.may_read()) else {
                return;
            };
            if self.send(part).await.is_none() {
                return;
            }
        }
    }

    /// Waits until there is room for a part; gives up when the server stops meanwhile.
    async fn send(&self, part: Bytes) -> Option<()> {
        loop {
            tokio::select! {
                sent = self.sender.reserve() => {
                    sent.ok()?.send(part);
                    return Some(());
                }
                () = sleep(LOOK_EVERY) => {
                    if self.app.streams.ended() {
                        return None;
                    }
                }
            }
        }
    }

    /// Whether the token still lets its holder read entries.
    fn may_read(&self) -> bool {
        let now: Timestamp = (self.app.clock)();
        let caller = self.app.access.caller(Some(&self.authorization), now);
        caller.is_ok_and(|caller| caller.role == super::Role::Auditor)
    }

    /// The entries that come next, as events. None when they cannot be read, which the server's log then says.
    async fn next_part(&mut self) -> Option<Bytes> {
        let app = Data::clone(&self.app);
        let from = self.position;
        let read = web::block(move || reads::told_whole(&app, from, ENTRIES_READ))
            .await
            .ok()?;
        let entries = match read {
            Ok(entries) => entries,
            Err(problem) => {
                tracing::error!(code = problem.code, "a live stream ends: {}", problem.detail);
                return None;
            }
        };
        let mut part = String::new();
        for entry in entries {
            part.push_str(&format!("id: {}\ndata: {entry}\n\n", self.position));
            self.position = self.position.saturating_add(1);
        }
        Some(part.into())
    }
}

/// The side that is sent: a body that goes on.
struct Live(Receiver<Bytes>);

impl MessageBody for Live {
    type Error = Infallible;

    fn size(&self) -> BodySize {
        BodySize::Stream
    }

    fn poll_next(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Bytes, Infallible>>> {
        self.0.poll_recv(context).map(|part| part.map(Ok))
    }
}
