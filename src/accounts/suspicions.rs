//! What a failed check of a scale puts in doubt: the readings since the last check that held, and the decisions that
//! would be others had those readings been off by what the check showed.
//!
//! How far a reading was off is not known, only how far the check was. Two simple models stand for it, and a decision is
//! told when either changes it: *offset*, every reading is off by as many grams as the check; *proportion*, every reading
//! is off by the same share. Whatever the models say, a suspect reading is taken again. No certificate can rest on one:
//! it asks for a session whose closing check held, and such a session is over.
//!
//! Deliberately absent: the blend of a charge whose lots were weighed on that scale, the declared weights of a
//! consignment, and any change of what was recorded.

mod balances;
mod counts;
mod deviation;
mod readings;

use super::past::{Past, Unread};
use crate::check::Ancestry;
use crate::domain::{Book, Event, PieceState, ScaleId, Session, SessionId};
use crate::metal::{Mass, MassDifference, Reading};
pub use deviation::Deviation;
use serde::Serialize;
use uuid::Uuid;

/// What is in doubt of one session.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Suspicion {
    /// The session.
    pub session: SessionId,
    /// Its scale.
    pub scale: ScaleId,
    /// The failed check; none where no check failed, and then nothing is in doubt.
    pub check: Option<FailedCheck>,
    /// The suspect readings, in the order of the log.
    pub readings: Vec<SuspectReading>,
    /// How many things must still be weighed again.
    pub to_weigh: usize,
    /// The decisions that would be others, in the order of the log.
    pub decisions: Vec<Decision>,
}

/// A check that failed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FailedCheck {
    /// Index of its entry.
    pub index: u64,
    /// Index of the entry of the last check that held.
    pub last_good: u64,
    /// Nominal mass of the check weight, grams.
    pub nominal: Mass,
    /// What the scale showed, grams.
    pub reading: Reading,
    /// That less the nominal mass, grams.
    pub deviation: MassDifference,
}

/// A reading between the last check that held and the one that failed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SuspectReading {
    /// Index of its entry.
    pub index: u64,
    /// The kind of its event.
    pub kind: &'static str,
    /// What was weighed: a lot, jar, melt, piece or refining.
    pub subject: Uuid,
    /// The same in a few words.
    pub name: String,
    /// As typed, grams.
    pub mass: Reading,
    /// What it would be by the offset, grams.
    pub offset: Mass,
    /// What it would be by the proportion, grams; none where the check showed nothing at all.
    pub proportion: Option<Mass>,
    /// What is to be done.
    #[serde(flatten)]
    pub remedy: Remedy,
}

/// What is to be done about a suspect reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "remedy", rename_all = "snake_case")]
pub enum Remedy {
    /// It must be weighed again.
    WeighAgain,
    /// It was weighed again.
    WeighedAgain {
        /// Index of the entry of the newer reading.
        again: u64,
    },
    /// It is not here any more as it was weighed.
    Gone {
        /// Of a piece: what became of it.
        #[serde(skip_serializing_if = "Option::is_none")]
        state: Option<PieceState>,
    },
}

/// A decision or a derived figure that rests on suspect readings and would be another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Decision {
    /// Index of its entry.
    pub index: u64,
    /// Which: `grade`, `filed`, `explained`, `melt_loss`, `jar_shortfall`, `refining_loss`, `variance`.
    pub kind: &'static str,
    /// What it is about.
    pub subject: Uuid,
    /// The same in a few words.
    pub name: String,
    /// As recorded: a word, or grams.
    pub recorded: String,
    /// By the offset.
    pub offset: String,
    /// By the proportion; none where the check showed nothing at all.
    pub proportion: Option<String>,
    /// Of a piece: what it is now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub state: Option<PieceState>,
}

/// One session that failed, with the entries to read.
struct Doubt<'a> {
    past: &'a Past<'a>,
    session: &'a Session,
    off: Deviation,
}

impl Suspicion {
    /// What is in doubt of a session, as of a position of the log; none where there is no such session. `source` is where
    /// the entries are read again.
    ///
    /// # Errors
    /// [`Unread`].
    pub fn of(
        book: &Book,
        position: u64,
        source: &dyn Ancestry,
        id: SessionId,
    ) -> Result<Option<Self>, Unread> {
        let Some(session) = book.session(id) else {
            return Ok(None);
        };
        let mut suspicion = Self {
            session: id,
            scale: session.scale,
            check: None,
            readings: Vec::new(),
            to_weigh: 0,
            decisions: Vec::new(),
        };
        let Some(index) = session.failed_at else {
            return Ok(Some(suspicion));
        };
        let past = Past {
            book,
            source,
            position,
        };
        let check = failed_check(&past, session, index)?;
        let doubt = Doubt {
            past: &past,
            session,
            off: Deviation {
                nominal: check.nominal,
                shown: check.reading.mass(),
            },
        };
        suspicion.check = Some(check);
        suspicion.readings = doubt.readings()?;
        let open = |reading: &&SuspectReading| reading.remedy == Remedy::WeighAgain;
        suspicion.to_weigh = suspicion.readings.iter().filter(open).count();
        suspicion.decisions = doubt.of_pieces(&suspicion.readings)?;
        suspicion.decisions.extend(doubt.of_balances()?);
        suspicion.decisions.extend(doubt.of_counts()?);
        let place = |decision: &Decision| (decision.index, decision.kind, decision.name.clone());
        suspicion.decisions.sort_by_cached_key(place);
        Ok(Some(suspicion))
    }

    /// The sessions in which a check failed, by the entry in which it did.
    #[must_use]
    pub fn failed_sessions(book: &Book) -> Vec<(u64, SessionId)> {
        let sessions = book.sessions();
        let mut failed: Vec<(u64, SessionId)> = sessions
            .filter_map(|session| Some((session.failed_at?, session.session)))
            .collect();
        failed.sort_unstable();
        failed
    }
}

fn failed_check(past: &Past<'_>, session: &Session, index: u64) -> Result<FailedCheck, Unread> {
    let check = past.said(index)?.into_iter().find_map(|event| match event {
        Event::SessionChecked(e) if e.session == session.session => Some((e.nominal, e.reading)),
        Event::SessionClosed(e) if e.session == session.session => Some((e.nominal, e.reading)),
        _ => None,
    });
    let (nominal, reading) = check.ok_or(Unread { index })?;
    Ok(FailedCheck {
        index,
        last_good: session.last_good,
        nominal,
        deviation: reading.mass().minus(nominal),
        reading,
    })
}

impl Doubt<'_> {
    fn book(&self) -> &Book {
        self.past.book
    }

    /// Whether a reading of a session in an entry is one of those in doubt.
    fn doubts(&self, session: SessionId, index: u64) -> bool {
        session == self.session.session && index > self.session.last_good
    }
}
