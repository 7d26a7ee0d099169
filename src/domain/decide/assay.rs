//! Deciding about the assay office and spares.
//!
//! The lines of a return come first in their entry, and the return after them, which counts what they say.

use super::pieces::note;
use super::{Decision, listed, short};
use crate::domain::command::*;
use crate::domain::{
    AssayOutcome, ConsignmentId, Event, Hallmark, KeptHow, PieceConsigned, PieceHallmarked, PieceKept,
    PieceMissing, PieceSpared, PieceUnmarked, Private, Refusal, Refused, UnmarkedReason,
};

impl Decision<'_> {
    pub(super) fn send_consignment(&mut self, c: &SendConsignment) -> Result<(), Refused> {
        short(&[("office", &c.office), ("seal", &c.seal), ("note", &c.note)])?;
        listed(c.pieces.iter().map(|piece| piece.0), "/pieces", "")?;
        for (i, piece) in c.pieces.iter().enumerate() {
            self.book
                .may_consign(*piece, c.fineness)
                .map_err(|refusal| refusal.at(format!("/pieces/{i}")))?;
        }
        let at = |refusal: Refusal| match refusal {
            Refusal::MarksMissing => refusal.at("/marks"),
            other => other.at("/pieces"),
        };
        let consignment = ConsignmentId(self.fresh());
        let sent = self
            .book
            .reckon_consignment(consignment, &c.pieces, c.fineness, &c.marks)
            .map_err(at)?;
        let private = Private::none()
            .text("office", c.office.as_deref())
            .text("seal", c.seal.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(sent, private).map_err(at)?;
        for piece in c.pieces.iter().copied() {
            self.add(PieceConsigned { piece, consignment }).map_err(at)?;
        }
        Ok(())
    }

    pub(super) fn return_consignment(&mut self, c: &ReturnConsignment) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        listed(c.lines.iter().map(|line| line.piece.0), "/lines", "/piece")?;
        let at = |refusal: Refusal| match refusal {
            Refusal::ReturnShort { .. } => refusal.at("/lines"),
            other => other.at("/consignment"),
        };
        self.book.known_consignment(c.consignment).map_err(at)?;
        for (i, line) in c.lines.iter().enumerate() {
            let event = told(c.consignment, line).map_err(|(why, member)| {
                Refusal::LineImpossible { why }.at(format!("/lines/{i}/{member}"))
            })?;
            self.add(event).map_err(|refusal| match refusal {
                Refusal::ConsignmentBack => refusal.at("/consignment"),
                Refusal::MarksMissing => refusal.at(format!("/lines/{i}/hallmark/marks")),
                Refusal::NotAsClaimed { .. } => refusal.at(format!("/lines/{i}/hallmark/fineness")),
                Refusal::LineImpossible { .. } => refusal.at(format!("/lines/{i}/assay")),
                other => other.at(format!("/lines/{i}/piece")),
            })?;
        }
        let returned = self.book.reckon_return(c.consignment).map_err(at)?;
        self.add_with(returned, note(c.note.as_ref())).map_err(at)
    }

    pub(super) fn spare_pieces(&mut self, c: &SparePieces) -> Result<(), Refused> {
        self.each(&c.pieces, |decision, piece| decision.add(PieceSpared { piece }))
    }
}

/// Why a line cannot be so, and which member of it says that.
type Odd = (&'static str, &'static str);

/// What a line says became of its piece.
fn told(consignment: ConsignmentId, line: &ReturnLine) -> Result<Event, Odd> {
    let piece = line.piece;
    let kept = |how: KeptHow| {
        Event::from(PieceKept {
            piece,
            consignment,
            how,
            assay: line.assay,
        })
    };
    let (hallmark, reason) = members(line)?;
    Ok(match (line.outcome, hallmark, reason) {
        (AssayOutcome::Marked, Some(hallmark), _) => PieceHallmarked {
            piece,
            consignment,
            hallmark,
        }
        .into(),
        (AssayOutcome::Marked, None, _) => return Err(("a marked piece bears a hallmark", "hallmark")),
        (AssayOutcome::Unmarked, _, Some(reason)) => PieceUnmarked {
            piece,
            consignment,
            reason,
            assay: line.assay,
        }
        .into(),
        (AssayOutcome::Unmarked, _, None) => {
            return Err(("an unmarked piece came back for a reason", "reason"));
        }
        (AssayOutcome::Kept, ..) => kept(KeptHow::Kept),
        (AssayOutcome::Cut, ..) => kept(KeptHow::Cut),
        (AssayOutcome::Missing, ..) => PieceMissing { piece, consignment }.into(),
    })
}

/// The members of a line that go with one outcome only; refused beside another one.
fn members(line: &ReturnLine) -> Result<(Option<Hallmark>, Option<UnmarkedReason>), Odd> {
    let found = matches!(
        line.outcome,
        AssayOutcome::Unmarked | AssayOutcome::Kept | AssayOutcome::Cut
    );
    if line.hallmark.is_some() && line.outcome != AssayOutcome::Marked {
        Err(("only a marked piece bears a hallmark", "hallmark"))
    } else if line.reason.is_some() && line.outcome != AssayOutcome::Unmarked {
        Err(("only an unmarked piece came back for a reason", "reason"))
    } else if line.assay.is_some() && !found {
        Err((
            "what was found is noted of a piece that is unmarked, kept or cut",
            "assay",
        ))
    } else {
        Ok((line.hallmark.clone(), line.reason))
    }
}
