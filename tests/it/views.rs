//! The views: followed twice they say the same, and rebuilt from nothing they give the same answers.

use crate::http::{TestApp, Workshop};
use crate::log::served::{FOUNDED, found_book};
use pourbook::check::Replay;
use pourbook::domain::*;
use pourbook::log::Store;
use pourbook::node::{BookFolder, Node, open_desk};
use pourbook::record;
use pourbook::views::{Cursor, Follower, Heard, Table, Tabled, ViewError, Views};
use pourbook::writer::{Ask, Submission};
use serde_json::json;
use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Opens views again whose last handle was just dropped: work of theirs that still runs holds their lock for a moment.
pub fn reopen(folder: &Path) -> Views {
    for _ in 0..1_000 {
        match Views::open(folder) {
            Err(ViewError::Store(error)) if error.to_string().contains("acquire lock") => {
                std::thread::sleep(Duration::from_millis(5));
            }
            opened => return opened.unwrap(),
        }
    }
    panic!("the lock of the views is still held");
}

/// Follows the log of a store from its beginning.
pub fn follow(store: &dyn Store, views: Views) -> Follower {
    let mut follower = Follower::new(views);
    let origin = store
        .read(0)
        .unwrap()
        .map(|bytes| record::read(&bytes).unwrap().payload.iss);
    let mut replay = Replay::new(&origin.unwrap_or_default());
    let outcome = replay.run(
        |each| store.scan(0, each),
        &|each| store.scan(0, each).map_err(|error| error.to_string()),
        |taken| {
            let index = taken.index;
            let rows = taken.book.rows(&taken.changed.touched);
            follower
                .follow(Heard {
                    index,
                    leaf: taken.leaf.hash,
                    entry: &taken.leaf.entry,
                    rows: &rows,
                    gone: &taken.changed.gone,
                })
                .unwrap();
        },
    );
    outcome.unwrap().unwrap();
    follower
}

/// A whole table, in its order.
fn table<T: Tabled + std::fmt::Debug>(views: &Views) -> Vec<T> {
    let (mut rows, mut after) = (Vec::new(), None);
    loop {
        let page = views.list::<T>(&|_| true, after, 50).unwrap();
        rows.extend(page.rows);
        after = page.next;
        if after.is_none() {
            return rows;
        }
    }
}

/// Whether the views have the rows of a book, no more and no less.
pub fn assert_rows_of(book: &Book, views: &Views) {
    fn compare<'a, T: Tabled + PartialEq + std::fmt::Debug + 'a>(
        views: &Views,
        wanted: impl Iterator<Item = &'a T>,
    ) {
        let mut wanted: Vec<&T> = wanted.collect();
        let mut seen = table::<T>(views);
        wanted.sort_by_key(|row| row.id());
        seen.sort_by_key(Tabled::id);
        assert_eq!(seen.iter().collect::<Vec<_>>(), wanted);
    }
    compare(views, book.lots());
    compare(views, book.scales());
    compare(views, book.sessions());
    compare(views, book.jars());
    compare(views, book.all_series());
    compare(views, book.melts());
    compare(views, book.pieces());
    compare(views, book.certificates());
}

/// Each row of a table, by the list and by its id.
fn rows<T: Tabled + std::fmt::Debug>(views: &Views, told: &mut Vec<String>) {
    for row in table::<T>(views) {
        told.push(format!("{row:?} {:?}", views.row::<T>(row.id()).unwrap()));
    }
}

/// All that the views answer: every table, every name, and all about every subject of a log.
pub fn answers(store: &dyn Store, views: &Views) -> Vec<String> {
    let mut told = vec![format!("position {}", views.position())];
    rows::<Lot>(views, &mut told);
    rows::<Scale>(views, &mut told);
    rows::<Session>(views, &mut told);
    rows::<Jar>(views, &mut told);
    rows::<Series>(views, &mut told);
    rows::<Melt>(views, &mut told);
    rows::<Piece>(views, &mut told);
    rows::<Certificate>(views, &mut told);
    for series in table::<Series>(views) {
        told.push(format!(
            "{:?}",
            views.series_by_code(series.code.as_str()).unwrap()
        ));
    }
    for piece in table::<Piece>(views) {
        let named = piece.serial.map(|serial| views.piece_by_serial(&serial).unwrap());
        let poured = views.piece_by_pour(&piece.pour).unwrap();
        let issued = views.certificates_of(piece.piece).unwrap();
        told.push(format!("{named:?} {poured:?} {issued:?}"));
    }
    store
        .scan(0, &mut |index, bytes| {
            let entry = record::read(bytes).unwrap();
            for event in entry.events() {
                if let Event::FieldErased(erased) = event {
                    let erased = views.is_erased(erased.index, erased.event, &erased.member);
                    told.push(format!("{:?}", erased.unwrap()));
                }
            }
            for subject in entry.payload.prev.keys().copied() {
                told.push(format!(
                    "{subject} {:?} {:?} {:?} {:?}",
                    views.table_of(subject).unwrap(),
                    views.version(subject).unwrap(),
                    views.version_at(subject, index).unwrap(),
                    views.history(subject).unwrap(),
                ));
            }
            true
        })
        .unwrap();
    told
}

