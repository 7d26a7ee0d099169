//! Losses that rest on suspect readings: of melts, of jars when they were emptied, of what went to the refiner.
//!
//! A loss is what went in less what came out. It changes by what each suspect reading in it changes, with its sign.

use super::readings::Values;
use super::{Decision, Doubt, Unread};
use crate::domain::{Event, JarShare, Melt, MeltClosed, MeltInput, Piece, PieceReading, Refining, Stage};
use crate::metal::{Mass, MassDifference};

/// By how much a balance changes by each model, in units of 10 micrograms; none by a model that gives no mass.
#[derive(Clone, Copy)]
struct Shift {
    offset: i64,
    proportion: Option<i64>,
    /// Whether a suspect reading stands in it at all.
    touched: bool,
}

impl Shift {
    const NONE: Self = Self {
        offset: 0,
        proportion: Some(0),
        touched: false,
    };

    /// The loss as it was, and as it would be.
    fn values(self, loss: MassDifference) -> Values {
        let shifted = |by: i64| {
            let units = loss.units().saturating_add(by);
            MassDifference::from_units(units).unwrap_or(loss).to_string()
        };
        (
            loss.to_string(),
            shifted(self.offset),
            self.proportion.map(shifted),
        )
    }
}

impl Doubt<'_> {
    pub(super) fn of_balances(&self) -> Result<Vec<Decision>, Unread> {
        let mut decisions = Vec::new();
        for melt in self.book().melts() {
            decisions.extend(self.melt_loss(melt)?);
            let jars = melt.inputs.iter().filter_map(|input| match input {
                MeltInput::Jar { jar, mass, holds } => Some((jar, mass, holds)),
                _ => None,
            });
            for (jar, mass, holds) in jars.filter(|_| self.doubts(melt.session, melt.since)) {
                decisions.extend(self.jar_shortfall(melt.since, jar.0, mass.mass(), holds));
            }
        }
        for refining in self.book().refinings() {
            decisions.extend(self.refining_loss(refining));
            for sent in refining
                .jars
                .iter()
                .filter(|_| self.doubts(refining.session, refining.since))
            {
                decisions.extend(self.jar_shortfall(
                    refining.since,
                    sent.jar.0,
                    sent.mass.mass(),
                    &sent.holds,
                ));
            }
        }
        Ok(decisions)
    }

    /// A reading in a balance: what went in counts for the loss, what came out against it.
    fn shift(&self, shift: &mut Shift, mass: Mass, sign: i64) {
        let (offset, proportion) = self.off.both(mass);
        let by = |now: Mass| now.minus(mass).units().saturating_mul(sign);
        shift.offset = shift.offset.saturating_add(by(offset));
        shift.proportion = shift
            .proportion
            .zip(proportion)
            .map(|(so_far, now)| so_far.saturating_add(by(now)));
        shift.touched = true;
    }

    /// The event that weighed a melt out, and the index of its entry.
    fn closing(&self, melt: &Melt) -> Result<Option<(u64, MeltClosed)>, Unread> {
        let Some(index) = melt.closed else {
            return Ok(None);
        };
        let events = self.past.said(index)?;
        let closed = events.into_iter().find_map(|event| match event {
            Event::MeltClosed(e) if e.melt == melt.melt => Some(e),
            _ => None,
        });
        closed.map(|closed| Some((index, closed))).ok_or(Unread { index })
    }

    /// Whether the heel and the prills of a melt were weighed in the session that is in doubt. Only such a melt is read.
    pub(super) fn weighed_out(&self, melt: &Melt) -> Result<Option<(u64, MeltClosed)>, Unread> {
        if melt.closed.is_none_or(|index| index <= self.session.last_good) {
            return Ok(None);
        }
        let closing = self.closing(melt)?;
        Ok(closing.filter(|(index, closed)| self.doubts(closed.session, *index)))
    }

    fn melt_loss(&self, melt: &Melt) -> Result<Option<Decision>, Unread> {
        let (Some(index), Some(loss)) = (melt.closed, melt.loss) else {
            return Ok(None);
        };
        let mut shift = Shift::NONE;
        for input in &melt.inputs {
            match input {
                MeltInput::Lot { mass, .. } | MeltInput::Jar { mass, .. }
                    if self.doubts(melt.session, melt.since) =>
                {
                    self.shift(&mut shift, mass.mass(), 1);
                }
                MeltInput::Heel { melt: from, mass } => {
                    let from = self.book().melt(*from).ok_or(Unread { index })?;
                    if self.heel_in_doubt(from, melt.since)? {
                        self.shift(&mut shift, *mass, 1);
                    }
                }
                MeltInput::Piece { piece, mass, .. } => {
                    let piece = self.book().piece(*piece).ok_or(Unread { index })?;
                    self.shift_by(&mut shift, last_before(piece, melt.since, None), *mass, 1);
                }
                _ => {}
            }
        }
        for piece in &melt.pieces {
            let piece = self.book().piece(*piece).ok_or(Unread { index })?;
            if let Some(reading) = last_before(piece, index, Some(Stage::FromMould)) {
                self.shift_by(&mut shift, Some(reading), reading.mass.mass(), -1);
            }
        }
        if let Some((_, closed)) = self.weighed_out(melt)? {
            if !closed.heel.mass().is_zero() {
                self.shift(&mut shift, closed.heel.mass(), -1);
            }
            if let Some(prills) = &closed.prills {
                self.shift(&mut shift, prills.mass.mass(), -1);
            }
        }
        Ok(self.changed(index, "melt_loss", melt.melt.0, shift, loss))
    }

    fn shift_by(&self, shift: &mut Shift, reading: Option<&PieceReading>, mass: Mass, sign: i64) {
        if reading.is_some_and(|reading| self.doubts(reading.session, reading.index)) {
            self.shift(shift, mass, sign);
        }
    }

    /// What a jar was short of when it was weighed.
    fn jar_shortfall(
        &self,
        index: u64,
        jar: uuid::Uuid,
        weighed: Mass,
        holds: &[JarShare],
    ) -> Option<Decision> {
        let held = Mass::checked_sum(holds.iter().map(|share| share.mass))?;
        let mut shift = Shift::NONE;
        self.shift(&mut shift, weighed, -1);
        self.changed(index, "jar_shortfall", jar, shift, held.minus(weighed))
    }

    fn refining_loss(&self, refining: &Refining) -> Option<Decision> {
        let loss = refining.loss?;
        let mut shift = Shift::NONE;
        if self.doubts(refining.session, refining.since) {
            for sent in &refining.jars {
                let jar = self.book().jar(sent.jar)?;
                // Of a jar of sweepings nothing is counted, whatever it weighs.
                if jar.residue != crate::domain::Residue::Sweeps {
                    self.shift(&mut shift, sent.mass.mass(), 1);
                }
            }
        }
        for sent in &refining.pieces {
            let piece = self.book().piece(sent.piece)?;
            self.shift_by(&mut shift, last_before(piece, refining.since, None), sent.mass, 1);
        }
        let mut index = refining.since;
        if let Some(lot) = refining.outturn.and_then(|lot| self.book().lot(lot)) {
            index = lot.since;
            if self.doubts(lot.session, lot.since) {
                self.shift(&mut shift, lot.mass.mass(), -1);
            }
        }
        self.changed(index, "refining_loss", refining.refining.0, shift, loss)
    }

    fn changed(
        &self,
        index: u64,
        kind: &'static str,
        subject: uuid::Uuid,
        shift: Shift,
        loss: MassDifference,
    ) -> Option<Decision> {
        let values = shift.values(loss);
        shift
            .touched
            .then(|| self.decision(index, kind, subject, values))?
    }
}

/// The last reading of a piece before an entry, of a stage if one is asked for. What was weighed in that entry itself
/// cannot have gone into it.
fn last_before(piece: &Piece, index: u64, stage: Option<Stage>) -> Option<&PieceReading> {
    let mut readings = piece.readings.iter().rev();
    readings.find(|reading| reading.index < index && stage.is_none_or(|stage| reading.stage == stage))
}
