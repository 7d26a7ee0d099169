//! Pieces in the hands of the workshop: weighed, finished, given up, struck, numbered, certified. Each does a thing, tells
//! it to the book as the scale shows it, and to the ledger as it is.

use super::crucible::shown;
use super::workshop::{MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    CondemnPiece, CondemnReason, DieId, EraseField, EraseReason, FinishPieces, GiveSerials, Immersion,
    IssueCertificates, JarId, MeasureGravity, MovePiece, NumberPieces, PieceId, PieceState, SeriesId,
    SessionId, Shape, SparePieces, Stage, Strike, StrikeOutcome, StrikePieces, SupersedeCertificate,
    SupersedeReason, WeighPieces, Weighing,
};

impl Workshop {
    /// Weighs a tray.
    pub(super) fn weigh(
        &mut self,
        session: SessionId,
        stage: Stage,
        pieces: &[PieceId],
    ) -> Result<(), Failure> {
        if pieces.is_empty() {
            return Ok(());
        }
        let items = self.tray(pieces)?;
        self.record(WeighPieces {
            session,
            stage,
            items,
        })
        .map(|_| ())
    }

    fn tray(&self, pieces: &[PieceId]) -> Result<Vec<Weighing>, Failure> {
        let items = pieces.iter().map(|piece| {
            Ok(Weighing {
                piece: *piece,
                mass: shown(self.ledger.weighs(*piece))?,
            })
        });
        items.collect()
    }

    /// Weighs a piece in air and hung in water of 20.5 degrees. `density` is what it really is, in 0.00001 g/cm3: a pour
    /// has its pores.
    pub(super) fn immerse(
        &mut self,
        session: SessionId,
        piece: PieceId,
        density: i64,
    ) -> Result<(), Failure> {
        let mass = self.ledger.weighs(piece);
        // Water of that warmth weighs 0.9981 g/cm3, and air 0.0012: a piece loses the difference of each cm3.
        let displaced = mass.saturating_mul(99_690) / density.saturating_sub(120).max(1);
        self.record(MeasureGravity {
            piece,
            session,
            method: Immersion::Hung,
            in_air: shown(mass)?,
            in_water: shown(mass.saturating_sub(displaced))?,
            water: "20.5".parse().map_err(Failure::unusable)?,
        })?;
        self.ledger.densities.insert(piece, density);
        Ok(())
    }

    /// Files and polishes a little off pieces.
    pub(super) fn finish(
        &mut self,
        session: SessionId,
        jar: JarId,
        pieces: &[PieceId],
    ) -> Result<(), Failure> {
        for piece in pieces {
            let off = self.around(40 * MILLIGRAM, 12 * MILLIGRAM).max(0);
            self.ledger.change(*piece, |fate| fate.mass -= off);
            self.ledger.fill(jar, off);
        }
        if pieces.is_empty() {
            return Ok(());
        }
        let items = self.tray(pieces)?;
        self.record(FinishPieces { session, jar, items }).map(|_| ())
    }

    /// Gives pieces up.
    pub(super) fn condemn(&mut self, piece: PieceId, reason: CondemnReason) -> Result<(), Failure> {
        self.record(CondemnPiece {
            piece,
            reason,
            note: None,
        })?;
        self.ledger.change(piece, |fate| {
            fate.state = PieceState::Condemned;
            fate.condemned = Some(reason);
        });
        Ok(())
    }

    /// Moves a piece to an open series.
    pub(super) fn move_to(&mut self, piece: PieceId, to: SeriesId, state: PieceState) -> Result<(), Failure> {
        self.record(MovePiece {
            piece,
            to,
            note: None,
        })?;
        self.ledger.change(piece, |fate| {
            fate.series = to;
            fate.state = state;
        });
        Ok(())
    }

    /// Gives serials.
    pub(super) fn serials(&mut self, pieces: &[PieceId]) -> Result<(), Failure> {
        let all = pieces.to_vec();
        self.record(GiveSerials { pieces: all })?;
        for piece in pieces {
            self.ledger
                .change(*piece, |fate| fate.state = PieceState::Serialled);
        }
        Ok(())
    }

    /// Strikes pieces.
    pub(super) fn strike(&mut self, die: DieId, strikes: &[(PieceId, StrikeOutcome)]) -> Result<(), Failure> {
        let items = strikes.iter().map(|(piece, outcome)| Strike {
            piece: *piece,
            outcome: *outcome,
        });
        self.record(StrikePieces {
            die,
            items: items.collect(),
            note: None,
        })?;
        for (piece, outcome) in strikes {
            let state = match outcome {
                StrikeOutcome::Good => PieceState::Struck,
                _ => PieceState::MisStruck,
            };
            self.ledger.change(*piece, |fate| fate.state = state);
        }
        Ok(())
    }

    /// Gives edition numbers, the next of each shape.
    pub(super) fn number(&mut self, pieces: &[PieceId]) -> Result<(), Failure> {
        let all = pieces.to_vec();
        self.record(NumberPieces { pieces: all })?;
        for piece in pieces {
            let Some(fate) = self.ledger.pieces.get_mut(piece) else {
                continue;
            };
            let key = (fate.series, fate.shape.clone());
            let given = self.ledger.numbers.entry(key).or_default();
            *given += 1;
            fate.number = Some(*given);
            fate.state = PieceState::Numbered;
        }
        Ok(())
    }

    /// Sets pieces aside.
    pub(super) fn spare(&mut self, pieces: &[PieceId]) -> Result<(), Failure> {
        let all = pieces.to_vec();
        self.record(SparePieces { pieces: all })?;
        for piece in pieces {
            self.ledger.change(*piece, |fate| fate.state = PieceState::Spare);
        }
        Ok(())
    }

    /// Issues first certificates.
    pub(super) fn certify(&mut self, pieces: &[PieceId]) -> Result<(), Failure> {
        let all = pieces.to_vec();
        self.record(IssueCertificates { pieces: all })?;
        for piece in pieces {
            self.ledger.change(*piece, |fate| {
                fate.state = PieceState::Certified;
                fate.certificates += 1;
            });
        }
        Ok(())
    }

    /// Issues a certificate that takes an older one's place.
    pub(super) fn supersede(
        &mut self,
        piece: PieceId,
        reason: SupersedeReason,
        note: &str,
    ) -> Result<(), Failure> {
        self.record(SupersedeCertificate {
            piece,
            reason,
            note: Some(note.to_owned()),
        })?;
        self.ledger.change(piece, |fate| fate.certificates += 1);
        Ok(())
    }

    /// Somebody asks to be forgotten.
    pub(super) fn erase(&mut self, index: u64, event: u16, member: &str) -> Result<(), Failure> {
        self.record(EraseField {
            index,
            event,
            member: member.to_owned(),
            reason: EraseReason::Request,
            entry: String::new(),
        })?;
        self.ledger.erased += 1;
        Ok(())
    }

    /// The shape of a piece, by name.
    pub(super) fn shape(name: &str) -> Result<Shape, Failure> {
        Shape::parse(name).ok_or_else(|| Failure::unusable("a shape that is none"))
    }
}
