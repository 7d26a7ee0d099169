//! Worked examples of shares, recalls and costs through heels, remelts, jars and the refiner.

use super::exactly;
use crate::domain::bench::Bench;
use num_rational::BigRational;
use num_traits::Zero as _;
use pourbook::accounts::costs::{Carrying, Cost, Ground, Prices};
use pourbook::accounts::exact::{Grams, text, times};
use pourbook::accounts::holders::{Place, holders};
use pourbook::accounts::mixture::Mixture;
use pourbook::accounts::recall::{Held, Source, recall};
use pourbook::accounts::shares::{Origin, Shares};
use pourbook::domain::*;
use pourbook::metal::{Metal, Money, assay_uncertainty};

/// Lots A 600 g and B 400 g; a first melt of 300 A and 200 B, whose heel and light piece go into a
/// second with 200 g more of B.
const TWICE: &[&str] = &[
    "scale S class II e 0.01 d 0.01 max 1000 s 0.006",
    "session D on S 100.00 shows 100.01",
    "lot A silver 999.9 assayed 600.00 in D",
    "lot B silver 999.0 declared 400.00 in D",
    "open DW silver 999 exempt",
    "melt M1 in D silver lot A 300.00 lot B 200.00",
    "pour M1 DW bar P1 P2",
    "weigh from_mould in D P1 100.00 P2 95.00",
    "balance M1 in D heel 304.50",
    "condemn P2 unwanted",
    "melt M2 in D silver heel M1 piece P2 lot B 200.00",
    "pour M2 DW bar Q",
    "weigh from_mould in D Q 100.00",
];

struct Traced {
    bench: Bench,
    shares: Shares,
}

fn traced(given: &[&[&str]]) -> Traced {
    let bench = Bench::with(given);
    exactly::holds(&bench.book);
    let shares = Shares::of(&bench.book);
    Traced { bench, shares }
}

impl Traced {
    fn lot(&self, name: &str) -> LotId {
        LotId(self.bench.id(name))
    }

    fn melt(&self, name: &str) -> MeltId {
        MeltId(self.bench.id(name))
    }

    fn share(&self, melt: &str, lot: &str) -> String {
        text(&self.shares.melt(self.melt(melt)).unwrap().share(self.lot(lot)))
    }

    /// What is traced of a melt to a lot, looked through.
    fn origin(&self, melt: &str, origin: Origin) -> String {
        let mixture = self.shares.melt(self.melt(melt)).unwrap();
        text(&self.shares.origins(mixture).share(origin))
    }

    fn recalled(&self, source: Source) -> Vec<Held> {
        recall(&self.bench.book, &self.shares, source)
    }

    fn grams_in(&self, source: Source, place: Place) -> String {
        let held = self.recalled(source);
        let held = held.into_iter().find(|held| held.place == place);
        Grams::of_units(&held.expect("it is held there").of_it).grams
    }
}

/// By hand: 300 of 500 g of the first melt are A, so are 0.6 x (304.5 + 95) = 239.7 of the 599.5 g of the second.
#[test]
fn shares_go_through_heel_and_remelt() {
    let t = traced(&[TWICE]);
    assert_eq!(t.share("M1", "A"), "3/5");
    assert_eq!(t.share("M2", "A"), "2397/5995");
    let mixture = t.shares.melt(t.melt("M2")).unwrap();
    let of_100_g = |lot| Grams::of_units(&times(&mixture.share(t.lot(lot)), 10_000_000)).grams;
    // 39.983 g of A and 60.017 g of B, to 0.01 mg.
    assert_eq!(
        (of_100_g("A"), of_100_g("B")),
        ("39.98332".into(), "60.01668".into())
    );
    assert!(mixture.untraced().is_zero());
}

