//! Where every gram is: what came in held against what is there and what was lost, per metal, in grams and fine grams.
//!
//! The statement is reckoned from the rows alone. Losses are differences of readings and never typed, so the statement
//! adds up by itself as long as no rule forgets metal: its difference is a test of the rules, and zero always.
//!
//! What left the workshop as pieces stays in the statement by their states: at the assay office, kept there or missing,
//! with customers, lost, stolen, destroyed. What went to the refiner is at the refiner until it is accounted for; then
//! it is an outturn (a lot, and no receipt), was settled, or is a refining loss. In grams that loss is mostly base metal
//! that was parted off; in fine grams it is what the refining cost, with what the refiner's assay says other than was
//! declared. Sweepings bring no metal into the statement; what a refiner finds in them is a refining loss below zero.
//! A stock-take's variance is what it found missing (below zero: more than the book said); metal that it found is a lot
//! and no receipt. Deliberately absent: whose metal it is.

use super::{Book, Jar, Melt, Piece, Refining};
use crate::domain::{JarShare, MeltId, MeltInput, MeltState, PieceState, RefiningState, Residue, Stage};
use crate::metal::{FineMass, Fineness, Mass, MassDifference, Metal};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Metal, and the fine metal in it as declared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amount {
    /// Grams.
    pub mass: MassDifference,
    /// Fine grams.
    pub fine: FineMass,
}

/// The pieces in one state.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StateMass {
    /// The state.
    pub state: PieceState,
    /// How many.
    pub count: u64,
    /// What they weigh by their last readings.
    pub amount: Amount,
}

/// Where the metal of one kind is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MassStatement {
    /// The metal.
    pub metal: Metal,
    /// Lots, as they were weighed when they came in; an outturn is none, and found metal is none.
    pub received: Amount,
    /// Alloy metal that went into melts of this metal; no fine metal comes with it.
    pub alloyed_in: Amount,
    /// Of an alloy metal: what went into melts of other metals.
    pub alloyed_out: Amount,
    /// What lots still hold, outturns among them.
    pub unmelted: Amount,
    /// Heels that no melt has taken.
    pub heels: Amount,
    /// In open melts, less what was weighed from the mould.
    pub crucible: Amount,
    /// Prills in jars.
    pub prills: Amount,
    /// Lemel in jars.
    pub lemel: Amount,
    /// Sweeps in jars: nothing, since their weight is no metal in the book.
    pub sweeps: Amount,
    /// Pieces by state; a remelted piece has gone on into its melt, a refined one to the refiner.
    pub pieces: Vec<StateMass>,
    /// Charges less what came out of them.
    pub melt_loss: Amount,
    /// What jars were short of when they were emptied.
    pub finishing_loss: Amount,
    /// What the assay office took off pieces.
    pub assay_loss: Amount,
    /// Sent to the refiner, and not accounted for yet.
    pub at_refiner: Amount,
    /// What refiners kept and paid for, at their assay.
    pub settled: Amount,
    /// What went to refiners less what came back and what was settled; below zero where sweeps brought more, or where an
    /// outturn was alloyed afresh.
    pub refining_loss: Amount,
    /// Pieces that were weighed again and showed another mass, without anything filed off or taken at the office.
    pub weighing_variance: Amount,
    /// What stock-takes found missing of lots, heels and in jars; below zero what they found more, or found at all.
    pub stocktake_variance: Amount,
    /// Fine metal that a rounding down gave up: of blends to 0.1 parts per thousand, of residues to their jar's fineness.
    pub revaluation: FineMass,
}

/// A sum under way: steps of 10 micrograms, and picograms of fine metal.
#[derive(Clone, Copy, Default)]
struct Sum {
    units: i128,
    picograms: i128,
}

impl Sum {
    fn add(&mut self, units: i64, fineness: Fineness) {
        let units = i128::from(units);
        self.units = self.units.saturating_add(units);
        self.picograms = self
            .picograms
            .saturating_add(units * i128::from(fineness.units()));
    }

    fn add_mass(&mut self, mass: Mass, fineness: Fineness) {
        self.add(mass.units(), fineness);
    }

    fn add_sum(&mut self, other: Self) {
        self.units = self.units.saturating_add(other.units);
        self.picograms = self.picograms.saturating_add(other.picograms);
    }

    fn less(&mut self, other: Self) {
        self.units = self.units.saturating_sub(other.units);
        self.picograms = self.picograms.saturating_sub(other.picograms);
    }

    fn amount(self) -> Option<Amount> {
        Some(Amount {
            mass: MassDifference::from_units(i64::try_from(self.units).ok()?)?,
            fine: FineMass::from_picograms(self.picograms)?,
        })
    }
}

impl From<Amount> for Sum {
    fn from(amount: Amount) -> Self {
        Self {
            units: i128::from(amount.mass.units()),
            picograms: amount.fine.picograms(),
        }
    }
}

