//! The whole life of a piece, told by its proof file alone: what is true holds and is said, what cannot be does not hold.
//!
//! The false records here are signed with the book's own keys and chained as if they were true, so that nothing but the
//! claims themselves can give them away.

use super::little_log::{LittleLog, every_report};
use crate::domain::bench::{Bench, Recorded, WORKSHOP};
use crate::domain::{histories, promises};
use pourbook::check::{Conclusion, Facts, Report};
use pourbook::domain::*;
use pourbook::metal::{Fineness, Mass, MassDifference, Reading};
use uuid::Uuid;

/// An edition that is hallmarked, at the office with everything that can happen there.
const HALLMARKED: &[&str] = &[
    "edition HM silver 999 limits 50.00 50.00 51.20 required oval 3 slab 1",
    "open HX silver 925 required",
    "open EX silver 998 exempt",
    "melt M in D silver lot A 320.00",
    "pour M HM oval P1 P2 P3 P4 P5 P6",
    "weigh from_mould in D P1 50.42 P2 50.50 P3 50.60 P4 50.44 P5 50.46 P6 50.48",
    "balance M in D heel 17.00",
    "serials P1 P2 P3 P4 P5",
    "consign C 999 P1 P2 P3 P4 P5",
    "back C P1 marked/sponsor+fineness+office+date_letter? P2 unmarked/below_standard P3 kept/a999.5 P4 missing \
     P5 unmarked/below_standard/a998.5",
];
const SOLD: &[&str] = &[
    "weigh final in D P1 50.40",
    "numbers P1",
    "close D 100.00 shows 100.00",
    "certify P1",
    "sell V P1",
    "dispatch V P1",
    "deliver V P1",
];
/// Resubmitted at a lower standard, in an open series and under its old serial.
const RESUBMITTED: &[&str] = &[
    "move P2 to HX",
    "consign C2 925 P2",
    "back C2 P2 marked/f925",
    "weigh final in D P2 50.46",
    "close D 100.00 shows 100.00",
    "certify P2",
];
/// Refused, and sold unmarked below what was found.
const UNMARKED: &[&str] = &[
    "move P5 to EX",
    "weigh final in D P5 50.45",
    "close D 100.00 shows 100.00",
    "certify P5",
];
/// Marked at the lower standard, then in a series that states less still.
const MOVED_ON: &[&str] = &[
    "open KX silver 900 exempt",
    "move P2 to HX",
    "consign C2 925 P2",
    "back C2 P2 marked/f925",
    "move P2 to KX",
    "weigh final in D P2 50.46",
    "close D 100.00 shows 100.00",
    "certify P2",
];
/// Struck, numbered on the metal, with a spare that is sold; and an edition without numbers.
const STRUCK: &[&str] = &[
    "edition ST silver 999 limits 50.00 50.00 51.20 exempt number_on_metal struck spares_sold oval 3",
    "edition NN silver 999 limits 50.00 50.00 51.20 exempt unnumbered oval 2",
    "die DA workshop for ST",
    "melt M in D silver lot A 320.00",
    "pour M ST oval P1 P2 P3",
    "pour M NN oval Q1 Q2",
    "weigh from_mould in D P1 50.42 P2 50.50 P3 50.60 Q1 50.44 Q2 50.46",
    "balance M in D heel 67.50",
    "serials P1 P2 P3 Q1 Q2",
    "strike DA P1 good P2 good P3 double",
    "weigh final in D P1 50.42 P2 50.50 Q1 50.44 Q2 50.46",
    "numbers P1",
    "spare P2",
    "weigh final in D P1 50.41",
    "close D 100.00 shows 100.00",
    "certify P1 P2 Q1 Q2",
    "session E on S 100.00 shows 100.00",
];
/// A full edition: sold, lost, stolen, and one in stock; then closed.
const CLOSED: &[&str] = &[
    "edition SN silver 999 limits 50.00 50.00 51.20 exempt oval 4",
    "melt M in D silver lot A 300.00",
    "pour M SN oval P1 P2 P3 P4",
    "weigh from_mould in D P1 50.40 P2 50.40 P3 50.40 P4 50.40",
    "balance M in D heel 98.00",
    "serials P1 P2 P3 P4",
    "weigh final in D P1 50.40 P2 50.40 P3 50.40 P4 50.40",
    "close D 100.00 shows 100.00",
    "numbers P1 P2 P3 P4",
    "certify P1 P2 P3 P4",
    "sell V P1 P2",
    "dispatch V P1 P2",
    "deliver V P1",
    "lose V P2",
    "steal P3",
    "end SN",
];
/// A piece of metal that came back from the refiner.
const OUTTURN: &[&str] = &[
    "melt M in D silver lot A 120.00",
    "pour M TW oval X1 X2",
    "weigh from_mould in D X1 49.10 X2 52.00",
    "balance M in D heel 18.00",
    "condemn X1 under",
    "condemn X2 over",
    "refine R in D silver piece X1 piece X2",
    "refined R outturn O 90.00 999.5 in D settled 9.00 999.5",
    "melt N in D silver lot O 60.00",
    "pour N DW bar P1",
    "weigh from_mould in D P1 50.40",
    "balance N in D heel 9.00",
    "serials P1",
    "weigh final in D P1 50.40",
    "close D 100.00 shows 100.00",
    "certify P1",
];

