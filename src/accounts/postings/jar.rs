//! Jars in double entry: what goes in, what a stock-take finds, and what comes out when one is emptied.
//!
//! A jar's content is reckoned at the jar's fineness, which none of its melts was below; what each melt's metal was
//! declared to be more is revalued as long as it is in there, and with a stock-take that finds less of it, no more.

use super::{Emptying, Heading, Postings, Subject, fine};
use crate::domain::{JarCounted, JarFilled, JarId, JarOpened, MeltId, Residue, SessionId};
use crate::metal::{Fineness, Mass, Metal};

/// A jar as the events have told of it.
#[derive(Clone, Debug)]
pub(super) struct Jar {
    pub metal: Metal,
    pub fineness: Fineness,
    pub residue: Residue,
    /// What is in it by the book, by melt, in steps of 10 micrograms.
    holds: Vec<(MeltId, i64)>,
    /// How many weighings and differences of weighings that is the sum of.
    readings: u32,
}

impl Jar {
    pub(super) const fn opened(e: &JarOpened) -> Self {
        Self {
            metal: e.metal,
            fineness: e.fineness,
            residue: e.residue,
            holds: Vec::new(),
            readings: 0,
        }
    }

    fn units(&self) -> i64 {
        self.holds
            .iter()
            .fold(0, |whole, (_, units)| whole.saturating_add(*units))
    }

    fn put(&mut self, melt: MeltId, units: i64) {
        match self.holds.iter_mut().find(|(of, _)| *of == melt) {
            Some((_, held)) => *held = held.saturating_add(units),
            None => self.holds.push((melt, units)),
        }
    }

    /// What it holds of each melt when it weighs `weighed`: each share in proportion, rounded down; what the roundings
    /// leave goes to the last one.
    fn scale(&mut self, weighed: i64) {
        let book = i128::from(self.units());
        let mut left = weighed;
        let Some(((_, last), others)) = self.holds.split_last_mut() else {
            return;
        };
        for (_, units) in others {
            let part = i128::from(*units)
                .saturating_mul(i128::from(weighed))
                .checked_div(book);
            *units = part.and_then(|part| i64::try_from(part).ok()).unwrap_or(0);
            left = left.saturating_sub(*units);
        }
        *last = left;
        self.holds.retain(|(_, units)| *units != 0);
    }
}

impl Postings {
    /// One more reading, or difference of two, is in a jar's book mass.
    pub(super) fn read_into(&mut self, jar: JarId) {
        if let Some(jar) = self.known.jars.get_mut(&jar) {
            jar.readings = jar.readings.saturating_add(1);
        }
    }

    /// Residue, in hand from the crucible or a piece, is reckoned at its jar's fineness from now on.
    pub(super) fn fill(&mut self, e: &JarFilled) -> Option<()> {
        let melt = *self.known.melts.get(&e.melt)?;
        let jar = self.known.jars.get_mut(&e.jar)?;
        let units = e.mass.units();
        jar.put(e.melt, units);
        let (metal, heading, at) = (jar.metal, Heading::Jars(jar.residue), jar.fineness);
        let subject = Subject::Jar(e.jar);
        self.shift(metal, (Heading::InHand, heading), units, melt.fineness, subject);
        let more = fine(units, melt.fineness) - fine(units, at);
        self.revalue(metal, heading, more, subject);
        Some(())
    }

    /// All that a jar has by the book leaves it: what was weighed to where it goes, the rest is lost.
    pub(super) fn empty(&mut self, id: JarId, session: SessionId, weighed: Mass, to: Heading) -> Option<()> {
        let jar = self.known.jars.get_mut(&id)?;
        let (booked, readings) = (jar.units(), std::mem::take(&mut jar.readings));
        jar.holds.clear();
        let (metal, at, from) = (jar.metal, jar.fineness, Heading::Jars(jar.residue));
        self.emptyings.push(Emptying {
            index: self.at.0,
            jar: id,
            session,
            booked: Mass::from_units(booked).unwrap_or(Mass::ZERO),
            weighed,
            readings,
        });
        let subject = Subject::Jar(id);
        self.shift(metal, (from, to), weighed.units(), at, subject);
        let lost = booked.saturating_sub(weighed.units());
        self.shift(metal, (from, Heading::FinishingLoss), lost, at, subject);
        Some(())
    }

    /// A stock-take weighed it: the difference is a variance, with what was revalued of it.
    pub(super) fn count_jar(&mut self, e: &JarCounted) -> Option<()> {
        let before = self.declared(e.jar)?;
        let jar = self.known.jars.get_mut(&e.jar)?;
        jar.scale(e.mass.mass().units());
        jar.readings = 1;
        let (metal, at, from) = (jar.metal, jar.fineness, Heading::Jars(jar.residue));
        let less = before.saturating_sub(self.declared(e.jar)?);
        let (units, subject) = (e.variance.units(), Subject::Jar(e.jar));
        self.shift(metal, (from, Heading::StocktakeVariance), units, at, subject);
        let revalued = less.saturating_sub(fine(units, at));
        self.revalue(
            metal,
            Heading::StocktakeVariance,
            revalued.saturating_neg(),
            subject,
        );
        Some(())
    }

    /// The fine metal in a jar, each part at what its melt was declared to be, picograms.
    fn declared(&self, jar: JarId) -> Option<i128> {
        let jar = self.known.jars.get(&jar)?;
        let parts = jar.holds.iter().map(|(melt, units)| {
            let melt = self.known.melts.get(melt);
            fine(*units, melt.map_or(jar.fineness, |melt| melt.fineness))
        });
        Some(parts.fold(0, i128::saturating_add))
    }
}
