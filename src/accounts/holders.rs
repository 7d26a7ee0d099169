//! Everything that holds metal, or was lost or handed over with it: each with its mass and what it is of.
//!
//! For every lot the masses of it in all holders are what was received of it: to the last digit, since losses are
//! differences of readings and may be below zero. An outturn is no receipt: its metal stands here as what it is, and what
//! its refiner lost or settled stands beside it.
//! Deliberately absent: what anything cost.

mod place;

pub use place::Place;

use super::exact;
use super::mixture::Mixture;
use super::refined::Refined;
use super::shares::{Origin, Shares};
use crate::domain::{
    Book, JarShare, LotId, Melt, MeltId, MeltInput, MeltState, Piece, PieceState, Refining, RefiningId,
    RefiningState, Residue, Stage,
};
use crate::metal::{Mass, Metal};
use num_rational::BigRational;
use num_traits::Zero as _;
use std::collections::BTreeMap;

/// What a holder's metal is of.
#[derive(Clone, Debug)]
pub enum Content {
    /// One lot.
    Lot(LotId),
    /// One melt.
    Melt(MeltId),
    /// What a jar holds, or held.
    Jar(Vec<JarShare>),
    /// What was sent to a refiner.
    Sent(RefiningId),
    /// What a refiner settled.
    Settled(RefiningId),
    /// What was sent to a refiner less what came back and was settled.
    RefiningLoss(RefiningId),
}

/// One holder of metal.
#[derive(Clone, Debug)]
pub struct Holder {
    /// Where.
    pub place: Place,
    /// Which metal its fineness speaks of.
    pub metal: Metal,
    /// How much, in steps of 10 micrograms; a loss may be below zero.
    pub units: i64,
    /// Of what.
    pub content: Content,
}

/// Every holder of a book whose mass is not zero, in the order of the places and of the log.
#[must_use]
pub fn holders(book: &Book) -> Vec<Holder> {
    let mut found = Found {
        book,
        holders: Vec::new(),
    };
    for lot in in_order(book.lots(), |lot| (lot.since, lot.lot.0)) {
        let (id, content) = (lot.lot, Content::Lot(lot.lot));
        found.add(
            Place::Unmelted { lot: id },
            lot.metal,
            lot.left.units(),
            content.clone(),
        );
        let missing = lot.variance.mass.units();
        found.add(Place::LotVariance { lot: id }, lot.metal, missing, content);
    }
    for melt in in_order(book.melts(), |melt| (melt.since, melt.melt.0)) {
        found.add_melt(melt);
    }
    for jar in in_order(book.jars(), |jar| (jar.since, jar.jar.0)) {
        let content = Content::Jar(jar.holds.clone());
        found.add(Place::Jar { jar: jar.jar }, jar.metal, jar.mass.units(), content);
        for missing in &jar.missing {
            let (jar_id, melt) = (jar.jar, missing.melt);
            let place = Place::JarVariance { jar: jar_id, melt };
            found.add(place, jar.metal, missing.mass.units(), Content::Melt(melt));
        }
    }
    for piece in in_order(book.pieces(), |piece| (piece.since, piece.pour.clone())) {
        found.add_piece(piece);
    }
    for refining in in_order(book.refinings(), |refining| (refining.since, refining.refining.0)) {
        found.add_refining(refining);
    }
    found.holders
}

fn in_order<'a, T, K: Ord>(rows: impl Iterator<Item = &'a T>, key: impl Fn(&T) -> K) -> Vec<&'a T> {
    let mut rows: Vec<&T> = rows.collect();
    rows.sort_by_cached_key(|row| key(row));
    rows
}

struct Found<'a> {
    book: &'a Book,
    holders: Vec<Holder>,
}

