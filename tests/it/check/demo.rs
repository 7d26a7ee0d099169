//! The book of the invented workshop against the ledger of what really happened there.

use super::{DemoBook, entries};
use pourbook::accounts::{GravityTold, Suspicion};
use pourbook::cli::demo::{Fate, Held, Holder, Ledger};
use pourbook::domain::{
    Event, MassStatement, OrderState, PieceState, Residue, SeriesClosed, SeriesState, SessionState,
};
use pourbook::log::Store;
use pourbook::metal::{MassDifference, Metal};
use pourbook::record::read;
use std::collections::{BTreeMap, BTreeSet};

/// A reading is within half a step of the truth: 5 mg, in steps of 10 micrograms.
const HALF_STEP: i64 = 500;
/// The metals of the story.
const METALS: [Metal; 3] = [Metal::Silver, Metal::Gold, Metal::Copper];

/// What was taken from a jar is more than the readings explain when stock is taken; the heel and the lot are as the book has
/// them.
#[test]
fn a_count_finds_out_what_was_taken() {
    let demo = DemoBook::make();
    let mut counted = Vec::new();
    for entry in entries(&demo.reader()) {
        for event in read(&entry).unwrap().events() {
            match event {
                Event::JarCounted(e) => counted.push(("jar", e.variance, e.explained)),
                Event::MeltCounted(e) => counted.push(("heel", e.variance, e.explained)),
                Event::LotCounted(e) => counted.push(("lot", e.variance, e.explained)),
                _ => {}
            }
        }
    }
    let missed = demo.ledger.flows.values().map(|flow| flow.missed_by_count).sum();
    for (what, variance, explained) in &counted {
        let truth = if *what == "jar" { missed } else { 0 };
        near(what, *variance, truth, 12);
        assert_eq!(*explained, *what != "jar", "{what}");
    }
    assert!(counted.iter().any(|(what, ..)| *what == "jar") && counted.len() > 2);
}

#[test]
fn the_same_demo_is_made_every_time() {
    let head = |book: &DemoBook| book.reader().head().checkpoint;
    assert_eq!(head(&DemoBook::make()), head(&DemoBook::make()));
}

#[test]
fn a_book_that_is_there_is_not_touched() {
    let demo = DemoBook::make();
    let before = demo.reader().head();
    assert!(pourbook::cli::demo::make(&demo.folder()).is_err());
    assert_eq!(demo.reader().head(), before);
}

#[track_caller]
fn near(what: &str, book: MassDifference, truth: i64, readings: usize) {
    let within = HALF_STEP * i64::try_from(readings).unwrap();
    let off = book.units() - truth;
    assert!(
        off.abs() <= within,
        "{what}: the book says {book} g, and is {off} steps off"
    );
}

fn held<'a>(places: impl Iterator<Item = &'a Held>, metal: Metal) -> (i64, usize) {
    let masses: Vec<i64> = places
        .filter(|held| held.metal == metal)
        .map(|held| held.mass)
        .collect();
    (masses.iter().sum(), masses.len())
}

/// Remelted metal is in its melt, refined metal at the refiner.
fn is_a_piece(fate: &Fate) -> bool {
    !matches!(fate.state, PieceState::Remelted | PieceState::Refined)
}

#[test]
fn the_ledger_adds_up_by_itself() {
    let mut ledger = DemoBook::make().ledger;
    for metal in METALS {
        let flow = *ledger.flow(metal);
        let pieces = ledger
            .pieces
            .values()
            .filter(|fate| fate.metal == metal && is_a_piece(fate));
        let places = held(ledger.lots.values(), metal).0
            + held(ledger.heels.values(), metal).0
            + held(ledger.jars.values().map(|(_, held)| held), metal).0
            + pieces.map(|fate| fate.mass).sum::<i64>();
        let gone =
            flow.alloyed_out + flow.melt_loss + flow.untold + flow.taken_from_jars + flow.missed_by_count
                - flow.found_by_count
                + flow.assay_loss
                + flow.worn
                + flow.at_refiner
                + flow.settled
                + flow.refining_loss;
        assert_eq!(flow.received + flow.alloyed_in, places + gone, "{metal:?}");
    }
}

