//! Customers' metal: whose it is, through melts, heels, jars, pieces and the refiner, and what may meet.

use super::bench::{Bench, WORKSHOP, check};
use pourbook::domain::*;

/// Two customers with silver of their own, and an edition's pieces poured from the first one's.
const CUSTOMERS: &[&str] = &[
    "owner O",
    "owner Q",
    "lot C silver 999.0 declared 300.00 in D owner O",
    "lot E silver 999.0 declared 200.00 in D owner Q",
    "melt M in D silver lot C 200.00",
    "pour M TW oval P1 P2",
    "weigh from_mould in D P1 49.00 P2 52.00",
    "balance M in D heel 98.50 prills PR 0.40",
];

fn owners(bench: &Bench, melt: &str) -> Vec<Option<OwnerId>> {
    let melt = MeltId(bench.id(melt));
    bench.book.melt(melt).unwrap().owners.clone()
}

#[test]
fn a_lot_belongs_to_a_customer_who_is_known() {
    check(
        &[WORKSHOP, &["owner O"]],
        "lot C silver 999.0 declared 300.00 in D owner O",
        "C is lot 5",
    );
    check(
        &[WORKSHOP],
        "lot C silver 999.0 declared 300.00 in D owner nobody",
        "refused: there is no customer 00000000-0000-0000-0000-00000000dead whose metal is here (/owner)",
    );
    check(&[WORKSHOP, &["owner O"]], "agree O", "owner.agreed");
    check(&[WORKSHOP, &["owner O", "agree O"]], "agree O", "owner.agreed");
    check(
        &[WORKSHOP],
        "agree nobody",
        "refused: there is no customer 00000000-0000-0000-0000-00000000dead whose metal is here (/owner)",
    );
}

#[test]
fn lots_of_two_owners_meet_only_if_every_customer_agreed() {
    check(
        &[WORKSHOP, CUSTOMERS],
        "melt N in D silver lot C 50.00",
        "N is melt 2: 50.00 g at 999.0",
    );
    check(
        &[WORKSHOP, CUSTOMERS],
        "melt N in D silver lot A 10.00 lot C 50.00",
        "refused: metal of a customer goes in with other metal, and customer O has not agreed to that (/lots/1/lot)",
    );
    check(
        &[WORKSHOP, CUSTOMERS, &["agree O"]],
        "melt N in D silver lot A 10.00 lot C 50.00",
        "N is melt 2: 60.00 g at 999.1",
    );
    check(
        &[WORKSHOP, CUSTOMERS, &["agree O"]],
        "melt N in D silver lot C 10.00 lot E 50.00",
        "refused: metal of a customer goes in with other metal, and customer Q has not agreed to that (/lots/1/lot)",
    );
    check(
        &[WORKSHOP, CUSTOMERS, &["agree O", "agree Q"]],
        "melt N in D silver lot C 10.00 lot E 50.00",
        "N is melt 2: 60.00 g at 999.0",
    );
    // The workshop's copper is the workshop's metal.
    check(
        &[WORKSHOP, CUSTOMERS],
        "melt N in D silver lot C 37.00 lot K 2.96",
        "refused: metal of a customer goes in with other metal, and customer O has not agreed to that (/lots/1/lot)",
    );
}

#[test]
fn a_melt_has_the_owners_of_all_that_went_into_it_through_remelts() {
    let bench = Bench::with(&[
        WORKSHOP,
        CUSTOMERS,
        &[
            "agree O",
            "agree Q",
            "melt N in D silver heel M",
            "melt T in D silver lot E 50.00 lot A 1.00",
            "balance T in D heel 50.90",
            "melt U in D silver heel T jar PR 0.40",
        ],
    ]);
    let (o, q) = (OwnerId(bench.id("O")), OwnerId(bench.id("Q")));
    let mut all = vec![None, Some(o), Some(q)];
    all.sort_unstable();
    assert_eq!(owners(&bench, "M"), [Some(o)]);
    assert_eq!(owners(&bench, "N"), [Some(o)]);
    assert_eq!(owners(&bench, "T"), [None, Some(q)]);
    assert_eq!(owners(&bench, "U"), all);
}

#[test]
fn heels_jars_and_condemned_pieces_are_of_their_melts_owners() {
    let no = |at: &str| {
        format!(
            "refused: metal of a customer goes in with other metal, and customer O has not agreed to that ({at})"
        )
    };
    let condemned: &[&str] = &["condemn P1 under"];
    check(
        &[WORKSHOP, CUSTOMERS],
        "melt N in D silver lot A 10.00 heel M",
        &no("/heels/0"),
    );
    check(
        &[WORKSHOP, CUSTOMERS],
        "melt N in D silver lot A 10.00 jar PR 0.40",
        &no("/jars/0/jar"),
    );
    check(
        &[WORKSHOP, CUSTOMERS, condemned],
        "melt N in D silver lot A 10.00 piece P1",
        &no("/pieces/0"),
    );
    check(
        &[WORKSHOP, CUSTOMERS, condemned],
        "melt N in D silver lot C 10.00 heel M jar PR 0.40 piece P1",
        "N is melt 2: 157.90 g at 999.0; P1 remelted",
    );
}

