//! Scales and sessions: what a scale may show, whether a check weighing held, and which readings are suspect.
//!
//! A session is bracketed by check weighings. On a verified scale a check holds within the permissible error in service
//! at the check weight (OIML R 76-1:2006, 3.5.2). An unverified scale has no permissible error; its check holds within
//! two of its steps (common practice, no source), and nothing can be claimed from it.

use super::{Book, PieceReading, Scale, Session, agree};
use crate::domain::{
    PieceId, Refusal, ScaleRegistered, SessionChecked, SessionClosed, SessionId, SessionOpened, SessionState,
    Stamp,
};
use crate::metal::{Mass, Reading, expanded_uncertainty_fine, mpe_in_service};

impl Session {
    /// Whether a reading of it in the entry at `index` came after its last check that held, and the next one failed.
    #[must_use]
    pub const fn is_suspect(&self, index: u64) -> bool {
        self.failed_at.is_some() && index > self.last_good
    }
}

impl Scale {
    /// How far a check weighing of `nominal` may be off, grams; `None` beyond what the scale's class can weigh.
    #[must_use]
    pub fn check_limit(&self, nominal: Mass) -> Option<Mass> {
        if self.verified {
            mpe_in_service(self.class, self.e, nominal)
        } else {
            self.d.checked_mul(2)
        }
    }

    /// Expanded uncertainty (k = 2) of one reading, rounded up to 10 micrograms, grams.
    ///
    /// For an unverified scale the limit of its check stands in for the permissible error: good enough to tell a slip
    /// from a wobble, never stated.
    #[must_use]
    pub fn wobble(&self, load: Mass) -> Option<Mass> {
        expanded_uncertainty_fine(self.check_limit(load)?, self.repeatability, self.d)
    }

    /// Whether two readings' uncertainty (k = 2) explains their difference: it is within the root of the sum of the squares
    /// (JCGM 100:2008, 5.1.2).
    #[must_use]
    pub fn explain(one: &Self, load: Mass, other: &Self, other_load: Mass) -> bool {
        let wobble = Book::wobble_squared(one, load).saturating_add(Book::wobble_squared(other, other_load));
        square(load.minus(other_load).magnitude()) <= wobble
    }

    /// Why a scale cannot be so.
    fn impossible(&self) -> Option<&'static str> {
        if self.d.is_zero() {
            Some("its step is zero")
        } else if self.d > self.e {
            Some("its step d is greater than its verification interval e")
        } else if !self.e.is_multiple_of(self.d) {
            Some("its verification interval e is not a whole number of steps d")
        } else if self.max <= self.e || !self.max.is_multiple_of(self.d) {
            Some("its greatest load is not a whole number of steps above the interval e")
        } else if self.repeatability > self.max {
            Some("its repeatability is greater than its greatest load")
        } else if mpe_in_service(self.class, self.e, self.max).is_none() {
            Some("a scale of its class has fewer intervals than its greatest load needs")
        } else {
            None
        }
    }
}

impl Book {
    pub(super) fn take_scale(&mut self, stamp: &Stamp, e: &ScaleRegistered) -> Result<(), Refusal> {
        self.free(e.scale.0)?;
        let scale = Scale {
            scale: e.scale,
            class: e.class,
            e: e.e,
            d: e.d,
            max: e.max,
            verified: e.verified,
            repeatability: e.repeatability,
            session: None,
            since: stamp.index,
        };
        if let Some(why) = scale.impossible() {
            return Err(Refusal::ScaleImpossible { why });
        }
        self.scales.put(e.scale, scale);
        Ok(())
    }

    pub(super) fn take_session(&mut self, stamp: &Stamp, e: &SessionOpened) -> Result<(), Refusal> {
        self.free(e.session.0)?;
        let scale = self.known_scale(e.scale)?;
        if let Some(session) = scale.session {
            return Err(Refusal::ScaleInSession { session });
        }
        let (held, limit) = check_held(scale, e.nominal, &e.reading)?;
        if !held {
            let (nominal, reading) = (e.nominal, e.reading.clone());
            return Err(Refusal::CheckNotHeld {
                nominal,
                reading,
                limit,
            });
        }
        let scale = Scale {
            session: Some(e.session),
            ..scale.clone()
        };
        self.scales.put(e.scale, scale);
        let session = Session {
            session: e.session,
            scale: e.scale,
            state: SessionState::Open,
            last_good: stamp.index,
            failed_at: None,
            readings: 0,
            since: stamp.index,
            at: stamp.at,
        };
        self.sessions.put(e.session, session);
        Ok(())
    }

    pub(super) fn take_check(&mut self, stamp: &Stamp, e: &SessionChecked) -> Result<(), Refusal> {
        let held = self.reckon_check(e.session, e.nominal, &e.reading)?;
        agree(&e.held, &held)?;
        self.record_check(stamp, e.session, held, SessionState::Open)
    }

    pub(super) fn take_closing_check(&mut self, stamp: &Stamp, e: &SessionClosed) -> Result<(), Refusal> {
        let held = self.reckon_check(e.session, e.nominal, &e.reading)?;
        agree(&e.held, &held)?;
        self.record_check(stamp, e.session, held, SessionState::Confirmed)
    }

