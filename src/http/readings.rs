//! What readings support, over HTTP: gradings reckoned again, densities, and what a failed check puts in doubt.

use super::asked::Asked;
use super::figures::{answered, as_of};
use super::found::Found;
use super::problem::Problem;
use super::{App, failed, lists, traced};
use crate::accounts::{GradingAgain, GravityTold, Possible, Reckoning, Suspicion};
use crate::check::Ancestry;
use crate::domain::{Piece, SessionId};
use crate::metal::GUARD_RULES;
use crate::record::{self, Entry};
use serde_json::{Map, Value, json};
use std::sync::Arc;
use uuid::Uuid;

/// Entries as the views and the store have them, up to a position.
struct Entries<'a> {
    app: &'a App,
    position: u64,
}

impl Ancestry for Entries<'_> {
    fn history(&self, subject: Uuid) -> Vec<u64> {
        // The views may be a little behind the reckoning: what they have not seen is looked through.
        let seen = self.app.views.position();
        let mut indexes = self.app.views.history(subject).unwrap_or_default();
        indexes.retain(|index| *index < seen.min(self.position));
        let unseen = (seen..self.position).filter(|index| {
            self.entry(*index)
                .is_some_and(|entry| entry.payload.prev.contains_key(&subject))
        });
        indexes.extend(unseen);
        indexes
    }

    fn entry(&self, index: u64) -> Option<Arc<Entry>> {
        let bytes = self.app.store.read(index).ok().flatten()?;
        record::read(&bytes).ok().map(Arc::new)
    }

    fn key_entries(&self) -> Vec<u64> {
        Vec::new()
    }
}

/// Answers about one piece as of a position.
fn about_piece(
    app: &App,
    asked: &Asked,
    answer: impl FnOnce(&Reckoning, &Piece, &Entries<'_>) -> Result<Map<String, Value>, Problem>,
) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    answered(app, as_of, |reckoning| {
        let piece = traced::piece_of(reckoning, asked)?;
        let position = reckoning.position();
        let mut body = Map::new();
        body.insert("piece".into(), json!(piece.piece));
        body.insert("pour".into(), json!(piece.pour));
        body.extend(answer(reckoning, piece, &Entries { app, position })?);
        Ok(body)
    })
}

/// `GET /v1/pieces/{piece}/gradings`: each grading by the rule, reckoned again.
///
/// # Errors
/// 400, 404.
pub fn gradings(app: &App, asked: &Asked) -> Result<Found, Problem> {
    about_piece(app, asked, |reckoning, piece, entries| {
        let (book, position) = (reckoning.book(), reckoning.position());
        let gradings = GradingAgain::of(book, position, entries, piece.piece, GUARD_RULES).map_err(failed)?;
        let gradings = serde_json::to_value(gradings).map_err(failed)?;
        Ok(Map::from_iter([("gradings".to_owned(), gradings)]))
    })
}

/// `GET /v1/pieces/{piece}/gravity`: each weighing in water with its density, and what the newest excludes.
///
/// # Errors
/// 400, 404.
pub fn gravities(app: &App, asked: &Asked) -> Result<Found, Problem> {
    about_piece(app, asked, |reckoning, piece, _| {
        let book = reckoning.book();
        let told = piece
            .gravities
            .iter()
            .map(|gravity| GravityTold::of(book, gravity));
        let told: Option<Vec<GravityTold>> = told.collect();
        let told = told.ok_or_else(|| Problem::internal("a weighing whose scale is not in the book"))?;
        let mut body = Map::new();
        body.insert("gravities".into(), serde_json::to_value(told).map_err(failed)?);
        if let Some(possible) = Possible::of(book, piece) {
            body.insert("newest".into(), serde_json::to_value(possible).map_err(failed)?);
        }
        Ok(body)
    })
}

/// `GET /v1/sessions/{session}/suspects`: what is in doubt of one session.
///
/// # Errors
/// 400, 404.
pub fn of_session(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    query.finish()?;
    let id = asked.id("session")?;
    answered(app, as_of, |reckoning| {
        let suspicion = suspicion(app, reckoning, SessionId(id))?;
        let suspicion = suspicion.ok_or_else(|| Problem::not_found(format!("there is no session {id}")))?;
        let suspicion = serde_json::to_value(suspicion).map_err(failed)?;
        Ok(Map::from_iter([("suspicion".to_owned(), suspicion)]))
    })
}

/// What is in doubt of a session; none where there is no such session.
///
/// # Errors
/// When an entry cannot be read again.
pub fn suspicion(app: &App, reckoning: &Reckoning, id: SessionId) -> Result<Option<Suspicion>, Problem> {
    let position = reckoning.position();
    Suspicion::of(reckoning.book(), position, &Entries { app, position }, id).map_err(failed)
}

/// `GET /v1/suspects`: what is in doubt of every session in which a check failed, a page at a time.
///
/// # Errors
/// 400.
pub fn suspects(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let as_of = as_of(&mut query)?;
    let limit = query.limit()?;
    let from = query.index("from", "an index")?.unwrap_or(0);
    query.finish()?;
    let mut next = None;
    let mut found = answered(app, as_of, |reckoning| {
        let failed_sessions = Suspicion::failed_sessions(reckoning.book());
        let mut failed_sessions = failed_sessions.into_iter().filter(|(index, _)| *index >= from);
        let mut sessions = Vec::new();
        for (_, id) in failed_sessions.by_ref().take(limit) {
            sessions.extend(suspicion(app, reckoning, id)?);
        }
        next = failed_sessions.next().map(|(index, _)| index);
        let mut body = Map::new();
        body.insert("sessions".into(), serde_json::to_value(sessions).map_err(failed)?);
        body.extend(next.map(|next| ("next".to_owned(), json!(next))));
        Ok(body)
    })?;
    found.link = next.map(|next| lists::next_link(asked, "from", &next.to_string()));
    Ok(found)
}
