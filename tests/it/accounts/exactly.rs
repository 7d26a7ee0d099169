//! Every gram of every lot is somewhere: held against random histories, to the last digit.

use crate::domain::bench::Bench;
use crate::domain::histories::{self, Choice};
use num_rational::BigRational;
use num_traits::{One as _, Zero as _};
use pourbook::accounts::costs::{Carried, Carrying, Cost, Prices, carried_by};
use pourbook::accounts::holders::{Holder, holders};
use pourbook::accounts::recall::{Source, recall};
use pourbook::accounts::shares::{Origin, Shares};
use pourbook::domain::*;
use pourbook::metal::{FineMass, Metal, Money, fine_mass};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// Metal that came in, and did not come back or turn up.
fn is_receipt(lot: &Lot) -> bool {
    lot.outturn_of.is_none() && lot.found_in.is_none()
}

fn units(number: i64) -> BigRational {
    BigRational::from_integer(number.into())
}

/// Mass: what holders have of a lot is what was received of it; what a refiner found is made up for by its loss.
fn every_gram_is_somewhere(book: &Book, shares: &Shares, holders: &[Holder]) {
    let mut sums: BTreeMap<Option<Origin>, BigRational> = BTreeMap::new();
    for holder in holders {
        let by_origin = holder.by_origin(book, shares);
        let sum: BigRational = by_origin.values().sum();
        assert_eq!(sum, units(holder.units), "{:?}", holder.place);
        for (origin, mass) in by_origin {
            *sums.entry(origin).or_insert_with(BigRational::zero) += mass;
        }
    }
    for lot in book.lots().filter(|lot| is_receipt(lot)) {
        let held = sums.remove(&Some(Origin::Lot(lot.lot))).unwrap_or_default();
        assert_eq!(held, units(lot.mass.mass().units()), "lot {}", lot.number);
    }
    for (origin, mass) in sums {
        assert!(mass.is_zero(), "{origin:?} has {mass}");
    }
}

/// Fine mass: the same, as the lots are declared, and by the refiner's assay behind the refiner.
fn every_fine_gram_is_somewhere(book: &Book, shares: &Shares, holders: &[Holder]) {
    for metal in Metal::ALL.into_iter().filter(|metal| metal.is_precious()) {
        let received = FineMass::checked_sum(
            book.lots()
                .filter(|lot| lot.metal == metal && is_receipt(lot))
                .map(|lot| fine_mass(lot.mass.mass(), lot.fineness)),
        );
        let of_metal = holders.iter().filter(|holder| holder.metal == metal);
        let held: BigRational = of_metal.map(|holder| holder.fine(book, shares)).sum();
        let received = BigRational::from_integer(received.unwrap().picograms().into());
        assert_eq!(held, received, "{metal:?}");
    }
}

/// Cost: the parts of every purchase are one, so whatever the lots cost, all of it is somewhere.
fn every_penny_is_somewhere(book: &Book, shares: &Shares, holders: &[Holder]) {
    let carrying = Carrying::of(book, shares);
    let mut whole = Carried::default();
    for holder in holders {
        let carried = carrying.holder(holder);
        whole.untraced += &carried.untraced;
        for (lot, part) in carried.lots {
            *whole.lots.entry(lot).or_insert_with(BigRational::zero) += part;
        }
    }
    assert!(whole.untraced.is_zero());
    let (mut prices, mut paid) = (Prices::new(), BigRational::zero());
    for lot in book.lots().filter(|lot| is_receipt(lot)) {
        assert!(
            whole.lots.get(&lot.lot).is_some_and(BigRational::is_one),
            "lot {}",
            lot.number
        );
        if lot.owner.is_none() {
            let pounds = lot.number * 37 + 11;
            prices.insert(lot.lot, Money::parse(&format!("{pounds}.37"), "GBP").unwrap());
            paid += BigRational::new((pounds * 100 + 37).into(), 100.into());
        }
    }
    let others = whole
        .lots
        .iter()
        .filter(|(lot, _)| !is_receipt(book.lot(**lot).unwrap()));
    for (lot, part) in others {
        assert!(part.is_zero(), "{lot} was found, and {part} of it is somewhere");
    }
    let named = carried_by(book, shares, |holder| holder.place);
    let costs = named.values().map(|carried| Cost::of(book, carried, &prices));
    let mut sum = BigRational::zero();
    for cost in costs {
        assert!(cost.whole, "every lot that costs something has a price here");
        sum += cost.sums.into_values().sum::<BigRational>();
    }
    assert_eq!(sum, paid);
}

