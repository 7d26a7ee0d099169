//! Photographs: sent in at the bench, kept before they are recorded, and shown to everybody.
//!
//! What an upload costs is bounded: so many bodies may be coming in at once, and one picture is decoded at a time. The
//! files are synced before the entry that names them is asked for; where that is refused, those that nothing names go again.
//! A sender who goes away stops nothing that was begun: his place is given to another only when it has ended.
//! A photograph is shown only while the record, as corrected, names it, and only if its bytes are those of its name. It
//! goes out in parts, so that a slow reader holds one part and not a picture.

use super::access::Caller;
use super::asked::Asked;
use super::commands::{busy, path_id, reply, submit};
use super::found::FOR_EVER;
use super::problem::Problem;
use super::query::Parameters;
use super::{App, conditions, done_at, failed};
use crate::domain::{
    Command, PhotographHash, PhotographPiece, PhotographSide, PhotographStage, PieceId, Timestamp,
};
use crate::log::{OpenPhotograph, PhotographFiles, PhotographState};
use crate::photographs::{KEPT_MEDIA, MEDIA, SENT_BYTES_MAX, develop};
use crate::writer::{Ask, Expected, Recorded, Submission};
use actix_web::body::{BodySize, MessageBody};
use actix_web::http::header::{self, HeaderMap};
use actix_web::web::{self, Bytes, Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use tokio::sync::Semaphore;

/// How many pictures may be coming in at once.
const COMING_MAX: usize = 4;
/// How much longer than another body a picture may take to arrive: it may be eighty times as large, from a telephone.
const PATIENCE_TIMES: u32 = 6;

/// The photographs of a book, and what is known of their files.
pub struct Photographs {
    files: PhotographFiles,
    coming: Arc<Semaphore>,
    developing: Semaphore,
    lost: Mutex<BTreeMap<PhotographHash, PhotographState>>,
}

impl Photographs {
    /// The photographs in these files.
    #[must_use]
    pub fn new(files: PhotographFiles) -> Self {
        Self {
            files,
            coming: Arc::new(Semaphore::new(COMING_MAX)),
            developing: Semaphore::new(1),
            lost: Mutex::default(),
        }
    }

    /// Looks whether each of these has a file, without reading it, and remembers those that have none. How many.
    pub fn look_for(&self, named: impl IntoIterator<Item = PhotographHash>) -> usize {
        let missing = named
            .into_iter()
            .filter(|hash| !self.files.is_there(*hash).unwrap_or(false));
        let missing = missing.map(|hash| self.note(hash, PhotographState::Missing));
        missing.count()
    }

    /// What is known to be lost: how many files are missing, how many damaged. None if nothing is.
    pub(super) fn told(&self) -> Option<Value> {
        let lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner);
        let count = |wanted| lost.values().filter(|state| **state == wanted).count();
        let (missing, damaged) = (count(PhotographState::Missing), count(PhotographState::Damaged));
        (missing > 0 || damaged > 0).then(|| json!({"missing": missing, "damaged": damaged}))
    }

    /// Removes those of these new files that the record does not name. One that was lost is named, and has come back.
    fn remove_unnamed(&self, app: &App, fresh: &[PhotographHash]) -> Result<(), Problem> {
        for hash in fresh {
            if !app.views.has_photograph(*hash).map_err(failed)? {
                self.files.remove(*hash).map_err(failed)?;
            }
        }
        Ok(())
    }

    fn note(&self, hash: PhotographHash, state: PhotographState) {
        let mut lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner);
        match state {
            PhotographState::Whole => drop(lost.remove(&hash)),
            other => drop(lost.insert(hash, other)),
        }
    }
}

/// What the query says of a picture.
struct Said {
    stage: PhotographStage,
    side: PhotographSide,
    at: Option<Timestamp>,
}

impl Said {
    fn read(query: &str, now: Timestamp) -> Result<Self, Problem> {
        let mut query = Parameters::read(query)?;
        let needed = |name: &str| Problem::unreadable(format!("the query parameter {name:?} is needed"));
        let stage = query.word("stage", PhotographStage::WORDS)?;
        let side = query.word("side", PhotographSide::WORDS)?;
        let at = query.take("at").map(|text| done_at::read(&text, now)).transpose();
        query.finish()?;
        Ok(Self {
            stage: stage.ok_or_else(|| needed("stage"))?,
            side: side.ok_or_else(|| needed("side"))?,
            at: at.map_err(|why| Problem::unreadable(format!("the query parameter \"at\" {why}")))?,
        })
    }
}

/// Keeps a picture and records it.
///
/// # Errors
/// Every [`Problem`] of a command, 413 for more bytes than are taken, 422 for what is no picture.
pub async fn record(
    app: &Data<App>,
    caller: Caller,
    request: &HttpRequest,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let key = conditions::idempotency_key(request.headers())?;
    let piece = path_id(request, "piece")?;
    let version = conditions::if_match(request.headers())?;
    let said = Said::read(request.query_string(), (app.clock)())?;
    let coming = Arc::clone(&app.photographs.coming).try_acquire_owned();
    let coming = coming.map_err(|_| busy("other pictures are coming in: send this one again"))?;
    let wanted = conditions::Wanted {
        media: &MEDIA,
        bytes_max: SENT_BYTES_MAX,
        too_large: || {
            Problem::photograph_too_large(format!("a picture may have at most {SENT_BYTES_MAX} bytes"))
        },
        patience: app.settings.body_timeout.saturating_mul(PATIENCE_TIMES),
    };
    let sent = conditions::body_as(request, payload, &wanted).await?;
    let at = said.at;
    let submission = move |command: PhotographPiece| Submission {
        request: key,
        by: caller.operator,
        at,
        expected: vec![Expected {
            subject: piece,
            version,
            pointer: String::new(),
        }],
        ask: Ask::Command(Command::from(command)),
    };
    let (work, piece) = (Data::clone(app), PieceId(piece));
    let recorded = actix_web::rt::spawn(async move {
        let _coming = coming;
        take_in(&work, sent, piece, &said, submission).await
    });
    let recorded = recorded
        .await
        .unwrap_or_else(|_| Err(Problem::internal("a picture was not taken in")))?;
    reply(app, "piece", &recorded)
}

