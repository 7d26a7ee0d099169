//! A well-mixed metal by what it came from, in exact fractions of its mass.
//!
//! Every gram of a mixture is taken to be like every other, so whatever is poured, filed or lost of it has its shares.
//! The shares of one mixture stand over one denominator; with what is not traced they are one, always. A denominator
//! grows with every charge that is mixed into another (by some 17 bits at readings to 0.01 g). Beyond a stated number of
//! bits the shares are cut off, downwards, to that many binary places, and what was cut off is *untraced*: recorded, and
//! carried on like any other share. Deliberately absent: what the sources are, and masses.

use super::exact;
use num_bigint::BigUint;
use num_integer::Integer as _;
use num_rational::BigRational;
use num_traits::{One as _, Zero as _};

/// The longest denominator, bits, unless another is asked for. Readings to 0.01 g fill it after some ten charges, each
/// with metal of the one before; what is cut off then is less than one part in 10 to the 150.
pub const BITS_MAX: u64 = 512;

/// What a metal was mixed from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mixture<K> {
    /// The denominator of all shares.
    whole: BigUint,
    /// The numerators, none of them zero, by source.
    parts: Vec<(K, BigUint)>,
    /// The numerator of what was cut off.
    untraced: BigUint,
}

impl<K: Ord + Copy> Mixture<K> {
    /// Metal of one source.
    #[must_use]
    pub fn of(source: K) -> Self {
        Self {
            whole: BigUint::one(),
            parts: vec![(source, BigUint::one())],
            untraced: BigUint::zero(),
        }
    }

    /// Metal of which nothing is known.
    #[must_use]
    pub fn unknown() -> Self {
        Self {
            whole: BigUint::one(),
            parts: Vec::new(),
            untraced: BigUint::one(),
        }
    }

    /// What results when metals are mixed, each by its weight; with denominators of at most `bits`. `None` of no metal.
    #[must_use]
    pub fn blend(metals: &[(BigUint, &Self)], bits: u64) -> Option<Self> {
        let metals: Vec<_> = metals.iter().filter(|(weight, _)| !weight.is_zero()).collect();
        let total: BigUint = metals.iter().map(|(weight, _)| weight).sum();
        if total.is_zero() {
            return None;
        }
        let traced = metals.iter().all(|(_, metal)| metal.untraced.is_zero());
        if traced && let Some(exact) = Self::blend_exactly(&metals, &total, bits) {
            return Some(exact);
        }
        Some(Self::blend_cut(&metals, &total, bits))
    }

    /// Over the least common denominator; `None` if it has more bits, even in lowest terms.
    fn blend_exactly(metals: &[&(BigUint, &Self)], total: &BigUint, bits: u64) -> Option<Self> {
        let over_all = metals.iter().fold(BigUint::one(), |so_far, (_, metal)| {
            if (&so_far % &metal.whole).is_zero() {
                so_far
            } else {
                so_far.lcm(&metal.whole)
            }
        });
        // Far beyond the bound, no lowest terms help.
        if over_all.bits() > bits.saturating_mul(2) {
            return None;
        }
        let scaled = metals
            .iter()
            .flat_map(|(weight, metal)| metal.scaled(weight * (&over_all / &metal.whole)));
        let mut parts = gather(scaled.collect());
        let mut whole = over_all * total;
        let mut shared = whole.clone();
        for (_, numerator) in &parts {
            if shared.is_one() {
                break;
            }
            // The remainder first: dividing a long number by a short one is quick, and taking it off bit by bit is not.
            shared = (numerator % &shared).gcd(&shared);
        }
        if !shared.is_one() {
            whole /= &shared;
            for (_, numerator) in &mut parts {
                *numerator /= &shared;
            }
        }
        (whole.bits() <= bits).then_some(Self {
            whole,
            parts,
            untraced: BigUint::zero(),
        })
    }

    /// Over a power of two, each share cut off downwards.
    fn blend_cut(metals: &[&(BigUint, &Self)], total: &BigUint, bits: u64) -> Self {
        let whole = BigUint::one() << bits;
        let mut scaled = Vec::new();
        for (weight, metal) in metals {
            if metal.whole == whole {
                scaled.extend(metal.scaled(weight.clone()));
            } else {
                let cut = metal.parts.iter();
                let cut = cut.map(|(source, share)| (*source, weight * ((share << bits) / &metal.whole)));
                scaled.extend(cut);
            }
        }
        let mut parts = gather(scaled);
        for (_, numerator) in &mut parts {
            *numerator /= total;
        }
        parts.retain(|(_, numerator)| !numerator.is_zero());
        let traced: BigUint = parts.iter().map(|(_, numerator)| numerator).sum();
        Self {
            untraced: &whole - traced,
            whole,
            parts,
        }
    }

    fn scaled(&self, by: BigUint) -> impl Iterator<Item = (K, BigUint)> {
        self.parts
            .iter()
            .map(move |(source, share)| (*source, share * &by))
    }

    /// The same with other names for its sources, in the same order.
    #[must_use]
    pub fn renamed<L: Ord + Copy>(&self, name: impl Fn(K) -> L) -> Mixture<L> {
        let parts = self.parts.iter();
        Mixture {
            whole: self.whole.clone(),
            parts: parts
                .map(|(source, share)| (name(*source), share.clone()))
                .collect(),
            untraced: self.untraced.clone(),
        }
    }

    /// The denominator of all shares.
    #[must_use]
    pub const fn whole(&self) -> &BigUint {
        &self.whole
    }

    /// The sources with the numerators of their shares, in order; none is zero.
    pub fn parts(&self) -> impl Iterator<Item = (K, &BigUint)> {
        self.parts.iter().map(|(source, share)| (*source, share))
    }

    /// The numerator of what was cut off.
    #[must_use]
    pub const fn untraced_part(&self) -> &BigUint {
        &self.untraced
    }

    /// The share of a source, in lowest terms.
    #[must_use]
    pub fn share(&self, source: K) -> BigRational {
        let at = self.parts.binary_search_by(|(known, _)| known.cmp(&source));
        let share = at.ok().and_then(|at| self.parts.get(at));
        share.map_or_else(BigRational::zero, |(_, share)| exact::part(share, &self.whole))
    }

    /// The share that was cut off, in lowest terms.
    #[must_use]
    pub fn untraced(&self) -> BigRational {
        exact::part(&self.untraced, &self.whole)
    }
}

/// Each source once, in order, with the sum of its numerators.
fn gather<K: Ord + Copy>(mut scaled: Vec<(K, BigUint)>) -> Vec<(K, BigUint)> {
    scaled.sort_by_key(|(source, _)| *source);
    let mut parts: Vec<(K, BigUint)> = Vec::with_capacity(scaled.len());
    for (source, share) in scaled {
        match parts.last_mut() {
            Some((last, sum)) if *last == source => *sum += share,
            _ => parts.push((source, share)),
        }
    }
    parts
}
