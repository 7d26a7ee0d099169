//! From poured to sold: how many pieces of one shape reached each step, and what became of those that did not go on.
//!
//! Counted is every piece that was poured for the series. How far a piece came is read from its row: what it has (a serial,
//! strikes, marks, a certificate, a sale) shows what it went through, so a piece that is given up late has come far. Between
//! two steps stand those that stay there: they wait, or they fell away. A piece that has left the series fell away where what
//! it has by then says; what happened to it in the other series is not told here. Deliberately absent: how long it took.

use super::Reckoning;
use crate::domain::{
    CondemnReason, Grade, Marking, Piece, PieceId, PieceState as S, Series, SeriesId, Shape,
};

/// A step from the crucible to the buyer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// It was poured.
    Poured,
    /// It was weighed.
    Weighed,
    /// It was found within the limits.
    Accepted,
    /// It was struck, and the strike came out well.
    Struck,
    /// It has its hallmark.
    Hallmarked,
    /// It has its certificate, or is sold without one.
    Certified,
    /// It is sold.
    Sold,
    /// It is with its buyer.
    Delivered,
}

/// What became of a piece that did not go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    /// It waits here, in this state.
    Waits(S),
    /// It left the series.
    Moved,
    /// It was given up for this reason; where its metal is, the state says.
    GivenUp(CondemnReason, S),
    /// It is gone, or kept for ever, in this state.
    Gone(S),
}

/// Those that stay between two steps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay {
    /// What became of them.
    pub fate: Fate,
    /// Which they are, by pour number.
    pub pieces: Vec<(PieceId, String)>,
}

/// One step of one shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reached {
    /// The step.
    pub step: Step,
    /// How many reached it.
    pub pieces: usize,
    /// Those of them that did not reach the next one.
    pub stay: Vec<Stay>,
}

/// The yield of one shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShapeYield {
    /// The shape.
    pub shape: Shape,
    /// The steps that pieces of the series go through, in order.
    pub steps: Vec<Reached>,
}

impl Reckoning {
    /// The yield of every shape of a series; `None` if there is no such series.
    #[must_use]
    pub fn yields(&self, series: SeriesId) -> Option<Vec<ShapeYield>> {
        let row = self.book().series(series)?;
        let told = self.shapes(series)?.into_iter().map(|shape| {
            let mut pieces: Vec<&Piece> = self
                .book()
                .pieces()
                .filter(|piece| piece.poured_for.unwrap_or(piece.series) == series && piece.shape == shape)
                .collect();
            pieces.sort_by_key(|piece| (piece.since, piece.pour.clone()));
            ShapeYield {
                steps: reached(row, &pieces),
                shape,
            }
        });
        Some(told.collect())
    }
}

/// The steps that a series asks for.
fn steps(row: &Series) -> Vec<Step> {
    let all = [
        Step::Poured,
        Step::Weighed,
        Step::Accepted,
        Step::Struck,
        Step::Hallmarked,
        Step::Certified,
        Step::Sold,
        Step::Delivered,
    ];
    let asked = all.into_iter().filter(|step| match step {
        Step::Struck => row.struck,
        Step::Hallmarked => row.marking == Marking::Required,
        _ => true,
    });
    asked.collect()
}

fn reached(row: &Series, pieces: &[&Piece]) -> Vec<Reached> {
    let steps = steps(row);
    let furthest: Vec<(&Piece, Step)> = pieces
        .iter()
        .map(|piece| (*piece, furthest(row, &steps, piece)))
        .collect();
    let told = steps.iter().map(|step| {
        let last = steps.last() == Some(step);
        let mut stay: Vec<Stay> = Vec::new();
        for (piece, _) in furthest.iter().filter(|(_, came)| came == step && !last) {
            let fate = fate(row, piece);
            let named = (piece.piece, piece.pour.clone());
            match stay.iter_mut().find(|stay| stay.fate == fate) {
                Some(stay) => stay.pieces.push(named),
                None => stay.push(Stay {
                    fate,
                    pieces: vec![named],
                }),
            }
        }
        stay.sort_by_key(|stay| stay.fate);
        Reached {
            step: *step,
            pieces: furthest.iter().filter(|(_, came)| came >= step).count(),
            stay,
        }
    });
    told.collect()
}

/// The last step that what a piece has shows.
fn furthest(row: &Series, steps: &[Step], piece: &Piece) -> Step {
    let shows = |step: &&Step| has(row, piece, **step);
    steps.iter().rev().find(shows).copied().unwrap_or(Step::Poured)
}

fn has(row: &Series, piece: &Piece, step: Step) -> bool {
    let here = piece.series == row.series;
    // A serial is given to accepted pieces only, and says in its letters for which series.
    let serial = piece
        .serial
        .as_ref()
        .is_some_and(|serial| serial.code() == &row.code);
    match step {
        Step::Poured => true,
        Step::Weighed => piece.reading().is_some(),
        Step::Accepted => serial || here && is_accepted(piece),
        Step::Struck => (here || serial) && piece.is_struck(),
        Step::Hallmarked => here && piece.hallmark.is_some(),
        Step::Certified => here && (piece.certificate.is_some() || piece.sale.is_some()),
        Step::Sold => here && piece.sale.is_some(),
        Step::Delivered => here && piece.state == S::Delivered,
    }
}

fn is_accepted(piece: &Piece) -> bool {
    piece
        .grading
        .as_ref()
        .is_some_and(|grading| grading.grade == Grade::Accepted)
}

fn fate(row: &Series, piece: &Piece) -> Fate {
    if piece.series != row.series {
        return Fate::Moved;
    }
    match (piece.state, piece.condemned) {
        (S::Condemned | S::Remelted | S::Refined, Some(reason)) => Fate::GivenUp(reason, piece.state),
        (
            S::Condemned
            | S::Remelted
            | S::Refined
            | S::Archived
            | S::Kept
            | S::Missing
            | S::Lost
            | S::Stolen
            | S::Destroyed,
            _,
        ) => Fate::Gone(piece.state),
        (state, _) => Fate::Waits(state),
    }
}