    /// Whether a check weighing in an open session holds.
    pub(in crate::domain) fn reckon_check(
        &self,
        session: SessionId,
        nominal: Mass,
        reading: &Reading,
    ) -> Result<bool, Refusal> {
        Ok(check_held(self.scale_in_session(session)?, nominal, reading)?.0)
    }

    /// A check that failed ends its session: nobody weighs on with a scale that is known to be off.
    fn record_check(
        &mut self,
        stamp: &Stamp,
        id: SessionId,
        held: bool,
        when_held: SessionState,
    ) -> Result<(), Refusal> {
        let mut session = self.known_session(id)?.clone();
        if held {
            session.state = when_held;
            session.last_good = stamp.index;
        } else {
            session.state = SessionState::Failed;
            session.failed_at = Some(stamp.index);
        }
        if session.state != SessionState::Open {
            let scale = Scale {
                session: None,
                ..self.known_scale(session.scale)?.clone()
            };
            self.scales.put(session.scale, scale);
        }
        self.sessions.put(id, session);
        Ok(())
    }

    /// The scale of an open session.
    pub(in crate::domain) fn scale_in_session(&self, id: SessionId) -> Result<&Scale, Refusal> {
        let session = self.known_session(id)?;
        if session.state != SessionState::Open {
            return Err(Refusal::SessionNotOpen { session: id });
        }
        self.known_scale(session.scale)
    }

    /// Refuses what the scale of an open session cannot have shown.
    pub(in crate::domain) fn shown(&self, session: SessionId, reading: &Reading) -> Result<(), Refusal> {
        let scale = self.scale_in_session(session)?;
        in_steps(scale, reading)?;
        if reading.mass() > scale.max {
            return Err(Refusal::AboveScale {
                reading: reading.clone(),
                max: scale.max,
            });
        }
        Ok(())
    }

    /// As [`Book::shown`], and there is metal on the pan.
    pub(in crate::domain) fn weighed(&self, session: SessionId, reading: &Reading) -> Result<(), Refusal> {
        self.shown(session, reading)?;
        if reading.mass().is_zero() {
            Err(Refusal::ZeroMass)
        } else {
            Ok(())
        }
    }

    /// Counts readings that a session took.
    pub(super) fn count_readings(&mut self, id: SessionId, count: usize) -> Result<(), Refusal> {
        let mut session = self.known_session(id)?.clone();
        session.readings = session
            .readings
            .saturating_add(u32::try_from(count).unwrap_or(u32::MAX));
        self.sessions.put(id, session);
        Ok(())
    }

    /// The scale that took a reading of a piece.
    pub(super) fn scale_of(&self, reading: &PieceReading) -> Result<&Scale, Refusal> {
        self.known_scale(self.known_session(reading.session)?.scale)
    }

    /// The square of the uncertainty (k = 2) of a reading, in squares of 10 micrograms. Squares add up where readings do.
    pub(super) fn wobble_squared(scale: &Scale, load: Mass) -> u128 {
        // A load that the scale took is within its class, so there is always a wobble; a missing one forgives nothing.
        square(scale.wobble(load).unwrap_or(Mass::ZERO))
    }

    /// Whether a reading came after the last check that held in a session whose next check failed.
    #[must_use]
    pub fn is_suspect(&self, reading: &PieceReading) -> bool {
        self.session(reading.session)
            .is_some_and(|session| session.is_suspect(reading.index))
    }

    /// The suspect readings of a session: piece and entry index, in the order of the log.
    #[must_use]
    pub fn suspects(&self, session: SessionId) -> Vec<(PieceId, u64)> {
        let mut suspects: Vec<(PieceId, u64)> = self
            .pieces()
            .flat_map(|piece| piece.readings.iter().map(|reading| (piece.piece, reading)))
            .filter(|(_, reading)| reading.session == session && self.is_suspect(reading))
            .map(|(piece, reading)| (piece, reading.index))
            .collect();
        suspects.sort_by_key(|(piece, index)| (*index, *piece));
        suspects
    }
}

/// Whether a check weighing holds, and within what it would have.
fn check_held(scale: &Scale, nominal: Mass, reading: &Reading) -> Result<(bool, Mass), Refusal> {
    if nominal.is_zero() {
        return Err(Refusal::ZeroMass);
    }
    in_steps(scale, reading)?;
    let above = || Refusal::AboveScale {
        reading: reading.clone(),
        max: scale.max,
    };
    if nominal > scale.max {
        return Err(above());
    }
    let limit = scale.check_limit(nominal).ok_or_else(above)?;
    Ok((reading.mass().minus(nominal).magnitude() <= limit, limit))
}

/// Refuses a reading that is finer than the scale's step.
fn in_steps(scale: &Scale, reading: &Reading) -> Result<(), Refusal> {
    if reading.mass().is_multiple_of(scale.d) {
        Ok(())
    } else {
        Err(Refusal::TooFineForScale {
            reading: reading.clone(),
            step: scale.d,
        })
    }
}

/// The square of a mass, in squares of 10 micrograms.
pub(super) fn square(mass: Mass) -> u128 {
    let units = u128::from(mass.units().unsigned_abs());
    units.saturating_mul(units)
}
