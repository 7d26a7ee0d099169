//! The life of the piece, followed through its own events one after another.
//!
//! What cannot follow does not hold: a piece sold twice, numbered after a bad strike, sold while it is stolen, certified
//! before it has its number. The file holds all events of the piece, so its life can be followed whole, and needs nothing
//! of other pieces. Deliberately absent: what only the whole log can tell (whether a number was next, what was promised).

mod away;

use super::Claims;
use super::states::{CAME_HOME, UNSEEN, follows};
use crate::domain::{
    CertificateId, CondemnReason, ConsignmentId, Event, Grade, Hallmark, Marking, PHOTOGRAPHS_MAX,
    PhotographHash, PhotographStage, PieceCertified, PieceCondemned, PieceMoved, PieceNumbered,
    PiecePhotographed, PiecePoured, PieceSerialled, PieceState as S, PieceStruck, PieceWeighed, SaleId,
    SeriesId, SeriesKind, SeriesOpened, SessionId, Shape, Stage, StrikeOutcome,
};
use crate::metal::{Fineness, Reading};

/// A piece as its events have made it so far.
#[derive(Clone)]
pub(in crate::check) struct Life {
    pub state: S,
    /// What it was before it was stolen or destroyed.
    pub before: Option<S>,
    pub series: SeriesId,
    pub shape: Shape,
    /// Its edition number, and the size of the edition.
    pub number: Option<(u32, u32)>,
    pub hallmark: Option<Hallmark>,
    /// The lowest that an assay office found in it.
    pub assay: Option<Fineness>,
    /// The claim at which an office refused it.
    pub refused_at: Option<Fineness>,
    /// Its last reading, unless something touched the metal after it or the reading is no final one.
    pub of_record: Option<OfRecord>,
    serialled: bool,
    /// Whether all its strikes came out well, if it was struck.
    struck_well: Option<bool>,
    grade: Option<Grade>,
    /// The entry of a weighing or a move, which is to be followed by its grading.
    ungraded: Option<u64>,
    consignment: Option<(ConsignmentId, Fineness)>,
    sale: Option<SaleId>,
    issues: u32,
    photographs: Vec<PhotographHash>,
}

/// A final weighing.
#[derive(Clone)]
pub(in crate::check) struct OfRecord {
    /// The entry.
    pub index: u64,
    pub session: SessionId,
    pub mass: Reading,
}

/// A life as far as it was followed.
pub(in crate::check) struct Told {
    pub life: Life,
    /// The piece as it was at each issue of its certificate.
    pub issues: Vec<(CertificateId, Life)>,
}

/// Follows the piece through its events in the entries before an index.
pub(in crate::check) fn follow(claims: &Claims<'_>, until: u64) -> Result<Told, String> {
    let mut life: Option<Life> = None;
    let mut issues = Vec::new();
    for (index, event) in claims.own().take_while(|(index, _)| *index < until) {
        let at = |why: String| format!("entry {index}, {}: {why}", event.kind());
        match (&mut life, event) {
            (None, Event::PiecePoured(poured)) => life = Some(Life::poured(poured)),
            (None, _) => return Err(at("the piece was not poured before".to_owned())),
            (Some(life), event) => {
                life.go_on(claims, index, event).map_err(at)?;
                if let Event::PieceCertified(e) = event {
                    issues.push((e.certificate, life.clone()));
                }
            }
        }
    }
    let life = life.ok_or("the entry that poured the piece is missing")?;
    match life.ungraded {
        Some(index) => Err(format!(
            "entry {index}: the piece was weighed or moved, and not graded"
        )),
        None => Ok(Told { life, issues }),
    }
}

/// That a fact holds, or why the event cannot be.
fn must(holds: bool, why: &str) -> Result<(), String> {
    if holds { Ok(()) } else { Err(why.to_owned()) }
}

impl Life {
    /// Whether a certificate of it was issued.
    pub(super) const fn was_certified(&self) -> bool {
        self.issues > 0
    }

    fn poured(e: &PiecePoured) -> Self {
        Self {
            state: S::Poured,
            before: None,
            series: e.series,
            shape: e.shape.clone(),
            number: None,
            hallmark: None,
            assay: None,
            refused_at: None,
            of_record: None,
            serialled: false,
            struck_well: None,
            grade: None,
            ungraded: None,
            consignment: None,
            sale: None,
            issues: 0,
            photographs: Vec::new(),
        }
    }

