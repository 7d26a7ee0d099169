//! The views: followed twice they say the same, and rebuilt from nothing they give the same answers.

use crate::http::{TestApp, Workshop};
use pourbook::domain::{Piece, Stamp};
use pourbook::log::Store;
use pourbook::proof::leaf_hash;
use pourbook::record;
use pourbook::views::{Cursor, Follower, ViewError, Views};
use serde_json::json;
use std::time::Duration;

/// Follows the log of a store from its beginning.
fn follow(store: &dyn Store, views: Views) -> Follower {
    let mut follower = Follower::new(views);
    store
        .scan(0, &mut |index, bytes| {
            let entry = record::read(bytes).unwrap();
            let stamp = Stamp {
                index,
                at: entry.payload.iat,
                by: entry.payload.by,
            };
            follower.follow(stamp, leaf_hash(bytes), &entry).unwrap();
            true
        })
        .unwrap();
    follower
}

/// All that the views answer about every subject of a log.
fn answers(store: &dyn Store, views: &Views) -> Vec<String> {
    let mut told = vec![format!(
        "{:?}",
        views.list::<Piece>(&|_| true, None, 100).unwrap()
    )];
    store
        .scan(0, &mut |index, bytes| {
            told.push(format!("{:?}", views.leaf(index).unwrap()));
            let entry = record::read(bytes).unwrap();
            for subject in entry.payload.prev.keys().copied() {
                told.push(format!(
                    "{subject} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?}",
                    views.table_of(subject).unwrap(),
                    views.version_at(subject, index).unwrap(),
                    views.history(subject).unwrap(),
                    views.row::<Piece>(subject).ok(),
                    views.row::<pourbook::domain::Lot>(subject).ok(),
                    views.row::<pourbook::domain::Melt>(subject).ok(),
                    views.row::<pourbook::domain::Series>(subject).ok(),
                    views.row::<pourbook::domain::Jar>(subject).ok(),
                    views.row::<pourbook::domain::Session>(subject).ok(),
                    views.certificates_of(pourbook::domain::PieceId(subject)).unwrap(),
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
    let views = Views::open(folder.path()).unwrap();
    assert_eq!(views.position(), 0, "the position was written without settling");
    follow(store, views.clone()).views().settle().unwrap();
    assert_eq!(answers(store, &views), before);
    drop(views);
    let views = Views::open(folder.path()).unwrap();
    assert_eq!(views.position(), end);
    // Already followed: only the replica of the book goes through it.
    let follower = follow(store, views.clone());
    assert_eq!(follower.next(), end);
    assert_eq!(answers(store, &views), before);
}

#[actix_web::test]
async fn an_entry_out_of_turn_is_refused() {
    let app = history().await;
    let store = &*app.app.store;
    let views = Views::temporary().unwrap();
    let mut follower = Follower::new(views.clone());
    let bytes = store.read(1).unwrap().unwrap();
    let entry = record::read(&bytes).unwrap();
    let stamp = Stamp {
        index: 1,
        at: entry.payload.iat,
        by: entry.payload.by,
    };
    let refused = follower.follow(stamp, leaf_hash(&bytes), &entry);
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

#[test]
fn a_cursor_is_read_back_and_nothing_else_is() {
    let cursor = Cursor { index: 7, place: 3 };
    assert_eq!(Cursor::parse(&cursor.to_text()), Some(cursor));
    for text in ["", "AAAA", "AAAAAAAAAAcAAAADAA", "AAAAAAAAAAcAAAA=", "!"] {
        assert_eq!(Cursor::parse(text), None, "{text}");
    }
}