/// A piece of metal that was found, and of a heel that was counted twice and lighter each time.
const COUNTED: &[&str] = &[
    "melt M in D silver lot A 120.00",
    "pour M DW bar X1",
    "weigh from_mould in D X1 50.40",
    "balance M in D heel 69.00",
    "count CA in D heel M 68.50 found X silver 999 20.00",
    "count CB in D heel M 68.00",
    "melt N in D silver heel M lot X 20.00",
    "pour N DW bar P1",
    "weigh from_mould in D P1 50.40",
    "balance N in D heel 37.50",
    "serials P1",
    "weigh final in D P1 50.40",
    "close D 100.00 shows 100.00",
    "certify P1",
];

/// A bench, and one of its pieces.
pub struct Tale {
    pub bench: Bench,
    pub piece: PieceId,
    serial: Serial,
}

/// Benches of every kind of life that is told here.
pub fn benches() -> Vec<Bench> {
    let home: &[&str] = &[
        "sell V P1",
        "hand_over V P1",
        "buy_back P1 in E 50.39",
        "restock P1",
    ];
    let stolen: &[&str] = &["steal P1", "recover P1", "sell V P1", "hand_over V P1"];
    let lost: &[&str] = &[
        "sell V P1",
        "dispatch V P1",
        "lose V P1",
        "cancel_sale V P1",
        "find P1",
        "restock P1",
    ];
    let destroyed: &[&str] = &["supersede P1 damaged", "steal P1", "destroy P1 a neighbour"];
    let told: [&[&[&str]]; 12] = [
        &[HALLMARKED, SOLD],
        &[HALLMARKED, RESUBMITTED],
        &[HALLMARKED, UNMARKED],
        &[HALLMARKED, MOVED_ON],
        &[STRUCK],
        &[STRUCK, home],
        &[STRUCK, stolen],
        &[STRUCK, lost],
        &[STRUCK, destroyed],
        &[CLOSED],
        &[OUTTURN],
        &[COUNTED],
    ];
    let mut benches: Vec<Bench> = told
        .iter()
        .map(|given| Bench::with(&[&[WORKSHOP][..], given].concat()))
        .collect();
    benches.push(super::immersed::immersed().bench);
    benches
}

pub fn tale(given: &[&[&str]], name: &str) -> Tale {
    let lines = [&[WORKSHOP][..], given].concat();
    let bench = Bench::with(&lines);
    let piece = bench.piece(name);
    let (piece, serial) = (piece.piece, piece.serial.clone().unwrap());
    Tale { bench, piece, serial }
}

impl Tale {
    pub fn report(&self) -> Report {
        self.told_as(&self.bench.entries)
    }

    fn told_as(&self, entries: &[Recorded]) -> Report {
        let log = LittleLog::written(entries);
        log.check(&log.proof(self.piece, &self.serial))
    }

    pub fn facts(&self) -> Facts {
        let report = self.report();
        assert!(report.holds(), "{report}");
        report.facts
    }

    /// The same record, with something changed: which step does not hold, and why.
    #[track_caller]
    pub fn falsified(&self, change: impl FnOnce(&mut Vec<Recorded>), step: &str, says: &str) {
        let mut entries = self.bench.entries.clone();
        change(&mut entries);
        match self.told_as(&entries).conclusion {
            Conclusion::DoesNotHold { step: found, why } => {
                assert!(found == step && why.contains(says), "{found}: {why}");
            }
            other => panic!("{other:?}"),
        }
    }

    /// The same record, with one event of it changed wherever it stands.
    #[track_caller]
    pub fn changed<T>(
        &self,
        pick: fn(&mut Event) -> Option<&mut T>,
        change: impl Fn(&mut T),
        step: &str,
        says: &str,
    ) {
        let mut met = 0;
        let all = |entries: &mut Vec<Recorded>| {
            for draft in entries.iter_mut().flat_map(|entry| &mut entry.drafts) {
                let of_another = draft.event.piece().is_some_and(|piece| piece != self.piece);
                if let Some(event) = pick(&mut draft.event).filter(|_| !of_another) {
                    change(event);
                    met += 1;
                }
            }
        };
        self.falsified(all, step, says);
        assert!(met > 0, "nothing was changed");
    }

    /// The entry in which something of a kind happens to the piece, the last one if there are several.
    pub fn at(&self, kind: &str) -> usize {
        let has = |entry: &Recorded| {
            let mut events = entry.drafts.iter().map(|draft| &draft.event);
            events.any(|event| event.kind() == kind && event.piece() == Some(self.piece))
        };
        self.bench.entries.iter().rposition(has).unwrap()
    }

    fn without(&self, kind: &'static str) -> impl FnOnce(&mut Vec<Recorded>) + use<> {
        let at = self.at(kind);
        move |entries| {
            entries.remove(at);
        }
    }

    /// An entry with one event of the piece, put before another one.
    fn with_before(&self, kind: &str, event: Event) -> impl FnOnce(&mut Vec<Recorded>) + use<> {
        let at = self.at(kind);
        let mut more = self.bench.entries[at].clone();
        more.drafts = vec![Draft {
            event,
            private: Private::none(),
        }];
        move |entries| entries.insert(at, more)
    }

