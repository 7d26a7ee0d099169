//! Melts: what goes into a crucible, and what it comes to.
//!
//! The fineness of a charge is the blend of what its parts are declared to be, rounded down to 0.1 parts per thousand,
//! in a well-mixed melt without loss of one metal before another. Copper counts as none of the metal. The content of a
//! jar is reckoned at the jar's own fineness, which nothing that went into it was below. What an assay office found in a
//! melt to be below its declaration counts from then on, wherever metal of that melt goes.

use super::owed::Owed;
use super::owners::Owners;
use super::{Amount, Book, Counted, Melt, Piece, agree, once, sum};
use crate::domain::{
    FinenessBasis, JarId, LotId, MeltCharged, MeltId, MeltInput, MeltState, PieceId, PieceState, Refusal,
    Residue, SessionId, Stamp,
};
use crate::metal::{Fineness, Mass, Metal, Reading, blend_fineness};

/// The most inputs of a charge: a command names at most 64 things.
const INPUTS_MAX: usize = 64;

/// What one input brings to the blend; copper brings no ground of its own.
struct Part {
    fineness: Fineness,
    basis: Option<FinenessBasis>,
}

/// What a charge comes to.
pub(in crate::domain) struct Blend {
    pub(in crate::domain) charge: Mass,
    pub(in crate::domain) fineness: Fineness,
    basis: FinenessBasis,
    owners: Owners,
}

impl Book {
    pub(super) fn take_charge(&mut self, stamp: &Stamp, e: &MeltCharged) -> Result<(), Refusal> {
        self.free(e.melt.0)?;
        let blend = self.reckon_blend(e.session, e.metal, &e.inputs)?;
        self.count(Counted::Melt, e.number)?;
        agree(&e.charge, &blend.charge)?;
        agree(&e.fineness, &blend.fineness)?;
        let melt = Melt {
            melt: e.melt,
            number: e.number,
            metal: e.metal,
            state: MeltState::Open,
            session: e.session,
            inputs: e.inputs.clone(),
            charge: blend.charge,
            fineness: blend.fineness,
            basis: blend.basis,
            owners: blend.owners.into_iter().collect(),
            assayed: None,
            pieces: Vec::new(),
            heel: None,
            heel_taken: None,
            prills: None,
            loss: None,
            uncertainty: None,
            variance: Amount::default(),
            since: stamp.index,
            closed: None,
            at: stamp.at,
        };
        self.melts.put(e.melt, melt);
        for input in &e.inputs {
            self.consume(e.melt, input)?;
        }
        let readings = e
            .inputs
            .iter()
            .filter(|input| matches!(input, MeltInput::Lot { .. } | MeltInput::Jar { .. }));
        self.count_readings(e.session, readings.count())
    }