/// As `CUSTOMERS`, with pieces of the workshop's own, nothing in the jars.
const BOTH: &[&str] = &[
    "melt N in D silver lot A 110.00",
    "pour N TW oval W1",
    "weigh from_mould in D W1 52.00",
];

#[test]
fn a_jar_takes_no_metal_of_another_owner_who_has_not_agreed() {
    let no = |at: &str| {
        format!(
            "refused: metal of a customer goes in with other metal, and customer O has not agreed to that ({at})"
        )
    };
    // The jar of prills holds the customer's.
    check(
        &[WORKSHOP, CUSTOMERS, BOTH],
        "balance N in D heel 57.50 prills PR 0.30",
        &no("/prills/jar"),
    );
    check(
        &[WORKSHOP, CUSTOMERS, BOTH, &["agree O"]],
        "balance N in D heel 57.50 prills PR 0.30",
        "N lost 0.20; PR takes 0.30 of N",
    );
    let weighed_out: &[&str] = &["balance N in D heel 57.80"];
    check(
        &[
            WORKSHOP,
            CUSTOMERS,
            BOTH,
            weighed_out,
            &["finish in D into LE W1 51.50"],
        ],
        "finish in D into LE P2 51.00",
        &no("/jar"),
    );
    check(
        &[WORKSHOP, CUSTOMERS, BOTH, weighed_out],
        "finish in D into LE P2 51.00",
        "P2 filed by 1.00; P2 weighs 51.00; P2 accepted; LE takes 1.00 of M",
    );
    // Both in one go, into a jar that is empty before.
    check(
        &[WORKSHOP, CUSTOMERS, BOTH, weighed_out],
        "finish in D into LE W1 51.50 P2 51.00",
        &no("/jar"),
    );
}

#[test]
fn an_order_of_events_that_would_hide_a_mixture_in_a_jar_is_refused() {
    let bench = Bench::with(&[WORKSHOP, CUSTOMERS, BOTH, &["balance N in D heel 57.80"]]);
    let mut book = bench.book.clone();
    let (stamp, jar) = (bench.stamp(), JarId(bench.id("LE")));
    let finished = |piece: &str| PieceFinished {
        piece: PieceId(bench.id(piece)),
        jar,
        filed: pourbook::metal::Mass::parse("1.00").unwrap(),
    };
    // Neither has been filed yet when the second is taken: the jar is still empty, and nothing is owed to it by mass.
    book.take(&stamp, &finished("P2").into()).unwrap();
    assert_eq!(
        book.take(&stamp, &finished("W1").into()),
        Err(Refusal::OwnersMixed {
            owner: OwnerId(bench.id("O"))
        })
    );
}

#[test]
fn the_refiner_gets_no_mixture_without_agreement_and_the_outturn_has_the_owner_of_what_was_sent() {
    let sent: &[&str] = &[
        "condemn P1 under",
        "jar SW silver 925 sweeps",
        "sweep SW 30.00 in D",
    ];
    check(
        &[WORKSHOP, CUSTOMERS, sent],
        "refine R in D silver jar SW 30.00 piece P1",
        "refused: metal of a customer goes in with other metal, and customer O has not agreed to that (/pieces/0)",
    );
    check(
        &[WORKSHOP, CUSTOMERS, sent],
        "refine R in D silver jar PR 0.40 jar SW 30.00",
        "refused: metal of a customer goes in with other metal, and customer O has not agreed to that (/jars/1/jar)",
    );
    let owner = |given: &[&str]| {
        let bench = Bench::with(&[WORKSHOP, CUSTOMERS, sent, given]);
        let refining = RefiningId(bench.id("R"));
        let lot = LotId(bench.id("L"));
        let (refining, lot) = (
            bench.book.refining(refining).unwrap(),
            bench.book.lot(lot).unwrap(),
        );
        assert_eq!(lot.outturn_of, Some(refining.refining));
        let o = Some(OwnerId(bench.id("O")));
        (refining.owners.clone(), lot.owner, o)
    };
    let (owners, outturn, o) = owner(&[
        "refine R in D silver jar PR 0.40 piece P1",
        "refined R outturn L 49.00 999.0 in D",
    ]);
    assert_eq!((owners, outturn), (vec![o], o));
    let (owners, outturn, o) = owner(&[
        "agree O",
        "refine R in D silver jar SW 30.00 piece P1",
        "refined R outturn L 49.00 999.0 in D",
    ]);
    assert_eq!((owners, outturn), (vec![None, o], None));
}

#[test]
fn a_customers_outturn_stays_theirs() {
    check(
        &[
            WORKSHOP,
            CUSTOMERS,
            &[
                "condemn P1 under",
                "refine R in D silver piece P1",
                "refined R outturn L 48.00 999.9 in D",
            ],
        ],
        "melt N in D silver lot L 48.00 lot A 2.00",
        "refused: metal of a customer goes in with other metal, and customer O has not agreed to that (/lots/1/lot)",
    );
}
