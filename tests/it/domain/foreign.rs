//! Events that somebody else wrote: a derived value that is another one, an event left out, added or out of place.
//!
//! Recovery and audit take events from bytes. Whatever they say, the book answers with a refusal and never a panic.

use super::bench::{Bench, CLOSED, FINAL, POURED, Recorded, WORKSHOP};
use pourbook::domain::*;
use serde_json::{Map, Value};

/// The rest of the main line: a jar emptied, pieces remelted, a certificate superseded, checks that hold and fail.
const REST: &[&str] = &[
    "numbers P1 P4",
    "certify P1 P4",
    "session E on S 100.00 shows 100.00",
    "check E 100.00 shows 100.01",
    "finish in E into LE P3 51.50",
    "move P3 to DW",
    "condemn P2 under",
    "melt N in E silver heel M piece P2 jar LE 0.49 jar PR 0.50 lot B 100.00",
    "pour N DW slab Q1",
    "weigh from_mould in E Q1 60.25",
    "fault Q1 porosity",
    "balance N in E heel 186.00 prills PR 0.40",
    "serials P3",
    "weigh final in E P1 50.41 P3 51.50",
    "close E 100.00 shows 100.00",
    "supersede P1 reweighed",
    "erase 2 0 seller",
    "session R on S 100.00 shows 100.00",
    "owner O",
    "agree O",
    "lot C silver 999.0 declared 60.00 in R owner O",
    "jar SW silver 925 sweeps",
    "sweep SW 140.00 in R",
    "condemn Q1 faulty",
    "refine V in R silver jar PR 0.40 piece Q1",
    "refine W in R silver jar SW 139.00",
    "refined V outturn Y 58.00 999.9 in R settled 2.00 999.0",
    "refined W settled 3.00 999.0",
    "melt Z in R silver lot Y 50.00 lot C 20.00",
    "pour Z DW bar Z1",
    "weigh from_mould in R Z1 68.50",
    "balance Z in R heel 1.25 prills PR 0.10",
    "count CT in R lot B 299.00 heel Z 1.20 jar PR 0.00 found X silver 900 1.00 of TW seen P4 P3",
    "close R 100.00 shows 100.00",
    "session F on S 100.00 shows 100.00",
    "check F 100.00 shows 100.09",
];

/// Dies and strikes, a consignment of which one piece is marked, one refused, one cut and one missing, and a close.
const MARKED: &[&str] = &[
    "session H on S 100.00 shows 100.00",
    "edition HM silver 999 limits 50.00 50.00 51.20 required struck oval 4",
    "open HX silver 925 required",
    "die DC commissioner for HM",
    "melt T in H silver lot A 260.00",
    "pour T HM oval R1 R2 R3 R4 R5",
    "weigh from_mould in H R1 50.42 R2 50.50 R3 50.60 R4 50.44 R5 50.46",
    "balance T in H heel 7.50",
    "strike DC R1 good R2 good R3 good R4 good R5 double",
    "archive R5",
    "serials R1 R2 R3 R4",
    "consign CA 999 R1 R2 R3 R4",
    "back CA R1 marked R2 unmarked/below_standard/a998.0 R3 cut/a999.0 R4 missing",
    "weigh final in H R1 50.40",
    "spare R1",
    "numbers R1",
    "condemn R1 unwanted",
    "melt V in H silver piece R1 lot B 10.00",
    "move R2 to HX",
    "dispose DC returned",
    "end HM",
];

/// A promise given up while a piece kept for it is stolen, a sale of which one piece is lost and one bought back.
const SOLD: &[&str] = &[
    "order OA of TW oval 1 slab 1",
    "reserve P1 under OA",
    "reserve P4 under OA",
    "steal P4",
    "cancel_order OA",
    "recover P4",
    "sell VA P1 P4",
    "dispatch VA P1 P4",
    "lose VA P4",
    "deliver VA P1",
    "buy_back P1 in H 50.40",
    "restock P1",
];

