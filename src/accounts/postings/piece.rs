//! Where a piece is, told by the events about it and nothing else.
//!
//! Deliberately absent: whether an event may follow (the book has decided that), and what a grading says.

use crate::domain::{Event, MeltId, PieceState as S, StrikeOutcome};
use crate::metal::Mass;

/// A piece as its events have made it so far.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub melt: MeltId,
    pub state: S,
    /// Its last reading less what was filed off since, in steps of 10 micrograms.
    pub units: i64,
    /// Whether it was at the assay office since it was last weighed.
    pub back_from_office: bool,
    /// Whether all its strikes came out well; none without one.
    struck_well: Option<bool>,
    in_sale: bool,
    /// What it was before it was stolen or destroyed.
    before: Option<S>,
}

impl Piece {
    pub(super) const fn poured(melt: MeltId) -> Self {
        Self {
            melt,
            state: S::Poured,
            units: 0,
            back_from_office: false,
            struck_well: None,
            in_sale: false,
            before: None,
        }
    }

    /// Takes a new reading; how much less it shows than was there, in steps of 10 micrograms.
    pub(super) fn weighed(&mut self, shown: Mass) -> i64 {
        let before = std::mem::replace(&mut self.units, shown.units());
        before.saturating_sub(shown.units())
    }

    /// What an event makes of the piece; none for one that leaves it where it is. An event of a kind that moves pieces
    /// moves it even if it was there before.
    pub(super) fn moved_by(&mut self, event: &Event) -> Option<S> {
        let to = match event {
            Event::PieceMissing(_) if self.state == S::Destroyed => return None,
            Event::PieceSerialled(_) if self.struck_well.is_some() => return None,
            Event::PieceCertified(e) if e.issue != 1 => return None,
            Event::PieceStruck(e) => self.strike(e.outcome == StrikeOutcome::Good),
            Event::PieceMoved(_) if self.state == S::Unmarked => self.unmarked_goes_on(),
            Event::PieceReleased(_) => self.back_to_stock(S::Reserved),
            Event::PieceUnsold(_) => self.back_to_stock(S::Sold),
            Event::PieceMoved(_) => self.state,
            Event::PieceFound(_) if self.in_sale => S::Dispatched,
            Event::PieceStolen(_) => self.gone(S::Stolen),
            Event::PieceDestroyed(_) => self.gone(S::Destroyed),
            Event::PieceRecovered(_) => self.before.take().unwrap_or(self.state),
            other => becomes(other)?,
        };
        match event {
            Event::PieceHallmarked(_) | Event::PieceUnmarked(_) => self.back_from_office = true,
            Event::PieceSold(_) => self.in_sale = true,
            Event::PieceUnsold(_) | Event::PieceReturned(_) | Event::PieceBoughtBack(_) => {
                self.in_sale = false
            }
            _ => {}
        }
        self.state = to;
        Some(to)
    }

    fn strike(&mut self, well: bool) -> S {
        let all = self.struck_well.unwrap_or(true) && well;
        self.struck_well = Some(all);
        if all { S::Struck } else { S::MisStruck }
    }

    const fn unmarked_goes_on(&self) -> S {
        match self.struck_well {
            Some(true) => S::Struck,
            _ => S::Serialled,
        }
    }

    /// What was promised is so no more. A piece that is gone stays gone; what it was before has changed.
    fn back_to_stock(&mut self, from: S) -> S {
        if self.state == from {
            return S::Certified;
        }
        if self.before == Some(from) {
            self.before = Some(S::Certified);
        }
        self.state
    }

    fn gone(&mut self, to: S) -> S {
        if self.state != to {
            self.before = self.before.or(Some(self.state));
        }
        to
    }
}

/// What a kind of event makes of a piece, whatever it was.
const fn becomes(event: &Event) -> Option<S> {
    Some(match event {
        Event::PieceCondemned(_) => S::Condemned,
        Event::PieceSerialled(_) => S::Serialled,
        Event::PieceArchived(_) => S::Archived,
        Event::PieceConsigned(_) => S::AtOffice,
        Event::PieceHallmarked(_) => S::Hallmarked,
        Event::PieceUnmarked(_) => S::Unmarked,
        Event::PieceKept(_) => S::Kept,
        Event::PieceMissing(_) => S::Missing,
        Event::PieceSpared(_) => S::Spare,
        Event::PieceNumbered(_) => S::Numbered,
        Event::PieceCertified(_) | Event::PieceRestocked(_) => S::Certified,
        Event::PieceReserved(_) => S::Reserved,
        Event::PieceSold(_) | Event::PieceSentBack(_) => S::Sold,
        Event::PieceDispatched(_) => S::Dispatched,
        Event::PieceHandedOver(_) | Event::PieceDelivered(_) => S::Delivered,
        Event::PieceLost(_) => S::Lost,
        Event::PieceFound(_) | Event::PieceReturned(_) => S::Returned,
        Event::PieceBoughtBack(_) => S::BoughtBack,
        _ => return None,
    })
}
