//! The assay office: consignments, what comes back of them, and the spares of an edition.
//!
//! A consignment claims for its pieces exactly what their series state, and never more than is declared or was found. It
//! comes back at once, one line per piece: marked + unmarked + kept or cut + missing = sent. A piece that came back is
//! weighed anew before anything is stated of it. Deliberately absent: which office it is (private).

use super::owed::Owed;
use super::{Book, Consignment, Counted, Piece, agree, once, sum};
use crate::domain::{
    AssayOutcome, ConsignmentId, ConsignmentReturned, ConsignmentSent, ConsignmentState, Hallmark, KeptHow,
    MarkKind, Marking, PieceConsigned, PieceHallmarked, PieceId, PieceKept, PieceMass, PieceMissing,
    PieceSpared, PieceState, PieceUnmarked, Refusal, Stamp, UnmarkedReason,
};
use crate::metal::Fineness;

/// The most pieces of a consignment: a command names at most 64 things.
const PIECES_MAX: usize = 64;
/// What every hallmark has.
const NEEDED: [MarkKind; 3] = [MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office];
/// Where a piece may go to the assay office from.
const SENDABLE: &[PieceState] = &[PieceState::Serialled, PieceState::Struck, PieceState::Unmarked];
/// Finally weighed pieces in these may be set aside.
const SPARABLE: &[PieceState] = &[PieceState::Serialled, PieceState::Struck, PieceState::Hallmarked];

impl Book {
    pub(super) fn take_consignment(&mut self, stamp: &Stamp, e: &ConsignmentSent) -> Result<(), Refusal> {
        self.free(e.consignment.0)?;
        let pieces: Vec<PieceId> = e.pieces.iter().map(|sent| sent.piece).collect();
        let reckoned = self.reckon_consignment(e.consignment, &pieces, e.fineness, &e.marks)?;
        self.count(Counted::Consignment, e.number)?;
        let number = e.number;
        agree(e, &ConsignmentSent { number, ..reckoned })?;
        let consignment = Consignment {
            consignment: e.consignment,
            number: e.number,
            state: ConsignmentState::AtOffice,
            fineness: e.fineness,
            marks: e.marks.clone(),
            pieces: e.pieces.clone(),
            mass: e.mass,
            outcomes: Vec::new(),
            melt_mates: Vec::new(),
            since: stamp.index,
            returned: None,
            at: stamp.at,
        };
        self.consignments.put(e.consignment, consignment);
        for piece in pieces {
            self.owe(Owed::Consigning {
                piece,
                consignment: e.consignment,
            })?;
        }
        Ok(())
    }

    /// What goes with the next consignment, each piece checked.
    pub(in crate::domain) fn reckon_consignment(
        &self,
        consignment: ConsignmentId,
        pieces: &[PieceId],
        fineness: Fineness,
        marks: &[MarkKind],
    ) -> Result<ConsignmentSent, Refusal> {
        if pieces.is_empty() {
            return Err(Refusal::NothingNamed);
        }
        if pieces.len() > PIECES_MAX {
            return Err(Refusal::TooMany {
                count: pieces.len(),
                most: PIECES_MAX,
            });
        }
        once(pieces.iter().map(|piece| piece.0))?;
        whole(marks)?;
        let mut sent = Vec::with_capacity(pieces.len());
        for piece in pieces {
            self.may_consign(*piece, fineness)?;
            let mass = self.known_piece(*piece)?.mass().ok_or(Refusal::NotWeighed)?;
            sent.push(PieceMass { piece: *piece, mass });
        }
        let mass = sum(sent.iter().map(|sent| sent.mass))?;
        Ok(ConsignmentSent {
            consignment,
            number: self.next(Counted::Consignment)?,
            fineness,
            marks: marks.to_vec(),
            pieces: sent,
            mass,
        })
    }

