//! Opening a book: the first entry that is wrong is named, wherever it stands, and what may not sign does not.

use crate::shop::{NOW, Shop, charge, deskkeys, key_entry, lot};
use pourbook::check::{Audit, Fault, Faulty};
use pourbook::domain::{Draw, Event, KeyAdded, KeyRevoked, KeyRole, Refusal, Row};
use pourbook::log::{Group, MemoryStore, Store};
use pourbook::proof::NoteSigner;
use pourbook::record::{Signer, Unsealed, read, seal};
use pourbook::writer::{Appended, Desk, DeskKeys, Observer, OpenError, Submission, SubmitError};
use std::sync::{Arc, Mutex};

const ORIGIN: &str = "brackenfold.example/book";

fn entries(store: &dyn Store) -> Vec<Vec<u8>> {
    let mut entries = Vec::new();
    store
        .scan(0, &mut |_, bytes| {
            entries.push(bytes.to_vec());
            true
        })
        .unwrap();
    entries
}

/// Opens a log of these entries; what is wrong with it.
fn fault(entries: &[Vec<u8>]) -> Faulty {
    let store = MemoryStore::new([]);
    store
        .append(&Group {
            first: 0,
            entries: entries.iter().map(|entry| entry.as_slice().into()).collect(),
            checkpoint: "not looked at before the entries".to_owned(),
            vault: Vec::new(),
        })
        .unwrap();
    let opened = Desk::open(
        Arc::new(store),
        ORIGIN,
        deskkeys(ORIGIN, [9; 32]),
        Observer::none(),
    );
    match opened.err().unwrap() {
        OpenError::Entry(faulty) => faulty,
        other => panic!("{other}"),
    }
}