#[test]
fn every_gram_is_where_the_ledger_says() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let book = reader.book();
    for metal in METALS {
        let masses = book.masses(metal).unwrap();
        let difference = masses.difference().unwrap();
        assert_eq!(difference.mass.units(), 0, "{masses:?}");
        assert_eq!(difference.fine.picograms(), 0, "{masses:?}");
        statement_of(metal, &masses, &demo.ledger);
        pieces_of(metal, &masses, &demo.ledger);
    }
    let mut melts: Vec<_> = book.melts().collect();
    melts.sort_by_key(|melt| melt.number);
    assert_eq!(melts.len(), demo.ledger.melt_losses.len());
    for (melt, lost) in melts.iter().zip(&demo.ledger.melt_losses) {
        let readings = melt.inputs.len() + melt.pieces.len() + 2;
        near(
            &format!("melt {}", melt.number),
            melt.loss.unwrap(),
            lost + demo.ledger.untold.get(&melt.melt).unwrap_or(&0),
            readings,
        );
        let customers: BTreeSet<_> = melt.owners.iter().flatten().copied().collect();
        assert_eq!(
            customers, demo.ledger.customers[&melt.melt],
            "melt {}",
            melt.number
        );
    }
    for owner in demo.ledger.customers.values().flatten() {
        let alone = melts.iter().filter(|melt| melt.owners.contains(&Some(*owner)));
        let mixed = alone.filter(|melt| melt.owners.len() > 1).count();
        assert_eq!(
            mixed > 0,
            book.owner(*owner).unwrap().agreed,
            "mixed only where it is agreed"
        );
    }
}

/// What a statement says beside the pieces. Lots, settlements and what was worn off are told to the step.
fn statement_of(metal: Metal, masses: &MassStatement, ledger: &Ledger) {
    let flow = ledger.flows.get(&metal).copied().unwrap_or_default();
    let poured = ledger.pieces.values().filter(|fate| fate.metal == metal).count();
    let exact = |what, amount: &pourbook::domain::Amount, truth| near(what, amount.mass, truth, 0);
    exact("received", &masses.received, flow.received);
    exact("unmelted", &masses.unmelted, held(ledger.lots.values(), metal).0);
    exact("alloyed in", &masses.alloyed_in, flow.alloyed_in);
    exact("alloyed out", &masses.alloyed_out, flow.alloyed_out);
    exact("crucible", &masses.crucible, 0);
    exact("settled", &masses.settled, flow.settled);
    exact("weighing variance", &masses.weighing_variance, flow.worn);
    let (heels, count) = held(ledger.heels.values(), metal);
    near("heels", masses.heels.mass, heels, count);
    let melts = ledger.melt_losses.len();
    near(
        "prills",
        masses.prills.mass,
        ledger.in_jars(metal, Residue::Prills),
        melts,
    );
    near(
        "lemel",
        masses.lemel.mass,
        ledger.in_jars(metal, Residue::Lemel),
        2 * poured,
    );
    near(
        "stock-take variance",
        masses.stocktake_variance.mass,
        flow.missed_by_count - flow.found_by_count,
        2 * poured,
    );
    near(
        "finishing loss",
        masses.finishing_loss.mass,
        flow.taken_from_jars,
        2 * poured,
    );
    near(
        "melt loss",
        masses.melt_loss.mass,
        flow.melt_loss + flow.untold,
        poured + 4 * melts,
    );
    let marked = ledger
        .pieces
        .values()
        .filter(|fate| fate.metal == metal && fate.state != PieceState::Kept);
    near(
        "assay loss",
        masses.assay_loss.mass,
        flow.assay_loss,
        2 * marked.count(),
    );
    near("at the refiner", masses.at_refiner.mass, flow.at_refiner, 8);
    near("refining loss", masses.refining_loss.mass, flow.refining_loss, 8);
}

fn pieces_of(metal: Metal, masses: &MassStatement, ledger: &Ledger) {
    let mut states = BTreeMap::<PieceState, (u64, i64)>::new();
    for fate in ledger
        .pieces
        .values()
        .filter(|fate| fate.metal == metal && is_a_piece(fate))
    {
        let (count, mass) = states.entry(fate.state).or_default();
        *count += 1;
        *mass += fate.mass;
    }
    assert_eq!(masses.pieces.len(), states.len(), "{metal:?}");
    for told in &masses.pieces {
        let (count, mass) = states[&told.state];
        assert_eq!(told.count, count, "{metal:?} {}", told.state);
        near(told.state.word(), told.amount.mass, mass, count as usize);
    }
}