    /// Whether a piece may go to the assay office with this claim.
    pub(in crate::domain) fn may_consign(&self, id: PieceId, claimed: Fineness) -> Result<(), Refusal> {
        let piece = self.known_piece(id)?;
        if let (PieceState::AtOffice, Some(consignment)) = (piece.state, piece.consignment) {
            return Err(Refusal::InConsignment {
                piece: id,
                consignment,
            });
        }
        piece
            .is_in(&[PieceState::Graded], "sent to the assay office")
            .or_else(|_| piece.is_in(SENDABLE, "sent to the assay office"))?;
        if piece.serial.is_none() {
            return Err(Refusal::NoSerial);
        }
        let series = self.known_series(piece.series)?;
        if series.marking == Marking::Exempt {
            return Err(Refusal::MarkingExempt);
        }
        self.open_series(piece.series)?;
        if series.struck && !piece.is_struck() {
            return Err(Refusal::NotStruck);
        }
        piece.is_accepted("sent to the assay office")?;
        let metal = self.closed_melt(piece.melt)?.fineness;
        if claimed > metal {
            return Err(Refusal::ClaimAboveMetal { claimed, metal });
        }
        if claimed != series.fineness {
            return Err(Refusal::ClaimNotOfSeries {
                claimed,
                series: series.fineness,
            });
        }
        self.not_above_assay(piece, claimed)
    }

