//! Sweepings and the refiner: what was sent, and how the refiner accounted for it.
//!
//! Jars go whole and are weighed against the book, as into a crucible; condemned pieces go by their last reading. Of
//! sweepings nothing is counted: they have a gross weight, mostly dust, and no metal in the book, so a refining of
//! sweepings alone sent 0 g and what it brings is a loss below zero.
//!
//! Grams and fine grams part ways here. 100 g of lemel at 925 come back as some 92 g at 999.9: 8 g are the copper that
//! was parted off, and hardly any silver is lost. So the loss is reckoned in both, sent = outturn + settled + loss each:
//! in grams it is mostly what the refiner parted off, in fine grams it is what the refining cost (with whatever the
//! refiner's assay says other than was declared). What cannot be is refused: a declared fineness is a floor and a jar's
//! is one too, so the fine metal of an outturn is held against every gram that was sent and not against what was
//! declared to be in it. An outturn may be alloyed afresh and weigh more than was sent; what was paid for may not.
//! Deliberately absent: what was paid, and the refiner's terms.

use super::owed::Owed;
use super::owners::Owners;
use super::scales::square;
use super::{Amount, Book, Counted, Jar, Lot, Refining, agree, once, sum};
use crate::domain::{
    FinenessBasis, JarEmptied, JarSent, JarSwept, LotOutturned, PieceMass, PieceRefined, PieceState,
    RefiningReturned, RefiningSent, RefiningState, Refusal, Residue, SessionId, SettledMetal, Stamp,
};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading, fine_mass};

/// The most jars and pieces of a refining: a command names at most 64 things.
const PARTS_MAX: usize = 64;

/// What is sent together.
pub(in crate::domain) struct Bundle {
    pub(in crate::domain) mass: Mass,
    owners: Owners,
}

impl Book {
    pub(super) fn take_sweeps(&mut self, e: &JarSwept) -> Result<(), Refusal> {
        let jar = self.known_jar(e.jar)?;
        if jar.residue != Residue::Sweeps {
            return Err(Refusal::JarNotSweeps);
        }
        self.weighed(e.session, &e.mass)?;
        let jar = Jar {
            swept: sum([jar.swept, e.mass.mass()])?,
            ..jar.clone()
        };
        self.jars.put(e.jar, jar);
        self.count_readings(e.session, 1)
    }

    /// The jars are empty from here on; what follows in the entry tells it to each jar and piece.
    pub(super) fn take_refining(&mut self, stamp: &Stamp, e: &RefiningSent) -> Result<(), Refusal> {
        self.free(e.refining.0)?;
        let bundle = self.reckon_bundle(e.session, e.metal, &e.jars, &e.pieces)?;
        self.count(Counted::Refining, e.number)?;
        agree(&e.mass, &bundle.mass)?;
        let refining = Refining {
            refining: e.refining,
            number: e.number,
            metal: e.metal,
            state: RefiningState::AtRefiner,
            session: e.session,
            jars: e.jars.clone(),
            pieces: e.pieces.clone(),
            mass: bundle.mass,
            owners: bundle.owners.into_iter().collect(),
            outturn: None,
            settled: None,
            loss: None,
            since: stamp.index,
            at: stamp.at,
        };
        self.refinings.put(e.refining, refining);
        for sent in &e.jars {
            let jar = Jar {
                holds: Vec::new(),
                mass: Mass::ZERO,
                readings: 0,
                swept: Mass::ZERO,
                ..self.known_jar(sent.jar)?.clone()
            };
            self.jars.put(sent.jar, jar);
            self.owe(Owed::Emptying {
                jar: sent.jar,
                refining: e.refining,
            })?;
        }
        for sent in &e.pieces {
            self.owe(Owed::Refining {
                piece: sent.piece,
                refining: e.refining,
            })?;
        }
        self.count_readings(e.session, e.jars.len())
    }