/// Forward and backward say the same.
fn recall_says_what_the_shares_say(book: &Book, shares: &Shares, holders: &[Holder]) {
    for lot in book.lots().filter(|lot| lot.outturn_of.is_none()) {
        let forward = recall(book, shares, Source::Lot(lot.lot));
        let backward = holders.iter().filter_map(|holder| {
            let of_it = holder
                .by_origin(book, shares)
                .remove(&Some(Origin::Lot(lot.lot)))?;
            Some((holder.place, of_it))
        });
        let forward = forward.into_iter().map(|held| (held.place, held.of_it));
        assert_eq!(forward.collect::<Vec<_>>(), backward.collect::<Vec<_>>());
    }
    // All the metal of a melt is in what came from it.
    for melt in book.melts() {
        let held = recall(book, shares, Source::Melt(melt.melt));
        let sum: BigRational = held.iter().map(|held| &held.of_it).sum();
        assert_eq!(sum, units(melt.charge.units()), "melt {}", melt.number);
    }
}

/// All of it, for a book as it stands.
pub fn holds(book: &Book) {
    let shares = Shares::of(book);
    let holders = holders(book);
    every_gram_is_somewhere(book, &shares, &holders);
    every_fine_gram_is_somewhere(book, &shares, &holders);
    every_penny_is_somewhere(book, &shares, &holders);
    recall_says_what_the_shares_say(book, &shares, &holders);
}

/// Learning as the book grows comes to the same as learning it at the end.
fn learns_as_it_goes(bench: &Bench) {
    let (mut book, mut shares) = (Book::default(), Shares::default());
    for entry in &bench.entries {
        for draft in &entry.drafts {
            book.take(&entry.stamp, &draft.event).unwrap();
        }
        book.keep();
        shares.learn(&book);
    }
    let whole = Shares::of(&bench.book);
    for melt in bench.book.melts() {
        assert_eq!(shares.melt(melt.melt), whole.melt(melt.melt));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, max_shrink_iters: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nothing_of_a_lot_is_lost_or_made(steps in prop::collection::vec(any::<Choice>(), 80..200)) {
        let bench = histories::book(&steps);
        holds(&bench.book);
        learns_as_it_goes(&bench);
    }

    #[test]
    fn nothing_is_lost_or_made_at_the_refiner(steps in prop::collection::vec(any::<Choice>(), 80..200)) {
        let bench = histories::book_with_customers(&steps);
        holds(&bench.book);
        learns_as_it_goes(&bench);
    }
}

/// What the random histories must reach, else they prove nothing.
#[test]
fn the_histories_reach_remelts_jars_and_outturns() {
    let mut reached = std::collections::BTreeSet::new();
    let mut draw = Draw::new([5; 32]);
    for _ in 0..40 {
        let steps = histories::steps(&mut draw, 250);
        let book = histories::book_with_customers(&steps).book;
        holds(&book);
        for melt in book.melts() {
            for input in &melt.inputs {
                reached.insert(match input {
                    MeltInput::Lot { lot, .. } if book.lot(*lot).unwrap().outturn_of.is_some() => "outturn",
                    MeltInput::Lot { .. } => "lot",
                    MeltInput::Heel { .. } => "heel",
                    MeltInput::Jar { .. } => "jar",
                    MeltInput::Piece { .. } => "piece",
                });
            }
        }
        if book.jars().any(|jar| !jar.missing.is_empty()) {
            reached.insert("a jar that was short");
        }
        if book.lots().any(|lot| lot.found_in.is_some()) {
            reached.insert("found metal");
        }
        for refining in book.refinings() {
            if refining.settled.is_some() && refining.outturn.is_some() {
                reached.insert("settled and outturned");
            }
        }
    }
    for what in [
        "outturn",
        "lot",
        "heel",
        "jar",
        "piece",
        "settled and outturned",
        "a jar that was short",
        "found metal",
    ] {
        assert!(reached.contains(what), "{what} was never reached: {reached:?}");
    }
}
