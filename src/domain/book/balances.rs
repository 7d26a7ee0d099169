//! The balance of a melt: it is weighed out, and what is missing is its loss.
//!
//! The loss is derived, never typed, and may be below zero. It is kept as it is, so that a drifting scale shows in the
//! sum; it is flagged where the uncertainty of the readings it comes from does not explain that more came out than went
//! in. The uncertainty of a difference is the root of the sum of the squares of its readings' (k = 2; JCGM 100:2008,
//! 5.1.2). Nothing is refused for what a scale shows.

use super::{Book, Jar, Melt, agree, sum};
use crate::domain::{
    MeltClosed, MeltId, MeltInput, MeltState, PieceId, PieceMass, PrillsGathered, Refusal, Residue,
    SessionId, Stage, Stamp,
};
use crate::metal::{Mass, MassDifference, Reading};

impl Book {
    pub(super) fn take_balance(&mut self, stamp: &Stamp, e: &MeltClosed) -> Result<(), Refusal> {
        let balance = self.reckon_balance(e.melt, e.session, &e.heel, e.prills.as_ref())?;
        agree(e, &balance)?;
        let mut melt = self.known_melt(e.melt)?.clone();
        let gathered = e.prills.as_ref().map_or(Mass::ZERO, |prills| prills.mass.mass());
        let wobble = self.wobble_of_balance(&melt, e.session, e.heel.mass(), gathered)?;
        melt.uncertainty = Some(root(wobble));
        melt.state = MeltState::Closed;
        melt.heel = Some(e.heel.mass());
        melt.prills = Some(gathered);
        melt.loss = Some(e.loss);
        melt.closed = Some(stamp.index);
        self.melts.put(e.melt, melt);
        if let Some(prills) = &e.prills {
            self.owe_filling(prills.jar, e.melt, prills.mass.mass())?;
        }
        self.count_readings(e.session, 1 + usize::from(e.prills.is_some()))
    }

    /// The whole balance of an open melt: what went in = pieces + heel + prills + loss.
    pub(in crate::domain) fn reckon_balance(
        &self,
        melt: MeltId,
        session: SessionId,
        heel: &Reading,
        prills: Option<&PrillsGathered>,
    ) -> Result<MeltClosed, Refusal> {
        let row = self.open_melt(melt)?;
        self.shown(session, heel)?;
        if let Some(prills) = prills {
            self.may_fill(prills.jar, Residue::Prills, row)?;
            self.weighed(session, &prills.mass)?;
        }
        let pieces = self.outputs(row)?;
        if pieces.is_empty() && heel.mass().is_zero() && prills.is_none() {
            return Err(Refusal::NothingCameOut);
        }
        let gathered = prills.map_or(Mass::ZERO, |prills| prills.mass.mass());
        let out = sum(pieces
            .iter()
            .map(|output| output.mass)
            .chain([heel.mass(), gathered]))?;
        Ok(MeltClosed {
            melt,
            metal: row.metal,
            session,
            inputs: row.inputs.clone(),
            charge: row.charge,
            fineness: row.fineness,
            pieces,
            heel: heel.clone(),
            prills: prills.cloned(),
            loss: row.charge.minus(out),
        })
    }

    /// Every piece of a melt with its last reading from the mould.
    fn outputs(&self, melt: &Melt) -> Result<Vec<PieceMass>, Refusal> {
        let from_mould = |piece: &PieceId| {
            let readings = &self.piece(*piece)?.readings;
            let reading = readings
                .iter()
                .rfind(|reading| reading.stage == Stage::FromMould)?;
            Some(PieceMass {
                piece: *piece,
                mass: reading.mass.mass(),
            })
        };
        let outputs: Vec<PieceMass> = melt.pieces.iter().filter_map(from_mould).collect();
        match melt.pieces.len().saturating_sub(outputs.len()) {
            0 => Ok(outputs),
            count => Err(Refusal::PiecesUnweighed { count }),
        }
    }

    /// The square of the uncertainty (k = 2) of a balance: each reading in it adds its own. A heel that went in is
    /// reckoned by the scale of the charge.
    fn wobble_of_balance(
        &self,
        melt: &Melt,
        session: SessionId,
        heel: Mass,
        prills: Mass,
    ) -> Result<u128, Refusal> {
        let charged_on = self.known_scale(self.known_session(melt.session)?.scale)?;
        let mut whole = 0_u128;
        for input in &melt.inputs {
            whole = whole.saturating_add(match input {
                MeltInput::Piece { piece, .. } => self.wobble_of_piece(*piece)?,
                other => Self::wobble_squared(charged_on, other.mass()),
            });
        }
        for piece in &melt.pieces {
            whole = whole.saturating_add(self.wobble_of_piece(*piece)?);
        }
        let closed_on = self.scale_in_session(session)?;
        for mass in [heel, prills].into_iter().filter(|mass| !mass.is_zero()) {
            whole = whole.saturating_add(Self::wobble_squared(closed_on, mass));
        }
        Ok(whole)
    }

    /// The square of the uncertainty (k = 2) of a piece's last reading.
    pub(super) fn wobble_of_piece(&self, piece: PieceId) -> Result<u128, Refusal> {
        let reading = self.known_piece(piece)?.reading().ok_or(Refusal::NotWeighed)?;
        Ok(Self::wobble_squared(self.scale_of(reading)?, reading.mass.mass()))
    }

    /// What a jar that is emptied may be off (k = 2), grams: what it holds is a sum of differences of two readings each,
    /// and is now read once more on a scale. `jar` is its row as it was before.
    #[must_use]
    pub fn uncertainty_of_jar(&self, jar: &Jar, session: SessionId, weighed: Mass) -> Option<Mass> {
        let scale = self.scale(self.session(session)?.scale)?;
        let times = u128::from(jar.readings).saturating_mul(2).saturating_add(1);
        Some(root(Self::wobble_squared(scale, weighed).saturating_mul(times)))
    }
}

impl Melt {
    /// Whether more came out than went in, and more than the readings explain.
    #[must_use]
    pub fn is_loss_flagged(&self) -> bool {
        matches!((self.loss, self.uncertainty), (Some(loss), Some(uncertainty)) if is_flagged(loss, uncertainty))
    }
}

/// Whether a loss is below zero by more than its uncertainty (k = 2).
#[must_use]
pub fn is_flagged(loss: MassDifference, uncertainty: Mass) -> bool {
    loss.is_negative() && loss.magnitude() > uncertainty
}

/// The root of a sum of squares of 10 micrograms, rounded up; at most the greatest mass that can be written.
pub(super) fn root(squares: u128) -> Mass {
    let floor = squares.isqrt();
    let up = if floor.saturating_mul(floor) < squares {
        floor.saturating_add(1)
    } else {
        floor
    };
    i64::try_from(up)
        .ok()
        .and_then(Mass::from_units)
        .unwrap_or(Mass::MAX)
}
