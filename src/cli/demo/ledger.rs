//! What really happened in the invented workshop, kept apart from the book: true masses, states, numbers and who has what,
//! to which tests hold the book.
//!
//! It is written while the story is told, by the people in it, with plain sums: nothing here is read from the book.
//! Deliberately absent: rules. What the story does wrong, the book refuses.

use crate::cli::Failure;
use crate::domain::{
    CondemnReason, JarId, LotId, MeltId, OwnerId, PieceId, PieceState, Residue, SeriesId, Shape,
};
use crate::metal::Metal;
use std::collections::{BTreeMap, BTreeSet};

/// Who has a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holder {
    /// The workshop.
    Workshop,
    /// The assay office.
    Office,
    /// Somebody who carries it to its buyer.
    Carrier,
    /// A buyer, by name.
    Buyer(&'static str),
    /// Nobody who would say so.
    Unknown,
    /// Nobody: it is no piece any more.
    Gone,
}

/// What became of one piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fate {
    /// The metal.
    pub metal: Metal,
    /// The melt that it was poured from.
    pub melt: MeltId,
    /// The series it is in now.
    pub series: SeriesId,
    /// Its shape.
    pub shape: Shape,
    /// What it weighs, in steps of 10 micrograms.
    pub mass: i64,
    /// Where it is in its life.
    pub state: PieceState,
    /// Who has it.
    pub holder: Holder,
    /// Its edition number.
    pub number: Option<u32>,
    /// How many certificates were issued for it.
    pub certificates: u32,
    /// What it was before it was stolen.
    pub before: Option<(PieceState, Holder)>,
    /// Why it was given up.
    pub condemned: Option<CondemnReason>,
    /// The order of its birth, from 0.
    pub birth: usize,
}

/// Metal in one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    /// The metal.
    pub metal: Metal,
    /// Steps of 10 micrograms.
    pub mass: i64,
}

/// Where the metal of one kind went for good, in steps of 10 micrograms.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flows {
    /// Came in as lots.
    pub received: i64,
    /// Base metal that went into its melts.
    pub alloyed_in: i64,
    /// What of it went into melts of another metal.
    pub alloyed_out: i64,
    /// Fume, flux and spill.
    pub melt_loss: i64,
    /// Poured, and never written down.
    pub untold: i64,
    /// Taken out of jars by somebody who did not say so, and missed when the jar was emptied.
    pub taken_from_jars: i64,
    /// The same, missed when stock was taken.
    pub missed_by_count: i64,
    /// Spilt and lost, and found when stock was taken.
    pub found_by_count: i64,
    /// What the assay office scraped off.
    pub assay_loss: i64,
    /// Worn off pieces while a buyer had them: a variance of weighing in the book.
    pub worn: i64,
    /// Sent to the refiner and not accounted for.
    pub at_refiner: i64,
    /// Kept by the refiner and paid for.
    pub settled: i64,
    /// Sent to the refiner less what came back or was paid for.
    pub refining_loss: i64,
}

/// True masses in steps of 10 micrograms, and counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// What flowed in and out, by metal.
    pub flows: BTreeMap<Metal, Flows>,
    /// What is left of each lot.
    pub lots: BTreeMap<LotId, Held>,
    /// Heels that no melt has taken.
    pub heels: BTreeMap<MeltId, Held>,
    /// What each jar holds, sweepings not counted.
    pub jars: BTreeMap<JarId, (Residue, Held)>,
    /// Every piece that ever was.
    pub pieces: BTreeMap<PieceId, Fate>,
    /// What pieces that were weighed in water weigh for their size, in 0.00001 g/cm3.
    pub densities: BTreeMap<PieceId, i64>,
    /// What each melt lost in fume, flux and spill, in order.
    pub melt_losses: Vec<i64>,
    /// Of each melt, what was poured from it and never written down.
    pub untold: BTreeMap<MeltId, i64>,
    /// The customers whose metal is in each melt.
    pub customers: BTreeMap<MeltId, BTreeSet<OwnerId>>,
    /// Whose metal a lot is, where it is a customer's.
    pub brought: BTreeMap<LotId, OwnerId>,
    /// Edition numbers given, by series and shape.
    pub numbers: BTreeMap<(SeriesId, Shape), u32>,
    /// Pieces promised and not yet sold, by series and shape.
    pub promised: BTreeMap<(SeriesId, Shape), u32>,
    /// Series that are closed.
    pub closed: Vec<SeriesId>,
    /// Pieces of which an assay office gave warning, since a melt-mate was refused.
    pub warned: Vec<PieceId>,
    /// Entries that the story made, the founding ones not counted.
    pub entries: u64,
    /// Checks of the scale that failed.
    pub failed_checks: u32,
    /// Entries that were corrected because somebody asked for it.
    pub corrected: u32,
    /// Private members that somebody asked to erase.
    pub erased: u32,
}

