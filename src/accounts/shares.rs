//! Which lots a metal came from, through any depth of heels, remelts and jars, in exact fractions of its mass.
//!
//! The model: a melt is well mixed, so all that comes out of it, its loss too, has the shares of its charge. A jar is
//! well mixed as well: what is weighed out of it has the shares of what went in since it was last emptied, and so has
//! what it was short of. Shares of a melt follow from its charge alone and never change, except by a correction.
//!
//! An outturn is a lot of its own, and it is looked through to what was sent: the refiner parts off base metal, so an
//! outturn comes from the lots by the *fine* metal that each of them brought, as declared. No lot is given more fine
//! metal than it brought: where the refiner accounted for more (sweepings, an assay above the declaration), the rest was
//! *found* by that refining. What the refiner accounted for less is refining loss.
//!
//! Whatever is given here as declared stays so after an assay found otherwise. Deliberately absent: where the metal is
//! now (`holders`) and what it cost (`costs`).

use super::exact;
use super::mixture::{BITS_MAX, Mixture};
use super::refined::Refined;
use crate::domain::{Book, JarShare, LotId, Melt, MeltId, MeltInput, Refining, RefiningId, Residue};
use crate::metal::{Fineness, Mass, Metal};
use num_bigint::BigUint;
use num_rational::BigRational;
use num_traits::Zero as _;
use std::collections::HashMap;
use std::sync::Arc;

/// Where metal came into the workshop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Origin {
    /// Received as a lot, not from a refiner.
    Lot(LotId),
    /// A refining accounted for more than was sent.
    Found(RefiningId),
}

/// What a source of an outturn is: a lot that was in what was sent, outturns among them, or what was found.
pub(super) type Brought = Mixture<Origin>;

/// The shares of every melt and outturn of a book, remembered.
#[derive(Clone, Debug)]
pub struct Shares {
    bits: u64,
    melts: HashMap<MeltId, Arc<Mixture<LotId>>>,
    outturns: HashMap<LotId, Outturn>,
}

/// An outturn, as it was when it came back.
#[derive(Clone, Debug)]
struct Outturn {
    /// From which lots, outturns among them.
    brought: Brought,
    /// From which receipts, looked through.
    origins: Mixture<Origin>,
}

impl Default for Shares {
    fn default() -> Self {
        Self::with_bits(BITS_MAX)
    }
}

/// A mass as a weight.
pub(super) fn weight(mass: Mass) -> BigUint {
    BigUint::from(mass.units().unsigned_abs())
}

impl Shares {
    /// Of no melt yet, with denominators of at most `bits`.
    #[must_use]
    pub fn with_bits(bits: u64) -> Self {
        Self {
            bits,
            melts: HashMap::new(),
            outturns: HashMap::new(),
        }
    }

    /// All shares of a book.
    #[must_use]
    pub fn of(book: &Book) -> Self {
        let mut shares = Self::default();
        shares.learn(book);
        shares
    }

    /// Learns the melts and outturns that are new in a book which otherwise only went on: after a correction, begin anew.
    pub fn learn(&mut self, book: &Book) {
        let melts = book.melts().filter(|melt| !self.melts.contains_key(&melt.melt));
        let melts = melts.map(|melt| (melt.since, New::Melt(melt)));
        let outturns = book.lots().filter(|lot| !self.outturns.contains_key(&lot.lot));
        let outturns = outturns.filter_map(|lot| {
            let refining = lot.outturn_of?;
            Some((lot.since, New::Outturn(lot.lot, refining)))
        });
        let mut new: Vec<(u64, New)> = melts.chain(outturns).collect();
        // In the order of the log: what went into a melt was there before it.
        new.sort_by_key(|(since, _)| *since);
        for (_, new) in new {
            match new {
                New::Melt(melt) => {
                    if let Some(mixture) = self.charge(melt) {
                        self.melts.insert(melt.melt, Arc::new(mixture));
                    }
                }
                New::Outturn(lot, refining) => {
                    if let Some(Refined { brought, .. }) = Refined::of(book, self, refining) {
                        let origins = self.look_through(&brought);
                        self.outturns.insert(lot, Outturn { brought, origins });
                    }
                }
            }
        }
    }

    /// The longest denominator, bits.
    #[must_use]
    pub const fn bits(&self) -> u64 {
        self.bits
    }

    /// The shares of a melt, and so of its pieces, heel, prills and loss: by lot, outturns among them.
    #[must_use]
    pub fn melt(&self, melt: MeltId) -> Option<&Arc<Mixture<LotId>>> {
        self.melts.get(&melt)
    }

    fn charge(&self, melt: &Melt) -> Option<Mixture<LotId>> {
        let inputs = melt.inputs.iter();
        let inputs: Vec<(BigUint, Arc<Mixture<LotId>>)> = inputs
            .map(|input| Some((weight(input.mass()), self.input(input)?)))
            .collect::<Option<_>>()?;
        self.mix(&inputs)
    }

    fn input(&self, input: &MeltInput) -> Option<Arc<Mixture<LotId>>> {
        match input {
            MeltInput::Lot { lot, .. } => Some(Arc::new(Mixture::of(*lot))),
            MeltInput::Heel { melt, .. } | MeltInput::Piece { melt, .. } => self.melt(*melt).cloned(),
            MeltInput::Jar { holds, .. } => self.jar(holds).map(Arc::new),
        }
    }

    fn mix(&self, metals: &[(BigUint, Arc<Mixture<LotId>>)]) -> Option<Mixture<LotId>> {
        let metals: Vec<_> = metals
            .iter()
            .map(|(weight, mixture)| (weight.clone(), &**mixture))
            .collect();
        Mixture::blend(&metals, self.bits)
    }