    fn doubled(&self, kind: &'static str) -> impl FnOnce(&mut Vec<Recorded>) + use<> {
        let at = self.at(kind);
        move |entries| {
            let again = entries[at].clone();
            entries.insert(at + 1, again);
        }
    }

    /// Two entries that change places.
    pub fn swapped(&self, kind: &str, other: &str) -> impl FnOnce(&mut Vec<Recorded>) + use<> {
        let (a, b) = (self.at(kind), self.at(other));
        move |entries| entries.swap(a, b)
    }
}

macro_rules! picks {
    ($($name:ident $variant:ident),* $(,)?) => {$(
        fn $name(event: &mut Event) -> Option<&mut $variant> {
            match event { Event::$variant(e) => Some(e), _ => None }
        }
    )*};
}

picks! {
    certificates CertificateIssued, hallmarks PieceHallmarked, unmarked PieceUnmarked, sent ConsignmentSent,
    back ConsignmentReturned, series SeriesOpened, closes SeriesClosed, refinings RefiningReturned,
    outturns LotOutturned, buy_backs PieceBoughtBack, moves PieceMoved, strikes PieceStruck, gradings PieceGraded,
    serials PieceSerialled, numbers PieceNumbered, sales SaleMade, certified PieceCertified, weighings PieceWeighed, heels_counted MeltCounted, found LotFound,
}

fn fineness(text: &str) -> Fineness {
    Fineness::parse(text).unwrap()
}

fn reading(text: &str) -> Reading {
    Reading::parse(text).unwrap()
}

#[test]
fn a_hallmarked_piece_that_was_numbered_and_sold_holds() {
    let facts = tale(&[HALLMARKED, SOLD], "P1").facts();
    assert_eq!(facts.state, Some("delivered"));
    assert_eq!(facts.place, Some("with its buyer"));
    assert_eq!(facts.number.as_deref(), Some("1 of 3"));
    assert_eq!(
        facts.hallmark.as_deref(),
        Some("999.0 (sponsor, fineness, office, date_letter (not legible))")
    );
    assert!(!facts.edition_closed);
    // What the office did with the others is told too, as far as they have serials.
    for name in ["P2", "P3", "P4", "P5"] {
        let state = tale(&[HALLMARKED, SOLD], name).facts().state;
        let wanted = match name {
            "P3" => "kept",
            "P4" => "missing",
            _ => "unmarked",
        };
        assert_eq!(state, Some(wanted));
    }
}

#[test]
fn the_report_says_what_was_last_said_and_that_nothing_later_is_known() {
    let text = tale(&[HALLMARKED, SOLD], "P1").report().to_string();
    assert!(
        text.contains(
            "Last said of the piece: delivered - with its buyer. Nothing later is known from this file."
        ),
        "{text}"
    );
    let text = tale(&[CLOSED], "P3").report().to_string();
    assert!(
        text.contains(
            "Last said of the piece: stolen - stolen, and not back; before that it was certified; its edition is closed, \
             and its number was burned. Nothing later is known from this file."
        ),
        "{text}"
    );
}

#[test]
fn a_piece_resubmitted_at_a_lower_standard_keeps_its_serial() {
    let told = tale(&[HALLMARKED, RESUBMITTED], "P2");
    let facts = told.facts();
    assert!(facts.serial.starts_with("HM-"), "{}", facts.serial);
    assert_eq!(facts.series.as_deref(), Some("HX"));
    assert_eq!(facts.fineness.as_deref(), Some("925.0"));
    assert_eq!(
        facts.hallmark.as_deref(),
        Some("925.0 (sponsor, fineness, office)")
    );
    let old = SeriesId(told.bench.id("HM"));
    told.changed(
        certificates,
        |e| e.series = old,
        "certificate",
        "another series than the piece was in",
    );
    told.changed(moves, |e| e.from = e.to, "life", "it was in another series");
    let new = SeriesId(told.bench.id("HX"));
    told.changed(serials, |e| e.series = new, "serial", "is no serial of series HX");
    told.changed(
        certificates,
        |e| e.fineness = fineness("999"),
        "certificate",
        "another metal or fineness than its series",
    );
}

#[test]
fn a_spare_without_a_number_and_a_piece_of_an_unnumbered_edition_hold() {
    let facts = tale(&[STRUCK], "P2").facts();
    assert_eq!((facts.state, facts.number), (Some("certified"), None));
    let facts = tale(&[STRUCK], "Q1").facts();
    assert_eq!((facts.state, facts.number), (Some("certified"), None));
    assert_eq!(tale(&[STRUCK], "P3").facts().state, Some("mis_struck"));
    // Terms that do not allow it, or an edition that numbers its pieces.
    tale(&[STRUCK], "P2").changed(series, |e| e.spares_sold = false, "life", "it had no number");
    tale(&[STRUCK], "Q1").changed(series, |e| e.unnumbered = false, "life", "it had no number");
    let of_two = |e: &mut CertificateIssued| (e.number, e.of) = (Some(1), Some(2));
    tale(&[STRUCK], "Q1").changed(certificates, of_two, "certificate", "another number");
}