    /// The number of the next refining.
    pub(in crate::domain) fn next_refining_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Refining)
    }

    pub(super) fn take_emptying(&mut self, e: &JarEmptied) -> Result<(), Refusal> {
        self.known_jar(e.jar)?;
        self.pay(
            "jar.emptied",
            |owed| matches!(owed, Owed::Emptying { jar, refining } if *jar == e.jar && *refining == e.refining),
        )?;
        Ok(())
    }

    /// The end of a piece: only the refining in the same entry asks for it.
    pub(super) fn take_refined(&mut self, e: &PieceRefined) -> Result<(), Refusal> {
        self.known_piece(e.piece)?;
        self.pay(
            "piece.refined",
            |owed| matches!(owed, Owed::Refining { piece, refining } if *piece == e.piece && *refining == e.refining),
        )?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.state = PieceState::Refined;
        piece.refined = Some(e.refining);
        self.pieces.put(e.piece, piece);
        Ok(())
    }

    /// What jars and pieces come to, each of them checked.
    pub(in crate::domain) fn reckon_bundle(
        &self,
        session: SessionId,
        metal: Metal,
        jars: &[JarSent],
        pieces: &[PieceMass],
    ) -> Result<Bundle, Refusal> {
        self.scale_in_session(session)?;
        if !metal.is_precious() {
            return Err(Refusal::NotPrecious { metal });
        }
        match jars.len().saturating_add(pieces.len()) {
            0 => return Err(Refusal::NothingNamed),
            1..=PARTS_MAX => {}
            count => {
                return Err(Refusal::TooMany {
                    count,
                    most: PARTS_MAX,
                });
            }
        }
        once(
            jars.iter()
                .map(|sent| sent.jar.0)
                .chain(pieces.iter().map(|sent| sent.piece.0)),
        )?;
        let (mut masses, mut owners) = (Vec::new(), Owners::new());
        for sent in jars {
            masses.push(self.may_send_jar(session, metal, sent)?);
            owners.extend(self.owners_of_sent_jar(sent)?);
        }
        for sent in pieces {
            self.may_send_piece(metal, sent)?;
            masses.push(sent.mass);
            owners.extend(self.owners_of_piece(sent.piece)?);
        }
        self.may_meet(&owners)?;
        Ok(Bundle {
            mass: sum(masses)?,
            owners,
        })
    }

    /// Refuses a jar that cannot go to the refiner with this metal; what is counted of it.
    pub(in crate::domain) fn may_send_jar(
        &self,
        session: SessionId,
        metal: Metal,
        sent: &JarSent,
    ) -> Result<Mass, Refusal> {
        let jar = self.known_jar(sent.jar)?;
        if jar.metal != metal {
            return Err(Refusal::WrongMetal {
                found: jar.metal,
                wanted: metal,
            });
        }
        if jar.mass.is_zero() && jar.swept.is_zero() {
            return Err(Refusal::JarEmpty { jar: jar.jar });
        }
        agree(&sent.holds, &jar.holds)?;
        if jar.residue == Residue::Sweeps {
            // Dust takes up damp and dries out, so its weight is not held against what was swept up.
            self.weighed(session, &sent.mass)?;
            return Ok(Mass::ZERO);
        }
        self.weighed(session, &sent.mass)?;
        Ok(sent.mass.mass())
    }

    /// Refuses a piece that cannot go to the refiner with this metal.
    pub(in crate::domain) fn may_send_piece(&self, metal: Metal, sent: &PieceMass) -> Result<(), Refusal> {
        let piece = self.condemned(sent.piece)?;
        agree(&sent.mass, &piece.mass().ok_or(Refusal::NotWeighed)?)?;
        let melt = self.closed_melt(piece.melt)?;
        if melt.metal != metal {
            return Err(Refusal::WrongMetal {
                found: melt.metal,
                wanted: metal,
            });
        }
        Ok(())
    }

    /// Whose metal is in a jar that is sent: sweepings are the workshop's.
    pub(in crate::domain) fn owners_of_sent_jar(&self, sent: &JarSent) -> Result<Owners, Refusal> {
        match self.known_jar(sent.jar)?.residue {
            Residue::Sweeps => Ok(Owners::from([None])),
            _ => self.owners_of_shares(&sent.holds),
        }
    }
}

impl Book {
    pub(super) fn take_refining_return(&mut self, e: &RefiningReturned) -> Result<(), Refusal> {
        let loss = self.reckon_refining_loss(e)?;
        let row = self.known_refining(e.refining)?;
        agree(&e.sent, &row.mass)?;
        agree(&e.loss, &loss)?;
        let row = Refining {
            state: RefiningState::Returned,
            outturn: e.outturn,
            settled: e.settled.clone(),
            loss: Some(loss),
            ..row.clone()
        };
        match e.outturn {
            Some(lot) => self.owe(Owed::Outturn {
                lot,
                refining: e.refining,
                mass: e.returned,
            })?,
            None => self.within_sent(&row, None)?,
        }
        self.refinings.put(e.refining, row);
        Ok(())
    }

