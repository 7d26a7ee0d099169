//! Deciding about dies, strikes and the close of an edition.

use super::pieces::note;
use super::{Decision, listed, short};
use crate::domain::command::*;
use crate::domain::{
    DieDisposed, DieId, DieRegistered, PieceArchived, PieceStruck, Private, Refusal, Refused,
};

impl Decision<'_> {
    pub(super) fn register_die(&mut self, c: &RegisterDie) -> Result<(), Refused> {
        short(&[("label", &c.label), ("note", &c.note)])?;
        let event = DieRegistered {
            die: DieId(self.fresh()),
            owner: c.owner,
            series: c.series,
        };
        let private = Private::none()
            .text("label", c.label.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private)
            .map_err(|refusal| refusal.at("/series"))
    }

    pub(super) fn dispose_die(&mut self, c: &DisposeDie) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let at = |refusal: Refusal| match refusal {
            Refusal::DieHasOwner | Refusal::DieOfWorkshop => refusal.at("/how"),
            other => other.at("/die"),
        };
        let strikes = self.book.known_die(c.die).map_err(at)?.strikes;
        let event = DieDisposed {
            die: c.die,
            how: c.how,
            strikes,
        };
        self.add_with(event, note(c.note.as_ref())).map_err(at)
    }

    pub(super) fn strike_pieces(&mut self, c: &StrikePieces) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        listed(c.items.iter().map(|item| item.piece.0), "/items", "/piece")?;
        for (i, item) in c.items.iter().enumerate() {
            let event = PieceStruck {
                piece: item.piece,
                die: c.die,
                outcome: item.outcome,
            };
            self.add_with(event, note(c.note.as_ref()))
                .map_err(|refusal| match refusal {
                    Refusal::UnknownDie { .. } | Refusal::DieGone { .. } => refusal.at("/die"),
                    Refusal::DieOfAnotherSeries => refusal.at(format!("/items/{i}/outcome")),
                    other => other.at(format!("/items/{i}/piece")),
                })?;
        }
        Ok(())
    }

    pub(super) fn archive_piece(&mut self, c: &ArchivePiece) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        self.add_with(PieceArchived { piece: c.piece }, note(c.note.as_ref()))
            .map_err(|refusal| refusal.at("/piece"))
    }

    pub(super) fn close_series(&mut self, c: &CloseSeries) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let at = |refusal: Refusal| refusal.at("/series");
        let event = self.book.reckon_close(c.series).map_err(at)?;
        self.add_with(event, note(c.note.as_ref())).map_err(at)
    }
}