/// The members that the book reckons itself, by kind. What is not here is given, by a person or by chance.
const DERIVED: &[(&str, &[&str])] = &[
    ("lot.received", &["number"]),
    ("session.checked", &["held"]),
    ("session.closed", &["held"]),
    ("jar.filled", &["jar", "melt", "mass"]),
    ("melt.charged", &["number", "inputs", "charge", "fineness"]),
    (
        "melt.closed",
        &["melt", "metal", "inputs", "charge", "fineness", "pieces", "loss"],
    ),
    ("piece.poured", &["pour"]),
    ("piece.graded", &["piece", "grade", "lower", "upper", "guard"]),
    ("piece.finished", &["piece", "filed"]),
    ("piece.moved", &["piece", "from"]),
    ("piece.remelted", &["piece", "melt"]),
    ("piece.serialled", &["series", "serial"]),
    ("piece.numbered", &["series", "shape", "number", "of"]),
    ("piece.certified", &["piece", "certificate", "issue"]),
    (
        "certificate.issued",
        &[
            "issue",
            "serial",
            "series",
            "number",
            "of",
            "metal",
            "fineness",
            "basis",
            "session",
            "mass",
            "uncertainty",
            "at_least",
        ],
    ),
    ("certificate.superseded", &["certificate", "by"]),
    ("die.disposed", &["die", "strikes"]),
    ("series.closed", &["series", "shapes", "dies"]),
    ("consignment.sent", &["number", "fineness", "pieces", "mass"]),
    ("piece.consigned", &["piece", "consignment"]),
    ("piece.hallmarked", &["piece", "consignment"]),
    ("piece.unmarked", &["piece", "consignment"]),
    ("piece.kept", &["piece", "consignment"]),
    ("piece.missing", &["piece", "consignment"]),
    (
        "consignment.returned",
        &["consignment", "sent", "marked", "unmarked", "kept", "missing"],
    ),
    ("refining.sent", &["number", "pieces", "mass"]),
    ("jar.emptied", &["jar", "refining"]),
    ("piece.refined", &["piece", "refining"]),
    ("refining.returned", &["sent", "outturn", "returned", "loss"]),
    ("lot.outturned", &["lot", "number", "refining", "metal", "mass"]),
    ("order.recorded", &["number"]),
    ("piece.released", &["piece"]),
    ("stocktake.taken", &["number"]),
    (
        "lot.counted",
        &[
            "lot",
            "stocktake",
            "expected",
            "variance",
            "uncertainty",
            "explained",
        ],
    ),
    (
        "melt.counted",
        &[
            "melt",
            "stocktake",
            "expected",
            "variance",
            "uncertainty",
            "explained",
        ],
    ),
    (
        "jar.counted",
        &[
            "jar",
            "stocktake",
            "expected",
            "variance",
            "uncertainty",
            "explained",
        ],
    ),
    ("lot.found", &["number", "stocktake"]),
    ("sale.made", &["number", "pieces"]),
    ("piece.sold", &["piece", "sale"]),
    ("sale.dispatched", &["sale", "pieces"]),
    ("piece.dispatched", &["piece", "sale"]),
    ("piece.lost", &["sale"]),
    ("piece.delivered", &["sale"]),
    (
        "piece.bought_back",
        &["mass", "before", "difference", "explained"],
    ),
];

fn whole_line() -> Bench {
    Bench::with(&[WORKSHOP, POURED, CLOSED, FINAL, REST, MARKED, SOLD])
}

/// Takes entries; the first refusal, whole entries only.
fn take_all(book: &mut Book, entries: &[Recorded]) -> Result<(), Refusal> {
    for entry in entries {
        for draft in &entry.drafts {
            book.take(&entry.stamp, &draft.event)?;
        }
        book.settled()?;
    }
    Ok(())
}