/// Seals an entry again with the recorder key, altered.
fn resealed(bytes: &[u8], alter: impl FnOnce(&mut Unsealed<'_>)) -> Vec<u8> {
    let payload = read(bytes).unwrap().payload;
    let drafts: Vec<_> = payload
        .events
        .iter()
        .map(|event| pourbook::domain::Draft {
            event: event.event().unwrap().clone(),
            private: pourbook::domain::Private::none(),
        })
        .collect();
    let mut unsealed = Unsealed {
        iss: &payload.iss,
        jti: payload.jti,
        iat: payload.iat,
        by: payload.by,
        at: payload.at,
        keys: payload.keys,
        drafts: &drafts,
        prev: payload.prev.clone(),
    };
    alter(&mut unsealed);
    let sealed = seal(&unsealed, &Signer::from_seed(&[2; 32]), &mut Draw::new([1; 32]));
    sealed.unwrap().entry.to_vec()
}

/// The log is longer than what is read at a time, so that faults stand in stretches read on other threads too.
#[test]
fn the_first_wrong_entry_is_named_wherever_it_stands() {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    Shop::found(Arc::clone(&store), ORIGIN, [9; 32]).work(4_000);
    let good = entries(&*store);
    let bytes: usize = good.iter().map(Vec::len).sum();
    assert!(bytes > 10 * 192 * 1024, "{bytes} bytes are read in one go");
    for index in [0, 4, 250, 1_999, 3_200, good.len() - 1] {
        let mut damaged = good.clone();
        damaged[index].truncate(200);
        // A later fault, in a stretch that may be read first.
        if let Some(later) = damaged.get_mut(index + 300) {
            later.clear();
            later.push(b'x');
        }
        let found = fault(&damaged);
        assert_eq!(found.index, index as u64);
        assert!(matches!(found.fault, Fault::Malformed(_)), "{found}");
    }
    let mut doubled = good.clone();
    doubled.insert(3_000, good[2_999].clone());
    let found = fault(&doubled);
    assert!(matches!(found.fault, Fault::Twice { .. }), "{found}");
    assert_eq!(found.index, 3_000);
    let mut fewer = good.clone();
    let charge = (3_000..)
        .find(|index| read(&good[*index]).unwrap().payload.events[0].kind() == "melt.charged")
        .unwrap();
    fewer.remove(charge);
    let found = fault(&fewer);
    // Melts are counted, so the next charge says a number too many.
    assert!(matches!(found.fault, Fault::Broken { .. }), "{found}");
    assert_eq!(found.index, charge as u64);
}

#[test]
fn an_entry_that_does_not_fit_its_place_is_refused_at_opening_as_in_the_audit() {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    Shop::found(Arc::clone(&store), ORIGIN, [9; 32]).work(40);
    let good = entries(&*store);
    let last = good.len() - 1;
    let other = |alter: &dyn Fn(&mut Unsealed<'_>)| {
        let mut entries = good.clone();
        entries[last] = resealed(&good[last], alter);
        let found = fault(&entries);
        let mut audit = Audit::new(ORIGIN, false, 2);
        let wrong = audit
            .take(&entries, &crate::check::audits::past(&entries))
            .unwrap_err();
        assert_eq!((found.index, found.fault.to_string()), (wrong.index, wrong.why));
        assert_eq!(found.index, last as u64);
        found.fault
    };
    assert!(matches!(
        other(&|e| e.iss = "elsewhere.example/book"),
        Fault::OtherLog { .. }
    ));
    assert!(matches!(other(&|e| e.keys = None), Fault::OtherKeys));
    assert!(matches!(other(&|e| e.iat.0 -= 60), Fault::Backdated));
    let first = |e: &mut Unsealed<'_>| e.prev.values_mut().for_each(|leaf| *leaf = None);
    assert!(matches!(other(&first), Fault::Unchained { .. }));
    let request = read(&good[last - 1]).unwrap().payload.jti;
    assert_eq!(other(&move |e| e.jti = request), Fault::Twice { request });
}

#[test]
fn a_recorder_key_that_was_revoked_records_nothing_and_the_book_opens_again() {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    let mut shop = Shop::found(Arc::clone(&store), ORIGIN, [9; 32]);
    let kid = Signer::from_seed(&[2; 32]).kid().to_owned();
    let newest = shop.desk.keys().newest();
    let revoked = Event::from(KeyRevoked { kid });
    let (revocation, _) = key_entry(ORIGIN, NOW, &mut shop.draw, newest, revoked);
    shop.turn(vec![revocation]);
    let session = shop.session;
    let submission = shop.submission(lot(session).into());
    let answers = shop.desk.turn(NOW, [1; 32], vec![submission]).unwrap();
    let Err(SubmitError::Refused(refused)) = &answers[0] else {
        panic!("it was recorded with a key that may not sign");
    };
    assert!(
        matches!(refused.refusal, Refusal::RecorderKey { .. }),
        "{refused}"
    );
    let size = shop.size();
    drop(shop);
    let again = Desk::open(store, ORIGIN, deskkeys(ORIGIN, [9; 32]), Observer::none()).unwrap();
    assert_eq!(again.published().tree().size(), size as u64);
}

/// A log key that no entry has added: the book does not open with it, and where it opens for an entry about keys nothing else is
/// recorded.
#[test]
fn a_book_whose_log_key_is_gone_records_nothing_before_another_is_added() {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    let mut shop = Shop::found(Arc::clone(&store), ORIGIN, [9; 32]);
    let submission = shop.submission(lot(shop.session).into());
    let newest = shop.desk.keys().newest();
    let added = Signer::from_seed(&[8; 32]);
    let added = Event::from(KeyAdded {
        kid: added.kid().to_owned(),
        role: KeyRole::Log,
        x: added.public().to_base64url(),
    });
    let (adding, _) = key_entry(ORIGIN, NOW, &mut shop.draw, newest, added);
    drop(shop);
    let others = || DeskKeys {
        log: NoteSigner::new(ORIGIN, &[8; 32]).unwrap(),
        ..deskkeys(ORIGIN, [9; 32])
    };
    let refused = Desk::open(Arc::clone(&store), ORIGIN, others(), Observer::none());
    assert!(matches!(refused.err(), Some(OpenError::LogKey(_))));
    let mut desk = Desk::open_for_keys(store, ORIGIN, others()).unwrap();
    let mut outcome = |submission: &Submission| {
        let outcome = desk
            .turn(NOW, [1; 32], vec![submission.clone()])
            .unwrap()
            .remove(0);
        outcome.map(|_| ()).map_err(|error| error.to_string())
    };
    assert!(
        outcome(&submission)
            .unwrap_err()
            .contains("no log key is at hand")
    );
    assert_eq!(outcome(&adding), Ok(()));
    assert_eq!(outcome(&submission), Ok(()));
}

#[test]
fn what_is_told_of_an_entry_is_the_book_after_it_even_within_one_turn() {
    let told: Arc<Mutex<Vec<Appended>>> = Arc::default();
    let hear = Arc::clone(&told);
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new([]));
    let observer = Observer::new(0, move |appended| hear.lock().unwrap().push(appended));
    let mut shop = Shop::found_observed(Arc::clone(&store), ORIGIN, [9; 32], observer);
    let session = shop.session;
    let lots = shop.record(vec![lot(session).into()], |event| match event {
        Event::LotReceived(e) => Some(e.lot),
        _ => None,
    });
    // Both in one turn, from one lot of 480 g.
    let charges = vec![charge(session, lots[0], "100.00").into(); 2];
    shop.record(charges, |_| None::<()>);
    let live = std::mem::take(&mut *told.lock().unwrap());
    let lefts = |told: &[Appended]| -> Vec<String> {
        let rows = told.iter().flat_map(|appended| &appended.rows);
        let lots = rows.filter_map(|row| match row {
            Row::Lot(lot) => Some(lot.left.to_string()),
            _ => None,
        });
        lots.collect()
    };
    assert_eq!(lefts(&live), ["480.00", "380.00", "280.00"]);
    drop(shop);
    // Opening tells the same, from where the observer begins.
    let hear = Arc::clone(&told);
    let observer = Observer::new(7, move |appended| hear.lock().unwrap().push(appended));
    Desk::open(store, ORIGIN, deskkeys(ORIGIN, [9; 32]), observer).unwrap();
    let again = std::mem::take(&mut *told.lock().unwrap());
    assert_eq!(again.first().unwrap().index, 7);
    assert_eq!(again.len() + 7, live.len());
    for (again, live) in again.iter().zip(&live[7..]) {
        assert_eq!(
            (again.index, &again.entry, &again.rows),
            (live.index, &live.entry, &live.rows)
        );
        assert_eq!(again.entry, live.entry);
    }
}
