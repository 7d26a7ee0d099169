//! The Eastmarch Assay Hall, which is invented: what is sent there, and what it says of each piece.

use super::crucible::fineness;
use super::ledger::Holder;
use super::workshop::{MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    AssayOutcome, ConsignmentId, Event, Hallmark, MarkKind, MarkSeen, PieceId, PieceState, ReturnConsignment,
    ReturnLine, SendConsignment, UnmarkedReason,
};

/// What is asked for, and struck.
const MARKS: [MarkKind; 4] = [
    MarkKind::Sponsor,
    MarkKind::Fineness,
    MarkKind::Office,
    MarkKind::DateLetter,
];

/// What the Hall says of a piece.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Hallmarked; the date letter is struck over the edge and cannot be read.
    Faint,
    Marked,
    /// Below the standard claimed: what was found.
    Refused(&'static str),
    /// A corner was bent there.
    Damaged,
    /// Cut for the assay: what was found.
    Cut(&'static str),
    Missing,
}

/// Pieces at the Hall.
pub(super) struct Consigned {
    consignment: ConsignmentId,
    claimed: &'static str,
    pieces: Vec<PieceId>,
}

impl Workshop {
    /// Sends pieces to the Hall.
    pub(super) fn consign(
        &mut self,
        pieces: &[PieceId],
        claimed: &'static str,
        seal: &str,
    ) -> Result<Consigned, Failure> {
        let recorded = self.record(SendConsignment {
            pieces: pieces.to_vec(),
            fineness: fineness(claimed)?,
            marks: MARKS.to_vec(),
            office: Some("Eastmarch Assay Hall".to_owned()),
            seal: Some(seal.to_owned()),
            note: None,
        })?;
        let consignment = Self::event(&recorded, |event| match event {
            Event::ConsignmentSent(e) => Some(e.consignment),
            _ => None,
        })?;
        for piece in pieces {
            self.ledger.go(*piece, PieceState::AtOffice, Holder::Office);
        }
        Ok(Consigned {
            consignment,
            claimed,
            pieces: pieces.to_vec(),
        })
    }

    /// Takes back what the Hall gives back: of each piece what it says, in the order in which they were sent.
    pub(super) fn fetch(&mut self, sent: Consigned, verdicts: &[Verdict]) -> Result<(), Failure> {
        let mut lines = Vec::new();
        for (piece, verdict) in sent.pieces.iter().zip(verdicts) {
            lines.push(line(*piece, *verdict, sent.claimed)?);
        }
        self.record(ReturnConsignment {
            consignment: sent.consignment,
            lines,
            note: None,
        })?;
        let mut suspect = Vec::new();
        for (piece, verdict) in sent.pieces.iter().zip(verdicts) {
            self.told(*piece, *verdict);
            if let (Verdict::Refused(_), Some(fate)) = (verdict, self.ledger.pieces.get(piece)) {
                suspect.push(fate.melt);
            }
        }
        let mates = self
            .ledger
            .pieces
            .iter()
            .filter(|(piece, fate)| suspect.contains(&fate.melt) && !sent.pieces.contains(piece));
        let mates: Vec<PieceId> = mates.map(|(piece, _)| *piece).collect();
        self.ledger.warned.extend(mates);
        Ok(())
    }

    /// What really happened to a piece at the Hall: whoever marks or assays it scrapes a little off.
    fn told(&mut self, piece: PieceId, verdict: Verdict) {
        let (state, holder) = match verdict {
            Verdict::Marked | Verdict::Faint => (PieceState::Hallmarked, Holder::Workshop),
            Verdict::Refused(_) | Verdict::Damaged => (PieceState::Unmarked, Holder::Workshop),
            Verdict::Cut(_) => (PieceState::Kept, Holder::Office),
            Verdict::Missing => (PieceState::Missing, Holder::Unknown),
        };
        self.ledger.go(piece, state, holder);
        if matches!(verdict, Verdict::Marked | Verdict::Faint | Verdict::Refused(_)) {
            let scraped = self.around(30 * MILLIGRAM, 6 * MILLIGRAM).max(0);
            self.ledger.change(piece, |fate| fate.mass -= scraped);
            if let Some(metal) = self.ledger.pieces.get(&piece).map(|fate| fate.metal) {
                self.ledger.flow(metal).assay_loss += scraped;
            }
        }
    }
}

fn line(piece: PieceId, verdict: Verdict, claimed: &str) -> Result<ReturnLine, Failure> {
    let mut line = ReturnLine {
        piece,
        outcome: AssayOutcome::Unmarked,
        hallmark: None,
        reason: None,
        assay: None,
    };
    match verdict {
        Verdict::Marked | Verdict::Faint => {
            line.outcome = AssayOutcome::Marked;
            let legible = |mark: &MarkKind| *mark != MarkKind::DateLetter || verdict == Verdict::Marked;
            let marks = MARKS.iter().map(|mark| MarkSeen {
                mark: *mark,
                legible: legible(mark),
            });
            line.hallmark = Some(Hallmark {
                fineness: fineness(claimed)?,
                marks: marks.collect(),
            });
        }
        Verdict::Refused(found) => {
            line.reason = Some(UnmarkedReason::BelowStandard);
            line.assay = Some(fineness(found)?);
        }
        Verdict::Damaged => line.reason = Some(UnmarkedReason::Damaged),
        Verdict::Cut(found) => {
            line.outcome = AssayOutcome::Cut;
            line.assay = Some(fineness(found)?);
        }
        Verdict::Missing => line.outcome = AssayOutcome::Missing,
    }
    Ok(line)
}
