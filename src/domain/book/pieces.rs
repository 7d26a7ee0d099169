//! Pieces: poured, weighed, finished, condemned, remelted.
//!
//! A piece is weighed from the mould while its melt is open, as finished while it has no serial, and finally once it has
//! one and bears the marks that its series asks for. Its last reading is its mass.

use super::owed::Owed;
use super::scales::square;
use super::{Book, Grading, Piece, PieceReading, agree, sum_differences};
use crate::domain::{
    CondemnReason, Grade, GradeRule, PieceCondemned, PieceFaulted, PieceFinished, PieceId, PiecePoured,
    PieceRemelted, PieceState, PieceWeighed, Refusal, Residue, SeriesId, Shape, Stage, Stamp,
};
use crate::domain::{MeltId, SeriesKind};
use crate::metal::{Mass, MassDifference};

/// A pour number has two digits for the pour.
const POURS_MAX: usize = 99;

impl Book {
    pub(super) fn take_pour(&mut self, stamp: &Stamp, e: &PiecePoured) -> Result<(), Refusal> {
        self.free(e.piece.0)?;
        let pour = self.reckon_pour(e.melt, e.series, &e.shape)?;
        self.pour_given(e.melt, &e.pour, &pour)?;
        let mut melt = self.known_melt(e.melt)?.clone();
        melt.pieces.push(e.piece);
        self.melts.put(e.melt, melt);
        let piece = Piece {
            piece: e.piece,
            pour: e.pour.clone(),
            melt: e.melt,
            series: e.series,
            shape: e.shape.clone(),
            mould: e.mould.clone(),
            poured_for: None,
            state: PieceState::Poured,
            readings: Vec::new(),
            gravities: Vec::new(),
            photographs: Vec::new(),
            grading: None,
            filed: Mass::ZERO,
            condemned: None,
            remelted: None,
            serial: None,
            strikes: Vec::new(),
            consignment: None,
            hallmark: None,
            assay: None,
            unmarked: None,
            refused_at: None,
            back_unweighed: false,
            assay_loss: MassDifference::ZERO,
            number: None,
            numbered_at: None,
            certificate: None,
            order: None,
            sale: None,
            before: None,
            refined: None,
            since: stamp.index,
            at: stamp.at,
        };
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// A pour has the next number of its melt. Only where a correction withdrew a pour may there be a gap: the others keep
    /// the numbers that stand at the moulds.
    fn pour_given(&self, melt: MeltId, says: &str, next: &str) -> Result<(), Refusal> {
        let given = pour_of(says);
        let written = format!("{}-{given:02}", self.known_melt(melt)?.number);
        if self.has_corrections() && says == written && given > pour_of(next) && given <= POURS_MAX {
            return Ok(());
        }
        agree(&says, &next)
    }

    /// The pour number that the next pour of a melt gets.
    pub(in crate::domain) fn reckon_pour(
        &self,
        melt: MeltId,
        series: SeriesId,
        shape: &Shape,
    ) -> Result<String, Refusal> {
        let melt = self.open_melt(melt)?;
        let row = self.known_series(series)?;
        self.may_join(melt, series)?;
        if row.kind_of == SeriesKind::Edition && !row.shapes.iter().any(|size| size.shape == *shape) {
            return Err(Refusal::NotAShapeOfSeries {
                shape: shape.to_string(),
            });
        }
        let last = melt
            .pieces
            .last()
            .map(|piece| self.known_piece(*piece))
            .transpose()?;
        let count = last.map_or(0, |piece| pour_of(&piece.pour)).saturating_add(1);
        if count > POURS_MAX {
            return Err(Refusal::TooMany {
                count,
                most: POURS_MAX,
            });
        }
        Ok(format!("{}-{count:02}", melt.number))
    }

    pub(super) fn take_weighing(&mut self, stamp: &Stamp, e: &PieceWeighed) -> Result<(), Refusal> {
        self.may_weigh(e.piece, e.stage)?;
        self.weighed(e.session, &e.mass)?;
        let finishing = |owed: &Owed| matches!(owed, Owed::Weighing { piece, .. } if *piece == e.piece);
        if self.owed().iter().any(finishing) {
            let owed = self.pay("piece.weighed", finishing)?;
            self.take_filings(e, &owed)?;
        } else {
            self.may_look_again(e)?;
        }
        let mut piece = self.known_piece(e.piece)?.clone();
        if piece.back_unweighed {
            let before = piece.mass().ok_or(Refusal::NotWeighed)?;
            piece.assay_loss = sum_differences(piece.assay_loss, before.minus(e.mass.mass()))?;
            piece.back_unweighed = false;
        }
        piece.readings.push(PieceReading {
            session: e.session,
            stage: e.stage,
            mass: e.mass.clone(),
            index: stamp.index,
        });
        self.pieces.put(e.piece, piece);
        self.count_readings(e.session, 1)?;
        self.owe(Owed::Grading { piece: e.piece })
    }

    /// Whether a piece may be weighed at this point of its life.
    ///
    /// From the mould: while its melt is open. As finished: when the melt is closed and there is no serial yet. Finally:
    /// when it has a serial and, unless its series is exempt, a hallmark, since nothing that touches metal may come
    /// after. As returned: when it came back from a buyer. Once more at the same point: as [`Book::may_look_again`] has it.
    pub(in crate::domain) fn may_weigh(&self, id: PieceId, stage: Stage) -> Result<(), Refusal> {
        let piece = self.known_piece(id)?;
        let early = [PieceState::Poured, PieceState::Graded, PieceState::Struck];
        if stage == Stage::Final && piece.serial.is_none() && early.contains(&piece.state) {
            self.closed_melt(piece.melt)?;
            return Err(Refusal::NoSerial);
        }
        piece.is_in(weighable(stage), "weighed")?;
        match stage {
            Stage::FromMould => self.open_melt(piece.melt).map(|_| ()),
            Stage::Finished => {
                self.closed_melt(piece.melt)?;
                no_serial(piece)
            }
            Stage::Final => {
                self.closed_melt(piece.melt)?;
                self.marked(piece)
            }
            Stage::Returned => Ok(()),
        }
    }

    /// What was filed off is the reading before less the reading after; a scale that shows a little more than before
    /// has seen nothing filed off, and one that shows more than both readings' uncertainty has seen another piece.
    fn take_filings(&mut self, e: &PieceWeighed, owed: &Owed) -> Result<(), Refusal> {
        let Owed::Weighing { jar, filed, .. } = owed else {
            return Ok(());
        };
        if e.stage != Stage::Finished {
            return agree(&e.stage, &Stage::Finished);
        }
        let piece = self.known_piece(e.piece)?;
        let melt = piece.melt;
        let before = piece.reading().ok_or(Refusal::NotWeighed)?;
        let after = e.mass.mass();
        let difference = before.mass.mass().minus(after);
        let wobble = Self::wobble_squared(self.scale_of(before)?, before.mass.mass())
            .saturating_add(Self::wobble_squared(self.scale_in_session(e.session)?, after));
        if difference.is_negative() && square(difference.magnitude()) > wobble {
            return Err(Refusal::HeavierThanBefore {
                before: before.mass.mass(),
                after,
            });
        }
        let off = before.mass.mass().checked_sub(after).unwrap_or(Mass::ZERO);
        agree(filed, &off)?;
        let whole = super::sum([piece.filed, off])?;
        let piece = Piece {
            filed: whole,
            ..piece.clone()
        };
        self.pieces.put(e.piece, piece);
        if off.is_zero() {
            Ok(())
        } else {
            self.owe_filling(*jar, melt, off)
        }
    }

    pub(super) fn take_finishing(&mut self, e: &PieceFinished) -> Result<(), Refusal> {
        self.may_finish(e.piece)?;
        let piece = self.known_piece(e.piece)?;
        let melt = self.known_melt(piece.melt)?;
        self.may_fill(e.jar, Residue::Lemel, melt)?;
        self.owe(Owed::Weighing {
            piece: e.piece,
            jar: e.jar,
            filed: e.filed,
        })
    }

    /// Whether metal may be taken off a piece: it is graded, its melt is weighed out, and it has no serial yet.
    pub(in crate::domain) fn may_finish(&self, id: PieceId) -> Result<(), Refusal> {
        let piece = self.known_piece(id)?;
        no_serial(piece)?;
        if piece.state != PieceState::Graded {
            return Err(Refusal::WrongState {
                state: piece.state,
                verb: "finished",
            });
        }
        self.closed_melt(piece.melt).map(|_| ())
    }

    /// A piece is unfit by eye: until its certificate is issued or it is given up, and again when it came back.
    pub(super) fn take_fault(&mut self, stamp: &Stamp, e: &PieceFaulted) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        piece
            .is_in(&[PieceState::Poured], "graded faulty")
            .or_else(|_| piece.is_in(IN_WORK, "graded faulty"))?;
        let before = piece.grading.take();
        if before
            .as_ref()
            .is_some_and(|grading| grading.grade == Grade::Faulty)
        {
            return Err(Refusal::WrongGrade {
                grade: Grade::Faulty,
                verb: "graded faulty again",
            });
        }
        piece.grading = Some(Grading {
            grade: Grade::Faulty,
            rule: before.as_ref().map_or(GradeRule::NEWEST, |grading| grading.rule),
            lower: before.as_ref().and_then(|grading| grading.lower),
            upper: before.as_ref().and_then(|grading| grading.upper),
            guard: before.as_ref().and_then(|grading| grading.guard),
            fault: Some(e.fault),
            index: stamp.index,
        });
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// A weighed piece is given up, for a reason that its grading or its state bears out; or because the maker wants the
    /// metal. A number that it had is burned with it.
    pub(super) fn take_condemning(&mut self, e: &PieceCondemned) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        if piece.readings.is_empty() {
            return Err(Refusal::NotWeighed);
        }
        piece.is_in(IN_WORK, "condemned")?;
        let grade = piece
            .grading
            .as_ref()
            .map(|grading| grading.grade)
            .ok_or(Refusal::NotWeighed)?;
        let of_grade = |asks: Grade, verb| match grade == asks {
            true => Ok(()),
            false => Err(Refusal::WrongGrade { grade, verb }),
        };
        match e.reason {
            CondemnReason::Under => of_grade(Grade::Under, "condemned as under"),
            CondemnReason::Over => of_grade(Grade::Over, "condemned as over"),
            CondemnReason::Faulty => of_grade(Grade::Faulty, "condemned as faulty"),
            CondemnReason::Borderline => of_grade(Grade::Borderline, "condemned as borderline"),
            CondemnReason::MisStruck => piece.is_in(&[PieceState::MisStruck], "condemned as mis-struck"),
            CondemnReason::Unmarked => piece.is_in(&[PieceState::Unmarked], "condemned as unmarked"),
            CondemnReason::Damaged => piece.is_in(CAME_BACK, "condemned as damaged"),
            CondemnReason::Unwanted => Ok(()),
        }?;
        piece.state = PieceState::Condemned;
        piece.condemned = Some(e.reason);
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// The end of a piece: only the charge in the same entry asks for it.
    pub(super) fn take_remelting(&mut self, e: &PieceRemelted) -> Result<(), Refusal> {
        self.known_piece(e.piece)?;
        self.pay(
            "piece.remelted",
            |owed| matches!(owed, Owed::Remelting { piece, melt } if *piece == e.piece && *melt == e.melt),
        )?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.state = PieceState::Remelted;
        piece.remelted = Some(e.melt);
        self.pieces.put(e.piece, piece);
        Ok(())
    }
}

/// Weighed, and neither certified nor at its end: it may be found faulty, or given up.
const IN_WORK: &[PieceState] = &[
    PieceState::Graded,
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::MisStruck,
    PieceState::Hallmarked,
    PieceState::Unmarked,
    PieceState::Spare,
    PieceState::Numbered,
    PieceState::Returned,
    PieceState::BoughtBack,
];
/// Back from somewhere else, where it may have come to harm.
const CAME_BACK: &[PieceState] = &[
    PieceState::Hallmarked,
    PieceState::Unmarked,
    PieceState::Returned,
    PieceState::BoughtBack,
];

/// In which states a piece is weighed at a stage.
const fn weighable(stage: Stage) -> &'static [PieceState] {
    match stage {
        Stage::FromMould => &[PieceState::Poured, PieceState::Graded],
        Stage::Finished => &[PieceState::Graded, PieceState::Struck],
        Stage::Final => &[
            PieceState::Serialled,
            PieceState::Struck,
            PieceState::Hallmarked,
            PieceState::Spare,
            PieceState::Numbered,
            PieceState::Certified,
            PieceState::Reserved,
        ],
        Stage::Returned => CAME_HOME,
    }
}

/// Back from a buyer.
const CAME_HOME: &[PieceState] = &[PieceState::Returned, PieceState::BoughtBack];

/// The how-manieth pour of its melt a pour number names; 0 if it names none.
fn pour_of(number: &str) -> usize {
    let pour = number.rsplit_once('-').and_then(|(_, pour)| pour.parse().ok());
    pour.unwrap_or(0)
}

/// Refuses a piece that has a serial.
pub(super) fn no_serial(piece: &Piece) -> Result<(), Refusal> {
    match &piece.serial {
        Some(serial) => Err(Refusal::HasSerial {
            serial: serial.to_string(),
        }),
        None => Ok(()),
    }
}