async fn history() -> TestApp {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "51.90", "50.60"]).await;
    app.post(
        &format!("/v1/pieces/{}/condemnation", pieces[1]),
        json!({"reason": "over"}),
    )
    .await
    .expect(201);
    shop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.post(
        &format!("/v1/pieces/{}/supersession", pieces[0]),
        json!({"reason": "damaged"}),
    )
    .await
    .expect(201);
    app
}

#[actix_web::test]
async fn views_rebuilt_from_nothing_give_the_same_answers() {
    let app = history().await;
    let store = &*app.app.store;
    let live = answers(store, &app.app.views);
    let rebuilt = Views::temporary().unwrap();
    follow(store, rebuilt.clone());
    assert_eq!(rebuilt.position(), app.app.views.position());
    assert_eq!(answers(store, &rebuilt), live);
}

#[actix_web::test]
async fn following_an_entry_twice_changes_nothing() {
    let app = history().await;
    let store = &*app.app.store;
    let folder = tempfile::tempdir().unwrap();
    let views = Views::open(folder.path()).unwrap();
    // Rows are flushed, the position is not: as after a process that ended between the two.
    follow(store, views.clone());
    let before = answers(store, &views);
    let end = views.position();
    drop(views);
    let views = reopen(folder.path());
    assert_eq!(views.position(), 0, "the position was written without settling");
    follow(store, views.clone()).views().settle().unwrap();
    assert_eq!(answers(store, &views), before);
    drop(views);
    let views = reopen(folder.path());
    assert_eq!(views.position(), end);
    // Already followed: nothing is written again.
    let follower = follow(store, views.clone());
    assert_eq!(follower.next(), end);
    assert_eq!(answers(store, &views), before);
}

/// What was followed goes to sled by itself beside the service, not only when the service stops.
#[test]
fn what_was_followed_is_settled_beside_the_service() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("book");
    found_book(&dir, 1, FOUNDED);
    let mut desk = open_desk(&BookFolder::at(&dir)).unwrap();
    let mut draw = Draw::new([4; 32]);
    let submission = Submission {
        request: draw.uuid(),
        by: OperatorId(uuid::Uuid::from_u128(7)),
        at: None,
        expected: Vec::new(),
        ask: Ask::Command(crate::shop::scale().into()),
    };
    let answers = desk.turn(Timestamp(FOUNDED + 60), draw.bytes(), vec![submission]);
    answers.unwrap().remove(0).unwrap();
    drop(desk);
    let node = Node::open(&BookFolder::at(&dir)).unwrap();
    let views = node.app.views.clone();
    assert_eq!(table::<Scale>(&views).len(), 1);
    let settled = (0..2_000).any(|_| {
        std::thread::sleep(Duration::from_millis(10));
        views.unsettled_bytes() == 0
    });
    assert!(settled, "{} bytes are in memory only", views.unsettled_bytes());
    assert_eq!(table::<Scale>(&views).len(), 1);
    node.stop().unwrap();
}

/// What is held in memory is bounded, and what had to leave it is found all the same.
#[actix_web::test]
async fn what_sled_does_not_have_yet_is_bounded() {
    let app = history().await;
    let store = &*app.app.store;
    let wanted = answers(store, &app.app.views);
    for bound in [0, 1_000, 20_000] {
        let views = Views::temporary().unwrap();
        let mut follower = Follower::holding(views.clone(), bound);
        let mut greatest = 0;
        let outcome = Replay::new(crate::http::ORIGIN).run(
            |each| store.scan(0, each),
            &|each| store.scan(0, each).map_err(|error| error.to_string()),
            |taken| {
                let rows = taken.book.rows(&taken.changed.touched);
                let heard = Heard {
                    index: taken.index,
                    leaf: taken.leaf.hash,
                    entry: &taken.leaf.entry,
                    rows: &rows,
                    gone: &taken.changed.gone,
                };
                follower.follow(heard).unwrap();
                greatest = greatest.max(views.unsettled_bytes());
            },
        );
        outcome.unwrap().unwrap();
        assert!(greatest <= bound, "{greatest} bytes");
        assert_eq!(answers(store, &views), wanted, "{bound}");
    }
}

