//! Mixing in exact fractions, held against fractions that know no bound, and against the stated bound.

use num_bigint::BigUint;
use num_rational::BigRational;
use num_traits::{One as _, Zero as _};
use pourbook::accounts::costs::apportioned;
use pourbook::accounts::exact::{count_text, rounded, text, times};
use pourbook::accounts::mixture::Mixture;
use proptest::prelude::*;
use std::collections::BTreeMap;

fn ratio(above: i64, below: i64) -> BigRational {
    BigRational::new(above.into(), below.into())
}

fn weight(number: u64) -> BigUint {
    BigUint::from(number)
}

/// All shares and what is not traced are one, always.
fn is_one(mixture: &Mixture<u8>) {
    let sum: BigUint = mixture.parts().map(|(_, share)| share).sum();
    assert_eq!(sum + mixture.untraced_part(), *mixture.whole());
    assert!(mixture.parts().all(|(_, share)| !share.is_zero()));
}

/// The same mixing over fractions of any length, source by source.
fn unbounded(charges: &[Vec<(u64, usize)>]) -> Vec<BTreeMap<u8, BigRational>> {
    let mut mixed: Vec<BTreeMap<u8, BigRational>> = (0..4)
        .map(|source| BTreeMap::from([(source, BigRational::one())]))
        .collect();
    for charge in charges {
        let total: u64 = charge.iter().map(|(mass, _)| mass).sum();
        let mut sums = BTreeMap::new();
        for (mass, from) in charge {
            for (source, share) in &mixed[from % mixed.len()] {
                *sums.entry(*source).or_insert_with(BigRational::zero) +=
                    share * BigRational::new((*mass).into(), total.into());
            }
        }
        mixed.push(sums);
    }
    mixed
}

fn bounded(charges: &[Vec<(u64, usize)>], bits: u64) -> Vec<Mixture<u8>> {
    let mut mixed: Vec<Mixture<u8>> = (0..4).map(Mixture::of).collect();
    for charge in charges {
        let metals: Vec<_> = charge
            .iter()
            .map(|(mass, from)| (weight(*mass), &mixed[from % mixed.len()]))
            .collect();
        let next = Mixture::blend(&metals, bits).unwrap();
        is_one(&next);
        mixed.push(next);
    }
    mixed
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn mixing_is_exact_while_it_fits(
        charges in prop::collection::vec(prop::collection::vec((1_u64..90_000, 0_usize..99), 1..5), 1..12),
    ) {
        for (mixture, exact) in bounded(&charges, 4_096).iter().zip(unbounded(&charges)) {
            prop_assert!(mixture.untraced().is_zero());
            for source in 0..4 {
                prop_assert_eq!(mixture.share(source), exact.get(&source).cloned().unwrap_or_default());
            }
        }
    }

    /// What is cut off is recorded, is never more than the bound allows, and a share is never too large.
    #[test]
    fn what_outgrows_the_bound_is_recorded_as_untraced(
        charges in prop::collection::vec(prop::collection::vec((1_u64..90_000, 0_usize..99), 1..5), 8..24),
    ) {
        const BITS: u64 = 64;
        let steps = i64::try_from(charges.len()).unwrap();
        let most = BigRational::new((8 * (steps + 1)).into(), (BigUint::one() << BITS).into());
        for (mixture, exact) in bounded(&charges, BITS).iter().zip(unbounded(&charges)) {
            prop_assert!(mixture.whole().bits() <= BITS + 1);
            prop_assert!(mixture.untraced() <= most.clone() * BigRational::from_integer(steps.into()));
            let mut lacking = mixture.untraced();
            for source in 0..4 {
                let (share, exact) = (mixture.share(source), exact.get(&source).cloned().unwrap_or_default());
                prop_assert!(share <= exact);
                lacking -= exact - share;
            }
            prop_assert!(lacking.is_zero(), "what is untraced is what the shares lack");
        }
    }

    #[test]
    fn a_fraction_times_a_whole_number_is_in_lowest_terms(above in -999_i64..999, below in 1_i64..999, by in -999_i64..999) {
        let product = times(&ratio(above, below), by);
        prop_assert_eq!(&product, &(ratio(above, below) * ratio(by, 1)));
        prop_assert_eq!(text(&product), text(&BigRational::new(product.numer().clone(), product.denom().clone())));
        let over = pourbook::accounts::exact::by(&ratio(above, below), by);
        if by != 0 {
            prop_assert_eq!(&over, &(ratio(above, below) / ratio(by, 1)));
            prop_assert_eq!(text(&over), text(&BigRational::new(over.numer().clone(), over.denom().clone())));
        }
    }

    /// Printed figures add up to their printed sum, and none is off by a whole step.
    #[test]
    fn printed_figures_add_up(figures in prop::collection::vec((-99_999_i64..99_999, 1_i64..999), 1..20)) {
        let figures: Vec<BigRational> = figures.into_iter().map(|(above, below)| ratio(above, below)).collect();
        let counts = apportioned(&figures, 2);
        let sum: BigRational = figures.iter().sum();
        prop_assert_eq!(count_text(&counts.iter().sum(), 2), rounded(&sum, 2));
        for (figure, count) in figures.iter().zip(counts) {
            let off = figure - BigRational::new(count, 100.into());
            prop_assert!(off > ratio(-1, 100) && off < ratio(1, 100));
        }
    }
}

#[test]
fn a_mixture_of_nothing_is_none() {
    assert_eq!(Mixture::<u8>::blend(&[], 64), None);
    assert_eq!(Mixture::blend(&[(weight(0), &Mixture::of(1_u8))], 64), None);
}

#[test]
fn figures_are_rounded_half_up_by_their_size() {
    for (above, below, shown) in [
        (1, 200, "0.01"),
        (-1, 200, "-0.01"),
        (1, 201, "0.00"),
        (199_999, 100, "1999.99"),
        (2, 3, "0.67"),
        (-7, 1, "-7.00"),
    ] {
        assert_eq!(rounded(&ratio(above, below), 2), shown, "{above}/{below}");
    }
    assert_eq!(rounded(&ratio(7, 2), 0), "4");
    assert_eq!(text(&ratio(0, 5)), "0/1");
}

/// Largest remainder: 3 x 1/3 of 1.00 are 0.34, 0.33, 0.33.
#[test]
fn the_missing_penny_goes_to_the_first_of_equals() {
    let counts = apportioned(&[ratio(1, 3), ratio(1, 3), ratio(1, 3)], 2);
    let shown: Vec<String> = counts.iter().map(|count| count_text(count, 2)).collect();
    assert_eq!(shown, ["0.34", "0.33", "0.33"]);
}
