//! The bench over HTTP: what each of its pages needs of the book, looked up when the page is asked for.
//!
//! What modules do afterwards goes to `/v1` like anybody's request; forms go the way of every form. Rows come from the
//! reckoning, which is as of the newest entry; the version of what may be changed is read before its row, so that whoever is
//! late is told and nobody overwrites what was never seen.

mod board;
mod expected;
mod melts;
mod over;
mod pictures;
mod sessions;
mod strikes;
mod trays;

pub use board::board;
pub use melts::{SHOWN_MOST, charge_sources, newest, pours};
pub use over::{melt, session};
pub use pictures::picture;
pub use sessions::{
    free_scales, graded_before, jar_of_sweeps, prill_jars, series_choices, session_choices, struck_next,
};
pub use strikes::strikes;
pub use trays::{slip, tray, weighed_of_melt};

use super::{App, Seen, Visit, offered};
use crate::accounts::{AsOf, Reckoning};
use crate::domain::{Book, PieceId, Scale, Session, SessionState};
use crate::http::access::Role;
use crate::http::failed;
use crate::http::problem::Problem;
use crate::http::sessions::FORM_HEADER;
use crate::metal::likely::{RULES, SlipRule};
use crate::pages::workshop::bench::Seat;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Who stands there.
fn seat(visit: &Visit) -> Seat {
    Seat {
        operator: visit.signed_in.caller.operator.to_string(),
        form_token: visit.signed_in.form_token.clone(),
        header: FORM_HEADER.as_str().to_owned(),
        corrects: visit.role() == Role::Office,
    }
}

/// Answers from the reckoning of now.
fn of_now<T>(app: &App, answer: impl FnOnce(&Reckoning) -> T) -> Result<T, Problem> {
    app.accounts.ask(AsOf::Newest, answer).map_err(failed)
}

/// The versions of pieces, by their ids.
type Versions = BTreeMap<PieceId, u64>;

/// Answers from the reckoning of now, with the versions of the pieces that the answer is about. These are read before the rows:
/// the answer is looked up once for its pieces, and again for what it says of them. A piece that came between has none, and is
/// told as changed when somebody decides on it.
fn with_versions<T>(
    app: &App,
    answer: impl Fn(&Reckoning) -> Result<T, Problem>,
    pieces: impl Fn(&T) -> Vec<PieceId>,
) -> Result<(T, Versions), Problem> {
    let first = of_now(app, &answer)??;
    let mut versions = Versions::new();
    for piece in pieces(&first) {
        versions.insert(piece, app.views.version(piece.0).map_err(failed)?);
    }
    Ok((of_now(app, &answer)??, versions))
}

/// The rule by which somebody is asked about a reading.
fn rule() -> Result<&'static SlipRule, Problem> {
    RULES
        .last()
        .ok_or_else(|| Problem::internal("there is no rule of slips"))
}

/// What the workshop calls a thing, as far as the role may see it.
fn label(app: &App, visit: &Visit, id: Uuid) -> Result<Option<String>, Problem> {
    offered::said(app, visit, id, "label")
}

/// A scale in words.
fn scale_words(app: &App, visit: &Visit, scale: &Scale) -> Result<String, Problem> {
    let name = label(app, visit, scale.scale.0)?.unwrap_or_else(|| "Scale".to_owned());
    let verified = if scale.verified { "" } else { ", not verified" };
    Ok(format!(
        "{name}, to {} g, steps of {} g{verified}",
        scale.max, scale.d
    ))
}

/// The sessions that are open, each with its scale.
fn open_sessions(book: &Book) -> Vec<(Session, Scale)> {
    let open = book
        .sessions()
        .filter(|session| session.state == SessionState::Open);
    let with_scale = open.filter_map(|session| Some((session.clone(), book.scale(session.scale)?.clone())));
    let mut sessions: Vec<(Session, Scale)> = with_scale.collect();
    sessions.sort_by_key(|(session, _)| session.since);
    sessions
}