/// A = 60.0 in P1 + 0.3 lost + 239.7 in the second crucible = 300.0, and 300.0 were never drawn.
#[test]
fn a_recall_finds_every_gram_of_a_lot() {
    let t = traced(&[TWICE]);
    let a = Source::Lot(t.lot("A"));
    let held: Vec<(Place, String)> = t
        .recalled(a)
        .into_iter()
        .map(|held| (held.place, Grams::of_units(&held.of_it).exact))
        .collect();
    let (p1, q) = (t.bench.piece("P1"), t.bench.piece("Q"));
    let (m1, m2) = (t.melt("M1"), t.melt("M2"));
    let piece = |piece: &Piece| Place::Piece {
        piece: piece.piece,
        state: piece.state,
    };
    assert_eq!(
        held,
        [
            (Place::Unmelted { lot: t.lot("A") }, "300/1".to_owned()),
            (Place::MeltLoss { melt: m1 }, "3/10".to_owned()),
            // 499.5 g less 100 g, of which 2397/5995.
            (Place::Crucible { melt: m2 }, "2394603/11990".to_owned()),
            (piece(p1), "60/1".to_owned()),
            (piece(q), "47940/1199".to_owned()),
        ]
    );
    let sum: BigRational = t.recalled(a).into_iter().map(|held| held.of_it).sum();
    assert_eq!(Grams::of_units(&sum).exact, "600/1");
}

#[test]
fn a_recall_of_a_melt_follows_its_metal_and_no_other() {
    let t = traced(&[TWICE]);
    let (m1, m2) = (t.melt("M1"), t.melt("M2"));
    // 399.5 g of the first melt went into 599.5 g of the second.
    let q = t.bench.piece("Q");
    let place = Place::Piece {
        piece: q.piece,
        state: q.state,
    };
    let of_q = t
        .recalled(Source::Melt(m1))
        .into_iter()
        .find(|held| held.place == place);
    assert_eq!(text(&of_q.unwrap().share.unwrap()), "799/1199");
    let of_second = t.recalled(Source::Melt(m2));
    assert_eq!(of_second.len(), 2, "the crucible and the piece");
}

/// A jar is mixed: 1.00 g of a melt of A and 3.00 g of one of B, weighed out as 3.96 g.
const JARRED: &[&str] = &[
    "scale S class II e 0.01 d 0.01 max 1000 s 0.006",
    "session D on S 100.00 shows 100.01",
    "lot A silver 999.9 assayed 600.00 in D",
    "lot B silver 999.0 declared 400.00 in D",
    "jar LE silver 999 lemel",
    "jar SW silver 925 sweeps",
    "open DW silver 999 exempt",
    "melt M1 in D silver lot A 100.00",
    "pour M1 DW bar P1",
    "weigh from_mould in D P1 60.00",
    "balance M1 in D heel 40.00",
    "melt M2 in D silver lot B 100.00",
    "pour M2 DW bar P2",
    "weigh from_mould in D P2 70.00",
    "balance M2 in D heel 30.00",
    "finish in D into LE P1 59.00 P2 67.00",
];

#[test]
fn what_is_weighed_out_of_a_jar_has_the_shares_of_what_went_in() {
    let t = traced(&[JARRED, &["melt M3 in D silver jar LE 3.96 lot A 0.99"]]);
    // (3.96 x 1/4 + 0.99) / 4.95 of A.
    assert_eq!(t.share("M3", "A"), "2/5");
    let loss = Place::JarLoss {
        jar: JarId(t.bench.id("LE")),
        melt: t.melt("M3"),
    };
    assert_eq!(t.grams_in(Source::Lot(t.lot("A")), loss), "0.01000");
    assert_eq!(t.grams_in(Source::Lot(t.lot("B")), loss), "0.03000");
}