    /// Takes the next event: the state it follows from, then what it asks for beside.
    fn go_on(&mut self, claims: &Claims<'_>, index: u64, event: &Event) -> Result<(), String> {
        if let Some(weighed) = self.ungraded {
            let graded = matches!(event, Event::PieceGraded(_)) && weighed == index;
            must(graded, "the piece was weighed or moved before, and not graded")?;
        }
        if let Some(states) = follows(event) {
            must(
                states.contains(&self.state),
                &format!("the piece was {}", self.state),
            )?;
        }
        match event {
            Event::PieceWeighed(e) => self.weigh(claims, index, e),
            Event::PieceGraded(e) => {
                must(
                    self.ungraded.take().is_some(),
                    "nothing was weighed or moved before it",
                )?;
                if self.state == S::Poured {
                    self.state = S::Graded;
                }
                self.grade = Some(e.grade);
                Ok(())
            }
            // Water that is dried off changes nothing of the piece; its readings are held by the claim about weight.
            Event::PieceGravity(_) => Ok(()),
            Event::PiecePhotographed(e) => self.photograph(e),
            Event::PieceFaulted(_) => {
                must(self.grade != Some(Grade::Faulty), "it was graded faulty before")?;
                self.grade = Some(Grade::Faulty);
                Ok(())
            }
            Event::PieceFinished(_) => must(!self.serialled, "it had a serial"),
            Event::PieceMoved(e) => self.join(claims, index, e),
            Event::PieceCondemned(e) => self.give_up(e),
            Event::PieceSerialled(e) => self.serial(claims, index, e),
            Event::PieceStruck(e) => self.strike(e),
            Event::PieceNumbered(e) => self.number(claims, e),
            Event::PieceCertified(e) => self.certify(claims, e),
            Event::PieceSpared(_) => {
                let series = self.ready(claims)?;
                must(
                    series.kind_of == SeriesKind::Edition,
                    "only an edition has spares",
                )?;
                self.accepted()?;
                self.turn(S::Spare)
            }
            Event::PieceArchived(_) => self.turn(S::Archived),
            Event::PieceRemelted(_) => self.turn(S::Remelted),
            Event::PieceRefined(_) => self.turn(S::Refined),
            Event::PieceConsigned(_)
            | Event::PieceHallmarked(_)
            | Event::PieceUnmarked(_)
            | Event::PieceKept(_)
            | Event::PieceMissing(_) => self.go_to_office(claims, index, event),
            other => self.change_hands(claims, index, other),
        }
    }

    fn turn(&mut self, state: S) -> Result<(), String> {
        self.state = state;
        Ok(())
    }

    /// It changes nothing; what it is said to show must have come about. Whether its bytes are those of the hash is for
    /// whoever fetches them.
    fn photograph(&mut self, e: &PiecePhotographed) -> Result<(), String> {
        must(
            !UNSEEN.contains(&self.state),
            &format!("the piece was {}", self.state),
        )?;
        match e.stage {
            PhotographStage::FromMould => Ok(()),
            PhotographStage::Finished => must(self.state != S::Poured, "it was not weighed"),
            PhotographStage::Hallmarked => must(self.hallmark.is_some(), "it bore no hallmark"),
            PhotographStage::AsSold => must(self.was_certified(), "it had no certificate"),
            PhotographStage::Returned => must(
                CAME_HOME.contains(&self.state),
                "it had not come back from a buyer",
            ),
        }?;
        must(
            !self.photographs.contains(&e.photograph),
            "the record has that photograph of it before",
        )?;
        must(
            self.photographs.len() < PHOTOGRAPHS_MAX,
            "it has as many photographs as a piece may have",
        )?;
        self.photographs.push(e.photograph);
        Ok(())
    }

    fn accepted(&self) -> Result<(), String> {
        must(
            self.grade == Some(Grade::Accepted),
            "its last grading does not accept it",
        )
    }

    /// Struck where its series asks for it, and hallmarked unless its series is exempt.
    fn marked<'a>(&self, claims: &'a Claims<'_>) -> Result<&'a SeriesOpened, String> {
        let series = claims.series(self.series)?;
        must(
            !series.struck || self.struck_well == Some(true),
            "its series asks for a good strike",
        )?;
        must(
            series.marking == Marking::Exempt || self.hallmark.is_some(),
            "its series asks for a hallmark, and it had none",
        )?;
        Ok(series)
    }

    /// Marked, and finally weighed after the last thing that touched the metal.
    fn ready<'a>(&self, claims: &'a Claims<'_>) -> Result<&'a SeriesOpened, String> {
        must(self.serialled, "it had no serial")?;
        let series = self.marked(claims)?;
        must(
            self.of_record.is_some(),
            "it was not finally weighed after the last thing that touched the metal",
        )?;
        Ok(series)
    }