/// The accounts of one metal under way.
#[derive(Default)]
struct Accounts {
    received: Sum,
    alloyed_in: Sum,
    alloyed_out: Sum,
    unmelted: Sum,
    heels: Sum,
    crucible: Sum,
    residues: BTreeMap<Residue, Sum>,
    pieces: BTreeMap<PieceState, (u64, Sum)>,
    melt_loss: Sum,
    finishing_loss: Sum,
    assay_loss: Sum,
    at_refiner: Sum,
    settled: Sum,
    refining_loss: Sum,
    weighing_variance: Sum,
    stocktake_variance: Sum,
    revaluation: i128,
}

impl Book {
    /// Where all metal of one kind is. It looks at every row. `None` beyond the largest mass that can be written.
    #[must_use]
    pub fn masses(&self, metal: Metal) -> Option<MassStatement> {
        let mut accounts = Accounts::default();
        for lot in self.lots().filter(|lot| lot.metal == metal) {
            if lot.outturn_of.is_none() && lot.found_in.is_none() {
                accounts.received.add_mass(lot.mass.mass(), lot.fineness);
            }
            accounts.unmelted.add_mass(lot.left, lot.fineness);
            accounts.stocktake_variance.add_sum(lot.variance.into());
        }
        for melt in self.melts() {
            self.add_inputs(&mut accounts, metal, melt);
            if melt.metal == metal {
                add_melt(&mut accounts, melt);
            }
        }
        for jar in self.jars().filter(|jar| jar.metal == metal) {
            accounts
                .residues
                .entry(jar.residue)
                .or_default()
                .add_mass(jar.mass, jar.fineness);
            // What was counted as missing went in as well.
            let held = jar.holds.iter().map(|share| (share.melt, share.mass.units()));
            let missing = jar.missing.iter().map(|share| (share.melt, share.mass.units()));
            self.revalue(&mut accounts, jar, held.chain(missing));
            accounts.stocktake_variance.add_sum(jar.variance.into());
        }
        for refining in self.refinings().filter(|refining| refining.metal == metal) {
            self.add_refining(&mut accounts, refining);
        }
        for piece in self.pieces() {
            if let Some(melt) = self.melt(piece.melt).filter(|melt| melt.metal == metal) {
                add_piece(&mut accounts, melt, piece);
            }
        }
        accounts.statement(metal)
    }

    /// What went into a melt: alloy metal out of its own account, jars' shortfalls, and the rounding of the blend.
    fn add_inputs(&self, accounts: &mut Accounts, metal: Metal, melt: &Melt) {
        let mut whole = Sum::default();
        for input in &melt.inputs {
            let mass = input.mass();
            let fineness = match input {
                MeltInput::Lot { lot, .. } => match self.lot(*lot) {
                    Some(lot) if lot.metal == melt.metal => lot.fineness,
                    Some(lot) => {
                        if lot.metal == metal {
                            accounts.alloyed_out.add_mass(mass, lot.fineness);
                        }
                        if melt.metal == metal {
                            accounts.alloyed_in.add_mass(mass, Fineness::ZERO);
                        }
                        Fineness::ZERO
                    }
                    None => Fineness::ZERO,
                },
                MeltInput::Heel { melt: from, .. } | MeltInput::Piece { melt: from, .. } => {
                    self.melt(*from).map_or(Fineness::ZERO, |from| from.fineness)
                }
                MeltInput::Jar { jar, holds, .. } => match self.jar(*jar) {
                    Some(jar) => {
                        if melt.metal == metal {
                            self.add_emptied(accounts, jar, holds, mass);
                        }
                        jar.fineness
                    }
                    None => Fineness::ZERO,
                },
            };
            whole.add_mass(mass, fineness);
        }
        if melt.metal == metal {
            whole.add(-melt.charge.units(), melt.fineness);
            accounts.revaluation = accounts.revaluation.saturating_add(whole.picograms);
        }
    }

    /// A jar that was emptied: what it was short of, and what its content was worth more than its jar says.
    fn add_emptied(&self, accounts: &mut Accounts, jar: &Jar, holds: &[JarShare], weighed: Mass) {
        for share in holds {
            accounts.finishing_loss.add_mass(share.mass, jar.fineness);
        }
        accounts.finishing_loss.add(-weighed.units(), jar.fineness);
        let held = holds.iter().map(|share| (share.melt, share.mass.units()));
        self.revalue(accounts, jar, held);
    }

    /// Residue is reckoned at its jar's fineness, at most its melt's, from when it goes in; each mass in steps of 10 micrograms.
    fn revalue(&self, accounts: &mut Accounts, jar: &Jar, shares: impl Iterator<Item = (MeltId, i64)>) {
        for (melt, units) in shares {
            let of_melt = self.melt(melt).map_or(jar.fineness, |melt| melt.fineness);
            let mut difference = Sum::default();
            difference.add(units, of_melt);
            difference.add(-units, jar.fineness);
            accounts.revaluation = accounts.revaluation.saturating_add(difference.picograms);
        }
    }

