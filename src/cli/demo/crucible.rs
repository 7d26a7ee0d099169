//! Metal at the bench: sessions, lots, jars and melts. Each does a thing, tells it to the book as the scale shows it, and
//! to the ledger as it is.

use super::ledger::{Fate, Held, Holder};
use super::workshop::{MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    ChargeMelt, CheckSession, CloseMelt, CloseSession, Event, FinenessBasis, JarDraw, JarId, LotDraw, LotId,
    MeltId, OpenJar, OpenSession, OwnerId, PieceId, PieceState, Pour, PourPieces, ReceiveLot, Residue,
    ScaleId, SessionId, Stage,
};
use crate::metal::{Fineness, Mass, Metal, Money, Reading};
use std::collections::BTreeSet;

/// What goes into a crucible.
pub(super) struct Charge {
    pub metal: Metal,
    pub lots: Vec<(LotId, i64)>,
    pub heels: Vec<MeltId>,
    pub jars: Vec<JarId>,
    pub pieces: Vec<PieceId>,
}

impl Charge {
    /// Silver of lots and nothing else.
    pub(super) const fn silver(lots: Vec<(LotId, i64)>) -> Self {
        Self {
            metal: Metal::Silver,
            lots,
            heels: Vec::new(),
            jars: Vec::new(),
            pieces: Vec::new(),
        }
    }
}

/// A crucible on the fire: what is in it, in steps of 10 micrograms.
pub(super) struct Crucible {
    pub melt: MeltId,
    pub metal: Metal,
    pub left: i64,
    /// Index of the entry of its charge.
    pub index: u64,
    /// As it was told to the book.
    pub said: ChargeMelt,
}

/// A lot as it is bought or brought.
pub(super) struct Delivery {
    pub metal: Metal,
    pub weighed: &'static str,
    pub fineness: &'static str,
    pub basis: FinenessBasis,
    pub owner: Option<OwnerId>,
    pub price: Option<&'static str>,
    pub note: Option<&'static str>,
}

pub(super) fn mass(text: &str) -> Result<Mass, Failure> {
    Mass::parse(text).map_err(Failure::unusable)
}

pub(super) fn fineness(text: &str) -> Result<Fineness, Failure> {
    Fineness::parse(text).map_err(Failure::unusable)
}

pub(super) fn money(text: &str) -> Result<Money, Failure> {
    Money::parse(text, "GBP").map_err(Failure::unusable)
}

/// A mass as the bench balance shows it.
pub(super) fn shown(truth: i64) -> Result<Reading, Failure> {
    Workshop::reads(truth, 10 * MILLIGRAM, 2)
}

impl Workshop {
    /// Opens a session.
    pub(super) fn open(&mut self, scale: ScaleId, nominal: &str, shows: &str) -> Result<SessionId, Failure> {
        let reading = Reading::parse(shows).map_err(Failure::unusable)?;
        let recorded = self.record(OpenSession {
            scale,
            nominal: mass(nominal)?,
            reading,
        })?;
        Self::event(&recorded, |event| match event {
            Event::SessionOpened(e) => Some(e.session),
            _ => None,
        })
    }

    /// Puts the check weight on in the middle of a session.
    pub(super) fn check(&mut self, session: SessionId, nominal: &str, shows: &str) -> Result<(), Failure> {
        let reading = Reading::parse(shows).map_err(Failure::unusable)?;
        self.record(CheckSession {
            session,
            nominal: mass(nominal)?,
            reading,
        })
        .map(|_| ())
    }

    /// Closes a session.
    pub(super) fn close_session(
        &mut self,
        session: SessionId,
        nominal: &str,
        shows: &str,
    ) -> Result<(), Failure> {
        let reading = Reading::parse(shows).map_err(Failure::unusable)?;
        self.record(CloseSession {
            session,
            nominal: mass(nominal)?,
            reading,
        })
        .map(|_| ())
    }

    /// Weighs a lot in; gives it with the index of its entry.
    pub(super) fn receive(&mut self, session: SessionId, lot: &Delivery) -> Result<(LotId, u64), Failure> {
        let bought = lot.owner.is_none();
        let command = ReceiveLot {
            metal: lot.metal,
            fineness: fineness(lot.fineness)?,
            basis: lot.basis,
            session,
            mass: Reading::parse(lot.weighed).map_err(Failure::unusable)?,
            invoiced: bought.then(|| mass(lot.weighed)).transpose()?,
            owner: lot.owner,
            seller: bought.then(|| "Pellworth Metals Counter".to_owned()),
            document: bought.then(|| format!("PMC-{}", lot.weighed)),
            price: lot.price.map(money).transpose()?,
            note: lot.note.map(str::to_owned),
        };
        let recorded = self.record(command)?;
        let id = Self::event(&recorded, |event| match event {
            Event::LotReceived(e) => Some(e.lot),
            _ => None,
        })?;
        if let Some(owner) = lot.owner {
            self.ledger.brought.insert(id, owner);
        }
        self.ledger.receive(id, lot.metal, mass(lot.weighed)?.units());
        Ok((id, recorded.index))
    }

    /// Opens a jar.
    pub(super) fn jar(&mut self, metal: Metal, fine: &str, residue: Residue) -> Result<JarId, Failure> {
        let command = OpenJar {
            metal,
            fineness: fineness(fine)?,
            residue,
            label: None,
        };
        let recorded = self.record(command)?;
        let jar = Self::event(&recorded, |event| match event {
            Event::JarOpened(e) => Some(e.jar),
            _ => None,
        })?;
        self.ledger.jars.insert(jar, (residue, Held { metal, mass: 0 }));
        Ok(jar)
    }

