//! Gradings, each reckoned again from what was recorded with it, and what its reading supports.
//!
//! A grading names the version of its rule, so it is reckoned by that version, on the scale that took the reading, against
//! the limits that it carries. Deliberately absent: a decision. Nothing here changes what was graded.

use super::past::{Past, Unread};
use crate::check::Ancestry;
use crate::domain::{
    Book, Event, Grade, PieceGraded, PieceId, PieceReading, Scale, ScaleId, SessionId, Stage,
};
use crate::metal::floats::fixed_up;
use crate::metal::probability::{conformity, standard_uncertainty};
use crate::metal::{GuardRule, MPE_TABLE, Mass, Reading, ScaleClass, at_least, expanded_uncertainty};
use serde::Serialize;

/// A grading, reckoned again.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GradingAgain {
    /// Index of its entry.
    pub index: u64,
    /// The reading that it rests on.
    pub reading: ReadingTold,
    /// The scale that took it.
    pub scale: ScaleTold,
    /// The version of the rule.
    pub rule: RuleTold,
    /// Lower limit, grams.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<Mass>,
    /// Upper limit, grams.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<Mass>,
    /// Guard band as recorded, grams; none where the scale is unverified.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<Mass>,
    /// The outcome as recorded.
    pub grade: Grade,
    /// The outcome as reckoned now; none where the version of the rule is not in the table.
    pub again: Option<Grade>,
    /// Whether outcome and guard band are what they were.
    pub agrees: bool,
    /// How probable it is that the piece itself is within the limits (JCGM 106:2012, 7.4); none where the scale is
    /// unverified, or where there are no limits. It decides nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub probability: Option<String>,
    /// What may be said of the reading.
    pub claim: Claim,
}

/// A reading of a piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ReadingTold {
    /// As typed, grams.
    pub mass: Reading,
    /// At which point of its life.
    pub stage: Stage,
    /// The session.
    pub session: SessionId,
    /// Index of its entry.
    pub index: u64,
    /// Whether a check of the scale failed after it.
    pub suspect: bool,
}

/// A scale, and what it is permitted at a load.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ScaleTold {
    /// Its id.
    pub scale: ScaleId,
    /// Accuracy class of OIML R 76.
    pub class: ScaleClass,
    /// Verification scale interval e, grams.
    pub e: Mass,
    /// Scale step d, grams.
    pub d: Mass,
    /// Whether it is verified.
    pub verified: bool,
    /// Standard deviation of repeated weighings, grams.
    pub repeatability: Mass,
    /// The greatest error in service at this load; none where the scale is unverified.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub permitted: Option<Permitted>,
}

/// A row of the table of permissible errors, at a load.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Permitted {
    /// In service, grams: twice that at initial verification.
    pub error: Mass,
    /// The same in verification intervals e.
    pub intervals: u32,
    /// The table.
    pub source: &'static str,
    /// The year from which it holds.
    pub from_year: u16,
    /// Standard uncertainty of the reading, grams, six decimals, rounded up.
    pub u: String,
}

/// A version of the rule of grading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RuleTold {
    /// Its name with its version.
    pub rule: &'static str,
    /// The year from which it holds; none where it is not in the table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from_year: Option<u16>,
    /// What it rests on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<&'static str>,
}

/// What may be said of a reading, and what not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Claim {
    /// Expanded uncertainty (k = 2), rounded up to the scale's step, grams; none where nothing may be said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Mass>,
    /// The reading less that, grams.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_least: Option<Mass>,
    /// In words.
    pub may: String,
    /// What goes beyond the reading.
    pub may_not: String,
}

impl GradingAgain {
    /// The gradings of a piece by the rule, oldest first, as of a position of the log. A fault found by eye is no grading by a rule.
    ///
    /// `source` is where the entries are read again, `rules` the versions of the rule.
    ///
    /// # Errors
    /// [`Unread`].
    pub fn of(
        book: &Book,
        position: u64,
        source: &dyn Ancestry,
        piece: PieceId,
        rules: &[GuardRule],
    ) -> Result<Vec<Self>, Unread> {
        let past = Past {
            book,
            source,
            position,
        };
        let again = |graded: Graded| {
            let index = graded.reading.index;
            graded.again(&past, rules).ok_or(Unread { index })
        };
        graded(&past, piece)?.into_iter().map(again).collect()
    }
}

/// A grading, with the reading that it rests on.
pub(super) struct Graded {
    pub index: u64,
    pub reading: PieceReading,
    pub event: PieceGraded,
    /// Whether a fault was found by eye before it.
    pub faulty: bool,
}