#[actix_web::test]
async fn an_entry_out_of_turn_is_refused() {
    let app = history().await;
    let store = &*app.app.store;
    let views = Views::temporary().unwrap();
    let mut follower = Follower::new(views.clone());
    let bytes = store.read(1).unwrap().unwrap();
    let entry = record::read(&bytes).unwrap();
    let refused = follower.follow(Heard {
        index: 1,
        leaf: pourbook::proof::leaf_hash(&bytes),
        entry: &entry,
        rows: &[],
        gone: &[],
    });
    assert!(matches!(
        refused,
        Err(ViewError::OutOfTurn { wanted: 0, found: 1 })
    ));
    assert_eq!(views.position(), 0);
}

#[actix_web::test]
async fn waiting_ends_when_the_entry_is_followed_or_the_time_is_up() {
    let app = history().await;
    let store = std::sync::Arc::clone(&app.app.store);
    let views = Views::temporary().unwrap();
    assert!(!views.wait_for(2, Duration::from_millis(20)));
    let (waiting, end) = (views.clone(), app.app.views.position());
    let waiter = std::thread::spawn(move || waiting.wait_for(end - 1, Duration::from_secs(20)));
    follow(&*store, views);
    assert!(waiter.join().unwrap());
}

#[actix_web::test]
async fn nobody_is_left_waiting_when_the_views_end() {
    let views = Views::temporary().unwrap();
    let (tell, told) = std::sync::mpsc::channel();
    let (early, late) = (tell.clone(), tell);
    views.once_followed(3, move || early.send("early").unwrap());
    assert!(told.try_recv().is_err(), "entry 3 is not there");
    views.end();
    assert_eq!(told.try_recv(), Ok("early"));
    views.once_followed(3, move || late.send("late").unwrap());
    assert_eq!(told.try_recv(), Ok("late"));
    assert!(
        !views.wait_for(3, Duration::from_secs(20)),
        "it is still not there"
    );
}

/// Chains of any length, followed in batches of any size and twice, against plain lists.
#[actix_web::test]
async fn a_long_chain_tells_every_version_and_every_part() {
    let app = history().await;
    let mut entry = record::read(&app.app.store.read(0).unwrap().unwrap()).unwrap();
    let subjects: Vec<uuid::Uuid> = (1..=3).map(uuid::Uuid::from_u128).collect();
    let mut chains: Vec<Vec<u64>> = vec![Vec::new(); 3];
    let mut entries = Vec::new();
    for index in 0..400_u64 {
        entry.payload.prev.clear();
        for (number, subject) in subjects.iter().enumerate() {
            // Every entry, every third, and a few.
            if index.is_multiple_of([1, 3, 97][number]) {
                let before = (!chains[number].is_empty()).then_some(pourbook::proof::Hash([1; 32]));
                entry.payload.prev.insert(*subject, before);
                chains[number].push(index);
            }
        }
        entries.push(entry.clone());
    }
    let views = Views::temporary().unwrap();
    let mut follower = Follower::new(views.clone());
    let (mut from, mut together) = (0, 1);
    while from < entries.len() {
        let batch = (from..entries.len()).take(together);
        let batch = batch.map(|at| Heard {
            index: at as u64,
            leaf: pourbook::proof::Hash([at as u8; 32]),
            entry: &entries[at],
            rows: &[],
            gone: &[],
        });
        follower.follow_all(&batch.collect::<Vec<_>>()).unwrap();
        from += together;
        together = together * 2 + 1;
    }
    for (subject, chain) in subjects.iter().zip(&chains) {
        assert_eq!(views.version(*subject).unwrap(), chain.len() as u64);
        assert_eq!(&views.history(*subject).unwrap(), chain);
        for index in 0..410 {
            let before = chain.iter().filter(|entry| **entry <= index).count() as u64;
            assert_eq!(views.version_at(*subject, index).unwrap(), before, "{index}");
            for limit in [1, 64, 65, 1_000] {
                let wanted: Vec<u64> = chain
                    .iter()
                    .copied()
                    .filter(|entry| *entry >= index)
                    .take(limit)
                    .collect();
                assert_eq!(
                    views.history_from(*subject, index, limit).unwrap(),
                    wanted,
                    "{index} {limit}"
                );
            }
        }
    }
    assert_eq!(views.version(uuid::Uuid::from_u128(9)).unwrap(), 0);
}