    pub(super) fn take_consigning(&mut self, e: &PieceConsigned) -> Result<(), Refusal> {
        self.known_piece(e.piece)?;
        self.pay("piece.consigned", |owed| {
            matches!(owed, Owed::Consigning { piece, consignment }
                if *piece == e.piece && *consignment == e.consignment)
        })?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.state = PieceState::AtOffice;
        piece.consignment = Some(e.consignment);
        piece.unmarked = None;
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    pub(super) fn take_hallmark(&mut self, e: &PieceHallmarked) -> Result<(), Refusal> {
        let (mut piece, claimed) = self.back(e.piece, e.consignment)?;
        bears(&e.hallmark)?;
        let marked = e.hallmark.fineness;
        if marked != claimed {
            return Err(Refusal::NotAsClaimed { marked, claimed });
        }
        piece.state = PieceState::Hallmarked;
        piece.hallmark = Some(e.hallmark.clone());
        piece.back_unweighed = true;
        self.pieces.put(e.piece, piece);
        self.owe_return(e.consignment, e.piece, AssayOutcome::Marked, false);
        Ok(())
    }

    pub(super) fn take_unmarked(&mut self, e: &PieceUnmarked) -> Result<(), Refusal> {
        let (mut piece, claimed) = self.back(e.piece, e.consignment)?;
        let refused = e.reason == UnmarkedReason::BelowStandard;
        if refused && e.assay.is_some_and(|found| found >= claimed) {
            return Err(Refusal::LineImpossible {
                why: "refused for its fineness, and what was found is not below what was claimed",
            });
        }
        piece.state = PieceState::Unmarked;
        piece.unmarked = Some(e.reason);
        piece.back_unweighed = true;
        if refused {
            piece.refused_at = Some(claimed);
        }
        let low = self.note_assay(&mut piece, claimed, e.assay)? || refused;
        self.pieces.put(e.piece, piece);
        self.owe_return(e.consignment, e.piece, AssayOutcome::Unmarked, low);
        Ok(())
    }

    pub(super) fn take_kept(&mut self, e: &PieceKept) -> Result<(), Refusal> {
        let (mut piece, claimed) = self.back(e.piece, e.consignment)?;
        piece.state = PieceState::Kept;
        let low = self.note_assay(&mut piece, claimed, e.assay)?;
        self.pieces.put(e.piece, piece);
        let outcome = match e.how {
            KeptHow::Kept => AssayOutcome::Kept,
            KeptHow::Cut => AssayOutcome::Cut,
        };
        self.owe_return(e.consignment, e.piece, outcome, low);
        Ok(())
    }

    /// A piece is not among what came back. One that was destroyed at the office stays what it is.
    pub(super) fn take_missing(&mut self, e: &PieceMissing) -> Result<(), Refusal> {
        let destroyed = self.known_piece(e.piece)?.state == PieceState::Destroyed;
        let piece = if destroyed {
            self.at_office(e.consignment, e.piece)?;
            self.known_piece(e.piece)?.clone()
        } else {
            Piece {
                state: PieceState::Missing,
                ..self.back(e.piece, e.consignment)?.0
            }
        };
        self.pieces.put(e.piece, piece);
        self.owe_return(e.consignment, e.piece, AssayOutcome::Missing, false);
        Ok(())
    }

    /// A piece at the assay office in this consignment, and what was claimed for it.
    fn back(&self, piece: PieceId, consignment: ConsignmentId) -> Result<(Piece, Fineness), Refusal> {
        let claimed = self.at_office(consignment, piece)?.fineness;
        let row = self.known_piece(piece)?;
        match row.state {
            PieceState::AtOffice => Ok((row.clone(), claimed)),
            _ => Err(Refusal::NotInConsignment { piece }),
        }
    }

    /// A consignment that is not back yet, and holds a piece of which nothing is told yet.
    fn at_office(&self, id: ConsignmentId, piece: PieceId) -> Result<&Consignment, Refusal> {
        let row = self.known_consignment(id)?;
        if row.state == ConsignmentState::Returned {
            return Err(Refusal::ConsignmentBack);
        }
        let sent = self.known_piece(piece)?.consignment == Some(id);
        let told = self.told(id).iter().any(|(told, ..)| *told == piece);
        if sent && !told {
            Ok(row)
        } else {
            Err(Refusal::NotInConsignment { piece })
        }
    }

    /// What the office found: the lowest counts, for the piece and, where it is below the claim, for all its melt. Whether
    /// it is below the claim.
    fn note_assay(
        &mut self,
        piece: &mut Piece,
        claimed: Fineness,
        assay: Option<Fineness>,
    ) -> Result<bool, Refusal> {
        let Some(found) = assay else { return Ok(false) };
        piece.assay = Some(piece.assay.map_or(found, |before| before.min(found)));
        if found >= claimed {
            return Ok(false);
        }
        let mut melt = self.known_melt(piece.melt)?.clone();
        melt.assayed = Some(melt.assayed.map_or(found, |before| before.min(found)));
        self.melts.put(piece.melt, melt);
        Ok(true)
    }

    /// The lines of a return so far, in this entry.
    fn told(&self, id: ConsignmentId) -> &[(PieceId, AssayOutcome, bool)] {
        let lines = self.owed().iter().find_map(|owed| match owed {
            Owed::Return { consignment, lines } if *consignment == id => Some(lines.as_slice()),
            _ => None,
        });
        lines.unwrap_or_default()
    }

    /// A line of a return asks for the return, which counts them all.
    fn owe_return(&mut self, id: ConsignmentId, piece: PieceId, outcome: AssayOutcome, low: bool) {
        let mut due = self.due.find(&()).cloned().unwrap_or_default();
        let same = due.owed.iter_mut().find_map(|owed| match owed {
            Owed::Return { consignment, lines } if *consignment == id => Some(lines),
            _ => None,
        });
        match same {
            Some(lines) => lines.push((piece, outcome, low)),
            None => due.owed.push(Owed::Return {
                consignment: id,
                lines: vec![(piece, outcome, low)],
            }),
        }
        self.due.put((), due);
    }

    pub(super) fn take_consignment_return(
        &mut self,
        stamp: &Stamp,
        e: &ConsignmentReturned,
    ) -> Result<(), Refusal> {
        agree(e, &self.reckon_return(e.consignment)?)?;
        let lines = self.told(e.consignment).to_vec();
        self.pay(
            "consignment.returned",
            |owed| matches!(owed, Owed::Return { consignment, .. } if *consignment == e.consignment),
        )?;
        let mut row = self.known_consignment(e.consignment)?.clone();
        let outcome = |sent: &PieceMass| lines.iter().find(|line| line.0 == sent.piece).map(|line| line.1);
        row.outcomes = row.pieces.iter().filter_map(outcome).collect();
        row.melt_mates = self.melt_mates(&row, lines.iter().filter(|line| line.2).map(|line| line.0))?;
        row.state = ConsignmentState::Returned;
        row.returned = Some(stamp.index);
        self.consignments.put(e.consignment, row);
        Ok(())
    }

    /// What a return comes to: refused unless every piece that was sent is on a line.
    pub(in crate::domain) fn reckon_return(&self, id: ConsignmentId) -> Result<ConsignmentReturned, Refusal> {
        let row = self.known_consignment(id)?;
        if row.state == ConsignmentState::Returned {
            return Err(Refusal::ConsignmentBack);
        }
        let lines = self.told(id);
        let told = |piece: PieceId| lines.iter().any(|line| line.0 == piece);
        if let Some(sent) = row.pieces.iter().find(|sent| !told(sent.piece)) {
            return Err(Refusal::ReturnShort {
                lines: lines.len(),
                sent: row.pieces.len(),
                piece: sent.piece,
            });
        }
        let count = |outcomes: &[AssayOutcome]| {
            let lines = lines.iter().filter(|line| outcomes.contains(&line.1));
            u32::try_from(lines.count()).unwrap_or(u32::MAX)
        };
        Ok(ConsignmentReturned {
            consignment: id,
            sent: u32::try_from(row.pieces.len()).unwrap_or(u32::MAX),
            marked: count(&[AssayOutcome::Marked]),
            unmarked: count(&[AssayOutcome::Unmarked]),
            kept: count(&[AssayOutcome::Kept, AssayOutcome::Cut]),
            missing: count(&[AssayOutcome::Missing]),
        })
    }

    /// The pieces not in a consignment that came from the same melt as one of its pieces that was found too low.
    fn melt_mates(
        &self,
        row: &Consignment,
        low: impl Iterator<Item = PieceId>,
    ) -> Result<Vec<PieceId>, Refusal> {
        let mut melts = Vec::new();
        for piece in low {
            let melt = self.known_piece(piece)?.melt;
            if !melts.contains(&melt) {
                melts.push(melt);
            }
        }
        let mut mates = Vec::new();
        for melt in melts {
            let within = |piece: &PieceId| row.pieces.iter().any(|sent| sent.piece == *piece);
            mates.extend(
                self.known_melt(melt)?
                    .pieces
                    .iter()
                    .filter(|piece| !within(piece)),
            );
        }
        Ok(mates)
    }

    /// A finally weighed piece of an edition is set aside: it may get a number that was never given, or be given up.
    pub(super) fn take_spare(&mut self, e: &PieceSpared) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        self.edition(piece.series)?;
        piece.is_in(SPARABLE, "set aside as a spare")?;
        self.open_series(piece.series)?;
        self.marked(&piece)?;
        self.finally_weighed(&piece)?;
        self.accepted(&piece, "set aside as a spare")?;
        piece.state = PieceState::Spare;
        self.pieces.put(e.piece, piece);
        Ok(())
    }
}

/// Refuses marks that do not make a hallmark: each kind stands once, and three of them always.
fn whole(marks: &[MarkKind]) -> Result<(), Refusal> {
    let kinds: std::collections::BTreeSet<_> = marks.iter().collect();
    if kinds.len() == marks.len() && NEEDED.iter().all(|needed| kinds.contains(needed)) {
        Ok(())
    } else {
        Err(Refusal::MarksMissing)
    }
}

/// Refuses a hallmark that lacks one of its marks; one that cannot be read is there all the same.
fn bears(hallmark: &Hallmark) -> Result<(), Refusal> {
    let marks: Vec<MarkKind> = hallmark.marks.iter().map(|seen| seen.mark).collect();
    whole(&marks)
}