#[test]
fn a_stolen_piece_that_came_back_is_what_it_was() {
    let stolen = tale(&[STRUCK, &["steal P1"]], "P1").facts();
    assert_eq!((stolen.state, stolen.before), (Some("stolen"), Some("certified")));
    let back = tale(
        &[STRUCK, &["steal P1", "recover P1", "sell V P1", "hand_over V P1"]],
        "P1",
    );
    let facts = back.facts();
    assert_eq!((facts.state, facts.before), (Some("delivered"), None));
    back.falsified(
        back.without("piece.recovered"),
        "life",
        "piece.sold: the piece was stolen",
    );
    back.falsified(
        back.without("piece.stolen"),
        "life",
        "piece.recovered: the piece was certified",
    );
    let destroyed = tale(&[STRUCK, &["steal P1", "destroy P1 a neighbour"]], "P1").facts();
    assert_eq!(
        (destroyed.state, destroyed.before),
        (Some("destroyed"), Some("certified"))
    );
    assert!(destroyed.place.unwrap().contains("no longer exists"));
}

#[test]
fn a_piece_bought_back_is_held_against_its_reading_before() {
    let home: &[&str] = &[
        "sell V P1",
        "hand_over V P1",
        "buy_back P1 in E 50.39",
        "restock P1",
    ];
    let told = tale(&[STRUCK, home], "P1");
    let facts = told.facts();
    assert_eq!(facts.state, Some("certified"));
    assert_eq!(facts.weight_grams.as_deref(), Some("50.39"));
    let lighter = tale(
        &[STRUCK, &["sell V P1", "hand_over V P1", "buy_back P1 in E 50.20"]],
        "P1",
    );
    assert_eq!(lighter.facts().state, Some("bought_back"));
    let other = Mass::parse("50.42").unwrap();
    told.changed(
        buy_backs,
        |e| e.before = other,
        "weight",
        "its last reading is 50.41 g",
    );
    let none = MassDifference::parse("0").unwrap();
    told.changed(buy_backs, |e| e.difference = none, "weight", "is stated as");
    told.changed(
        buy_backs,
        |e| e.explained = false,
        "weight",
        "explain the difference is stated wrongly",
    );
    lighter.changed(
        buy_backs,
        |e| e.explained = true,
        "weight",
        "explain the difference is stated wrongly",
    );
}

#[test]
fn an_outturn_is_a_lot_behind_the_piece() {
    let told = tale(&[OUTTURN], "P1");
    let facts = told.facts();
    assert_eq!(facts.lots.len(), 1);
    assert!(facts.lots[0].outturn);
    assert_eq!(facts.lots[0].share_ppm, 1_000_000);
    let more = Mass::parse("91").unwrap();
    told.changed(refinings, |e| e.returned = more, "metal", "another outturn");
    told.changed(refinings, |e| e.sent = more, "metal", "the loss is stated as");
    told.changed(refinings, |e| e.settled = None, "metal", "the loss is stated as");
    told.changed(
        outturns,
        |e| e.fineness = fineness("999.9"),
        "metal",
        "the inputs blend to",
    );
    told.changed(
        certificates,
        |e| e.basis = FinenessBasis::Declared,
        "certificate",
        "it rests on what is assayed",
    );
}

#[test]
fn a_heel_that_was_counted_and_found_metal_are_behind_the_piece() {
    let told = tale(&[COUNTED], "P1");
    let facts = told.facts();
    let shares: Vec<(u32, u64)> = facts.lots.iter().map(|lot| (lot.number, lot.share_ppm)).collect();
    // 68 of 88 g come from the heel, 20 of 88 g were found.
    assert_eq!(shares, [(1, 772_727), (5, 227_272)]);
    let other = Mass::parse("68.40").unwrap();
    told.changed(
        heels_counted,
        |e| e.expected = other,
        "metal",
        "a stock-take expects",
    );
    told.changed(
        heels_counted,
        |e| e.mass = reading("67.00"),
        "metal",
        "a stock-take expects",
    );
    told.changed(
        found,
        |e| e.fineness = fineness("925"),
        "metal",
        "the inputs blend to",
    );
}

/// Metal of an earlier melt may be reckoned lower than it was declared, since an assay of another piece may have said so; never
/// higher. A blend of lots alone is what their declarations make it, neither lower nor higher.
#[test]
fn the_blend_of_a_heel_is_stated_lower_or_as_declared_and_never_higher() {
    const HEEL: &[&str] = &[
        "open EX silver 998 exempt",
        "melt M in D silver lot B 120.00",
        "pour M DW bar X1",
        "weigh from_mould in D X1 50.40",
        "balance M in D heel 69.00",
        "melt N in D silver heel M lot B 20.00",
        "pour N EX bar P1",
        "weigh from_mould in D P1 50.40",
        "balance N in D heel 38.50",
        "serials P1",
        "weigh final in D P1 50.40",
        "close D 100.00 shows 100.00",
        "certify P1",
    ];
    let told = tale(&[HEEL], "P1");
    assert!(told.report().holds());
    let stated = |place: usize, text: &'static str| {
        move |entries: &mut Vec<Recorded>| {
            let drafts = entries.iter_mut().flat_map(|entry| &mut entry.drafts);
            let closed = drafts.filter_map(|draft| match &mut draft.event {
                Event::MeltClosed(e) => Some(e),
                _ => None,
            });
            let mut closed: Vec<_> = closed.collect();
            assert_eq!(closed.len(), 2);
            closed[place].fineness = fineness(text);
        }
    };
    for higher in ["999.1", "999.9", "1000"] {
        told.falsified(stated(1, higher), "metal", "the inputs blend to 999");
    }
    for lower in ["998.9", "998"] {
        let mut entries = told.bench.entries.clone();
        stated(1, lower)(&mut entries);
        let report = told.told_as(&entries);
        assert!(report.holds(), "{lower}: {report}");
        told.falsified(stated(0, lower), "metal", "the inputs blend to");
    }
    told.falsified(stated(0, "999.1"), "metal", "the inputs blend to 999");
    // What is stated lower carries no certificate of more.
    told.falsified(
        stated(1, "997.9"),
        "certificate",
        "it states 998.0, the metal is, as declared, 997.9",
    );
}