/// The views show a new entry at once, the checkpoint that covers it comes up to a second later: a proof waits for it.
#[actix_web::test]
async fn a_proof_of_what_was_just_recorded_waits_for_its_checkpoint() {
    let app = history().await;
    let pieces = app
        .app
        .views
        .list::<Piece>(&|piece| piece.serial.is_some(), None, 10);
    let piece = pieces.unwrap().rows.remove(0);
    let path = format!("/v1/serials/{}/proof", piece.serial.unwrap());
    app.released().await;
    app.held.store(true, Ordering::SeqCst);
    // One more turn may still release; after it nothing does.
    let jar = json!({"metal": "silver", "fineness": "999", "residue": "lemel"});
    app.post("/v1/jars", jar).await.expect(201);
    let noted = format!("/v1/pieces/{}/supersession", piece.piece);
    app.post(&noted, json!({"reason": "damaged"})).await.expect(201);
    let released = || app.app.writer.published().released().unwrap().size;
    let before = released();
    assert!(before < app.app.views.position(), "the checkpoint is held back");
    let held = std::sync::Arc::clone(&app.held);
    let letting_go = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(300));
        held.store(false, Ordering::SeqCst);
    });
    let proof = app.get(&path).await.expect(200).json();
    letting_go.join().unwrap();
    let newest = app.app.views.history(piece.piece.0).unwrap().pop().unwrap();
    assert!(newest >= before);
    let last = proof["proofs"]
        .as_array()
        .unwrap()
        .last()
        .unwrap()
        .as_str()
        .unwrap();
    assert!(last.contains(&format!("\nindex {newest}\n")), "{last}");
}

#[test]
fn a_cursor_is_read_back_and_nothing_else_is() {
    let cursor = Cursor { index: 7, place: 3 };
    assert_eq!(Cursor::parse(&cursor.to_text()), Some(cursor));
    for text in ["", "AAAA", "AAAAAAAAAAcAAAADAA", "AAAAAAAAAAcAAAA=", "!"] {
        assert_eq!(Cursor::parse(text), None, "{text}");
    }
}

#[actix_web::test]
async fn entries_that_are_followed_together_give_the_same_answers() {
    let app = history().await;
    let store = &*app.app.store;
    let mut told = Vec::new();
    let outcome = Replay::new(crate::http::ORIGIN).run(
        |each| store.scan(0, each),
        &|each| store.scan(0, each).map_err(|error| error.to_string()),
        |taken| told.push((taken.index, taken.book.rows(&taken.changed.touched), taken.leaf)),
    );
    outcome.unwrap().unwrap();
    let wanted = answers(store, &app.app.views);
    for together in [2, 5, told.len()] {
        let views = Views::temporary().unwrap();
        let mut follower = Follower::new(views.clone());
        for batch in told.chunks(together) {
            let batch = batch.iter().map(|(index, rows, leaf)| Heard {
                index: *index,
                leaf: leaf.hash,
                entry: &leaf.entry,
                rows,
                gone: &[],
            });
            follower.follow_all(&batch.collect::<Vec<_>>()).unwrap();
        }
        assert_eq!(answers(store, &views), wanted, "{together} together");
        assert_eq!(views.position(), told.len() as u64);
    }
}

/// The rows and names of an older form would leave look-ups without answers, so they are not used.
#[actix_web::test]
async fn views_of_another_form_are_emptied_and_follow_the_log_again() {
    let app = history().await;
    let folder = tempfile::tempdir().unwrap();
    let follower = follow(&*app.app.store, Views::open(folder.path()).unwrap());
    let (end, views) = (follower.next(), follower.views().clone());
    let melt = views.by_number(Table::Melt, 1).unwrap();
    assert!(melt.is_some());
    views.settle().unwrap();
    drop((follower, views));
    let views = reopen(folder.path());
    assert_eq!(views.position(), end, "of this form they are kept");
    drop(views);
    for _ in 0..1_000 {
        let config = sled::Config::new()
            .path(folder.path())
            .segment_size(4 * 1024 * 1024);
        match config.open() {
            Ok(db) => {
                assert!(db.insert("form", "1").unwrap().is_some(), "the form stands here");
                db.flush().unwrap();
                break;
            }
            Err(_) => std::thread::sleep(Duration::from_millis(5)),
        }
    }
    let views = reopen(folder.path());
    assert_eq!(views.position(), 0);
    assert_eq!(views.by_number(Table::Melt, 1).unwrap(), None);
    let follower = follow(&*app.app.store, views);
    assert_eq!(follower.next(), end);
    assert_eq!(follower.views().by_number(Table::Melt, 1).unwrap(), melt);
}