/// The jar of 1.00 g of A and 3.00 g of B is counted at 3.60 g: 0.90 g of A and 2.70 g of B are left, and 0.10 and 0.30 g
/// are missing. What is found elsewhere is of nobody's lot, and costs nothing.
#[test]
fn what_a_stock_take_finds_missing_is_of_the_lots_that_were_there() {
    let t = traced(&[
        JARRED,
        &["count C in D jar LE 3.60 heel M1 39.90 lot A 499.00 found F silver 900 2.00"],
    ]);
    let (jar, a, b) = (
        JarId(t.bench.id("LE")),
        Source::Lot(t.lot("A")),
        Source::Lot(t.lot("B")),
    );
    let (m1, m2) = (t.melt("M1"), t.melt("M2"));
    assert_eq!(t.grams_in(a, Place::JarVariance { jar, melt: m1 }), "0.10000");
    assert_eq!(t.grams_in(b, Place::JarVariance { jar, melt: m2 }), "0.30000");
    assert_eq!(t.grams_in(b, Place::Jar { jar }), "2.70000");
    assert_eq!(t.grams_in(a, Place::HeelVariance { melt: m1 }), "0.10000");
    assert_eq!(t.grams_in(a, Place::LotVariance { lot: t.lot("A") }), "1.00000");
    let found = t
        .bench
        .book
        .lots()
        .find(|lot| lot.found_in.is_some())
        .unwrap()
        .lot;
    let held = t.recalled(Source::Lot(found));
    let sum: BigRational = held.iter().map(|held| held.of_it.clone()).sum();
    assert_eq!(
        (held.len(), sum),
        (2, BigRational::zero()),
        "there, and against nothing received"
    );
    let carrying = Carrying::of(&t.bench.book, &t.shares);
    let carried = carrying.mixture(&Mixture::of(found), 200_000);
    let cost = Cost::of(&t.bench.book, &carried, &Prices::new());
    assert!(cost.whole && cost.sums.is_empty());
    assert_eq!(cost.lines[0].ground, Ground::Found);
}

/// Sterling: 370 g at 999.0 with 29.6 g of copper; 100 g of it go to the refiner and come back as 92 g at 999.9.
const STERLING: &[&str] = &[
    "scale S class II e 0.01 d 0.01 max 1000 s 0.006",
    "session D on S 100.00 shows 100.01",
    "lot B silver 999.0 declared 400.00 in D",
    "lot K copper 1000 declared 50.00 in D",
    "jar SW silver 925 sweeps",
    "open ST silver 925 exempt",
    "melt M in D silver lot B 370.00 lot K 29.60",
    "pour M ST bar P1 P2",
    "weigh from_mould in D P1 100.00 P2 150.00",
    "balance M in D heel 149.60",
    "condemn P1 unwanted",
];

fn refined(more: &[&str]) -> Traced {
    traced(&[STERLING, &["refine R in D silver piece P1"], more])
}

#[test]
fn the_refiner_parts_the_copper_off() {
    let t = refined(&[
        "refined R outturn L 92.00 999.9 in D",
        "melt N in D silver lot L 92.00",
    ]);
    // By lot it is the outturn; looked through it is the silver lot alone: copper brings no fine metal.
    assert_eq!(t.share("N", "L"), "1/1");
    assert_eq!(t.origin("N", Origin::Lot(t.lot("B"))), "1/1");
    let copper = t.recalled(Source::Lot(t.lot("K")));
    assert!(
        copper
            .iter()
            .all(|held| held.place != Place::Crucible { melt: t.melt("N") })
    );
    let loss = Place::RefiningLoss {
        refining: RefiningId(t.bench.id("R")),
    };
    // 100 g were 92.5926 g of B (370 of 399.6) and 7.4074 g of copper: all the copper is lost, and 0.5926 g of B.
    assert_eq!(t.grams_in(Source::Lot(t.lot("K")), loss), "7.40741");
    assert_eq!(t.grams_in(Source::Lot(t.lot("B")), loss), "0.59259");
    // A recall of the outturn itself finds where it is now.
    let crucible = Place::Crucible { melt: t.melt("N") };
    assert_eq!(t.grams_in(Source::Lot(t.lot("L")), crucible), "92.00000");
}