#[test]
fn a_closed_edition_counts_the_piece_as_it_was() {
    for (name, state, burned) in [
        ("P1", "delivered", false),
        ("P2", "lost", true),
        ("P3", "stolen", true),
        ("P4", "certified", false),
    ] {
        let facts = tale(&[CLOSED], name).facts();
        assert_eq!(
            (facts.state, facts.number_burned),
            (Some(state), burned),
            "{name}"
        );
        assert!(facts.edition_closed);
    }
    // Burned stays burned, wherever the piece turns up.
    let found = tale(&[CLOSED, &["recover P3", "sell W P3", "hand_over W P3"]], "P3").facts();
    assert_eq!((found.state, found.number_burned), (Some("delivered"), true));
    let lost = tale(&[CLOSED], "P2");
    let shape = |e: &mut SeriesClosed, change: &dyn Fn(&mut ShapeTally)| change(&mut e.shapes[0]);
    lost.changed(
        closes,
        |e| shape(e, &|tally| tally.burned = vec![3]),
        "edition",
        "number 2 is not burned",
    );
    lost.changed(
        closes,
        |e| shape(e, &|tally| tally.burned.reverse()),
        "edition",
        "cannot be",
    );
    lost.changed(
        closes,
        |e| shape(e, &|tally| tally.size = 5),
        "edition",
        "not of the shapes and sizes",
    );
    let sold = tale(&[CLOSED], "P1");
    sold.changed(
        closes,
        |e| shape(e, &|tally| tally.burned = vec![1]),
        "edition",
        "number 1 is burned",
    );
    let last = tale(&[CLOSED], "P4");
    let fewer = |tally: &mut ShapeTally| tally.given = 3;
    last.changed(
        closes,
        |e| shape(e, &fewer),
        "edition",
        "it counts 3 numbers given",
    );
    // Closed before the last piece had its number, or its certificate.
    let closing = last.bench.entries.len() - 1;
    for (kind, says) in [
        ("piece.numbered", "piece.numbered: the edition was closed"),
        ("piece.certified", "piece.certified: the edition was closed"),
    ] {
        let at = last.at(kind);
        let early = |entries: &mut Vec<Recorded>| {
            let close = entries.remove(closing);
            entries.insert(at, close);
        };
        last.falsified(early, "edition", says);
    }
    let loose = "the edition closed while the piece was numbered";
    last.falsified(last.without("piece.certified"), "edition", loose);
    // A file made before the close, or without it, tells of none: that can never be seen from a file.
    let open = tale(&[&CLOSED[..CLOSED.len() - 1]], "P2").facts();
    assert!(!open.edition_closed && !open.number_burned);
}

#[test]
fn what_cannot_follow_does_not_hold() {
    let told = tale(&[HALLMARKED, SOLD], "P1");
    let piece = told.piece;
    // An own entry left out, though all the others are signed anew to fit.
    for (kind, says) in [
        ("piece.serialled", "was given 0 serials"),
        ("piece.consigned", "piece.hallmarked: the piece was serialled"),
        ("piece.hallmarked", "piece.weighed: the piece was at_office"),
        (
            "piece.numbered",
            "piece.certified: its edition numbers its pieces",
        ),
        ("piece.certified", "piece.sold: the piece was numbered"),
        ("piece.sold", "piece.dispatched: the piece was certified"),
        ("piece.dispatched", "piece.delivered: the piece was sold"),
    ] {
        let step = if kind == "piece.serialled" {
            "serial"
        } else {
            "life"
        };
        told.falsified(told.without(kind), step, says);
    }
    told.falsified(
        told.doubled("piece.numbered"),
        "life",
        "piece.numbered: the piece was numbered",
    );
    told.falsified(
        told.doubled("piece.sold"),
        "life",
        "piece.sold: the piece was sold",
    );
    told.falsified(
        told.doubled("piece.certified"),
        "life",
        "piece.certified: the piece was certified",
    );
    told.falsified(
        told.swapped("piece.numbered", "piece.certified"),
        "life",
        "piece.certified: its edition numbers its pieces",
    );
    told.falsified(
        told.with_before("piece.sold", PieceStolen { piece }.into()),
        "life",
        "piece.sold: the piece was stolen",
    );
    told.falsified(
        told.with_before("piece.delivered", PieceDestroyed { piece }.into()),
        "life",
        "piece.delivered: the piece was destroyed",
    );
    // A last weighing before the office is none.
    let weighed = |e: &mut PieceWeighed| e.stage = Stage::FromMould;
    let index = told.at("piece.weighed");
    let early = move |entries: &mut Vec<Recorded>| {
        for draft in &mut entries[index].drafts {
            if let Event::PieceWeighed(e) = &mut draft.event {
                weighed(e);
            }
        }
    };
    told.falsified(early, "life", "piece.weighed: the piece was hallmarked");
    told.falsified(
        told.without("piece.weighed"),
        "life",
        "not finally weighed after the last thing",
    );
}

