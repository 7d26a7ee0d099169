//! The movements of the invented workshop's half year: at every position, after corrections, and with one event left out
//! or told twice.

use super::agree;
use crate::check::DemoBook;
use pourbook::accounts::{AsOf, Heading, Postings, Reckoning};
use pourbook::domain::{Amount, Date, Event};
use pourbook::log::Store;
use pourbook::metal::Metal;
use pourbook::node::accounts;
use std::collections::BTreeMap;

/// Every event of the demo as its entry says it now: index, place in the entry, event.
fn told(demo: &DemoBook) -> Vec<(u64, u16, Event)> {
    let reader = demo.reader();
    let mut told = Vec::new();
    reader
        .store()
        .scan(0, &mut |index, bytes| {
            let entry = pourbook::record::read(bytes).unwrap();
            let events = reader.book().said(index, entry.events());
            told.extend((0..).zip(events).map(|(place, event)| (index, place, event)));
            true
        })
        .unwrap();
    told
}

fn followed<'a>(told: impl IntoIterator<Item = &'a (u64, u16, Event)>) -> Postings {
    let mut postings = Postings::default();
    for (index, place, event) in told {
        postings.take(*index, *place, event);
    }
    postings
}

/// What stands under every heading, and by how many movements.
fn figures(postings: &Postings) -> BTreeMap<(Metal, Heading), (Amount, usize)> {
    let headings = Metal::ALL
        .into_iter()
        .flat_map(|metal| Heading::all().map(move |heading| (metal, heading)));
    headings
        .map(|(metal, heading)| {
            let amount = postings.amount(metal, heading).unwrap();
            ((metal, heading), (amount, postings.count(metal, heading)))
        })
        .collect()
}

#[test]
fn movements_and_rows_agree_at_every_position() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let (mut reckoning, mut corrections) = (Reckoning::new("brackenfold.example/log"), 0);
    for position in 1..=reader.head().size {
        reckoning.advance(reader.store(), position).unwrap();
        assert_eq!(reckoning.position(), position);
        agree(reckoning.book(), reckoning.postings());
        let bytes = reader.store().read(position - 1).unwrap().unwrap();
        let entry = pourbook::record::read(&bytes).unwrap();
        corrections += usize::from(entry.events().any(|event| event.kind() == "entry.corrected"));
        for metal in reckoning.metals() {
            let statement = reckoning.statement(metal).unwrap();
            assert_eq!(statement.difference, Amount::default());
        }
    }
    assert!(corrections > 0, "the demo corrects something");
    // Taken at once, or in one step after another, the movements are the same.
    let mut at_once = Reckoning::new("brackenfold.example/log");
    at_once.advance(reader.store(), u64::MAX).unwrap();
    assert_eq!(at_once.postings().all(), reckoning.postings().all());
    assert_eq!(at_once.postings().all(), followed(&told(&demo)).all());
}

/// A correction changes what is said now, and not what was known before it.
#[test]
fn before_a_correction_the_movements_are_those_that_were_said_then() {
    let demo = DemoBook::make();
    let accounts = accounts(&demo.folder()).unwrap();
    let reader = demo.reader();
    let size = reader.head().size;
    let corrected = (0..size).rfind(|index| {
        let bytes = reader.store().read(*index).unwrap().unwrap();
        let entry = pourbook::record::read(&bytes).unwrap();
        entry.events().any(|event| event.kind() == "entry.corrected")
    });
    let corrected = corrected.unwrap();
    let at = |position| {
        accounts.ask(AsOf::Position(position), |reckoning| {
            reckoning.postings().all().to_vec()
        })
    };
    let (before, after) = (at(corrected).unwrap(), at(corrected + 1).unwrap());
    let same = after.len().min(before.len());
    assert!(before[..same] != after[..same], "the last correction moved metal");
}

#[test]
fn a_day_is_the_position_before_the_first_entry_after_it() {
    let demo = DemoBook::make();
    let accounts = accounts(&demo.folder()).unwrap();
    let mut positions = Vec::new();
    for text in [
        "2026-01-01",
        "2026-01-31",
        "2026-03-31",
        "2026-06-30",
        "2027-01-01",
    ] {
        let day = Date::parse(text).unwrap();
        let (position, last, next) = accounts
            .ask(AsOf::Day(day), |reckoning| {
                let last = reckoning.recorded();
                (
                    reckoning.position(),
                    last,
                    reckoning.stamp(reckoning.position()).copied(),
                )
            })
            .unwrap();
        assert_eq!(next, None, "nothing later is known");
        assert!(last.is_none_or(|last| last <= day.last_second()), "{text}");
        let next = accounts
            .ask(AsOf::Newest, |reckoning| reckoning.stamp(position).copied())
            .unwrap();
        assert!(next.is_none_or(|next| next.at > day.last_second()), "{text}");
        positions.push(position);
    }
    assert!(
        positions.is_sorted() && positions[0] == 0 && positions[1] > 3,
        "{positions:?}"
    );
    assert_eq!(*positions.last().unwrap(), demo.reader().head().size);
}

/// Whichever event that bears mass is left out, or told twice, a heading says so: by its mass at once where metal moved
/// between headings, and by the count of its movements in any case.
#[test]
fn no_event_that_bears_mass_can_be_left_out_or_told_twice_unseen() {
    let told = told(&DemoBook::make());
    let whole = figures(&followed(&told));
    let (mut bearing, mut before) = (0, Postings::default());
    let mut by_mass = BTreeMap::from([("left out", 0), ("told twice", 0)]);
    for (at, (index, place, event)) in told.iter().enumerate() {
        let mut after = before.clone();
        after.take(*index, *place, event);
        let moved = &after.all()[before.all().len()..];
        if moved.is_empty() {
            before = after;
            continue;
        }
        bearing += 1;
        let shifts = moved
            .iter()
            .any(|posting| posting.from != posting.to && (posting.units != 0 || posting.picograms != 0));
        if shifts {
            assert!(amounts(&before) != amounts(&after), "{index} {}", event.kind());
            *by_mass.get_mut("left out").unwrap() += 1;
        }
        let mut twice = after.clone();
        twice.take(*index, *place, event);
        let doubled = amounts(&twice) != amounts(&after);
        // What a piece weighs, or where it is, is the same however often it is told.
        assert!(
            doubled || !shifts || event.kind().starts_with("piece."),
            "{index} {}",
            event.kind()
        );
        *by_mass.get_mut("told twice").unwrap() += usize::from(doubled);
        for (way, mut bent) in [("left out", before), ("told twice", twice)] {
            for (index, place, event) in &told[at + 1..] {
                bent.take(*index, *place, event);
            }
            let bent = figures(&bent);
            let differing = whole.iter().find(|(heading, figure)| bent[heading] != **figure);
            assert!(
                differing.is_some(),
                "{} of entry {index} {way}: nothing differs",
                event.kind()
            );
        }
        before = after;
    }
    assert!(bearing > 300, "{bearing}");
    println!(
        "{bearing} of {} events bear mass; seen by mass at once: {by_mass:?}",
        told.len()
    );
    assert!(
        by_mass["left out"] > bearing / 2 && by_mass["told twice"] > 100,
        "{by_mass:?}"
    );
}

fn amounts(postings: &Postings) -> Vec<Amount> {
    figures(postings)
        .into_values()
        .map(|(amount, _)| amount)
        .collect()
}
