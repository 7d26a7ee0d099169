//! Dies, what they strike, the archive, and the close of an edition.
//!
//! A die strikes only pieces of the edition that it was cut for; where it struck another one, that is a mis-strike by
//! the wrong die. An edition closes when nothing of it is loose: no open promise, no piece on its way to a certificate or
//! waiting for the crucible, no die that could strike one more. Deliberately absent: what a die shows (private).

use super::{Book, Die, Piece, PieceStrike, agree};
use crate::domain::{
    DieDisposal, DieDisposed, DieId, DieOwner, DieRegistered, DieState, OrderState, PieceArchived,
    PieceState, PieceStruck, Refusal, SeriesClosed, SeriesId, SeriesKind, SeriesState, ShapeTally, Stamp,
    StrikeOutcome,
};

/// Where a piece may be struck; nothing strikes it after the assay office.
const STRIKABLE: &[PieceState] = &[PieceState::Graded, PieceState::Serialled, PieceState::Struck];

/// A piece in one of these is neither with somebody, nor in stock, nor at its end.
const LOOSE: &[PieceState] = &[
    PieceState::Poured,
    PieceState::Graded,
    PieceState::Condemned,
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::MisStruck,
    PieceState::AtOffice,
    PieceState::Hallmarked,
    PieceState::Unmarked,
    PieceState::Spare,
    PieceState::Numbered,
];

impl Book {
    pub(super) fn take_die(&mut self, stamp: &Stamp, e: &DieRegistered) -> Result<(), Refusal> {
        self.free(e.die.0)?;
        if let Some(series) = e.series {
            self.edition(series)?;
            self.open_series(series)?;
        }
        let die = Die {
            die: e.die,
            owner: e.owner,
            series: e.series,
            state: DieState::InUse,
            strikes: 0,
            since: stamp.index,
        };
        self.dies.put(e.die, die);
        Ok(())
    }

    /// A die that is kept may still go; one that is gone is gone. A commissioner's is never kept, the workshop's own has
    /// nobody to go back to.
    pub(super) fn take_disposal(&mut self, e: &DieDisposed) -> Result<(), Refusal> {
        let mut die = self.known_die(e.die)?.clone();
        let may_go =
            die.state == DieState::InUse || (die.state == DieState::Retired && e.how != DieDisposal::Retired);
        if !may_go {
            return Err(Refusal::DieGone {
                die: e.die,
                state: die.state,
            });
        }
        die.state = match (die.owner, e.how) {
            (DieOwner::Commissioner, DieDisposal::Retired) => return Err(Refusal::DieHasOwner),
            (DieOwner::Workshop, DieDisposal::Returned) => return Err(Refusal::DieOfWorkshop),
            (_, DieDisposal::Returned) => DieState::Returned,
            (_, DieDisposal::Destroyed) => DieState::Destroyed,
            (_, DieDisposal::Retired) => DieState::Retired,
        };
        agree(&e.strikes, &die.strikes)?;
        self.dies.put(e.die, die);
        Ok(())
    }

    pub(super) fn take_strike(&mut self, stamp: &Stamp, e: &PieceStruck) -> Result<(), Refusal> {
        let mut die = self.known_die(e.die)?.clone();
        if die.state != DieState::InUse {
            return Err(Refusal::DieGone {
                die: e.die,
                state: die.state,
            });
        }
        let mut piece = self.known_piece(e.piece)?.clone();
        self.may_strike(&piece)?;
        let stranger = die.series.is_some_and(|series| series != piece.series);
        if stranger && e.outcome != StrikeOutcome::WrongDie {
            return Err(Refusal::DieOfAnotherSeries);
        }
        piece.strikes.push(PieceStrike {
            die: e.die,
            outcome: e.outcome,
            index: stamp.index,
        });
        piece.state = match piece.is_struck() {
            true => PieceState::Struck,
            false => PieceState::MisStruck,
        };
        self.pieces.put(e.piece, piece);
        die.strikes = die.strikes.saturating_add(1);
        self.dies.put(e.die, die);
        Ok(())
    }