    /// Weighs a jar that is about to be emptied, and empties it; gives what was in it.
    pub(super) fn empty(&mut self, jar: JarId) -> Result<(JarDraw, i64), Failure> {
        let held = self.ledger.in_jar(jar);
        self.ledger.fill(jar, -held);
        Ok((
            JarDraw {
                jar,
                mass: shown(held)?,
            },
            held,
        ))
    }

    /// Charges a crucible.
    pub(super) fn charge(&mut self, session: SessionId, charge: Charge) -> Result<Crucible, Failure> {
        let pieces = charge.pieces.clone();
        self.charge_as(session, charge, pieces)
    }

    /// Charges a crucible, and types other pieces than those that went in.
    pub(super) fn charge_as(
        &mut self,
        session: SessionId,
        charge: Charge,
        typed: Vec<PieceId>,
    ) -> Result<Crucible, Failure> {
        let mut left = 0;
        let customers = self.customers_in(&charge);
        let (mut lots, mut jars) = (Vec::new(), Vec::new());
        for (lot, drawn) in charge.lots {
            let metal = self.ledger.lots.get(&lot).map_or(charge.metal, |held| held.metal);
            if metal != charge.metal {
                self.ledger.flow(metal).alloyed_out += drawn;
                self.ledger.flow(charge.metal).alloyed_in += drawn;
            }
            self.ledger.draw(lot, drawn);
            left += drawn;
            lots.push(LotDraw {
                lot,
                mass: shown(drawn)?,
            });
        }
        for heel in &charge.heels {
            left += self.ledger.heels.remove(heel).map_or(0, |held| held.mass);
        }
        for jar in charge.jars {
            let (draw, held) = self.empty(jar)?;
            left += held;
            jars.push(draw);
        }
        for piece in &charge.pieces {
            left += self.ledger.weighs(*piece);
            self.ledger.go(*piece, PieceState::Remelted, Holder::Gone);
        }
        let said = ChargeMelt {
            metal: charge.metal,
            session,
            lots,
            heels: charge.heels,
            jars,
            pieces: typed,
            note: None,
        };
        let recorded = self.record(said.clone())?;
        let melt = Self::event(&recorded, |event| match event {
            Event::MeltCharged(e) => Some(e.melt),
            _ => None,
        })?;
        self.ledger.customers.insert(melt, customers);
        let (metal, index) = (charge.metal, recorded.index);
        Ok(Crucible {
            melt,
            metal,
            left,
            index,
            said,
        })
    }

    /// The customers whose metal is in a charge. No jar that has any of it goes into a crucible in this story.
    fn customers_in(&self, charge: &Charge) -> BTreeSet<OwnerId> {
        let lots = charge
            .lots
            .iter()
            .filter_map(|(lot, _)| self.ledger.brought.get(lot));
        let pieces = charge
            .pieces
            .iter()
            .filter_map(|piece| self.ledger.pieces.get(piece));
        let melts = charge.heels.iter().copied().chain(pieces.map(|fate| fate.melt));
        let inherited = melts.filter_map(|melt| self.ledger.customers.get(&melt));
        lots.copied().chain(inherited.flatten().copied()).collect()
    }

    /// Fills cavities with about `each`, as far as a hand can; then weighs what came out of them.
    pub(super) fn pour(
        &mut self,
        session: SessionId,
        crucible: &mut Crucible,
        pours: Vec<Pour>,
        (each, spread): (i64, i64),
    ) -> Result<Vec<PieceId>, Failure> {
        let filled = pours.clone();
        let melt = crucible.melt;
        let recorded = self.record(PourPieces { melt, pours })?;
        let pieces: Vec<PieceId> = recorded.events.iter().filter_map(Event::piece).collect();
        for (piece, pour) in pieces.iter().zip(filled) {
            let poured = self.around(each, spread);
            crucible.left -= poured;
            let fate = Fate {
                metal: crucible.metal,
                melt,
                series: pour.series,
                shape: pour.shape,
                mass: poured,
                state: PieceState::Graded,
                holder: Holder::Workshop,
                number: None,
                certificates: 0,
                before: None,
                condemned: None,
                birth: self.ledger.pieces.len(),
            };
            self.ledger.pieces.insert(*piece, fate);
        }
        self.weigh(session, Stage::FromMould, &pieces)?;
        Ok(pieces)
    }

    /// Weighs a melt out: prills into a jar if there is one, some lost as fume, the rest is the heel.
    pub(super) fn weigh_out(
        &mut self,
        session: SessionId,
        crucible: Crucible,
        jar: Option<JarId>,
    ) -> Result<MeltId, Failure> {
        let Crucible {
            melt, metal, left, ..
        } = crucible;
        let prills = match jar {
            Some(_) => self.around(600 * MILLIGRAM, 100 * MILLIGRAM).max(0),
            None => 0,
        };
        let lost = self.around(250 * MILLIGRAM, 60 * MILLIGRAM).max(0);
        let heel = left - prills - lost;
        let gathered = jar.map(|jar| shown(prills).map(|mass| JarDraw { jar, mass }));
        self.record(CloseMelt {
            melt,
            session,
            heel: shown(heel)?,
            prills: gathered.transpose()?,
            note: None,
        })?;
        if let Some(jar) = jar {
            self.ledger.fill(jar, prills);
        }
        self.ledger.melt_losses.push(lost);
        self.ledger.flow(metal).melt_loss += lost;
        self.ledger.heels.insert(melt, Held { metal, mass: heel });
        Ok(melt)
    }
}
