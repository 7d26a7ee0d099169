//! Forward: everything that holds metal of a lot, or of a melt, with its share and how much of it that is.
//!
//! A share above zero says that metal of it may be in there, by the well-mixed model of `shares`; it is never a plain
//! yes. Of a lot, an outturn counts by the fine metal that the lot brought; of a melt, by mass, as far as the refiner
//! accounted for no more than was sent. Deliberately absent: to whom a piece was sold (a private member of its sale).

use super::exact;
use super::holders::{Content, Holder, Place, holders};
use super::mixture::Mixture;
use super::refined::Refined;
use super::shares::{Origin, Shares, share_of, weight};
use crate::domain::{Book, JarShare, LotId, Melt, MeltId, MeltInput, RefiningId};
use num_bigint::BigUint;
use num_rational::BigRational;
use num_traits::{One as _, Zero as _};
use std::collections::HashMap;

/// What is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Metal of a lot.
    Lot(LotId),
    /// Metal that was in a melt.
    Melt(MeltId),
}

/// A holder in which there is some of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// Where.
    pub place: Place,
    /// All that is there, steps of 10 micrograms.
    pub units: i64,
    /// The share of it; none for the loss of a refining, which is a difference.
    pub share: Option<BigRational>,
    /// How much of it there is, steps of 10 micrograms.
    pub of_it: BigRational,
}

/// Every holder in which there is some of it, in the order of the places and of the log.
#[must_use]
pub fn recall(book: &Book, shares: &Shares, source: Source) -> Vec<Held> {
    let followed = match source {
        Source::Lot(lot) => Followed::lot(book, shares, lot),
        Source::Melt(melt) => Followed::melt(book, shares, melt),
    };
    let found = holders(book).into_iter();
    found.filter_map(|holder| followed.held(book, &holder)).collect()
}

/// The share of what is looked for in everything that metal was mixed in.
#[derive(Default)]
struct Followed {
    lots: HashMap<LotId, BigRational>,
    melts: HashMap<MeltId, BigRational>,
    sent: HashMap<RefiningId, BigRational>,
    brought: HashMap<RefiningId, BigRational>,
}

impl Followed {
    fn lot(book: &Book, shares: &Shares, lot: LotId) -> Self {
        let lots = shares.outturns_with(book, lot);
        let melts = book.melts().filter_map(|melt| {
            let share = share_of(shares.melt(melt.melt)?, &lots, Some);
            (!share.is_zero()).then_some((melt.melt, share))
        });
        let mut followed = Self {
            melts: melts.collect(),
            ..Self::default()
        };
        for refining in book.refinings() {
            let Some(refined) = Refined::of(book, shares, refining.refining) else {
                continue;
            };
            let brought = share_of(&refined.brought, &lots, |source| match source {
                Origin::Lot(lot) => Some(lot),
                Origin::Found(_) => None,
            });
            followed.brought.insert(refining.refining, brought);
            let sent = refined.sent.map(|sent| share_of(&sent, &lots, Some));
            followed.sent.insert(refining.refining, sent.unwrap_or_default());
        }
        followed.lots = lots;
        followed
    }

    /// Melt after melt in the order of the log, with outturns between them.
    fn melt(book: &Book, shares: &Shares, from: MeltId) -> Self {
        let mut followed = Self::default();
        let mut mixtures: HashMap<MeltId, Mixture<bool>> = HashMap::new();
        let mut melts: Vec<&Melt> = book.melts().collect();
        melts.sort_by_key(|melt| (melt.since, melt.melt));
        for melt in melts {
            let mixture = if melt.melt == from {
                Some(Mixture::of(true))
            } else {
                followed.charge(book, shares, &mixtures, melt)
            };
            if let Some(mixture) = mixture {
                let share = mixture.share(true);
                if !share.is_zero() {
                    followed.melts.insert(melt.melt, share);
                    mixtures.insert(melt.melt, mixture);
                }
            }
        }
        // Outturns that no melt took yet, and what was settled.
        for refining in book.refinings() {
            let brought = followed.refine(book, shares, refining.refining);
            followed.lots.extend(refining.outturn.map(|lot| (lot, brought)));
        }
        followed
    }