/// Who has a piece that is in a state.
fn has_it(state: PieceState) -> &'static str {
    match state {
        PieceState::Remelted | PieceState::Refined | PieceState::Destroyed => "nobody",
        PieceState::AtOffice | PieceState::Kept => "the office",
        PieceState::Dispatched => "a carrier",
        PieceState::Delivered => "a buyer",
        PieceState::Missing | PieceState::Lost | PieceState::Stolen => "who knows",
        _ => "the workshop",
    }
}

fn holder(holder: Holder) -> &'static str {
    match holder {
        Holder::Gone => "nobody",
        Holder::Office => "the office",
        Holder::Carrier => "a carrier",
        Holder::Buyer(_) => "a buyer",
        Holder::Unknown => "who knows",
        Holder::Workshop => "the workshop",
    }
}

#[test]
fn every_piece_is_what_the_ledger_says() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let book = reader.book();
    assert_eq!(book.pieces().count(), demo.ledger.pieces.len());
    for piece in book.pieces() {
        let fate = &demo.ledger.pieces[&piece.piece];
        let pour = &piece.pour;
        assert_eq!(piece.state, fate.state, "{pour}");
        assert_eq!(piece.number, fate.number, "{pour}");
        assert_eq!(piece.series, fate.series, "{pour}");
        assert_eq!(piece.shape, fate.shape, "{pour}");
        assert_eq!(piece.condemned, fate.condemned, "{pour}");
        assert_eq!(has_it(piece.state), holder(fate.holder), "{pour}");
        let before = fate.before.map(|(state, _)| state);
        if piece.state == PieceState::Stolen {
            assert_eq!(piece.before, before, "{pour}");
        }
        let issues = piece
            .certificate
            .map_or(0, |id| book.certificate(id).unwrap().issue);
        assert_eq!(issues, fate.certificates, "{pour}");
        let mass = piece.mass().unwrap();
        near(
            pour,
            MassDifference::from_units(mass.units()).unwrap(),
            fate.mass,
            1,
        );
    }
    let warned: BTreeSet<_> = book
        .consignments()
        .flat_map(|row| row.melt_mates.iter().copied())
        .collect();
    assert_eq!(warned, demo.ledger.warned.iter().copied().collect());
    assert!(!warned.is_empty(), "somebody is warned");
    let failed = book
        .sessions()
        .filter(|session| session.state == SessionState::Failed)
        .count();
    assert_eq!(failed, demo.ledger.failed_checks as usize);
}

#[test]
fn editions_promises_and_burned_numbers_are_what_the_ledger_says() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let book = reader.book();
    for series in book.all_series() {
        for (place, size) in series.shapes.iter().enumerate() {
            let key = (series.series, size.shape.clone());
            let given = demo.ledger.numbers.get(&key).copied().unwrap_or(0);
            assert_eq!(series.numbers[place], given, "{} {}", series.code, size.shape);
            assert!(given <= size.size);
            let promised = demo.ledger.promised.get(&key).copied().unwrap_or(0);
            assert_eq!(series.promised[place], promised, "{} {}", series.code, size.shape);
        }
        let closed = demo.ledger.closed.contains(&series.series);
        assert_eq!(series.state == SeriesState::Closed, closed, "{}", series.code);
    }
    let waiting = book
        .orders()
        .filter(|order| order.state == OrderState::Open)
        .count();
    assert_eq!(
        waiting == 0,
        demo.ledger.promised.values().all(|count| *count == 0)
    );
    let events = told(&demo);
    let closings: Vec<&SeriesClosed> = events
        .iter()
        .filter_map(|event| match event {
            Event::SeriesClosed(e) => Some(e),
            _ => None,
        })
        .collect();
    assert_eq!(closings.len(), demo.ledger.closed.len());
    for tally in closings.iter().flat_map(|closing| &closing.shapes) {
        let series = closings[0].series;
        assert_eq!(tally.burned, demo.ledger.burned(series, &tally.shape));
        assert_eq!((tally.size, tally.given), (8, 8));
        assert_eq!(tally.burned.len(), 2, "one lost, one stolen: {:?}", tally.burned);
    }
    assert_eq!(closings[0].dies.len(), 2);
    let asked = events.iter().filter_map(|event| match event {
        Event::EntryCorrected(e) => Some(e.entries.iter().filter(|entry| entry.asked).count()),
        _ => None,
    });
    assert_eq!(asked.sum::<usize>(), demo.ledger.corrected as usize);
    let erased = events
        .iter()
        .filter(|event| matches!(event, Event::FieldErased(_)));
    assert_eq!(erased.count(), demo.ledger.erased as usize);
}