    /// Whether a piece may be struck: it is accepted, and its melt is weighed out.
    fn may_strike(&self, piece: &Piece) -> Result<(), Refusal> {
        piece.is_in(STRIKABLE, "struck")?;
        self.open_series(piece.series)?;
        self.closed_melt(piece.melt)?;
        piece.is_accepted("struck")?;
        // A piece with a serial is weighed again at the end in any case; one without is weighed again now.
        match piece.state {
            PieceState::Graded => self.accepted(piece, "struck"),
            _ => Ok(()),
        }
    }

    pub(super) fn take_archiving(&mut self, e: &PieceArchived) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.is_in(&[PieceState::MisStruck], "archived")?;
        piece.state = PieceState::Archived;
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    pub(super) fn take_series_close(&mut self, stamp: &Stamp, e: &SeriesClosed) -> Result<(), Refusal> {
        agree(e, &self.reckon_close(e.series)?)?;
        let mut series = self.known_series(e.series)?.clone();
        series.state = SeriesState::Closed;
        series.closed = Some(stamp.index);
        self.series.put(e.series, series);
        Ok(())
    }

    /// What the close of an edition says now: what became of its numbers, and which dies were cut for it.
    pub(in crate::domain) fn reckon_close(&self, id: SeriesId) -> Result<SeriesClosed, Refusal> {
        self.edition(id)?;
        self.open_series(id)?;
        let open = |order: &&super::Order| order.series == id && order.state == OrderState::Open;
        if let Some(number) = self.orders().filter(open).map(|order| order.number).min() {
            return Err(Refusal::OrderStillOpen { number });
        }
        self.nothing_loose(id)?;
        let dies = self.dies_cut_for(id)?;
        let series = self.known_series(id)?;
        let shapes = series.shapes.iter().zip(&series.numbers);
        Ok(SeriesClosed {
            series: id,
            shapes: shapes
                .map(|(size, given)| ShapeTally {
                    shape: size.shape.clone(),
                    size: size.size,
                    given: *given,
                    burned: self.burned(id, &size.shape),
                })
                .collect(),
            dies,
        })
    }

    /// Refuses an edition of which a piece is loose; names the one that was poured first.
    fn nothing_loose(&self, id: SeriesId) -> Result<(), Refusal> {
        let loose = |piece: &&Piece| piece.series == id && LOOSE.contains(&piece.state);
        let first = self
            .pieces()
            .filter(loose)
            .min_by_key(|piece| (piece.since, &piece.pour));
        match first {
            Some(piece) => Err(Refusal::PiecesLoose {
                piece: piece.piece,
                state: piece.state,
                count: self.pieces().filter(loose).count(),
            }),
            None => Ok(()),
        }
    }

    /// The dies that were cut for an edition, in the order in which they came; refused while one of them is still here.
    fn dies_cut_for(&self, id: SeriesId) -> Result<Vec<DieId>, Refusal> {
        let mut dies: Vec<&Die> = self.dies().filter(|die| die.series == Some(id)).collect();
        dies.sort_unstable_by_key(|die| (die.since, die.die));
        let here = |die: &&&Die| !matches!(die.state, DieState::Returned | DieState::Destroyed);
        match dies.iter().find(here) {
            Some(die) => Err(Refusal::DieLoose { die: die.die }),
            None => Ok(dies.into_iter().map(|die| die.die).collect()),
        }
    }

    /// The numbers of a shape that are burned when the edition closes, ascending.
    fn burned(&self, id: SeriesId, shape: &crate::domain::Shape) -> Vec<u32> {
        let mut burned: Vec<u32> = self
            .pieces()
            .filter(|piece| piece.series == id && piece.shape == *shape && piece.state.burns_number(true))
            .filter_map(|piece| piece.number)
            .collect();
        burned.sort_unstable();
        burned
    }

    /// Refuses an open series.
    pub(super) fn edition(&self, id: SeriesId) -> Result<(), Refusal> {
        match self.known_series(id)?.kind_of {
            SeriesKind::Edition => Ok(()),
            SeriesKind::Open => Err(Refusal::NotAnEdition),
        }
    }
}