    /// What was sent is at the refiner; once it is accounted for, what is neither an outturn nor settled is lost.
    fn add_refining(&self, accounts: &mut Accounts, refining: &Refining) {
        let mut sent = Sum::default();
        for emptied in &refining.jars {
            let jar = self.jar(emptied.jar);
            if let Some(jar) = jar.filter(|jar| jar.residue != Residue::Sweeps) {
                self.add_emptied(accounts, jar, &emptied.holds, emptied.mass.mass());
                sent.add_mass(emptied.mass.mass(), jar.fineness);
            }
        }
        for piece in &refining.pieces {
            let melt = self.piece(piece.piece).and_then(|row| self.melt(row.melt));
            sent.add_mass(piece.mass, melt.map_or(Fineness::ZERO, |melt| melt.fineness));
        }
        if refining.state == RefiningState::AtRefiner {
            accounts.at_refiner.add_sum(sent);
            return;
        }
        if let Some(lot) = refining.outturn.and_then(|lot| self.lot(lot)) {
            sent.add(-lot.mass.mass().units(), lot.fineness);
        }
        if let Some(settled) = &refining.settled {
            accounts.settled.add_mass(settled.mass, settled.fineness);
            sent.add(-settled.mass.units(), settled.fineness);
        }
        accounts.refining_loss.add_sum(sent);
    }
}

fn add_melt(accounts: &mut Accounts, melt: &Melt) {
    match melt.state {
        MeltState::Open => accounts.crucible.add_mass(melt.charge, melt.fineness),
        MeltState::Closed => {
            if let (Some(heel), None) = (melt.heel, melt.heel_taken) {
                accounts.heels.add_mass(heel, melt.fineness);
            }
            accounts.stocktake_variance.add_sum(melt.variance.into());
            if let Some(loss) = melt.loss {
                accounts.melt_loss.add(loss.units(), melt.fineness);
            }
        }
    }
}

fn add_piece(accounts: &mut Accounts, melt: &Melt, piece: &Piece) {
    let mass = piece.mass().unwrap_or(Mass::ZERO);
    if !matches!(piece.state, PieceState::Remelted | PieceState::Refined) {
        let (count, sum) = accounts.pieces.entry(piece.state).or_default();
        *count = count.saturating_add(1);
        sum.add_mass(mass, melt.fineness);
    }
    if melt.state == MeltState::Open {
        accounts.crucible.add(-mass.units(), melt.fineness);
        return;
    }
    let from_mould = piece
        .readings
        .iter()
        .rfind(|reading| reading.stage == Stage::FromMould);
    if let Some(from_mould) = from_mould {
        let variance = &mut accounts.weighing_variance;
        variance.add_mass(from_mould.mass.mass(), melt.fineness);
        variance.add(-piece.filed.units(), melt.fineness);
        variance.add(-mass.units(), melt.fineness);
        variance.add(-piece.assay_loss.units(), melt.fineness);
        accounts.assay_loss.add(piece.assay_loss.units(), melt.fineness);
    }
}

impl Accounts {
    fn statement(self, metal: Metal) -> Option<MassStatement> {
        let residue = |kind| self.residues.get(&kind).copied().unwrap_or_default().amount();
        Some(MassStatement {
            metal,
            received: self.received.amount()?,
            alloyed_in: self.alloyed_in.amount()?,
            alloyed_out: self.alloyed_out.amount()?,
            unmelted: self.unmelted.amount()?,
            heels: self.heels.amount()?,
            crucible: self.crucible.amount()?,
            prills: residue(Residue::Prills)?,
            lemel: residue(Residue::Lemel)?,
            sweeps: residue(Residue::Sweeps)?,
            pieces: self
                .pieces
                .iter()
                .map(|(state, (count, sum))| {
                    Some(StateMass {
                        state: *state,
                        count: *count,
                        amount: sum.amount()?,
                    })
                })
                .collect::<Option<_>>()?,
            melt_loss: self.melt_loss.amount()?,
            finishing_loss: self.finishing_loss.amount()?,
            assay_loss: self.assay_loss.amount()?,
            at_refiner: self.at_refiner.amount()?,
            settled: self.settled.amount()?,
            refining_loss: self.refining_loss.amount()?,
            weighing_variance: self.weighing_variance.amount()?,
            stocktake_variance: self.stocktake_variance.amount()?,
            revaluation: FineMass::from_picograms(self.revaluation)?,
        })
    }
}

impl MassStatement {
    /// What came in less all that is there and all that was lost: zero, always. `None` beyond what can be written.
    #[must_use]
    pub fn difference(&self) -> Option<Amount> {
        let mut sum = Sum::default();
        let places = [
            self.alloyed_out,
            self.unmelted,
            self.heels,
            self.crucible,
            self.prills,
            self.lemel,
            self.sweeps,
            self.melt_loss,
            self.finishing_loss,
            self.assay_loss,
            self.at_refiner,
            self.settled,
            self.refining_loss,
            self.weighing_variance,
            self.stocktake_variance,
        ];
        for came_in in [self.received, self.alloyed_in].map(Sum::from) {
            sum.add_sum(came_in);
        }
        for place in places
            .into_iter()
            .chain(self.pieces.iter().map(|pieces| pieces.amount))
            .map(Sum::from)
        {
            sum.less(place);
        }
        sum.picograms -= self.revaluation.picograms();
        sum.amount()
    }
}
