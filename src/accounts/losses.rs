//! What melts lost, and what jars were short of, held against what is usual and against what the readings can explain.
//!
//! A loss is the difference of readings and never typed. Below zero it is flagged only beyond the uncertainty (k = 2) of
//! the readings that it comes from; smaller ones are kept as they are and summed, so that a drifting scale shows. The
//! chart is of parts per million of the charge, one for each metal, in the order in which the melts were weighed out.
//! Deliberately absent: an opinion on why, and leaving out a melt whose loss was explained.

use super::Reckoning;
use crate::domain::{Jar, JarId, Melt, MeltId, MeltState, SessionId, Timestamp, is_flagged};
use crate::metal::control::{FIGURES_LEAST, Figure, Judged, Usual, mean, parts_per_million, usual};
use crate::metal::{Mass, MassDifference, Metal};
use serde::Serialize;

/// The loss of one melt.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MeltLoss {
    /// The melt.
    pub melt: MeltId,
    /// Its number in the workshop.
    pub number: u32,
    /// Index of the entry that weighed it out.
    pub index: u64,
    /// When that was recorded.
    pub recorded: Timestamp,
    /// What went in, grams.
    pub charge: Mass,
    /// What is missing, grams.
    pub loss: MassDifference,
    /// Expanded uncertainty of the loss (k = 2), grams.
    pub uncertainty: Mass,
    /// The loss in parts per million of the charge.
    pub parts_per_million: Figure,
    /// Whether more came out than went in, and more than the readings explain.
    pub flagged: bool,
    /// How it stands to what is usual.
    pub judged: Judged,
    /// The losses of the metal up to it, grams: where the scale drifts, this does.
    pub total: MassDifference,
}

/// The losses of one metal.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Losses {
    /// The metal.
    pub metal: Metal,
    /// How many melts are weighed out.
    pub melts: usize,
    /// What they lost together, grams.
    pub loss: MassDifference,
    /// The mean loss, parts per million; none without a melt.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<Figure>,
    /// What is usual by all of them but those that stand out; none before ten.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usual: Option<Usual>,
    /// How many melts there must be before anything is usual.
    pub usual_after: u32,
    /// The melts, in the order in which they were weighed out.
    pub items: Vec<MeltLoss>,
}

/// A jar that was emptied, as the movements tell of it: the book against the scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Emptying {
    /// Index of the entry.
    pub index: u64,
    /// The jar.
    pub jar: JarId,
    /// The session in which it was weighed.
    pub session: SessionId,
    /// What the book expected, grams.
    pub booked: Mass,
    /// What the scale showed, grams.
    pub weighed: Mass,
    /// How many weighings and differences of weighings the book mass is the sum of.
    pub readings: u32,
}

/// A jar that was emptied, with what the readings can explain.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Emptied {
    /// Index of the entry.
    pub index: u64,
    /// When it was recorded.
    pub recorded: Timestamp,
    /// The jar.
    pub jar: JarId,
    /// The session in which it was weighed.
    pub session: SessionId,
    /// What the book expected, grams.
    pub booked: Mass,
    /// What the scale showed, grams.
    pub weighed: Mass,
    /// What was missing, grams.
    pub short: MassDifference,
    /// Expanded uncertainty of that (k = 2), grams.
    pub uncertainty: Mass,
    /// Whether the readings explain the difference, either way.
    pub explained: bool,
    /// Whether more was there than the book expected, and more than the readings explain.
    pub flagged: bool,
}

impl Reckoning {
    /// The losses of the melts of one metal that are weighed out.
    #[must_use]
    pub fn losses(&self, metal: Metal) -> Losses {
        let melts = self.book().melts();
        let mut closed: Vec<(u64, &Melt)> = melts
            .filter(|melt| melt.metal == metal && melt.state == MeltState::Closed)
            .filter_map(|melt| Some((melt.closed?, melt)))
            .collect();
        closed.sort_by_key(|(index, melt)| (*index, melt.number));
        let told: Vec<_> = closed
            .into_iter()
            .filter_map(|(index, melt)| Some((index, melt, part_lost(melt)?)))
            .collect();
        let figures: Vec<Figure> = told.iter().map(|(.., (_, parts))| *parts).collect();
        let usual = usual(&figures);
        let mut total = MassDifference::ZERO;
        let items = told.into_iter().map(|(index, melt, (loss, parts))| {
            // A sum beyond what can be written would be of more metal than a book can hold.
            total = total.checked_add(loss).unwrap_or(total);
            MeltLoss {
                melt: melt.melt,
                number: melt.number,
                index,
                recorded: self.recorded_at(index),
                charge: melt.charge,
                loss,
                uncertainty: melt.uncertainty.unwrap_or(Mass::ZERO),
                parts_per_million: parts,
                flagged: melt.is_loss_flagged(),
                judged: usual.map_or(Judged::Early, |usual| usual.judge(parts)),
                total,
            }
        });
        let items: Vec<MeltLoss> = items.collect();
        Losses {
            metal,
            melts: items.len(),
            loss: total,
            mean: mean(&figures),
            usual,
            usual_after: FIGURES_LEAST,
            items,
        }
    }

    /// The emptyings of one jar, or of all, oldest first.
    #[must_use]
    pub fn emptyings(&self, jar: Option<JarId>) -> Vec<Emptied> {
        let all = self.postings().emptyings().iter();
        let wanted = all.filter(|emptying| jar.is_none_or(|jar| emptying.jar == jar));
        wanted.filter_map(|emptying| self.emptied(emptying)).collect()
    }

    /// None for a jar or a scale that is not known, which no emptying is of.
    fn emptied(&self, emptying: &Emptying) -> Option<Emptied> {
        let before = Jar {
            readings: emptying.readings,
            ..self.book().jar(emptying.jar)?.clone()
        };
        let (session, weighed) = (emptying.session, emptying.weighed);
        let uncertainty = self.book().uncertainty_of_jar(&before, session, weighed)?;
        let short = emptying.booked.minus(weighed);
        Some(Emptied {
            index: emptying.index,
            recorded: self.recorded_at(emptying.index),
            jar: emptying.jar,
            session,
            booked: emptying.booked,
            weighed,
            short,
            uncertainty,
            explained: short.magnitude() <= uncertainty,
            flagged: is_flagged(short, uncertainty),
        })
    }
}

fn part_lost(melt: &Melt) -> Option<(MassDifference, Figure)> {
    let loss = melt.loss?;
    Some((loss, parts_per_million(loss, melt.charge)?))
}