    /// The number of the next melt.
    pub(in crate::domain) fn next_melt_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Melt)
    }

    /// What the inputs come to, each of them checked.
    pub(in crate::domain) fn reckon_blend(
        &self,
        session: SessionId,
        metal: Metal,
        inputs: &[MeltInput],
    ) -> Result<Blend, Refusal> {
        self.scale_in_session(session)?;
        if !metal.is_precious() {
            return Err(Refusal::NotPrecious { metal });
        }
        if inputs.is_empty() {
            return Err(Refusal::NothingNamed);
        }
        if inputs.len() > INPUTS_MAX {
            return Err(Refusal::TooMany {
                count: inputs.len(),
                most: INPUTS_MAX,
            });
        }
        once(inputs.iter().map(MeltInput::subject))?;
        let (mut parts, mut owners) = (Vec::with_capacity(inputs.len()), Owners::new());
        let mut basis: Option<FinenessBasis> = None;
        for input in inputs {
            let part = self.input(session, metal, input)?;
            basis = part.basis.into_iter().chain(basis).min();
            parts.push((input.mass(), part.fineness));
            owners.extend(self.owners_of_input(input)?);
        }
        self.may_meet(&owners)?;
        let charge = sum(inputs.iter().map(MeltInput::mass))?;
        let fineness = blend_fineness(&parts, 1).ok_or(Refusal::FinenessImpossible)?;
        match basis {
            Some(basis) if fineness > Fineness::ZERO => Ok(Blend {
                charge,
                fineness,
                basis,
                owners,
            }),
            _ => Err(Refusal::FinenessImpossible),
        }
    }

    /// Refuses an input that cannot go into a melt of this metal.
    pub(in crate::domain) fn may_charge(
        &self,
        session: SessionId,
        metal: Metal,
        input: &MeltInput,
    ) -> Result<(), Refusal> {
        self.input(session, metal, input).map(|_| ())
    }

    fn input(&self, session: SessionId, metal: Metal, input: &MeltInput) -> Result<Part, Refusal> {
        match input {
            MeltInput::Lot { lot, mass } => self.draw_from_lot(session, metal, *lot, mass),
            MeltInput::Heel { melt, mass } => {
                let heel = self.reckon_heel(*melt)?;
                agree(mass, &heel)?;
                self.part_of_melt(metal, *melt)
            }
            MeltInput::Jar { jar, mass, holds } => {
                let jar = self.known_jar(*jar)?;
                if jar.residue == Residue::Sweeps {
                    return Err(Refusal::SweepsNotMelted);
                }
                if jar.mass.is_zero() {
                    return Err(Refusal::JarEmpty { jar: jar.jar });
                }
                if jar.metal != metal {
                    return Err(Refusal::WrongMetal {
                        found: jar.metal,
                        wanted: metal,
                    });
                }
                agree(holds, &jar.holds)?;
                self.weighed(session, mass)?;
                let melts = || jar.holds.iter().filter_map(|share| self.melt(share.melt));
                let lowest = melts().map(Melt::reckoned_fineness).min();
                Ok(Part {
                    fineness: lowest.map_or(jar.fineness, |lowest| lowest.min(jar.fineness)),
                    basis: melts().map(|melt| melt.basis).min(),
                })
            }
            MeltInput::Piece { piece, melt, mass } => {
                let row = self.condemned(*piece)?;
                agree(melt, &row.melt)?;
                agree(mass, &row.mass().ok_or(Refusal::NotWeighed)?)?;
                self.closed_melt(row.melt)?;
                self.part_of_melt(metal, row.melt)
            }
        }
    }

    /// A piece whose metal may go on: it is condemned, and neither a crucible nor the refiner has had it.
    pub(super) fn condemned(&self, piece: PieceId) -> Result<&Piece, Refusal> {
        let row = self.known_piece(piece)?;
        if let Some(melt) = row.remelted {
            return Err(Refusal::AlreadyRemelted { piece, melt });
        }
        if row.state != PieceState::Condemned {
            return Err(Refusal::NotCondemned {
                piece,
                state: row.state,
            });
        }
        Ok(row)
    }

    fn draw_from_lot(
        &self,
        session: SessionId,
        metal: Metal,
        lot: LotId,
        mass: &Reading,
    ) -> Result<Part, Refusal> {
        let row = self.known_lot(lot)?;
        if row.metal != metal && row.metal.is_precious() {
            return Err(Refusal::WrongMetal {
                found: row.metal,
                wanted: metal,
            });
        }
        self.weighed(session, mass)?;
        if mass.mass() > row.left {
            return Err(Refusal::LotOverdrawn {
                lot,
                left: row.left,
                asked: mass.mass(),
            });
        }
        if row.metal == metal {
            Ok(Part {
                fineness: row.fineness,
                basis: Some(row.basis),
            })
        } else {
            Ok(Part {
                fineness: Fineness::ZERO,
                basis: None,
            })
        }
    }

    /// The whole heel of a melt, as it would go into another.
    pub(in crate::domain) fn heel_input(&self, melt: MeltId) -> Result<MeltInput, Refusal> {
        let mass = self.reckon_heel(melt)?;
        Ok(MeltInput::Heel { melt, mass })
    }

    /// All that a jar holds, as it would go into a melt.
    pub(in crate::domain) fn jar_input(&self, jar: JarId, mass: &Reading) -> Result<MeltInput, Refusal> {
        Ok(MeltInput::Jar {
            jar,
            mass: mass.clone(),
            holds: self.known_jar(jar)?.holds.clone(),
        })
    }

    /// A piece at its last reading, as it would go into a melt.
    pub(in crate::domain) fn piece_input(&self, piece: PieceId) -> Result<MeltInput, Refusal> {
        let row = self.known_piece(piece)?;
        let mass = row.mass().ok_or(Refusal::NotWeighed)?;
        Ok(MeltInput::Piece {
            piece,
            melt: row.melt,
            mass,
        })
    }

    /// The heel of a closed melt that no other melt took.
    pub(in crate::domain) fn reckon_heel(&self, melt: MeltId) -> Result<Mass, Refusal> {
        let row = self.closed_melt(melt)?;
        match (row.heel, row.heel_taken) {
            (Some(heel), None) if !heel.is_zero() => Ok(heel),
            _ => Err(Refusal::NoHeel { melt }),
        }
    }

    fn part_of_melt(&self, metal: Metal, melt: MeltId) -> Result<Part, Refusal> {
        let row = self.known_melt(melt)?;
        if row.metal != metal {
            return Err(Refusal::WrongMetal {
                found: row.metal,
                wanted: metal,
            });
        }
        Ok(Part {
            fineness: row.reckoned_fineness(),
            basis: Some(row.basis),
        })
    }

    /// Takes an input out of where it was.
    fn consume(&mut self, melt: MeltId, input: &MeltInput) -> Result<(), Refusal> {
        match input {
            MeltInput::Lot { lot, mass } => {
                let mut row = self.known_lot(*lot)?.clone();
                let (left, asked) = (row.left, mass.mass());
                row.left = left.checked_sub(asked).ok_or(Refusal::LotOverdrawn {
                    lot: *lot,
                    left,
                    asked,
                })?;
                self.lots.put(*lot, row);
            }
            MeltInput::Heel { melt: from, .. } => {
                let row = Melt {
                    heel_taken: Some(melt),
                    ..self.known_melt(*from)?.clone()
                };
                self.melts.put(*from, row);
            }
            MeltInput::Jar { jar, .. } => {
                let mut row = self.known_jar(*jar)?.clone();
                row.holds.clear();
                row.mass = Mass::ZERO;
                row.readings = 0;
                self.jars.put(*jar, row);
            }
            MeltInput::Piece { piece, .. } => self.owe(Owed::Remelting { piece: *piece, melt })?,
        }
        Ok(())
    }

    /// A melt into which one may still pour.
    pub(super) fn open_melt(&self, melt: MeltId) -> Result<&Melt, Refusal> {
        let row = self.known_melt(melt)?;
        if row.state == MeltState::Open {
            Ok(row)
        } else {
            Err(Refusal::MeltClosed { melt })
        }
    }

    /// A melt that is weighed out.
    pub(super) fn closed_melt(&self, melt: MeltId) -> Result<&Melt, Refusal> {
        let row = self.known_melt(melt)?;
        if row.state == MeltState::Closed {
            Ok(row)
        } else {
            Err(Refusal::MeltStillOpen { melt })
        }
    }
}

impl Melt {
    /// At what its metal is reckoned when it goes on, parts per thousand: as declared, or what an assay office found if
    /// that is lower.
    #[must_use]
    pub fn reckoned_fineness(&self) -> Fineness {
        self.assayed
            .map_or(self.fineness, |found| found.min(self.fineness))
    }
}
