//! Grading: the last reading of a piece held against the limits of its series, and the move of an odd-weight piece.
//!
//! Rule `guarded-1`: the guard band is 1.645 u of the scale at this load, so that a piece is called accepted, under or
//! over wrongly at most once in twenty (JCGM 106:2012, chapter 8). An unverified scale grants no band, and nothing is
//! accepted on its word. A series without limits accepts what a verified scale has weighed.
//!
//! A grading names the version of its rule. Whoever takes or corrects an old one reckons it by that version, so that a
//! newer version changes no grading that was made before it.

use super::owed::Owed;
use super::{Book, Grading, Melt, Scale, agree};
use crate::domain::{
    Grade, GradeRule, PieceGraded, PieceId, PieceMoved, PieceState, Refusal, SeriesId, SeriesKind, Stamp,
};
use crate::metal::{GUARD_RULES, GuardRule, Mass, grade_by_limits, mpe_in_service};

/// Not yet certified, numbered or given up: they may leave their series.
const MOVABLE: &[PieceState] = &[
    PieceState::Graded,
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::Hallmarked,
    PieceState::Unmarked,
];

impl Book {
    pub(super) fn take_grading(&mut self, stamp: &Stamp, e: &PieceGraded) -> Result<(), Refusal> {
        self.known_piece(e.piece)?;
        self.pay(
            "piece.graded",
            |owed| matches!(owed, Owed::Grading { piece } if *piece == e.piece),
        )?;
        agree(e, &self.reckon_grading(e.piece, e.rule)?)?;
        let mut piece = self.known_piece(e.piece)?.clone();
        let fault = piece.grading.and_then(|grading| grading.fault);
        if piece.state == PieceState::Poured {
            piece.state = PieceState::Graded;
        }
        piece.grading = Some(Grading {
            grade: e.grade,
            rule: e.rule,
            lower: e.lower,
            upper: e.upper,
            guard: e.guard,
            fault,
            index: stamp.index,
        });
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// What the last reading of a piece makes of it, by a version of the rule. A faulty piece stays faulty, whatever it
    /// weighs.
    pub(in crate::domain) fn reckon_grading(
        &self,
        id: PieceId,
        rule: GradeRule,
    ) -> Result<PieceGraded, Refusal> {
        let piece = self.known_piece(id)?;
        let reading = piece.reading().ok_or(Refusal::NotWeighed)?;
        let mass = reading.mass.mass();
        let limits = self.known_series(piece.series)?.limits.as_ref();
        let faulty = piece
            .grading
            .as_ref()
            .is_some_and(|grading| grading.fault.is_some());
        let table_row = GuardRule::find(GUARD_RULES, rule.word()).ok_or_else(|| Refusal::Contradicts {
            says: rule.word().to_owned(),
            reckons: "no such rule".to_owned(),
        })?;
        let within = limits.map(|limits| (limits.lower, limits.upper));
        let (grade, guard) = self.scale_of(reading)?.grade(table_row, mass, within, faulty);
        Ok(PieceGraded {
            piece: id,
            rule,
            grade,
            lower: limits.map(|limits| limits.lower),
            upper: limits.map(|limits| limits.upper),
            guard,
        })
    }

    /// An odd-weight piece leaves its series before it has an edition number, and is graded anew where it joins. A serial
    /// that it has stays its own. One that the assay office would not mark may go on at the standard of where it joins.
    pub(super) fn take_move(&mut self, e: &PieceMoved) -> Result<(), Refusal> {
        let mut piece = self.known_piece(e.piece)?.clone();
        if let Some(number) = piece.number {
            return Err(Refusal::HasNumber { number });
        }
        piece.is_in(MOVABLE, "moved")?;
        if piece
            .grading
            .as_ref()
            .is_some_and(|grading| grading.grade == Grade::Faulty)
        {
            return Err(Refusal::WrongGrade {
                grade: Grade::Faulty,
                verb: "moved",
            });
        }
        agree(&e.from, &piece.series)?;
        let to = self.known_series(e.to)?;
        if to.kind_of != SeriesKind::Open {
            return Err(Refusal::NotAnOpenSeries);
        }
        if e.to == piece.series {
            return Err(Refusal::AlreadyInSeries);
        }
        self.may_join(self.known_melt(piece.melt)?, e.to)?;
        self.not_above_assay(&piece, to.fineness)?;
        if piece.state == PieceState::Unmarked {
            piece.state = match piece.is_struck() {
                true => PieceState::Struck,
                false => PieceState::Serialled,
            };
        }
        piece.poured_for.get_or_insert(piece.series);
        piece.series = e.to;
        self.pieces.put(e.piece, piece);
        self.owe(Owed::Grading { piece: e.piece })
    }

    /// Refuses metal that a series does not state: another one, or one below its fineness as declared.
    pub(super) fn may_join(&self, melt: &Melt, series: SeriesId) -> Result<(), Refusal> {
        self.open_series(series)?;
        let series = self.known_series(series)?;
        if series.metal != melt.metal {
            return Err(Refusal::WrongMetal {
                found: melt.metal,
                wanted: series.metal,
            });
        }
        if melt.fineness < series.fineness {
            return Err(Refusal::BelowSeriesFineness {
                metal: melt.fineness,
                series: series.fineness,
            });
        }
        Ok(())
    }
}

impl Scale {
    /// What a reading is graded by a version of the rule, and its guard band, grams; none where the scale is not verified.
    /// `within` are the limits, lower and upper.
    #[must_use]
    pub fn grade(
        &self,
        rule: &GuardRule,
        mass: Mass,
        within: Option<(Mass, Mass)>,
        faulty: bool,
    ) -> (Grade, Option<Mass>) {
        let guard = self.guard(rule, mass);
        let grade = match (faulty, guard, within) {
            (true, _, _) => Grade::Faulty,
            (false, None, _) => Grade::Borderline,
            (false, Some(_), None) => Grade::Accepted,
            (false, Some(guard), Some((lower, upper))) => {
                grade_by_limits(mass, lower, Some(upper), guard).into()
            }
        };
        (grade, guard)
    }

    /// The greatest error that is permitted in service at a load, grams; none where the scale is not verified.
    #[must_use]
    pub fn permitted(&self, load: Mass) -> Option<Mass> {
        self.verified.then(|| mpe_in_service(self.class, self.e, load))?
    }

    fn guard(&self, rule: &GuardRule, load: Mass) -> Option<Mass> {
        rule.guard_band(self.permitted(load)?, self.repeatability, self.d)
    }
}
