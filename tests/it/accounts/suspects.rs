//! After an assay contradicts what was declared: which lots may be behind it.

use crate::domain::bench::Bench;
use pourbook::accounts::shares::Shares;
use pourbook::accounts::suspects::{Suspect, Suspicion, suspicion};
use pourbook::domain::*;
use pourbook::metal::{Fineness, Metal};

/// Three lots at 999.0, each melt with two of them; an edition at 999 whose pieces go to the assay office.
const SHOP: &[&str] = &[
    "scale S class II e 0.01 d 0.01 max 1000 s 0.006",
    "session D on S 100.00 shows 100.01",
    "lot A silver 999.0 declared 500.00 in D",
    "lot B silver 999.0 declared 500.00 in D",
    "lot C silver 999.0 declared 500.00 in D",
    "edition HM silver 999 limits 50.00 50.00 51.20 required oval 9",
    "melt M1 in D silver lot A 40.00 lot B 60.00",
    "pour M1 HM oval P1",
    "weigh from_mould in D P1 50.50",
    "balance M1 in D heel 49.50",
    "melt M2 in D silver lot B 50.00 lot C 50.00",
    "pour M2 HM oval P2",
    "weigh from_mould in D P2 50.50",
    "balance M2 in D heel 49.50",
    "melt M3 in D silver lot A 100.00",
    "pour M3 HM oval P3",
    "weigh from_mould in D P3 50.50",
    "balance M3 in D heel 49.50",
    "serials P1 P2 P3",
    "consign CA 999 P1 P2 P3",
];

struct Asked {
    bench: Bench,
    found: Suspicion,
}

fn asked(back: &str, stated: Option<&str>) -> Asked {
    let bench = Bench::with(&[SHOP, &[back]]);
    let shares = Shares::of(&bench.book);
    let stated = stated.map(|text| Fineness::parse(text).unwrap());
    let found = suspicion(&bench.book, &shares, Metal::Silver, stated).unwrap();
    Asked { bench, found }
}

impl Asked {
    fn suspect(&self, lot: &str) -> &Suspect {
        let id = LotId(self.bench.id(lot));
        self.found
            .suspects
            .iter()
            .find(|suspect| suspect.lot == id)
            .unwrap()
    }

    fn suspected(&self) -> Vec<LotId> {
        let suspects = self.found.suspects.iter();
        suspects
            .filter(|suspect| suspect.is_suspected())
            .map(|suspect| suspect.lot)
            .collect()
    }
}

/// M1 is found at 987.0, 12.0 below. A alone would need 999 - 12 / 0.4 = 969.0, B alone 999 - 12 / 0.6 = 979.0. M2 and M3
/// were marked at 999: A as low as that, M3 could not have been; B as low, M2 would be at 989.0. Neither is suspected.
#[test]
fn marked_melts_speak_for_their_lots() {
    let a = asked(
        "back CA P1 unmarked/below_standard/a987.0 P2 marked P3 marked",
        Some("1.0"),
    );
    let (lot_a, lot_b) = (a.suspect("A"), a.suspect("B"));
    assert_eq!(
        (lot_a.needed_text(), lot_b.needed_text()),
        ("969.0".into(), "979.0".into())
    );
    // U / share: 1.0 / 0.4 = 2.5; 1.0 / 0.6 = 1.67, rounded up.
    assert_eq!(lot_a.uncertainty_text().as_deref(), Some("2.5"));
    assert_eq!(lot_b.uncertainty_text().as_deref(), Some("1.7"));
    assert_eq!(lot_a.spoken_for_by, [MeltId(a.bench.id("M3"))]);
    assert_eq!(lot_b.spoken_for_by, [MeltId(a.bench.id("M2"))]);
    assert!(a.suspected().is_empty());
    assert!(
        a.found
            .suspects
            .iter()
            .all(|suspect| suspect.lot != LotId(a.bench.id("C")))
    );
}

/// M1 at 987.0 and M2 at 989.0: B at 979.0 explains both, A and C do not.
#[test]
fn a_lot_that_explains_every_assay_is_suspected() {
    let a = asked(
        "back CA P1 unmarked/below_standard/a987.0 P2 unmarked/below_standard/a989.0 P3 marked",
        Some("1.0"),
    );
    assert_eq!(a.suspected(), [LotId(a.bench.id("B"))]);
    assert_eq!(
        a.found.suspects[0].lot,
        LotId(a.bench.id("B")),
        "those suspected come first"
    );
    let b = a.suspect("B");
    // Least squares: (0.6 x 12 + 0.5 x 10) / (0.36 + 0.25) = 20.0; U = 1 / sqrt(0.61) = 1.28.
    assert_eq!(b.needed_text(), "979.0");
    assert_eq!(b.uncertainty_text().as_deref(), Some("1.3"));
    assert!(!a.suspect("A").explains && !a.suspect("C").explains);
}

/// Two assays that no one lot explains: nobody is suspected alone.
#[test]
fn two_shortfalls_that_share_no_lot_have_no_suspect() {
    let a = asked(
        "back CA P1 marked P2 unmarked/below_standard/a989.0 P3 unmarked/below_standard/a980.0",
        Some("1.0"),
    );
    assert!(a.suspected().is_empty());
    assert!(a.found.suspects.iter().all(|suspect| !suspect.explains));
}

/// M2 at 400.0: B or C alone would have to be at 999 - 599 / 0.5 = -199.
#[test]
fn a_fineness_below_zero_cannot_be() {
    let a = asked(
        "back CA P1 marked P2 unmarked/below_standard/a400.0 P3 marked",
        Some("1.0"),
    );
    let c = a.suspect("C");
    assert_eq!(c.needed_text(), "-199.0");
    assert!(!c.possible && c.explains && c.spoken_for_by.is_empty());
    assert!(a.suspected().is_empty());
}

/// 998.5 against 999.0 is within 1.0 of an assay: no contradiction; with a better assay it is one.
#[test]
fn what_the_assay_s_uncertainty_explains_is_no_contradiction() {
    let back = "back CA P1 unmarked/below_standard/a998.5 P2 marked P3 marked";
    assert!(asked(back, None).found.suspects.is_empty(), "the table's 1.0");
    assert!(!asked(back, Some("0.2")).found.suspects.is_empty());
    assert_eq!(
        asked(back, None).found.uncertainty,
        Fineness::parse("1.0").unwrap()
    );
}

/// Refused without a figure: below 999.0 and declared at 999.0 says that something is lower, not by how much.
#[test]
fn a_refusal_without_a_figure_gives_only_a_bound() {
    let a = asked("back CA P1 marked P2 unmarked/below_standard P3 marked", None);
    let c = a.suspect("C");
    assert!(c.at_most && c.uncertainty.is_none());
    assert_eq!(c.needed_text(), "999.0");
    assert!(!c.possible, "by nothing at all it cannot be told");
}