/// Other values of the same form: a number one more, a reading a step more, another word, another id, one thing less.
fn others(value: &Value) -> Vec<Value> {
    match value {
        Value::Bool(flag) => vec![Value::Bool(!flag)],
        Value::Number(number) => {
            let number = number.as_u64().unwrap();
            vec![Value::from(number + 1), Value::from(number.saturating_sub(1))]
        }
        Value::String(text) => {
            let mut others: Vec<Value> = [
                "0.01", "50.43", "1.00", "999.0", "999.8", "-0.01", "1-77", "oval", "slab", "under",
            ]
            .into_iter()
            .chain([
                "accepted",
                "declared",
                "hallmarked",
                "gold",
                "TW-0009-59",
                "00000000-0000-4000-8000-000000000001",
            ])
            .map(Value::from)
            .collect();
            others.retain(|other| other != value && !text.is_empty());
            others
        }
        Value::Array(items) => {
            let mut others = Vec::new();
            for (i, item) in items.iter().enumerate() {
                let mut without = items.clone();
                without.remove(i);
                others.push(Value::Array(without));
                let mut twice = items.clone();
                twice.push(item.clone());
                others.push(Value::Array(twice));
                for other in self::others(item) {
                    let mut changed = items.clone();
                    changed[i] = other;
                    others.push(Value::Array(changed));
                }
            }
            others
        }
        Value::Object(members) => members
            .iter()
            .flat_map(|(name, value)| others(value).into_iter().map(move |other| (name.clone(), other)))
            .map(|(name, other)| {
                let mut changed = members.clone();
                changed.insert(name, other);
                Value::Object(changed)
            })
            .collect(),
        Value::Null => vec![],
    }
}

fn members_of(event: &Event) -> Map<String, Value> {
    match serde_json::to_value(event).unwrap() {
        Value::Object(members) => members,
        other => panic!("{other}"),
    }
}

/// Every way to change one event by one member, that still reads as an event.
fn changed(event: &Event, wanted: impl Fn(&str) -> bool) -> Vec<(String, Event)> {
    let members = members_of(event);
    let mut changed = Vec::new();
    for (name, value) in &members {
        for other in others(value).into_iter().filter(|_| wanted(name)) {
            let mut members = members.clone();
            members.insert(name.clone(), other.clone());
            if let Some(Ok(event)) = Event::from_members(event.kind(), Value::Object(members)) {
                changed.push((format!("{name} = {other}"), event));
            }
        }
    }
    changed
}

/// A charge of something else is another charge, if the other thing is there: the numbers that follow are reckoned then.
fn is_other_input(kind: &str, what: &str) -> bool {
    kind == "melt.charged" && what.starts_with("inputs")
}

#[test]
fn a_derived_value_that_is_another_one_is_refused() {
    let bench = whole_line();
    let mut book = Book::default();
    let mut tried = std::collections::BTreeMap::<String, u32>::new();
    for entry in &bench.entries {
        for place in 0..entry.drafts.len() {
            let event = &entry.drafts[place].event;
            let kind = event.kind();
            let derived = DERIVED
                .iter()
                .find(|(name, _)| *name == kind)
                .map_or(&[][..], |(_, members)| members);
            for (what, other) in changed(event, |name| derived.contains(&name)) {
                let mut forged = entry.clone();
                forged.drafts[place].event = other;
                let mut book = book.clone();
                let taken = take_all(&mut book, &[forged]);
                assert!(
                    taken.is_err(),
                    "{kind} with {what} was taken in entry {}",
                    entry.stamp.index
                );
                assert!(!is_other_input(kind, &what) || taken.is_err());
                let member = what.split(" =").next().unwrap();
                *tried.entry(format!("{kind} {member}")).or_default() += 1;
            }
        }
        take_all(&mut book, std::slice::from_ref(entry)).unwrap();
        book.keep();
    }
    for (kind, members) in DERIVED {
        for member in *members {
            assert!(
                tried.contains_key(&format!("{kind} {member}")),
                "{kind} {member} was never tried"
            );
        }
    }
    assert!(book == bench.book);
}