    /// The share in a charge, so that what is not from the melt counts as such and what was cut off stays so.
    fn charge(
        &mut self,
        book: &Book,
        shares: &Shares,
        mixtures: &HashMap<MeltId, Mixture<bool>>,
        melt: &Melt,
    ) -> Option<Mixture<bool>> {
        let not = Mixture::of(false);
        let of_melt = |melt: &MeltId| mixtures.get(melt).cloned().unwrap_or_else(|| not.clone());
        let mut inputs: Vec<(BigUint, Mixture<bool>)> = Vec::with_capacity(melt.inputs.len());
        for input in &melt.inputs {
            let mixture = match input {
                MeltInput::Lot { lot, .. } => self.outturn(book, shares, *lot),
                MeltInput::Heel { melt, .. } | MeltInput::Piece { melt, .. } => of_melt(melt),
                MeltInput::Jar { holds, .. } => {
                    let held = holds.iter();
                    let held: Vec<_> = held
                        .map(|share| (weight(share.mass), of_melt(&share.melt)))
                        .collect();
                    blend(&held, shares.bits())?
                }
            };
            inputs.push((weight(input.mass()), mixture));
        }
        blend(&inputs, shares.bits())
    }

    fn outturn(&mut self, book: &Book, shares: &Shares, lot: LotId) -> Mixture<bool> {
        let refining = book.lot(lot).and_then(|lot| lot.outturn_of);
        let share = refining.map(|refining| self.refine(book, shares, refining));
        let share = share.filter(|share| !share.is_zero());
        let Some(share) = share else {
            return Mixture::of(false);
        };
        self.lots.insert(lot, share.clone());
        let rest = share.denom() - share.numer();
        let (of_it, not) = (Mixture::of(true), Mixture::of(false));
        let parts = [
            (share.numer().magnitude().clone(), &of_it),
            (rest.magnitude().clone(), &not),
        ];
        Mixture::blend(&parts, shares.bits()).unwrap_or(not)
    }

    /// The share in what a refiner accounted for, by mass.
    fn refine(&mut self, book: &Book, shares: &Shares, refining: RefiningId) -> BigRational {
        if let Some(known) = self.brought.get(&refining) {
            return known.clone();
        }
        let Some(refined) = Refined::of(book, shares, refining) else {
            return BigRational::zero();
        };
        let mut sum = BigRational::zero();
        for sent in &refined.row.jars {
            sum += exact::times(&self.jar(&sent.holds), sent.mass.mass().units());
        }
        for sent in &refined.row.pieces {
            let share = book
                .piece(sent.piece)
                .and_then(|piece| self.melts.get(&piece.melt));
            sum += share.map_or_else(BigRational::zero, |share| exact::times(share, sent.mass.units()));
        }
        let sent = exact::over(&sum, &exact::whole(refined.row.mass.units())).unwrap_or_default();
        let covered = exact::over(&refined.fine_sent, &refined.fine_back()).unwrap_or_default();
        let brought = &sent * covered.min(BigRational::one());
        self.sent.insert(refining, sent);
        self.brought.insert(refining, brought.clone());
        brought
    }

    /// The share in what a jar holds, by what went in.
    fn jar(&self, holds: &[JarShare]) -> BigRational {
        let (mut of_it, mut all) = (BigRational::zero(), 0_i64);
        for share in holds {
            all = all.saturating_add(share.mass.units());
            if let Some(melt) = self.melts.get(&share.melt) {
                of_it += exact::times(melt, share.mass.units());
            }
        }
        exact::over(&of_it, &exact::whole(all)).unwrap_or_default()
    }

    fn held(&self, book: &Book, holder: &Holder) -> Option<Held> {
        let (share, of_it) = match &holder.content {
            Content::RefiningLoss(refining) => {
                let row = book.refining(*refining)?;
                let back = row
                    .loss
                    .map_or(0, |loss| row.mass.units().saturating_sub(loss.units()));
                let sent = exact::times(self.sent.get(refining)?, row.mass.units());
                let brought = exact::times(self.brought.get(refining)?, back);
                (None, sent - brought)
            }
            content => {
                let share = self.share(content);
                let of_it = exact::times(&share, holder.units);
                (Some(share), of_it)
            }
        };
        (!of_it.is_zero()).then_some(Held {
            place: holder.place,
            units: holder.units,
            share,
            of_it,
        })
    }

    fn share(&self, content: &Content) -> BigRational {
        let share = match content {
            Content::Lot(lot) => self.lots.get(lot),
            Content::Melt(melt) => self.melts.get(melt),
            Content::Jar(holds) => return self.jar(holds),
            Content::Sent(refining) => self.sent.get(refining),
            Content::Settled(refining) => self.brought.get(refining),
            Content::RefiningLoss(_) => None,
        };
        share.cloned().unwrap_or_default()
    }
}

fn blend(metals: &[(BigUint, Mixture<bool>)], bits: u64) -> Option<Mixture<bool>> {
    let metals: Vec<_> = metals
        .iter()
        .map(|(weight, mixture)| (weight.clone(), mixture))
        .collect();
    Mixture::blend(&metals, bits)
}