/// Keeps a picture and submits it. One at a time up to the book's answer: of two that send the same picture, the refused one
/// must not take away the files of the other.
async fn take_in(
    app: &Data<App>,
    sent: Bytes,
    piece: PieceId,
    said: &Said,
    submission: impl FnOnce(PhotographPiece) -> Submission,
) -> Result<Recorded, Problem> {
    let turn = app.photographs.developing.acquire().await;
    let _turn = turn.map_err(|_| Problem::closing("no more pictures are taken"))?;
    let (command, fresh) = keep(app, sent, piece, said).await?;
    let recorded = submit(app, submission(command), Some(piece.0)).await;
    // Of an answer that is none (too late, the writer gone) it is not known what the book will say: then the files stay.
    if recorded
        .as_ref()
        .is_err_and(|problem| problem.status.is_client_error())
    {
        let work = Data::clone(app);
        let removed = web::block(move || work.photographs.remove_unnamed(&work, &fresh));
        if let Ok(Err(problem)) = removed.await {
            tracing::warn!("the files of a refused photograph stay: {}", problem.detail);
        }
    }
    recorded
}

/// Makes what is kept of a picture, and keeps it, on a thread of its own; also which files were not there before.
async fn keep(
    app: &Data<App>,
    sent: Bytes,
    piece: PieceId,
    said: &Said,
) -> Result<(PhotographPiece, Vec<PhotographHash>), Problem> {
    let work = Data::clone(app);
    let (stage, side) = (said.stage, said.side);
    let kept = web::block(move || {
        let developed = develop(&sent).map_err(|why| Problem::photograph_unusable(why.to_string()))?;
        drop(sent);
        let mut fresh = Vec::new();
        let mut kept = |bytes: &[u8]| {
            let was_there = work.photographs.files.is_there(PhotographHash::of(bytes));
            let hash = work.photographs.files.keep(bytes).map_err(failed)?;
            if !was_there.map_err(failed)? {
                fresh.push(hash);
            }
            work.photographs.note(hash, PhotographState::Whole);
            Ok::<_, Problem>(hash)
        };
        let command = PhotographPiece {
            piece,
            photograph: kept(&developed.photograph)?,
            thumbnail: kept(&developed.thumbnail)?,
            width: developed.width,
            height: developed.height,
            stage,
            side,
        };
        Ok((command, fresh))
    });
    // A library that a picture brought down has not read it either.
    let broke = |_| Err(Problem::photograph_unusable("the picture cannot be decoded"));
    kept.await.unwrap_or_else(broke)
}

/// Shows a photograph or a thumbnail that the record names.
///
/// # Errors
/// 404 for one that it does not name, 500 for one whose file is missing or damaged.
pub async fn show(app: &Data<App>, asked: &Asked, headers: &HeaderMap) -> Result<HttpResponse, Problem> {
    asked.parameters()?.finish()?;
    let unnamed = || Problem::not_found("the record names no photograph so");
    let hash: PhotographHash = asked.member("photograph").parse().map_err(|_| unnamed())?;
    let etag = format!("\"{hash}\"");
    let work = Data::clone(app);
    let unchanged = conditions::if_none_match(headers, &etag);
    let found = web::block(move || {
        if !work.views.has_photograph(hash).map_err(failed)? {
            return Err(unnamed());
        }
        if unchanged {
            return Ok(None);
        }
        let opened = work.photographs.files.open(hash).map_err(failed)?;
        let state = opened.as_ref().err().copied();
        work.photographs
            .note(hash, state.unwrap_or(PhotographState::Whole));
        opened.map(Some).map_err(|state| {
            let how = match state {
                PhotographState::Missing => "missing",
                _ => "damaged",
            };
            Problem::photograph_lost(format!("the file of the photograph {hash} is {how}"))
        })
    });
    let found = found.await;
    let found = found.unwrap_or_else(|_| Err(Problem::internal("no thread was free to answer")))?;
    let mut reply = match found {
        Some(_) => HttpResponse::Ok(),
        None => HttpResponse::NotModified(),
    };
    reply.insert_header((header::ETAG, etag));
    reply.insert_header((header::CACHE_CONTROL, FOR_EVER));
    Ok(match found {
        Some(open) => reply.content_type(KEPT_MEDIA).body(Parts { open, sent: 0 }),
        None => reply.finish(),
    })
}

/// A photograph on its way out.
struct Parts {
    open: OpenPhotograph,
    sent: u64,
}

impl MessageBody for Parts {
    type Error = io::Error;

    fn size(&self) -> BodySize {
        BodySize::Sized(self.open.bytes())
    }

    fn poll_next(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<io::Result<Bytes>>> {
        let part = self.open.part(self.sent);
        if let Ok(Some(part)) = &part {
            let more = u64::try_from(part.len()).unwrap_or(u64::MAX);
            self.sent = self.sent.saturating_add(more);
        }
        Poll::Ready(part.map(|part| part.map(Bytes::from)).transpose())
    }
}