#[test]
fn a_sale_is_one_and_its_parcel_its_own() {
    let told = tale(&[HALLMARKED, SOLD], "P1");
    let piece = told.piece;
    let other = SaleId(Uuid::from_u128(9));
    let delivered = PieceDelivered { piece, sale: other };
    told.falsified(
        told.with_before("piece.delivered", delivered.into()),
        "life",
        "that is not the sale that stands",
    );
    told.changed(
        sales,
        |e| e.pieces.clear(),
        "life",
        "no sale of it is in its entry",
    );
    // Sold again, as if the first sale had been cancelled.
    let again: &[&str] = &["sell V P1", "cancel_sale V P1", "sell W P1", "hand_over W P1"];
    let told = tale(&[STRUCK, again], "P1");
    assert_eq!(told.facts().state, Some("delivered"));
    told.falsified(
        told.without("piece.unsold"),
        "life",
        "piece.sold: the piece was sold",
    );
    let gone: &[&str] = &[
        "sell V P1",
        "dispatch V P1",
        "lose V P1",
        "cancel_sale V P1",
        "find P1",
        "restock P1",
    ];
    let told = tale(&[STRUCK, gone], "P1");
    assert_eq!(told.facts().state, Some("certified"));
    told.falsified(
        told.without("piece.unsold"),
        "life",
        "piece.restocked: the piece was dispatched",
    );
}

#[test]
fn a_bad_strike_and_a_number_on_the_metal_are_not_passed_over() {
    let told = tale(&[STRUCK], "P1");
    told.changed(
        strikes,
        |e| e.outcome = StrikeOutcome::OffCentre,
        "life",
        "piece.weighed: the piece was mis_struck",
    );
    told.falsified(
        told.without("piece.struck"),
        "life",
        "its series asks for a good strike",
    );
    told.falsified(
        told.without("piece.weighed"),
        "life",
        "piece.certified: it was not finally weighed after the last thing that touched the metal",
    );
    told.changed(numbers, |e| e.number = 0, "serial", "gives number 0 of 3");
    told.changed(
        certificates,
        |e| e.mass = reading("50.42"),
        "certificate",
        "it states 50.42 g, which is not the final reading",
    );
    told.changed(
        gradings,
        |e| e.upper = e.lower,
        "weight",
        "the limits are not those of series ST",
    );
    told.changed(
        certified,
        |e| e.issue = 2,
        "life",
        "another issue number belongs here",
    );
    told.changed(
        weighings,
        |e| e.stage = Stage::Returned,
        "life",
        "piece.weighed: the piece was poured",
    );
}

#[test]
fn a_hallmark_is_the_pieces_own_and_the_certificate_repeats_it() {
    let told = tale(&[HALLMARKED, SOLD], "P1");
    told.changed(
        hallmarks,
        |e| e.hallmark.fineness = fineness("999.9"),
        "life",
        "999.0 was claimed, marked is 999.9",
    );
    let foreign = ConsignmentId(Uuid::from_u128(3));
    told.changed(
        hallmarks,
        |e| e.consignment = foreign,
        "life",
        "it was not in that consignment",
    );
    told.changed(
        hallmarks,
        |e| e.hallmark.marks.truncate(2),
        "office",
        "the marks do not make a hallmark",
    );
    told.changed(
        hallmarks,
        |e| e.hallmark.marks[0].legible = false,
        "certificate",
        "another hallmark than the piece bears",
    );
    told.changed(
        certificates,
        |e| (e.hallmark, e.marks) = (HallmarkStatement::NotHallmarked, None),
        "certificate",
        "another hallmark than the piece bears",
    );
    told.changed(
        certificates,
        |e| e.basis = FinenessBasis::Assayed,
        "certificate",
        "it rests on what is hallmarked",
    );
    // A mark that the piece never had.
    let bare = tale(&[STRUCK], "P1");
    let marks = told.bench.piece("P1").hallmark.clone();
    bare.changed(
        certificates,
        |e| (e.hallmark, e.marks) = (HallmarkStatement::Hallmarked, marks.clone()),
        "certificate",
        "another hallmark than the piece bears",
    );
}