/// The gradings of a piece, each with its reading.
pub(super) fn graded(past: &Past<'_>, piece: PieceId) -> Result<Vec<Graded>, Unread> {
    let mut last: Option<PieceReading> = None;
    let mut faulty = false;
    let mut found = Vec::new();
    for (index, event) in past.of_piece(piece)? {
        match event {
            Event::PieceFaulted(_) => faulty = true,
            Event::PieceGraded(event) => {
                let reading = last.clone().ok_or(Unread { index })?;
                found.push(Graded {
                    index,
                    reading,
                    event,
                    faulty,
                });
            }
            other => last = reading_of(index, &other).or(last),
        }
    }
    Ok(found)
}

/// The reading of a piece that an event brings.
pub(super) fn reading_of(index: u64, event: &Event) -> Option<PieceReading> {
    let (session, stage, mass) = match event {
        Event::PieceWeighed(e) => (e.session, e.stage, &e.mass),
        Event::PieceBoughtBack(e) => (e.session, Stage::Returned, &e.mass),
        _ => return None,
    };
    Some(PieceReading {
        session,
        stage,
        mass: mass.clone(),
        index,
    })
}

impl Graded {
    /// Reckons it again; `None` where the book does not know the scale.
    fn again(&self, past: &Past<'_>, rules: &[GuardRule]) -> Option<GradingAgain> {
        let session = past.book.session(self.reading.session)?;
        let scale = past.book.scale(session.scale)?;
        let mass = self.reading.mass.mass();
        let rule = GuardRule::find(rules, self.event.rule.word());
        let again = rule.map(|rule| scale.grade(rule, mass, self.within(), self.faulty));
        let suspect = past.book.is_suspect(&self.reading);
        Some(GradingAgain {
            index: self.index,
            reading: ReadingTold {
                mass: self.reading.mass.clone(),
                stage: self.reading.stage,
                session: self.reading.session,
                index: self.reading.index,
                suspect,
            },
            scale: scale_told(scale, mass),
            rule: RuleTold {
                rule: self.event.rule.word(),
                from_year: rule.map(|rule| rule.from_year),
                source: rule.map(|rule| rule.source),
            },
            lower: self.event.lower,
            upper: self.event.upper,
            guard: self.event.guard,
            grade: self.event.grade,
            again: again.map(|(grade, _)| grade),
            agrees: again == Some((self.event.grade, self.event.guard)),
            probability: self.probability(scale),
            claim: claim(scale, &self.reading.mass, suspect),
        })
    }

    fn probability(&self, scale: &Scale) -> Option<String> {
        let mass = self.reading.mass.mass();
        let u = standard_uncertainty(scale.permitted(mass)?, scale.repeatability, scale.d);
        Some(conformity(mass, u, self.event.lower?, self.event.upper)?.to_string())
    }

    /// The limits that it was made by.
    pub fn within(&self) -> Option<(Mass, Mass)> {
        self.event.lower.zip(self.event.upper)
    }
}

fn scale_told(scale: &Scale, load: Mass) -> ScaleTold {
    let permitted = scale.permitted(load).and_then(|error| {
        Some(Permitted {
            error,
            intervals: MPE_TABLE.half_intervals(scale.class, scale.e, load)?,
            source: MPE_TABLE.source,
            from_year: MPE_TABLE.from_year,
            u: fixed_up(standard_uncertainty(error, scale.repeatability, scale.d), 6),
        })
    });
    ScaleTold {
        scale: scale.scale,
        class: scale.class,
        e: scale.e,
        d: scale.d,
        verified: scale.verified,
        repeatability: scale.repeatability,
        permitted,
    }
}

/// What a reading supports: the reading with its uncertainty, and the least that the piece weighs; never more.
fn claim(scale: &Scale, reading: &Reading, suspect: bool) -> Claim {
    let nothing = |why: &str| Claim {
        uncertainty: None,
        at_least: None,
        may: "nothing".to_owned(),
        may_not: why.to_owned(),
    };
    if suspect {
        return nothing("any weight: a check of the scale failed after this reading; weigh it again");
    }
    let mass = reading.mass();
    let permitted = scale.permitted(mass);
    let uncertainty =
        permitted.and_then(|permitted| expanded_uncertainty(permitted, scale.repeatability, scale.d));
    let Some(uncertainty) = uncertainty else {
        return nothing("any weight: the scale is unverified, so nothing bounds its error");
    };
    let least = at_least(mass, uncertainty);
    Claim {
        uncertainty: Some(uncertainty),
        at_least: Some(least),
        may: format!("{reading} g, +-{uncertainty} g at k = 2; at least {least} g"),
        may_not: format!("{reading} g without its uncertainty; at least anything above {least} g"),
    }
}
