//! Deciding about pieces: pouring, weighing, finishing, moving, giving up, serials and numbers.

use super::{Decision, listed, pointed, short};
use crate::domain::command::*;
use crate::domain::{
    GradeRule, PieceCondemned, PieceFaulted, PieceFinished, PieceGravity, PieceId, PieceMoved,
    PiecePhotographed, PiecePoured, PieceWeighed, Private, Refusal, Refused, SessionId, Stage,
};
use crate::metal::Mass;

impl Decision<'_> {
    pub(super) fn pour_pieces(&mut self, c: &PourPieces) -> Result<(), Refused> {
        Self::some(c.pours.len(), "/pours")?;
        for (i, pour) in c.pours.iter().enumerate() {
            let piece = PieceId(self.fresh());
            let point = |refusal: Refusal| match refusal {
                Refusal::UnknownMelt { .. } | Refusal::MeltClosed { .. } => refusal.at("/melt"),
                Refusal::TooMany { .. } => refusal.at("/pours"),
                Refusal::NotAShapeOfSeries { .. } => refusal.at(format!("/pours/{i}/shape")),
                other => other.at(format!("/pours/{i}/series")),
            };
            let number = self
                .book
                .reckon_pour(c.melt, pour.series, &pour.shape)
                .map_err(point)?;
            let event = PiecePoured {
                piece,
                melt: c.melt,
                pour: number,
                series: pour.series,
                shape: pour.shape.clone(),
                mould: pour.mould.clone(),
            };
            self.add(event).map_err(point)?;
        }
        Ok(())
    }

    pub(super) fn weigh_pieces(&mut self, c: &WeighPieces) -> Result<(), Refused> {
        listed(c.items.iter().map(|item| item.piece.0), "/items", "/piece")?;
        for (i, item) in c.items.iter().enumerate() {
            self.weigh(c.session, c.stage, item, i)?;
        }
        Ok(())
    }

    /// One piece of a tray: weighed, and graded at once.
    fn weigh(&mut self, session: SessionId, stage: Stage, item: &Weighing, i: usize) -> Result<(), Refused> {
        let (thing, reading) = (format!("/items/{i}/piece"), format!("/items/{i}/mass"));
        let event = PieceWeighed {
            piece: item.piece,
            session,
            stage,
            mass: item.mass.clone(),
        };
        self.add(event)
            .and_then(|()| self.grade(item.piece))
            .map_err(|refusal| pointed(refusal, &thing, &reading, "/session"))
    }

    fn grade(&mut self, piece: PieceId) -> Result<(), Refusal> {
        let grading = self.book.reckon_grading(piece, GradeRule::NEWEST)?;
        self.add(grading)
    }

    pub(super) fn finish_pieces(&mut self, c: &FinishPieces) -> Result<(), Refused> {
        listed(c.items.iter().map(|item| item.piece.0), "/items", "/piece")?;
        for (i, item) in c.items.iter().enumerate() {
            let at = |refusal: Refusal| match refusal {
                Refusal::UnknownJar { .. }
                | Refusal::WrongResidue { .. }
                | Refusal::WrongMetal { .. }
                | Refusal::OwnersMixed { .. }
                | Refusal::BelowJarFineness { .. } => refusal.at("/jar"),
                other => other.at(format!("/items/{i}/piece")),
            };
            let before = self
                .book
                .known_piece(item.piece)
                .map_err(at)?
                .mass()
                .ok_or_else(|| at(Refusal::NotWeighed))?;
            let filed = before.checked_sub(item.mass.mass()).unwrap_or(Mass::ZERO);
            self.add(PieceFinished {
                piece: item.piece,
                jar: c.jar,
                filed,
            })
            .map_err(at)?;
            self.weigh(c.session, Stage::Finished, item, i)?;
        }
        Ok(self.fill_jars()?)
    }

    pub(super) fn measure_gravity(&mut self, c: &MeasureGravity) -> Result<(), Refused> {
        let event = PieceGravity {
            piece: c.piece,
            session: c.session,
            method: c.method,
            in_air: c.in_air.clone(),
            in_water: c.in_water.clone(),
            water: c.water,
        };
        let at = |refusal: Refusal| match refusal {
            Refusal::DisplacementImpossible { .. } | Refusal::TooCoarseForGravity { .. } => {
                refusal.at("/in_water")
            }
            Refusal::NotAsWeighed { .. } => refusal.at("/in_air"),
            // A reading that the scale cannot have shown: which of the two is found by asking of the first alone.
            other => match self.book.weighed(c.session, &c.in_air) {
                Ok(()) => pointed(other, "/piece", "/in_water", "/session"),
                Err(_) => pointed(other, "/piece", "/in_air", "/session"),
            },
        };
        self.book.may_measure(&event).map_err(at)?;
        Ok(self.add(event)?)
    }

    pub(super) fn photograph_piece(&mut self, c: &PhotographPiece) -> Result<(), Refused> {
        let event = PiecePhotographed {
            piece: c.piece,
            photograph: c.photograph,
            thumbnail: c.thumbnail,
            width: c.width,
            height: c.height,
            stage: c.stage,
            side: c.side,
        };
        self.add(event).map_err(|refusal| match refusal {
            Refusal::NotYetSo { .. } => refusal.at("/stage"),
            Refusal::PhotographedAlready { .. } => refusal.at("/photograph"),
            Refusal::PhotographImpossible { .. } => refusal.at("/width"),
            other => other.at("/piece"),
        })
    }

    pub(super) fn fault_piece(&mut self, c: &FaultPiece) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let event = PieceFaulted {
            piece: c.piece,
            fault: c.fault,
        };
        self.add_with(event, note(c.note.as_ref()))
            .map_err(|refusal| refusal.at("/piece"))
    }

    pub(super) fn move_piece(&mut self, c: &MovePiece) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let at = |refusal: Refusal| match refusal {
            Refusal::UnknownSeries { .. }
            | Refusal::NotAnOpenSeries
            | Refusal::AlreadyInSeries
            | Refusal::SeriesClosed
            | Refusal::RefusedForFineness { .. }
            | Refusal::ClaimAboveAssay { .. }
            | Refusal::WrongMetal { .. }
            | Refusal::BelowSeriesFineness { .. } => refusal.at("/to"),
            other => other.at("/piece"),
        };
        let from = self.book.known_piece(c.piece).map_err(at)?.series;
        self.add_with(
            PieceMoved {
                piece: c.piece,
                from,
                to: c.to,
            },
            note(c.note.as_ref()),
        )
        .and_then(|()| self.grade(c.piece))
        .map_err(at)
    }

    pub(super) fn condemn_piece(&mut self, c: &CondemnPiece) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let event = PieceCondemned {
            piece: c.piece,
            reason: c.reason,
        };
        self.add_with(event, note(c.note.as_ref()))
            .map_err(|refusal| match refusal {
                Refusal::WrongGrade { .. } => refusal.at("/reason"),
                other => other.at("/piece"),
            })
    }

    pub(super) fn give_serials(&mut self, c: &GiveSerials) -> Result<(), Refused> {
        self.each(&c.pieces, |decision, piece| {
            let event = decision.book.reckon_serial(piece)?;
            decision.add(event)
        })
    }

    pub(super) fn number_pieces(&mut self, c: &NumberPieces) -> Result<(), Refused> {
        self.each(&c.pieces, |decision, piece| {
            let event = decision.book.reckon_number(piece)?;
            decision.add(event)
        })
    }

    /// The same for each piece of a list, all or nothing.
    pub(super) fn each(
        &mut self,
        pieces: &[PieceId],
        mut make: impl FnMut(&mut Self, PieceId) -> Result<(), Refusal>,
    ) -> Result<(), Refused> {
        listed(pieces.iter().map(|piece| piece.0), "/pieces", "")?;
        for (i, piece) in pieces.iter().enumerate() {
            make(self, *piece).map_err(|refusal| refusal.at(format!("/pieces/{i}")))?;
        }
        Ok(())
    }
}

/// The private note of an event that has no other private member.
pub(super) fn note(text: Option<&String>) -> Private {
    Private::none().text("note", text.map(String::as_str))
}