    /// What is missing in grams: sent less outturn less settled.
    ///
    /// Nothing accounted for at all is an oversight and refused; a refiner who found nothing settles zero grams.
    pub(in crate::domain) fn reckon_refining_loss(
        &self,
        e: &RefiningReturned,
    ) -> Result<MassDifference, Refusal> {
        let row = self.known_refining(e.refining)?;
        if row.state != RefiningState::AtRefiner {
            return Err(Refusal::RefiningIsReturned);
        }
        if e.outturn.is_none() && e.settled.is_none() {
            return Err(Refusal::NothingNamed);
        }
        agree(&e.outturn.is_some(), &!e.returned.is_zero())?;
        let settled = match &e.settled {
            Some(settled) if settled.fineness == Fineness::ZERO => return Err(Refusal::FinenessImpossible),
            Some(settled) => settled.mass,
            None => Mass::ZERO,
        };
        Ok(row.mass.minus(sum([e.returned, settled])?))
    }

    /// What came back is a lot of its own, assayed by the refiner, and no receipt. It belongs to whoever owned all that
    /// was sent; of several owners' metal the outturn is the workshop's, who owe each of them their share.
    pub(super) fn take_outturn(&mut self, stamp: &Stamp, e: &LotOutturned) -> Result<(), Refusal> {
        let owed = self.pay(
            "lot.outturned",
            |owed| matches!(owed, Owed::Outturn { lot, refining, .. } if *lot == e.lot && *refining == e.refining),
        )?;
        if let Owed::Outturn { mass, .. } = owed {
            agree(&e.mass.mass(), &mass)?;
        }
        self.free(e.lot.0)?;
        let row = self.known_refining(e.refining)?.clone();
        agree(&e.metal, &row.metal)?;
        if e.fineness == Fineness::ZERO {
            return Err(Refusal::FinenessImpossible);
        }
        self.weighed(e.session, &e.mass)?;
        self.within_sent(&row, Some(e))?;
        self.count(Counted::Lot, e.number)?;
        let owner = match row.owners.as_slice() {
            [only] => *only,
            _ => None,
        };
        let lot = Lot {
            lot: e.lot,
            number: e.number,
            metal: e.metal,
            fineness: e.fineness,
            basis: FinenessBasis::Assayed,
            mass: e.mass.clone(),
            invoiced: None,
            left: e.mass.mass(),
            owner,
            outturn_of: Some(e.refining),
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

    /// Refuses more than can have been in what was sent, beyond the readings' uncertainty: the fine metal of the outturn
    /// and the grams that were settled, against the grams sent and the gross weight of the sweepings among them.
    fn within_sent(&self, row: &Refining, outturn: Option<&LotOutturned>) -> Result<(), Refusal> {
        let mut sent = vec![row.mass];
        let sent_on = self.known_scale(self.known_session(row.session)?.scale)?;
        let mut wobble = 0_u128;
        for jar in &row.jars {
            if self.known_jar(jar.jar)?.residue == Residue::Sweeps {
                sent.push(jar.mass.mass());
            }
            wobble = wobble.saturating_add(Self::wobble_squared(sent_on, jar.mass.mass()));
        }
        for piece in &row.pieces {
            wobble = wobble.saturating_add(self.wobble_of_piece(piece.piece)?);
        }
        let mut accounted = vec![settled_mass(row.settled.as_ref())];
        if let Some(e) = outturn {
            accounted.push(fine_grams(&e.mass, e.fineness));
            let weighed_on = self.scale_in_session(e.session)?;
            wobble = wobble.saturating_add(Self::wobble_squared(weighed_on, e.mass.mass()));
        }
        let (sent, accounted) = (sum(sent)?, sum(accounted)?);
        let missing = sent.minus(accounted);
        if missing.is_negative() && square(missing.magnitude()) > wobble {
            return Err(Refusal::AccountedMoreThanSent { accounted, sent });
        }
        Ok(())
    }
}

fn settled_mass(settled: Option<&SettledMetal>) -> Mass {
    settled.map_or(Mass::ZERO, |settled| settled.mass)
}

/// The fine metal in a reading, rounded down to 10 micrograms, which forgives and never accuses.
fn fine_grams(mass: &Reading, fineness: Fineness) -> Mass {
    let picograms = fine_mass(mass.mass(), fineness).picograms();
    i64::try_from(picograms / i128::from(Fineness::PURE.units()))
        .ok()
        .and_then(Mass::from_units)
        .unwrap_or(Mass::ZERO)
}