/// What was sent held 92.5 g of silver as declared. 100 g at 999.9 hold 99.99 g: 7.49 g were found, in sweepings here.
#[test]
fn what_the_refiner_found_more_is_nobody_s_lot() {
    let t = traced(&[
        STERLING,
        &[
            "sweep SW 800.00 in D",
            "refine R in D silver piece P1 jar SW 800.00",
            "refined R outturn L 100.00 999.9 in D",
            "melt N in D silver lot L 100.00",
        ],
    ]);
    let refining = RefiningId(t.bench.id("R"));
    assert_eq!(t.origin("N", Origin::Lot(t.lot("B"))), "9250/9999");
    assert_eq!(t.origin("N", Origin::Found(refining)), "749/9999");
    let swept = traced(&[
        STERLING,
        &[
            "sweep SW 800.00 in D",
            "refine R in D silver jar SW 800.00",
            "refined R outturn L 6.00 925 in D",
        ],
    ]);
    let lot = Source::Lot(swept.lot("B"));
    let unmelted = Place::Unmelted { lot: swept.lot("L") };
    assert!(swept.recalled(lot).iter().all(|held| held.place != unmelted));
}

/// An outturn of an outturn: B is followed through both.
#[test]
fn metal_is_followed_through_the_refiner_twice() {
    let t = refined(&[
        "refined R outturn L 92.00 999.9 in D",
        "melt N in D silver lot L 92.00",
        "pour N ST bar P3",
        "weigh from_mould in D P3 90.00",
        "balance N in D heel 2.00",
        "condemn P3 unwanted",
        "refine R2 in D silver piece P3",
        "refined R2 outturn L2 80.00 999.9 in D settled 9.00 999.0",
    ]);
    let unmelted = Place::Unmelted { lot: t.lot("L2") };
    let settled = Place::Settled {
        refining: RefiningId(t.bench.id("R2")),
    };
    for lot in ["B", "L"] {
        assert_eq!(t.grams_in(Source::Lot(t.lot(lot)), unmelted), "80.00000");
        assert_eq!(t.grams_in(Source::Lot(t.lot(lot)), settled), "9.00000");
    }
    // By melt as well, and not of the heel that stayed.
    assert_eq!(t.grams_in(Source::Melt(t.melt("N")), unmelted), "80.00000");
    assert_eq!(t.grams_in(Source::Melt(t.melt("M")), unmelted), "80.00000");
}

/// A long chain of heels: each melt is half the one before. Within the bound every share is exact (A is 1/2^99); with a
/// tight one what was cut off is recorded.
#[test]
fn a_hundred_heels_deep_every_share_is_exact() {
    let mut lines: Vec<String> = vec!["melt M0 in D silver lot A 2.00".into()];
    lines.extend((1..100).map(|at| format!("melt M{at} in D silver heel M{} lot B 1.00", at - 1)));
    let mut given: Vec<String> = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        given.push(line.clone());
        given.push(format!("pour M{at} DW bar P{at}"));
        given.push(format!("weigh from_mould in D P{at} 1.00"));
        given.push(format!("balance M{at} in D heel 1.00"));
    }
    let given: Vec<&str> = given.iter().map(String::as_str).collect();
    let t = traced(&[&TWICE[..5], &given]);
    let two_to_the_99 = "633825300114114700748351602688";
    assert_eq!(t.share("M99", "A"), format!("1/{two_to_the_99}"));
    let mut tight = Shares::with_bits(64);
    tight.learn(&t.bench.book);
    let mixture = tight.melt(t.melt("M99")).unwrap();
    assert!(mixture.share(t.lot("A")).is_zero());
    assert!(!mixture.untraced().is_zero());
    assert_eq!(
        mixture.share(t.lot("A")) + mixture.share(t.lot("B")) + mixture.untraced(),
        BigRational::from_integer(1.into())
    );
}

fn money(amount: &str) -> Money {
    Money::parse(amount, "GBP").unwrap()
}

impl Traced {
    fn cost(&self, piece: &str, prices: &Prices) -> Cost {
        let piece = self.bench.piece(piece);
        let carrying = Carrying::of(&self.bench.book, &self.shares);
        let mixture = self.shares.melt(piece.melt).unwrap();
        let carried = carrying.mixture(mixture, piece.mass().unwrap().units());
        Cost::of(&self.bench.book, &carried, prices)
    }
}