/// Every event, as it was recorded.
fn told(demo: &DemoBook) -> Vec<Event> {
    let entries = entries(&demo.reader());
    let read = entries.iter().map(|bytes| read(bytes).unwrap());
    read.flat_map(|entry| entry.events().cloned().collect::<Vec<_>>())
        .collect()
}

#[test]
fn the_story_is_half_a_year_long() {
    let demo = DemoBook::make();
    let entries = entries(&demo.reader());
    let when: Vec<i64> = entries
        .iter()
        .map(|bytes| read(bytes).unwrap().payload.iat.0)
        .collect();
    let days = (when[when.len() - 1] - when[0]) / 86_400;
    assert!((170..=210).contains(&days), "{days} days");
    assert!(
        when.len() > 300 && when.len() as u64 > demo.ledger.entries,
        "{} entries",
        when.len()
    );
    let months: BTreeSet<i64> = when.iter().map(|at| (at - when[0]) / (30 * 86_400)).collect();
    assert!(months.len() >= 6, "something happens in every month");
}

#[test]
fn the_buyers_that_the_vault_names_are_those_of_the_ledger() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let book = reader.book();
    let mut seen = 0;
    for piece in book.pieces() {
        let Holder::Buyer(name) = demo.ledger.pieces[&piece.piece].holder else {
            continue;
        };
        let sale = book.sale(piece.sale.unwrap()).unwrap();
        let kept = reader.store().private(sale.since).unwrap();
        let buyer = kept.iter().find_map(|record| {
            let text = String::from_utf8(record.body.clone()).ok()?;
            let bytes =
                base64::Engine::decode(&base64::engine::general_purpose::URL_SAFE_NO_PAD, text).ok()?;
            let [_, member, value]: [String; 3] = serde_json::from_slice(&bytes).ok()?;
            (member == "buyer").then_some(value)
        });
        if let Some(buyer) = buyer {
            assert_eq!(buyer, name, "{}", piece.pour);
            seen += 1;
        }
    }
    assert!(seen > 15, "{seen} buyers are named");
}

/// What was weighed in water is as dense as it really was, within the uncertainty that is told (k = 2: one in 22 may not).
#[test]
fn densities_are_what_they_really_were() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let mut within = 0;
    for (piece, density) in &demo.ledger.densities {
        let piece = reader.book().piece(*piece).unwrap();
        let told = GravityTold::newest(reader.book(), piece).unwrap();
        let off = told.density.parse::<f64>().unwrap() - *density as f64 / 100_000.0;
        within += usize::from(off.abs() <= told.uncertainty.parse().unwrap());
    }
    let all = demo.ledger.densities.len();
    assert!(all == 7 && within >= all - 1, "{within} of {all}");
}

/// On the third day the closing check failed: all pieces were weighed again, and what they were certified by is in no doubt.
#[test]
fn the_check_that_failed_is_told() {
    let demo = DemoBook::make();
    let reader = demo.reader();
    let failed = Suspicion::failed_sessions(reader.book());
    assert_eq!(failed.len(), demo.ledger.failed_checks as usize);
    for (_, session) in failed {
        let told = Suspicion::of(reader.book(), reader.head().size, &reader, session);
        let told = told.unwrap().unwrap();
        assert!(told.check.unwrap().deviation.to_string() == "0.07" && !told.readings.is_empty());
        assert!(told.decisions.iter().any(|decision| decision.kind == "melt_loss"));
    }
}