#[test]
fn no_change_of_any_member_makes_the_book_panic_or_lose_metal() {
    let bench = whole_line();
    let mut book = Book::default();
    for entry in &bench.entries {
        for place in 0..entry.drafts.len() {
            for (what, other) in changed(&entry.drafts[place].event, |_| true) {
                let mut forged = entry.clone();
                forged.drafts[place].event = other;
                let mut book = book.clone();
                let before = book.clone();
                if take_all(&mut book, &[forged]).is_ok() {
                    for metal in pourbook::metal::Metal::ALL {
                        let statement = book.masses(metal).unwrap();
                        assert_eq!(statement.difference().unwrap(), Amount::default(), "{what}");
                    }
                } else {
                    book.undo();
                    assert!(book == before, "{what}");
                }
            }
        }
        take_all(&mut book, std::slice::from_ref(entry)).unwrap();
        book.keep();
    }
}

#[test]
fn an_event_that_is_owed_cannot_be_left_out() {
    let owed = [
        "piece.graded",
        "jar.filled",
        "piece.remelted",
        "piece.certified",
        "certificate.superseded",
        "piece.consigned",
        "piece.hallmarked",
        "piece.unmarked",
        "piece.kept",
        "piece.missing",
        "consignment.returned",
        "jar.emptied",
        "piece.refined",
        "lot.outturned",
        "piece.released",
        "piece.sold",
        "piece.dispatched",
    ];
    let bench = whole_line();
    let mut tried = std::collections::BTreeSet::new();
    for (index, entry) in bench.entries.iter().enumerate() {
        let mut book = Book::default();
        take_all(&mut book, &bench.entries[..index]).unwrap();
        for place in 0..entry.drafts.len() {
            let kind = entry.drafts[place].event.kind();
            let finishing = kind == "piece.weighed" && entry.drafts[0].event.kind() == "piece.finished";
            if owed.contains(&kind) || finishing {
                tried.insert(kind);
                let mut short = entry.clone();
                short.drafts.remove(place);
                // Without asking whether it is settled: the next entry finds out.
                let next = &bench.entries[index + 1..];
                let mut book = book.clone();
                let mut taken = Ok(());
                for entry in std::iter::once(&short).chain(next.first()) {
                    for draft in &entry.drafts {
                        taken = taken.and_then(|()| book.take(&entry.stamp, &draft.event));
                    }
                }
                assert!(taken.is_err(), "entry {index} was taken without its {kind}");
            }
        }
    }
    assert_eq!(tried.len(), owed.len() + 1, "{tried:?}");
}

#[test]
fn no_event_is_taken_twice_or_from_another_place() {
    let bench = whole_line();
    let mut book = Book::default();
    take_all(&mut book, &bench.entries).unwrap();
    let stamp = bench.stamp();
    // These may be said again, each time of a new moment: a check, a weighing, a fault, a move or an end are not.
    let again = ["clock.set", "owner.agreed"];
    for draft in bench.entries.iter().flat_map(|entry| &entry.drafts) {
        let mut book = book.clone();
        let taken = book.take(&stamp, &draft.event).and_then(|()| book.settled());
        assert!(
            taken.is_err() || again.contains(&draft.event.kind()),
            "{:?}",
            draft.event
        );
    }
}

#[test]
fn entries_come_in_their_order() {
    let bench = Bench::with(&[WORKSHOP]);
    let mut book = bench.book.clone();
    let early = Stamp {
        index: 3,
        ..bench.stamp()
    };
    let clock = Event::ClockSet(ClockSet { to: early.at });
    assert!(matches!(
        book.take(&early, &clock),
        Err(Refusal::Contradicts { .. })
    ));
    assert!(book == bench.book);
    book.take(&bench.stamp(), &clock).unwrap();
}

#[test]
fn an_id_belongs_to_one_thing() {
    let bench = Bench::with(&[WORKSHOP]);
    let mut book = bench.book.clone();
    let id = bench.id("A");
    let event = JarOpened {
        jar: JarId(id),
        metal: pourbook::metal::Metal::Silver,
        fineness: pourbook::metal::Fineness::PURE,
        residue: Residue::Sweeps,
    };
    assert_eq!(
        book.take(&bench.stamp(), &event.into()),
        Err(Refusal::IdTaken { id })
    );
}