    /// The shares of what a jar holds; none where it holds nothing.
    #[must_use]
    pub fn jar(&self, holds: &[JarShare]) -> Option<Mixture<LotId>> {
        let metals: Vec<_> = holds
            .iter()
            .map(|share| Some((weight(share.mass), self.melt(share.melt)?.clone())))
            .collect::<Option<_>>()?;
        self.mix(&metals)
    }

    /// What was sent to the refiner by lot, without the sweepings, which are no metal in the book.
    pub(super) fn sent(&self, book: &Book, refining: &Refining) -> Option<Mixture<LotId>> {
        let mut metals = Vec::new();
        for sent in &refining.jars {
            if book.jar(sent.jar)?.residue != Residue::Sweeps {
                metals.push((weight(sent.mass.mass()), Arc::new(self.jar(&sent.holds)?)));
            }
        }
        for sent in &refining.pieces {
            let melt = book.piece(sent.piece)?.melt;
            metals.push((weight(sent.mass), self.melt(melt)?.clone()));
        }
        self.mix(&metals)
    }

    /// What a refiner accounted for (so many picograms) by the fine metal that each lot brought, as declared; what it was
    /// more, was found.
    pub(super) fn brought(
        &self,
        book: &Book,
        refining: &Refining,
        sent: Option<&Mixture<LotId>>,
        accounted: &BigRational,
    ) -> Brought {
        let found = Mixture::of(Origin::Found(refining.refining));
        let Some(sent) = sent else {
            return found;
        };
        let (mut weights, mut brought) = (Vec::new(), BigUint::zero());
        for (lot, share) in sent.parts() {
            let fine = weight(refining.mass) * share * fineness_in(book, lot, refining.metal).units();
            brought += &fine;
            weights.push((fine, Mixture::of(Origin::Lot(lot))));
        }
        let accounted = accounted.to_integer().magnitude() * sent.whole();
        if accounted > brought {
            weights.push((accounted - brought, found.clone()));
        }
        let metals: Vec<_> = weights
            .iter()
            .map(|(weight, source)| (weight.clone(), source))
            .collect();
        Mixture::blend(&metals, self.bits).unwrap_or(found)
    }

    /// The receipts behind what a refiner accounted for.
    pub(super) fn look_through(&self, brought: &Brought) -> Mixture<Origin> {
        let unknown = Mixture::unknown();
        let sources: Vec<_> = brought
            .parts()
            .map(|(source, share)| (share, self.origin(source)))
            .collect();
        let mut metals: Vec<_> = sources
            .iter()
            .map(|(share, source)| ((*share).clone(), source))
            .collect();
        metals.push((brought.untraced_part().clone(), &unknown));
        Mixture::blend(&metals, self.bits).unwrap_or(unknown.clone())
    }

    fn origin(&self, source: Origin) -> Mixture<Origin> {
        let outturn = match source {
            Origin::Lot(lot) => self.outturns.get(&lot),
            Origin::Found(_) => None,
        };
        outturn.map_or_else(|| Mixture::of(source), |outturn| outturn.origins.clone())
    }

    /// The receipts behind a metal of which the lots are known, outturns among them.
    #[must_use]
    pub fn origins(&self, mixture: &Mixture<LotId>) -> Mixture<Origin> {
        self.look_through(&mixture.renamed(Origin::Lot))
    }

    /// What share each outturn has of a lot, itself for an outturn; those that have none are absent.
    pub(super) fn outturns_with(&self, book: &Book, lot: LotId) -> HashMap<LotId, BigRational> {
        let mut outturns: Vec<(u64, LotId)> = self
            .outturns
            .keys()
            .filter_map(|outturn| Some((book.lot(*outturn)?.since, *outturn)))
            .collect();
        outturns.sort_unstable();
        let mut with = HashMap::from([(lot, exact::whole(1))]);
        for (_, outturn) in outturns.into_iter().filter(|(_, outturn)| *outturn != lot) {
            let Some(outturned) = self.outturns.get(&outturn) else {
                continue;
            };
            let share = share_of(&outturned.brought, &with, |source| match source {
                Origin::Lot(lot) => Some(lot),
                Origin::Found(_) => None,
            });
            if !share.is_zero() {
                with.insert(outturn, share);
            }
        }
        with
    }

    /// The fine metal in a mass of a mixture as its lots are declared, picograms. What is not traced counts as none.
    #[must_use]
    pub fn fine(&self, book: &Book, metal: Metal, mixture: &Mixture<LotId>, units: i64) -> BigRational {
        let fine: BigUint = mixture
            .parts()
            .map(|(lot, share)| share * fineness_in(book, lot, metal).units())
            .sum();
        exact::times(&exact::part(&fine, mixture.whole()), units)
    }
}

/// What a log has that was not learned yet.
enum New<'a> {
    Melt(&'a Melt),
    Outturn(LotId, RefiningId),
}

/// The share of a lot in a mixture, if `with` says what share each of the mixture's sources has of it.
pub(super) fn share_of<K: Ord + Copy>(
    mixture: &Mixture<K>,
    with: &HashMap<LotId, BigRational>,
    lot: impl Fn(K) -> Option<LotId>,
) -> BigRational {
    let products: Vec<_> = mixture
        .parts()
        .filter_map(|(source, share)| Some((share, with.get(&lot(source)?)?)))
        .collect();
    exact::sum_of_products(&products, mixture.whole())
}

/// The fineness that a lot has as the metal asked for, as declared; an alloy metal has none.
pub(super) fn fineness_in(book: &Book, lot: LotId, metal: Metal) -> Fineness {
    book.lot(lot)
        .filter(|lot| lot.metal == metal)
        .map_or(Fineness::ZERO, |lot| lot.fineness)
}
