//! Lots and jars: metal as it came in, and the residues that work leaves.

use super::owed::Owed;
use super::{Amount, Book, Counted, Jar, Lot, Melt, agree, sum};
use crate::domain::{JarFilled, JarId, JarOpened, JarShare, LotReceived, Refusal, Residue, Stamp};
use crate::metal::Fineness;

impl Book {
    pub(super) fn take_lot(&mut self, stamp: &Stamp, e: &LotReceived) -> Result<(), Refusal> {
        self.free(e.lot.0)?;
        if let Some(owner) = e.owner {
            self.known_owner(owner)?;
        }
        self.weighed(e.session, &e.mass)?;
        if e.fineness == Fineness::ZERO {
            return Err(Refusal::FinenessImpossible);
        }
        if !e.metal.is_precious() && e.fineness != Fineness::PURE {
            return Err(Refusal::AlloyFineness);
        }
        self.count(Counted::Lot, e.number)?;
        let lot = Lot {
            lot: e.lot,
            number: e.number,
            metal: e.metal,
            fineness: e.fineness,
            basis: e.basis,
            mass: e.mass.clone(),
            invoiced: e.invoiced,
            left: e.mass.mass(),
            owner: e.owner,
            outturn_of: None,
            found_in: None,
            counted: None,
            variance: Amount::default(),
            session: e.session,
            since: stamp.index,
            at: stamp.at,
        };
        self.lots.put(e.lot, lot);
        self.count_readings(e.session, 1)
    }

    /// The number of the next lot.
    pub(in crate::domain) fn next_lot_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Lot)
    }

    pub(super) fn take_jar(&mut self, stamp: &Stamp, e: &JarOpened) -> Result<(), Refusal> {
        self.free(e.jar.0)?;
        if !e.metal.is_precious() {
            return Err(Refusal::NotPrecious { metal: e.metal });
        }
        if e.fineness == Fineness::ZERO {
            return Err(Refusal::FinenessImpossible);
        }
        let jar = Jar {
            jar: e.jar,
            metal: e.metal,
            fineness: e.fineness,
            residue: e.residue,
            holds: Vec::new(),
            mass: crate::metal::Mass::ZERO,
            readings: 0,
            swept: crate::metal::Mass::ZERO,
            variance: Amount::default(),
            missing: Vec::new(),
            since: stamp.index,
        };
        self.jars.put(e.jar, jar);
        Ok(())
    }

    /// A jar takes only what a melt or a finishing in the same entry owes it, so nothing comes into it from nowhere.
    pub(super) fn take_filling(&mut self, e: &JarFilled) -> Result<(), Refusal> {
        let owed = self.pay(
            "jar.filled",
            |owed| matches!(owed, Owed::Filling { jar, melt, .. } if *jar == e.jar && *melt == e.melt),
        )?;
        let Owed::Filling { mass, readings, .. } = owed else {
            return Ok(());
        };
        agree(&e.mass, &mass)?;
        let mut jar = self.known_jar(e.jar)?.clone();
        jar.mass = sum([jar.mass, mass])?;
        jar.readings = jar.readings.saturating_add(readings);
        match jar.holds.iter_mut().find(|share| share.melt == e.melt) {
            Some(share) => share.mass = sum([share.mass, mass])?,
            None => jar.holds.push(JarShare { melt: e.melt, mass }),
        }
        self.jars.put(e.jar, jar);
        Ok(())
    }

    /// Refuses a jar that is not for this residue of a melt: a jar never holds finer metal's name than its content, nor
    /// metal of owners who have not agreed to meet.
    pub(in crate::domain) fn may_fill(
        &self,
        jar: JarId,
        residue: Residue,
        melt: &Melt,
    ) -> Result<(), Refusal> {
        let mut owners = self.owners_in_jar(jar)?;
        let jar = self.known_jar(jar)?;
        if jar.residue != residue {
            return Err(Refusal::WrongResidue {
                holds: jar.residue.word(),
                offered: residue.word(),
            });
        }
        if jar.metal != melt.metal {
            return Err(Refusal::WrongMetal {
                found: melt.metal,
                wanted: jar.metal,
            });
        }
        let fineness = melt.reckoned_fineness();
        if fineness < jar.fineness {
            return Err(Refusal::BelowJarFineness {
                jar: jar.fineness,
                metal: fineness,
            });
        }
        owners.extend(melt.owners.iter().copied());
        self.may_meet(&owners)
    }
}
