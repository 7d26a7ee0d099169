//! The balance of a melt: it is weighed out, and what is missing is its loss.
//!
//! The loss is derived, never typed. It may be a little below zero, as far as the readings' uncertainty explains: such
//! losses are kept as they are, so that a drifting scale shows in their sum.

use super::melts::within;
use super::{Book, Melt, agree, sum};
use crate::domain::{
    MeltClosed, MeltId, MeltInput, MeltState, PieceId, PieceMass, PrillsGathered, Refusal, Residue,
    SessionId, Stage, Stamp,
};
use crate::metal::{Mass, Reading};

impl Book {
    pub(super) fn take_balance(&mut self, stamp: &Stamp, e: &MeltClosed) -> Result<(), Refusal> {
        let balance = self.reckon_balance(e.melt, e.session, &e.heel, e.prills.as_ref())?;
        agree(e, &balance)?;
        let mut melt = self.known_melt(e.melt)?.clone();
        melt.state = MeltState::Closed;
        melt.heel = Some(e.heel.mass());
        melt.prills = Some(e.prills.as_ref().map_or(Mass::ZERO, |prills| prills.mass.mass()));
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
        let wobble = self.wobble_of_balance(row, session, heel.mass(), gathered)?;
        within(row.charge, out, wobble)?;
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
}