/// A 600 g for 480.00, B 400 g for 300.00: 0.80 and 0.75 a gram. 39.983 g of A and 60.017 g of B are 77.00 to the penny.
#[test]
fn cost_goes_by_the_same_shares() {
    let t = traced(&[TWICE]);
    let mut prices = Prices::from([(t.lot("A"), money("480.00")), (t.lot("B"), money("300.00"))]);
    let cost = t.cost("Q", &prices);
    assert!(cost.whole);
    let sum = cost.sums.values().next().unwrap();
    // 100 g x (0.8 x 2397 + 0.75 x 3598) / 5995.
    assert_eq!(text(sum), "92322/1199");
    assert_eq!(pourbook::accounts::exact::rounded(sum, 2), "77.00");
    // A lot without a price: its part is not known, and never zero.
    prices.remove(&t.lot("B"));
    let cost = t.cost("Q", &prices);
    assert!(!cost.whole);
    let grounds: Vec<Ground> = cost.lines.iter().map(|line| line.ground).collect();
    assert!(grounds.contains(&Ground::NotKnown) && grounds.contains(&Ground::Priced));
    assert_eq!(text(cost.sums.values().next().unwrap()), "38352/1199");
}

#[test]
fn a_customer_s_metal_costs_the_workshop_nothing() {
    let t = traced(&[
        &TWICE[..2],
        &[
            "owner O",
            "lot C silver 999.9 assayed 100.00 in D owner O",
            "open DW silver 999 exempt",
            "melt M in D silver lot C 100.00",
            "pour M DW bar P",
            "weigh from_mould in D P 50.00",
        ],
    ]);
    let cost = t.cost("P", &Prices::from([(t.lot("C"), money("80.00"))]));
    assert!(cost.whole && cost.sums.is_empty());
    assert_eq!(cost.lines[0].ground, Ground::Customers);
}

/// B 400 g for 400.00, copper 50 g for 10.00. The 100 g sent cost 92.59 and 1.48; of 92.5 g of silver 91.9908 came back,
/// so the outturn carries 99.45 % of both, and the loss the rest.
#[test]
fn an_outturn_carries_the_cost_of_what_was_sent_by_fine_metal() {
    let t = refined(&["refined R outturn L 92.00 999.9 in D"]);
    let prices = Prices::from([(t.lot("B"), money("400.00")), (t.lot("K"), money("10.00"))]);
    let carrying = Carrying::of(&t.bench.book, &t.shares);
    let cost_of = |place: Place| {
        let all = holders(&t.bench.book);
        let holder = all.iter().find(|holder| holder.place == place).unwrap();
        let cost = Cost::of(&t.bench.book, &carrying.holder(holder), &prices);
        cost.sums.values().next().unwrap().clone()
    };
    let outturn = cost_of(Place::Unmelted { lot: t.lot("L") });
    let loss = cost_of(Place::RefiningLoss {
        refining: RefiningId(t.bench.id("R")),
    });
    let sent = BigRational::new(254.into(), 27.into()) * BigRational::from_integer(10.into());
    assert_eq!(&outturn + &loss, sent, "2540/27 were sent");
    let of_sent = &outturn / &sent;
    assert_eq!(of_sent, BigRational::new(919_908.into(), 925_000.into()));
}

/// From memory: 0.5 to 1 part per thousand is usual, of gold by cupellation 0.2 to 0.5; the upper end is taken.
#[test]
fn the_usual_uncertainty_of_an_assay_is_in_the_table_for_every_precious_metal() {
    let usual = Metal::ALL.map(|metal| assay_uncertainty(metal).map(|parts| parts.to_string()));
    let [silver, gold, platinum, palladium, copper] = usual.each_ref().map(Option::as_deref);
    assert_eq!((silver, gold), (Some("1.0"), Some("0.5")));
    assert_eq!((platinum, palladium, copper), (Some("1.0"), Some("1.0"), None));
}