impl Ledger {
    /// What flowed of one metal.
    pub fn flow(&mut self, metal: Metal) -> &mut Flows {
        self.flows.entry(metal).or_default()
    }

    /// A lot came in.
    pub fn receive(&mut self, lot: LotId, metal: Metal, mass: i64) {
        self.flow(metal).received += mass;
        self.lots.insert(lot, Held { metal, mass });
    }

    /// Takes metal from a lot.
    pub fn draw(&mut self, lot: LotId, mass: i64) {
        if let Some(held) = self.lots.get_mut(&lot) {
            held.mass -= mass;
        }
    }

    /// What is left of a lot.
    #[must_use]
    pub fn left(&self, lot: LotId) -> i64 {
        self.lots.get(&lot).map_or(0, |held| held.mass)
    }

    /// Stock was taken: what is missing from a jar is known to be missing, and metal that was lost is a lot.
    pub fn count(&mut self, metal: Metal, missing: i64, found: (LotId, i64)) {
        let flow = self.flow(metal);
        flow.taken_from_jars -= missing;
        flow.missed_by_count += missing;
        let (lot, mass) = found;
        flow.found_by_count += mass;
        self.lots.insert(lot, Held { metal, mass });
    }

    /// Residue goes into a jar.
    pub fn fill(&mut self, jar: JarId, mass: i64) {
        if let Some((_, held)) = self.jars.get_mut(&jar) {
            held.mass += mass;
        }
    }

    /// What a jar holds.
    #[must_use]
    pub fn in_jar(&self, jar: JarId) -> i64 {
        self.jars.get(&jar).map_or(0, |(_, held)| held.mass)
    }

    /// What jars of one kind hold together.
    #[must_use]
    pub fn in_jars(&self, metal: Metal, residue: Residue) -> i64 {
        let jars = self.jars.values();
        jars.filter(|(kind, held)| *kind == residue && held.metal == metal)
            .map(|(_, held)| held.mass)
            .sum()
    }

    /// The pieces in a state, in the order of their birth.
    #[must_use]
    pub fn pieces_in(&self, state: PieceState) -> Vec<PieceId> {
        let mut pieces: Vec<(usize, PieceId)> = self
            .pieces
            .iter()
            .filter(|(_, fate)| fate.state == state)
            .map(|(piece, fate)| (fate.birth, *piece))
            .collect();
        pieces.sort_unstable();
        pieces.into_iter().map(|(_, piece)| piece).collect()
    }

    /// The piece in stock that comes next: lowest number first, then the oldest.
    pub(super) fn in_stock(&self, series: SeriesId, shape: Option<&Shape>) -> Result<PieceId, Failure> {
        self.pieces
            .iter()
            .filter(|(_, fate)| fate.state == PieceState::Certified && fate.series == series)
            .filter(|(_, fate)| shape.is_none_or(|shape| fate.shape == *shape))
            .min_by_key(|(_, fate)| (fate.number, fate.birth))
            .map(|(piece, _)| *piece)
            .ok_or_else(|| Failure::unusable("the story finds no such piece in stock"))
    }

    /// What a piece weighs.
    #[must_use]
    pub fn weighs(&self, piece: PieceId) -> i64 {
        self.pieces.get(&piece).map_or(0, |fate| fate.mass)
    }

    /// Changes what is known of a piece.
    pub fn change(&mut self, piece: PieceId, change: impl FnOnce(&mut Fate)) {
        if let Some(fate) = self.pieces.get_mut(&piece) {
            change(fate);
        }
    }

    /// A piece goes on: another state, and somebody has it.
    pub fn go(&mut self, piece: PieceId, state: PieceState, holder: Holder) {
        self.change(piece, |fate| {
            fate.state = state;
            fate.holder = holder;
        });
    }

    /// The numbers of a shape whose pieces are gone, ascending.
    #[must_use]
    pub fn burned(&self, series: SeriesId, shape: &Shape) -> Vec<u32> {
        let gone = |fate: &&Fate| {
            fate.holder == Holder::Gone || fate.holder == Holder::Unknown || fate.condemned.is_some()
        };
        let pieces = self.pieces.values();
        let mut burned: Vec<u32> = pieces
            .filter(|fate| fate.series == series && fate.shape == *shape)
            .filter(gone)
            .filter_map(|fate| fate.number)
            .collect();
        burned.sort_unstable();
        burned
    }

    /// How many pieces went back into a crucible.
    #[must_use]
    pub fn remelted(&self) -> usize {
        self.pieces_in(PieceState::Remelted).len()
    }

    /// One line for whoever ran the command.
    #[must_use]
    pub fn summary(&self) -> String {
        let certified = self.pieces.values().filter(|fate| fate.certificates > 0);
        let gone = self.remelted();
        format!(
            "{} entries: {} melts, {} pieces ({} certified), {gone} remelted",
            self.entries,
            self.melt_losses.len(),
            self.pieces.len() - gone,
            certified.count(),
        )
    }
}
