//! The suspect readings of a session, and the decisions about pieces that rest on them.

use super::super::gradings::{graded, reading_of};
use super::{Decision, Doubt, Remedy, SuspectReading, Unread};
use crate::domain::{
    Event, JarId, LotId, MeltId, MeltInput, Piece, PieceId, PieceReading, PieceState, RefiningId, Scale,
    SessionId,
};
use crate::metal::{GUARD_RULES, GuardRule, Mass, Reading};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Not here: they cannot be weighed again, or not before they come back.
const AWAY: &[PieceState] = &[
    PieceState::AtOffice,
    PieceState::Kept,
    PieceState::Missing,
    PieceState::Dispatched,
    PieceState::Delivered,
    PieceState::Lost,
    PieceState::Stolen,
    PieceState::Destroyed,
    PieceState::Remelted,
    PieceState::Refined,
];

/// One thing that was weighed: what, by which session, and what the scale showed.
struct Weighed<'a> {
    subject: Uuid,
    session: SessionId,
    mass: &'a Reading,
}

impl Doubt<'_> {
    /// Every reading in doubt, in the order of the log.
    pub(super) fn readings(&self) -> Result<Vec<SuspectReading>, Unread> {
        let mut found = Vec::new();
        let until = self.session.failed_at.unwrap_or(self.past.position);
        for index in self.session.last_good.saturating_add(1)..until {
            for event in self.past.said(index)? {
                let weighed = self.weighed(&event);
                let weighed = weighed
                    .iter()
                    .filter(|weighed| self.doubts(weighed.session, index));
                found.extend(weighed.map(|weighed| self.suspect(index, &event, weighed)));
            }
        }
        Ok(found)
    }

    /// What an event says was weighed; the session of a count stands in its stock-take.
    fn weighed<'e>(&self, event: &'e Event) -> Vec<Weighed<'e>> {
        let (subject, stocktake, mass) = match event {
            Event::LotCounted(e) => (e.lot.0, e.stocktake, &e.mass),
            Event::MeltCounted(e) => (e.melt.0, e.stocktake, &e.mass),
            Event::JarCounted(e) => (e.jar.0, e.stocktake, &e.mass),
            Event::LotFound(e) => (e.lot.0, e.stocktake, &e.mass),
            other => return weighed(other),
        };
        let session = self.book().stocktake(stocktake).and_then(|row| row.session);
        let one = session.map(|session| Weighed {
            subject,
            session,
            mass,
        });
        one.into_iter().collect()
    }

    fn suspect(&self, index: u64, event: &Event, weighed: &Weighed<'_>) -> SuspectReading {
        let (offset, proportion) = self.off.both(weighed.mass.mass());
        SuspectReading {
            index,
            kind: event.kind(),
            subject: weighed.subject,
            name: self.name(weighed.subject),
            mass: weighed.mass.clone(),
            offset,
            proportion,
            remedy: self.remedy(index, event, weighed.subject),
        }
    }

    /// A thing in a few words.
    pub(super) fn name(&self, id: Uuid) -> String {
        let book = self.book();
        let piece = book.piece(PieceId(id)).map(|row| format!("piece {}", row.pour));
        let lot = || book.lot(LotId(id)).map(|row| format!("lot {}", row.number));
        let melt = || book.melt(MeltId(id)).map(|row| format!("melt {}", row.number));
        let jar = || {
            book.jar(JarId(id))
                .map(|row| format!("jar of {}, {}", row.residue.word(), row.metal))
        };
        let refining = || {
            book.refining(RefiningId(id))
                .map(|row| format!("refining {}", row.number))
        };
        let name = piece.or_else(lot).or_else(melt).or_else(jar).or_else(refining);
        name.unwrap_or_default()
    }

    fn remedy(&self, index: u64, event: &Event, subject: Uuid) -> Remedy {
        let book = self.book();
        let still = |there: bool| match self.counted_since(index, subject) {
            Some(again) => Remedy::WeighedAgain { again },
            None if there => Remedy::WeighAgain,
            None => Remedy::Gone { state: None },
        };
        let undrawn = |lot: LotId| still(book.lot(lot).is_some_and(|lot| lot.left == lot.mass.mass()));
        let heel = |melt: MeltId| still(book.melt(melt).is_some_and(|melt| melt.heel_taken.is_none()));
        match event {
            Event::PieceWeighed(_) | Event::PieceBoughtBack(_) | Event::PieceGravity(_) => book
                .piece(PieceId(subject))
                .map_or(still(false), |piece| self.remedy_of_piece(index, event, piece)),
            Event::LotReceived(e) => undrawn(e.lot),
            Event::LotOutturned(e) => undrawn(e.lot),
            Event::LotFound(e) => undrawn(e.lot),
            Event::LotCounted(e) => still(book.lot(e.lot).is_some_and(|lot| lot.left == e.mass.mass())),
            // What is counted after it was emptied is another content.
            Event::JarCounted(e) => match (
                self.counted_since(index, subject),
                self.emptied_since(index, e.jar),
            ) {
                (Some(again), emptied) if emptied.is_none_or(|emptied| again < emptied) => {
                    Remedy::WeighedAgain { again }
                }
                (None, None) if book.jar(e.jar).is_some_and(|jar| jar.mass == e.mass.mass()) => {
                    Remedy::WeighAgain
                }
                _ => Remedy::Gone { state: None },
            },
            Event::MeltCounted(e) => heel(e.melt),
            // The heel lies there until another melt takes it; prills have gone into their jar.
            Event::MeltClosed(e) if subject == e.melt.0 => heel(e.melt),
            _ => Remedy::Gone { state: None },
        }
    }

    /// The entry of the first stock-take since in which a lot, heel or jar was weighed, by a reading that is not suspect.
    fn counted_since(&self, index: u64, subject: Uuid) -> Option<u64> {
        let later = self.book().stocktakes().filter(|row| row.since > index);
        let of_it = later.filter(|row| row.lines.iter().any(|line| line.id == subject));
        let sound = of_it.filter(|row| {
            let session = row.session.and_then(|session| self.book().session(session));
            session.is_some_and(|session| !session.is_suspect(row.since))
        });
        sound.map(|row| row.since).min()
    }

    /// The first entry since in which a jar was emptied.
    fn emptied_since(&self, index: u64, jar: JarId) -> Option<u64> {
        let book = self.book();
        let of_it =
            |input: &MeltInput| matches!(input, MeltInput::Jar { jar: emptied, .. } if *emptied == jar);
        let melts = book.melts().filter(|melt| melt.inputs.iter().any(of_it));
        let sent = book
            .refinings()
            .filter(|sent| sent.jars.iter().any(|sent| sent.jar == jar));
        let emptied = melts.map(|melt| melt.since).chain(sent.map(|sent| sent.since));
        emptied.filter(|emptied| *emptied > index).min()
    }

    fn remedy_of_piece(&self, index: u64, event: &Event, piece: &Piece) -> Remedy {
        let book = self.book();
        let again = match event {
            Event::PieceGravity(_) => {
                let later = piece.gravities.iter().rev().find(|gravity| gravity.index > index);
                later
                    .filter(|gravity| !self.doubts(gravity.session, gravity.index))
                    .map(|gravity| gravity.index)
            }
            _ => {
                let mut later = piece.readings.iter().filter(|reading| reading.index > index);
                later
                    .find(|reading| !book.is_suspect(reading))
                    .map(|reading| reading.index)
            }
        };
        match again {
            Some(again) => Remedy::WeighedAgain { again },
            None if AWAY.contains(&piece.state) => Remedy::Gone {
                state: Some(piece.state),
            },
            None => Remedy::WeighAgain,
        }
    }

    /// Of every piece with a suspect reading: gradings, filings and buying back that would be others.
    pub(super) fn of_pieces(&self, readings: &[SuspectReading]) -> Result<Vec<Decision>, Unread> {
        let subjects: BTreeSet<Uuid> = readings.iter().map(|reading| reading.subject).collect();
        let mut decisions = Vec::new();
        for subject in subjects {
            let Some(piece) = self.book().piece(PieceId(subject)) else {
                continue;
            };
            decisions.extend(self.grades(piece)?);
            decisions.extend(self.differences(piece)?);
        }
        Ok(decisions)
    }

    fn grades(&self, piece: &Piece) -> Result<Vec<Decision>, Unread> {
        let mut decisions = Vec::new();
        for graded in graded(self.past, piece.piece)? {
            let index = graded.index;
            if !self.doubts(graded.reading.session, graded.reading.index) {
                continue;
            }
            let scale = self.book().scale(self.session.scale).ok_or(Unread { index })?;
            let rule = GuardRule::find(GUARD_RULES, graded.event.rule.word()).ok_or(Unread { index })?;
            let grade = |mass: Mass| {
                let (grade, _) = scale.grade(rule, mass, graded.within(), graded.faulty);
                grade.word().to_owned()
            };
            let (offset, proportion) = self.off.both(graded.reading.mass.mass());
            let recorded = graded.event.grade.word().to_owned();
            let values = (recorded, grade(offset), proportion.map(grade));
            decisions.extend(self.decision(index, "grade", piece.piece.0, values));
        }
        Ok(decisions)
    }

    /// What is a difference of two readings of a piece: what was filed off it, and whether a buyer's piece weighs what it
    /// did.
    fn differences(&self, piece: &Piece) -> Result<Vec<Decision>, Unread> {
        let mut decisions = Vec::new();
        let mut last: Option<PieceReading> = None;
        let mut finishing = false;
        for (index, event) in self.past.of_piece(piece.piece)? {
            finishing = finishing || matches!(event, Event::PieceFinished(_));
            let Some(reading) = reading_of(index, &event) else {
                continue;
            };
            let pair = last.replace(reading.clone()).map(|before| (before, reading));
            let Some((before, after)) = pair.filter(|pair| self.touches(pair)) else {
                finishing = false;
                continue;
            };
            let values = match &event {
                Event::PieceBoughtBack(_) => Some(("explained", self.explained(&before, &after))),
                _ if finishing => Some(("filed", self.filed(&before, &after))),
                _ => None,
            };
            finishing = false;
            if let Some((kind, values)) = values {
                decisions.extend(self.decision(index, kind, piece.piece.0, values));
            }
        }
        Ok(decisions)
    }

    fn touches(&self, (before, after): &(PieceReading, PieceReading)) -> bool {
        self.doubts(before.session, before.index) || self.doubts(after.session, after.index)
    }

    /// A reading of a piece by each model: itself where it is not in doubt.
    fn of_reading(&self, reading: &PieceReading) -> (Mass, Option<Mass>) {
        let mass = reading.mass.mass();
        match self.doubts(reading.session, reading.index) {
            true => self.off.both(mass),
            false => (mass, Some(mass)),
        }
    }

    fn filed(&self, before: &PieceReading, after: &PieceReading) -> Values {
        let off = |before: Mass, after: Mass| before.checked_sub(after).unwrap_or(Mass::ZERO).to_string();
        let ((a, a_share), (b, b_share)) = (self.of_reading(before), self.of_reading(after));
        (
            off(before.mass.mass(), after.mass.mass()),
            off(a, b),
            a_share.zip(b_share).map(|(a, b)| off(a, b)),
        )
    }

    /// As the book decides it: a difference within the root of the sum of the squares of both uncertainties (k = 2).
    fn explained(&self, before: &PieceReading, after: &PieceReading) -> Values {
        let scale = |reading: &PieceReading| -> Option<&Scale> {
            self.book().scale(self.book().session(reading.session)?.scale)
        };
        let says = |a: Mass, b: Mass| {
            let explained = scale(before)
                .zip(scale(after))
                .is_some_and(|(one, other)| Scale::explain(one, a, other, b));
            if explained { "explained" } else { "unexplained" }.to_owned()
        };
        let ((a, a_share), (b, b_share)) = (self.of_reading(before), self.of_reading(after));
        (
            says(before.mass.mass(), after.mass.mass()),
            says(a, b),
            a_share.zip(b_share).map(|(a, b)| says(a, b)),
        )
    }

    /// A decision, if either model changes it.
    pub(super) fn decision(
        &self,
        index: u64,
        kind: &'static str,
        subject: Uuid,
        (recorded, offset, proportion): Values,
    ) -> Option<Decision> {
        let same = recorded == offset && proportion.as_ref().is_some_and(|by| *by == recorded);
        (!same).then(|| Decision {
            index,
            kind,
            subject,
            name: self.name(subject),
            recorded,
            offset,
            proportion,
            state: self.book().piece(PieceId(subject)).map(|piece| piece.state),
        })
    }
}