impl Found<'_> {
    fn add(&mut self, place: Place, metal: Metal, units: i64, content: Content) {
        if units != 0 {
            self.holders.push(Holder {
                place,
                metal,
                units,
                content,
            });
        }
    }

    fn add_melt(&mut self, melt: &Melt) {
        for input in &melt.inputs {
            if let MeltInput::Jar { jar, mass, holds } = input {
                let (jar, melt_id) = (*jar, melt.melt);
                let place = Place::JarLoss { jar, melt: melt_id };
                self.add_shortfall(place, melt.metal, holds, mass.mass());
            }
        }
        let id = melt.melt;
        match melt.state {
            MeltState::Open => {
                let pieces = melt
                    .pieces
                    .iter()
                    .filter_map(|piece| self.book.piece(*piece)?.mass());
                let poured = pieces.map(Mass::units).fold(0_i64, i64::saturating_add);
                let left = melt.charge.units().saturating_sub(poured);
                self.add(Place::Crucible { melt: id }, melt.metal, left, Content::Melt(id));
            }
            MeltState::Closed => {
                if let (Some(heel), None) = (melt.heel, melt.heel_taken) {
                    self.add(
                        Place::Heel { melt: id },
                        melt.metal,
                        heel.units(),
                        Content::Melt(id),
                    );
                }
                let missing = melt.variance.mass.units();
                let place = Place::HeelVariance { melt: id };
                self.add(place, melt.metal, missing, Content::Melt(id));
                let loss = melt.loss.map_or(0, |loss| loss.units());
                self.add(Place::MeltLoss { melt: id }, melt.metal, loss, Content::Melt(id));
            }
        }
    }

    /// What a jar should have held less what was weighed out of it.
    fn add_shortfall(&mut self, place: Place, metal: Metal, holds: &[JarShare], weighed: Mass) {
        let held = holds.iter().map(|share| share.mass.units());
        let held = held.fold(0_i64, i64::saturating_add);
        let short = held.saturating_sub(weighed.units());
        self.add(place, metal, short, Content::Jar(holds.to_vec()));
    }

    fn add_piece(&mut self, row: &Piece) {
        let Some(melt) = self.book.melt(row.melt) else {
            return;
        };
        let (piece, state, metal) = (row.piece, row.state, melt.metal);
        let mass = row.mass().map_or(0, Mass::units);
        if !matches!(state, PieceState::Remelted | PieceState::Refined) {
            let place = Place::Piece { piece, state };
            self.add(place, metal, mass, Content::Melt(melt.melt));
        }
        let from_mould = row
            .readings
            .iter()
            .rfind(|reading| reading.stage == Stage::FromMould);
        if let (MeltState::Closed, Some(from_mould)) = (melt.state, from_mould) {
            let off = row.assay_loss.units();
            let gone = [row.filed.units(), mass, off].into_iter();
            let varied = gone.fold(from_mould.mass.mass().units(), i64::saturating_sub);
            let content = Content::Melt(melt.melt);
            self.add(Place::AssayLoss { piece }, metal, off, content.clone());
            self.add(Place::WeighingVariance { piece }, metal, varied, content);
        }
    }

    fn add_refining(&mut self, row: &Refining) {
        let (refining, metal) = (row.refining, row.metal);
        for sent in &row.jars {
            let jar = self.book.jar(sent.jar);
            if jar.is_some_and(|jar| jar.residue != Residue::Sweeps) {
                let jar = sent.jar;
                let place = Place::SentJarLoss { jar, refining };
                self.add_shortfall(place, metal, &sent.holds, sent.mass.mass());
            }
        }
        if row.state == RefiningState::AtRefiner {
            let place = Place::AtRefiner { refining };
            self.add(place, metal, row.mass.units(), Content::Sent(refining));
            return;
        }
        let settled = row.settled.as_ref().map_or(0, |settled| settled.mass.units());
        let place = Place::Settled { refining };
        self.add(place, metal, settled, Content::Settled(refining));
        // What was lost may be nothing in grams, and still be something of one lot and less than nothing of another.
        self.holders.push(Holder {
            place: Place::RefiningLoss { refining },
            metal,
            units: row.loss.map_or(0, |loss| loss.units()),
            content: Content::RefiningLoss(refining),
        });
    }
}

/// Masses by the receipts behind them, steps of mass; `None` is what is not traced.
pub type ByOrigin = BTreeMap<Option<Origin>, BigRational>;

impl Content {
    /// What it is of, by lot; none for a refining that came back, which is told by what it took in and gave out.
    #[must_use]
    pub fn mixture(&self, book: &Book, shares: &Shares) -> Option<Mixture<LotId>> {
        match self {
            Self::Lot(lot) => Some(Mixture::of(*lot)),
            Self::Melt(melt) => shares.melt(*melt).map(|mixture| (**mixture).clone()),
            Self::Jar(holds) => shares.jar(holds),
            Self::Sent(refining) => shares.sent(book, book.refining(*refining)?),
            Self::Settled(_) | Self::RefiningLoss(_) => None,
        }
    }
}

impl Holder {
    /// Its mass by the receipts behind it, looked through outturns. The sum is its mass.
    #[must_use]
    pub fn by_origin(&self, book: &Book, shares: &Shares) -> ByOrigin {
        let mut sums = ByOrigin::new();
        match &self.content {
            Content::Settled(refining) => {
                if let Some(refined) = Refined::of(book, shares, *refining) {
                    add_all(&mut sums, &shares.look_through(&refined.brought), self.units);
                }
            }
            Content::RefiningLoss(refining) => {
                if let Some(refined) = Refined::of(book, shares, *refining) {
                    let origins = shares.look_through(&refined.brought);
                    add_all(&mut sums, &origins, refined.back.saturating_neg());
                    if let Some(sent) = &refined.sent {
                        add_all(&mut sums, &shares.origins(sent), refined.row.mass.units());
                    }
                }
            }
            mixed => {
                if let Some(mixture) = mixed.mixture(book, shares) {
                    add_all(&mut sums, &shares.origins(&mixture), self.units);
                }
            }
        }
        sums.retain(|_, units| !units.is_zero());
        sums
    }

    /// The fine metal in it, picograms: as its lots are declared, an outturn's and what was settled by the refiner's
    /// assay. A refining's loss is what was sent less what came back: what the refiner's assay says other than was
    /// declared is in it.
    #[must_use]
    pub fn fine(&self, book: &Book, shares: &Shares) -> BigRational {
        let refined = |refining: &RefiningId| Refined::of(book, shares, *refining);
        let fine = match &self.content {
            Content::Settled(refining) => refined(refining).map(|refined| refined.fine_settled),
            Content::RefiningLoss(refining) => {
                refined(refining).map(|refined| &refined.fine_sent - refined.fine_back())
            }
            mixed => mixed
                .mixture(book, shares)
                .map(|mixture| shares.fine(book, self.metal, &mixture, self.units)),
        };
        fine.unwrap_or_else(BigRational::zero)
    }
}

fn add_all(sums: &mut ByOrigin, mixture: &Mixture<Origin>, units: i64) {
    for (origin, share) in mixture.parts() {
        let sum = sums.entry(Some(origin)).or_insert_with(BigRational::zero);
        *sum += exact::times(&exact::part(share, mixture.whole()), units);
    }
    let sum = sums.entry(None).or_insert_with(BigRational::zero);
    *sum += exact::times(&mixture.untraced(), units);
}
