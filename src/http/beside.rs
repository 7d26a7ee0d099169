//! What the views know of a piece that its proof file does not hold, for its page; and the one way to ask whether a reading
//! is suspect.

use super::problem::Problem;
use super::{App, failed};
use crate::domain::{Piece, SessionId};
use crate::pages::{Beside, Printed};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Whether a check of the scale failed after a reading of the entry at `index`.
///
/// # Errors
/// When the views cannot be read.
pub fn is_suspect(app: &App, session: SessionId, index: u64) -> Result<bool, Problem> {
    let session = app.views.session(session).map_err(failed)?;
    Ok(session.is_some_and(|session| session.is_suspect(index)))
}

/// The things on whose entries it rests, beside the piece's own.
///
/// # Errors
/// When the views cannot be read.
pub fn subjects(app: &App, piece: &Piece) -> Result<BTreeSet<Uuid>, Problem> {
    let certificates = app.views.certificates_of(piece.piece).map_err(failed)?;
    let mut subjects: BTreeSet<Uuid> = certificates.into_iter().map(|id| id.0).collect();
    subjects.extend(piece.reading().map(|reading| reading.session.0));
    subjects.extend(piece.gravities.last().map(|gravity| gravity.session.0));
    Ok(subjects)
}

/// All of it.
///
/// # Errors
/// When the views or the log cannot be read.
pub fn told(app: &App, piece: &Piece) -> Result<Beside, Problem> {
    let mut beside = Beside::default();
    if let Some(reading) = piece.reading() {
        beside.weight_suspect = is_suspect(app, reading.session, reading.index)?;
    }
    if let Some(gravity) = piece.gravities.last() {
        beside.density_suspect = is_suspect(app, gravity.session, gravity.index)?;
    }
    for id in app.views.certificates_of(piece.piece).map_err(failed)? {
        let Some(certificate) = app.views.certificate(id).map_err(failed)? else {
            continue;
        };
        if let Some(last) = certificate.prints.last() {
            let entry = app.entry(*last)?;
            beside.printed.push(Printed {
                issue: certificate.issue,
                times: certificate.prints.len(),
                last: entry.payload.at.unwrap_or(entry.payload.iat),
            });
        }
    }
    beside.printed.sort_by_key(|printed| printed.issue);
    Ok(beside)
}