    fn weigh(&mut self, claims: &Claims<'_>, index: u64, e: &PieceWeighed) -> Result<(), String> {
        match e.stage {
            Stage::Finished => must(!self.serialled, "it had a serial")?,
            Stage::Final => {
                must(self.serialled, "it had no serial")?;
                self.marked(claims)?;
            }
            Stage::FromMould | Stage::Returned => {}
        }
        self.of_record = (e.stage == Stage::Final).then(|| OfRecord {
            index,
            session: e.session,
            mass: e.mass.clone(),
        });
        self.ungraded = Some(index);
        Ok(())
    }

    fn join(&mut self, claims: &Claims<'_>, index: u64, e: &PieceMoved) -> Result<(), String> {
        must(e.from == self.series, "it was in another series")?;
        must(e.to != self.series, "it was in that series before")?;
        must(self.number.is_none(), "it had an edition number")?;
        must(self.grade != Some(Grade::Faulty), "it was graded faulty")?;
        let to = claims.series(e.to)?;
        must(to.kind_of == SeriesKind::Open, "it joins an edition")?;
        if self.state == S::Unmarked {
            self.state = match self.struck_well {
                Some(true) => S::Struck,
                _ => S::Serialled,
            };
        }
        self.series = e.to;
        self.ungraded = Some(index);
        Ok(())
    }

    fn give_up(&mut self, e: &PieceCondemned) -> Result<(), String> {
        let graded = |grade| self.grade == Some(grade);
        let borne_out = match e.reason {
            CondemnReason::Under => graded(Grade::Under),
            CondemnReason::Over => graded(Grade::Over),
            CondemnReason::Faulty => graded(Grade::Faulty),
            CondemnReason::Borderline => graded(Grade::Borderline),
            CondemnReason::MisStruck => self.state == S::MisStruck,
            CondemnReason::Unmarked => self.state == S::Unmarked,
            CondemnReason::Damaged => {
                [S::Hallmarked, S::Unmarked, S::Returned, S::BoughtBack].contains(&self.state)
            }
            CondemnReason::Unwanted => true,
        };
        must(borne_out, &format!("nothing bears out that it was {}", e.reason))?;
        self.turn(S::Condemned)
    }

    fn serial(&mut self, claims: &Claims<'_>, index: u64, e: &PieceSerialled) -> Result<(), String> {
        must(!self.serialled, "it had a serial")?;
        must(e.series == self.series, "it was in another series")?;
        self.accepted()?;
        let melt = claims.poured()?.melt;
        let mut melts = claims.lineage.melts.iter();
        let weighed_out = melts.any(|(closed, id)| *id == melt && *closed < index);
        must(weighed_out, "its melt was not weighed out")?;
        self.serialled = true;
        if self.state == S::Graded {
            self.state = S::Serialled;
        }
        Ok(())
    }

    fn strike(&mut self, e: &PieceStruck) -> Result<(), String> {
        self.accepted()?;
        let well = e.outcome == StrikeOutcome::Good && self.struck_well != Some(false);
        self.struck_well = Some(well);
        self.of_record = None;
        self.turn(if well { S::Struck } else { S::MisStruck })
    }

    fn number(&mut self, claims: &Claims<'_>, e: &PieceNumbered) -> Result<(), String> {
        must(self.number.is_none(), "it had a number")?;
        must(
            e.series == self.series && e.shape == self.shape,
            "it is of another series or shape",
        )?;
        let series = self.ready(claims)?;
        must(
            series.kind_of == SeriesKind::Edition && !series.unnumbered,
            "its series gives no numbers",
        )?;
        self.accepted()?;
        self.number = Some((e.number, e.of));
        if series.number_on_metal {
            self.of_record = None;
        }
        self.turn(S::Numbered)
    }

    /// A first certificate asks for all that its series asks for; a later one states what is, as long as there is a piece.
    fn certify(&mut self, claims: &Claims<'_>, e: &PieceCertified) -> Result<(), String> {
        must(
            self.issues.checked_add(1) == Some(e.issue),
            "another issue number belongs here",
        )?;
        let series = self.ready(claims)?;
        self.issues = e.issue;
        if e.issue > 1 {
            let gone = [S::Condemned, S::Remelted, S::Refined, S::Destroyed];
            return must(
                !gone.contains(&self.state),
                &format!("the piece was {}", self.state),
            );
        }
        self.accepted()?;
        let unnumbered_spare = self.state == S::Spare && series.spares_sold;
        must(
            series.kind_of == SeriesKind::Open
                || series.unnumbered
                || self.number.is_some()
                || unnumbered_spare,
            "its edition numbers its pieces, and it had no number",
        )?;
        self.turn(S::Certified)
    }
}
