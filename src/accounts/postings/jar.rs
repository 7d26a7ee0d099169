//! Jars in double entry: what goes in, what a stock-take finds, and what comes out when one is emptied.
//!
//! A jar's content is reckoned at the jar's fineness, which none of its melts was below, from when it goes in: what each
//! melt's metal was declared to be more is revalued then, and stays so whatever becomes of the metal.

use super::{Emptying, Heading, Postings, Subject, fine};
use crate::domain::{JarCounted, JarFilled, JarId, JarOpened, Residue, SessionId};
use crate::metal::{Fineness, Mass, Metal};

/// A jar as the events have told of it.
#[derive(Clone, Debug)]
pub(super) struct Jar {
    pub metal: Metal,
    pub fineness: Fineness,
    pub residue: Residue,
    /// What is in it by the book, in steps of 10 micrograms.
    units: i64,
    /// How many weighings and differences of weighings that is the sum of.
    readings: u32,
}

impl Jar {
    pub(super) const fn opened(e: &JarOpened) -> Self {
        Self {
            metal: e.metal,
            fineness: e.fineness,
            residue: e.residue,
            units: 0,
            readings: 0,
        }
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
        jar.units = jar.units.saturating_add(units);
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
        let (booked, readings) = (std::mem::take(&mut jar.units), std::mem::take(&mut jar.readings));
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

    /// A stock-take weighed it: the difference is a variance.
    pub(super) fn count_jar(&mut self, e: &JarCounted) -> Option<()> {
        let jar = self.known.jars.get_mut(&e.jar)?;
        jar.units = e.mass.mass().units();
        jar.readings = 1;
        let (metal, at, from) = (jar.metal, jar.fineness, Heading::Jars(jar.residue));
        let way = (from, Heading::StocktakeVariance);
        self.shift(metal, way, e.variance.units(), at, Subject::Jar(e.jar));
        Some(())
    }
}