#[test]
fn a_consignment_comes_back_whole() {
    let told = tale(&[HALLMARKED, SOLD], "P1");
    told.changed(back, |e| e.missing = 0, "office", "5 were sent");
    let counts = |e: &mut ConsignmentReturned| (e.kept, e.missing) = (0, 2);
    told.changed(
        back,
        counts,
        "office",
        "the lines say 1 marked, 2 unmarked, 1 kept, 1 missing",
    );
    told.changed(
        sent,
        |e| e.mass = Mass::parse("1").unwrap(),
        "office",
        "do not sum to 1.00 g",
    );
    let lighter = |e: &mut ConsignmentSent| e.pieces[0].mass = Mass::parse("50.00").unwrap();
    told.changed(sent, lighter, "office", "another weight than the last reading");
    told.changed(
        sent,
        |e| e.pieces.truncate(4),
        "office",
        "lists other pieces than are sent",
    );
    told.changed(
        sent,
        |e| e.fineness = fineness("958"),
        "life",
        "another fineness is claimed",
    );
    told.changed(
        sent,
        |e| e.marks.truncate(2),
        "office",
        "the marks do not make a hallmark",
    );
    // The line of another piece is left out, and the counts are made to fit.
    let at = told.at("piece.hallmarked");
    let short = |entries: &mut Vec<Recorded>| {
        let drafts = &mut entries[at].drafts;
        drafts.retain(|draft| !matches!(draft.event, Event::PieceMissing(_)));
        for draft in drafts {
            if let Event::ConsignmentReturned(e) = &mut draft.event {
                (e.missing, e.sent) = (0, 4);
            }
        }
    };
    told.falsified(short, "office", "not those that were sent");
    // A line is about a piece that was never sent.
    let other = |entries: &mut Vec<Recorded>| {
        for draft in &mut entries[at].drafts {
            if let Event::PieceMissing(e) = &mut draft.event {
                e.piece = PieceId(Uuid::from_u128(4));
            }
        }
    };
    told.falsified(other, "office", "not those that were sent");
}

#[test]
fn no_fineness_is_stated_above_a_mark_or_an_assay() {
    let told = tale(&[HALLMARKED, UNMARKED], "P5");
    let facts = told.facts();
    assert_eq!((facts.hallmark, facts.fineness.as_deref()), (None, Some("998.0")));
    told.changed(
        unmarked,
        |e| e.assay = Some(fineness("997.5")),
        "certificate",
        "an assay office found 997.5",
    );
    told.changed(
        unmarked,
        |e| e.assay = Some(fineness("999.5")),
        "life",
        "found to be as fine as was claimed",
    );
    let at = |tale: &Tale, code: &str, stated: &'static str| {
        let id = SeriesId(tale.bench.id(code));
        move |entries: &mut Vec<Recorded>| {
            for draft in entries.iter_mut().flat_map(|entry| &mut entry.drafts) {
                match &mut draft.event {
                    Event::SeriesOpened(e) if e.series == id => e.fineness = fineness(stated),
                    Event::CertificateIssued(e) => e.fineness = fineness(stated),
                    _ => {}
                }
            }
        }
    };
    told.falsified(
        at(&told, "EX", "998.6"),
        "certificate",
        "an assay office found 998.5",
    );
    // Refused without a figure: not stated at that claim again.
    let mute: &[&str] = &[
        "move P2 to EX",
        "weigh final in D P2 50.45",
        "close D 100.00 shows 100.00",
        "certify P2",
    ];
    let mute_lines = [
        &HALLMARKED[..9],
        &["back C P1 marked P2 unmarked/below_standard P3 marked P4 marked P5 marked"],
    ]
    .concat();
    let mute = tale(&[&mute_lines, mute], "P2");
    mute.facts();
    mute.falsified(
        at(&mute, "EX", "999"),
        "certificate",
        "an assay office refused it at 999.0",
    );
    let moved = tale(&[HALLMARKED, MOVED_ON], "P2");
    assert_eq!(moved.facts().fineness.as_deref(), Some("900.0"));
    moved.falsified(at(&moved, "KX", "950"), "certificate", "it is marked 925.0");
}

#[test]
fn a_newer_certificate_takes_the_place_of_the_older_one() {
    let told = tale(&[STRUCK, &["supersede P1 damaged"]], "P1");
    assert_eq!(told.facts().certificate_issue, Some(2));
    let at = told.at("piece.certified");
    let alone = |entries: &mut Vec<Recorded>| {
        entries[at]
            .drafts
            .retain(|draft| !matches!(draft.event, Event::CertificateSuperseded(_)));
    };
    told.falsified(
        alone,
        "certificate",
        "issue 2 does not supersede the one before it",
    );
}

#[test]
fn a_certificate_rests_on_a_reading_that_a_held_check_followed() {
    // The last check of the session fails, after one that held: the readings before that one stand.
    let checked = ["check D 100.00 shows 100.00", "close D 100.00 shows 100.10"];
    let closed = SOLD.iter().position(|line| line.starts_with("close D")).unwrap();
    let given = [&SOLD[..closed], &checked, &SOLD[closed + 1..]].concat();
    let told = tale(&[HALLMARKED, &given], "P1");
    assert!(!told.facts().weight_suspect);
    let is = |entry: &Recorded, kind: &str| entry.drafts[0].event.kind() == kind;
    let in_between = |entries: &Vec<Recorded>| entries.iter().rposition(|e| is(e, "session.checked"));
    told.falsified(
        |entries| drop(entries.remove(in_between(entries).unwrap())),
        "certificate",
        "no check of the scale held after the weight of record",
    );
    told.falsified(
        |entries| drop(entries.remove(entries.iter().rposition(|e| is(e, "session.closed")).unwrap())),
        "certificate",
        "no closing check",
    );
    // A check that held before the weighing says nothing of it.
    told.falsified(
        |entries| {
            let checked = entries.remove(in_between(entries).unwrap());
            let weighed = entries.iter().rposition(|e| is(e, "piece.weighed")).unwrap();
            entries.insert(weighed, checked);
        },
        "certificate",
        "no check of the scale held after the weight of record",
    );
}