/// As recorded, by the offset, by the proportion.
pub(super) type Values = (String, String, Option<String>);

/// What an event says was weighed in the session that it names.
fn weighed(event: &Event) -> Vec<Weighed<'_>> {
    let one = |subject: Uuid, session: SessionId, mass| {
        vec![Weighed {
            subject,
            session,
            mass,
        }]
    };
    match event {
        Event::LotReceived(e) => one(e.lot.0, e.session, &e.mass),
        Event::LotOutturned(e) => one(e.lot.0, e.session, &e.mass),
        Event::PieceWeighed(e) => one(e.piece.0, e.session, &e.mass),
        Event::PieceBoughtBack(e) => one(e.piece.0, e.session, &e.mass),
        Event::JarSwept(e) => one(e.jar.0, e.session, &e.mass),
        Event::PieceGravity(e) => [&e.in_air, &e.in_water]
            .into_iter()
            .flat_map(|mass| one(e.piece.0, e.session, mass))
            .collect(),
        Event::MeltCharged(e) => e
            .inputs
            .iter()
            .flat_map(|input| match input {
                MeltInput::Lot { mass, .. } | MeltInput::Jar { mass, .. } => {
                    one(input.subject(), e.session, mass)
                }
                MeltInput::Heel { .. } | MeltInput::Piece { .. } => Vec::new(),
            })
            .collect(),
        Event::MeltClosed(e) => {
            let heel = (!e.heel.mass().is_zero()).then(|| one(e.melt.0, e.session, &e.heel));
            let prills = e
                .prills
                .as_ref()
                .map(|prills| one(prills.jar.0, e.session, &prills.mass));
            heel.into_iter().chain(prills).flatten().collect()
        }
        Event::RefiningSent(e) => e
            .jars
            .iter()
            .flat_map(|sent| one(sent.jar.0, e.session, &sent.mass))
            .collect(),
        _ => Vec::new(),
    }
}