#[test]
fn an_entry_of_the_life_that_is_left_out_of_a_file_is_missed() {
    let told = tale(&[HALLMARKED, SOLD], "P1");
    let log = LittleLog::written(&told.bench.entries);
    let file = log.proof(told.piece, &told.serial);
    let mut ended = 0;
    for place in 3..file.proofs.len() {
        let mut fewer = file.clone();
        fewer.proofs.remove(place);
        let report = log.check(&fewer);
        // Only the end of the life can be cut: no file shows that nothing came later.
        if report.holds() {
            assert_eq!(place, file.proofs.len() - 1);
            assert_eq!(report.facts.state, Some("dispatched"));
            ended += 1;
        }
    }
    assert_eq!(ended, 1);
}

/// Whatever a workshop does that its book allows, the verifier, which knows nothing of the book, allows too: both tell the
/// same state.
#[test]
fn every_piece_of_random_books_holds_and_is_what_the_book_says() {
    let mut reached = std::collections::BTreeSet::new();
    let mut draw = Draw::new([11; 32]);
    let mut steps = |count| histories::steps(&mut draw, count);
    let slow = if std::env::var_os("SLOW").is_some() { 20 } else { 1 };
    for round in 0..slow * 12 {
        let bench = match round % 3 {
            0 => histories::book(&steps(700)),
            _ => promises::book(&steps(250)),
        };
        for (piece, report) in every_report(&bench) {
            let piece = bench.book.piece(piece).unwrap();
            assert!(report.holds(), "{}: {report}", piece.pour);
            assert_eq!(report.facts.state, Some(piece.state.word()), "{}", piece.pour);
            assert_eq!(
                report.facts.before,
                piece.before.map(PieceState::word),
                "{}",
                piece.pour
            );
            reached.insert(piece.state);
        }
    }
    for state in [
        PieceState::Hallmarked,
        PieceState::Certified,
        PieceState::Delivered,
        PieceState::Lost,
        PieceState::Stolen,
        PieceState::Destroyed,
        PieceState::MisStruck,
    ] {
        assert!(reached.contains(&state), "{state} was never reached: {reached:?}");
    }
}

/// A thousand melts, each taking the heel of the one before, and trays of thirty-two on the way out: the file of a piece stays
/// small, since what is behind it is followed only as far as it matters.
#[test]
fn a_proof_in_a_book_of_a_thousand_melts_is_at_most_500_kilobytes() {
    let mut bench = Bench::with(&[WORKSHOP, &["open HY silver 999 required"]]);
    let mut tell = |line: &str| {
        bench
            .run(line)
            .unwrap_or_else(|refused| panic!("{line}: {refused}"));
    };
    let mut tray = Vec::new();
    for melt in 0..1_000 {
        if melt % 10 == 0 {
            tell(&format!("lot L{} silver 999.9 assayed 999.00 in D", melt / 10));
        }
        let heel = match melt {
            0 => "lot A 400.00".to_owned(),
            _ => format!("heel M{}", melt - 1),
        };
        tell(&format!(
            "melt M{melt} in D silver lot L{} 60.00 {heel}",
            melt / 10
        ));
        tell(&format!("pour M{melt} HY bar P{melt}"));
        tell(&format!("weigh from_mould in D P{melt} 50.40"));
        tell(&format!("balance M{melt} in D heel 400.00"));
        if melt >= 968 {
            tray.push(format!("P{melt}"));
        }
    }
    let listed = tray.join(" ");
    let with = |word: &str| {
        tray.iter()
            .map(|name| format!(" {name} {word}"))
            .collect::<String>()
    };
    tell(&format!("serials {listed}"));
    tell(&format!("consign C 999 {listed}"));
    tell(&format!("back C{}", with("marked")));
    tell(&format!("weigh final in D{}", with("50.40")));
    tell("close D 100.00 shows 100.00");
    for line in ["certify", "sell V", "dispatch V", "deliver V"] {
        tell(&format!("{line} {listed}"));
    }
    let piece = bench.piece("P999");
    let log = LittleLog::written(&bench.entries);
    let file = log.proof(piece.piece, piece.serial.as_ref().unwrap());
    let report = log.check(&file);
    assert!(report.holds(), "{report}");
    assert!(report.facts.lots.len() > 3);
    let bytes = file.to_bytes().len();
    println!("{bytes} bytes, {} entries", file.proofs.len());
    assert!(bytes <= 500_000, "{bytes} bytes");
    // The trays are the greater part of it; the walk back stops where it no longer matters.
    assert!(file.proofs.len() < 100, "{}", file.proofs.len());
}
