//! The public side: serials as people type them, tiles, checkpoint, policy, problem pages.

use super::{ORIGIN, TestApp, Workshop};
use pourbook::proof::{Checkpoint, Hash, NoteSigner, Policy, Tree, leaf_hash, tile};
use serde_json::json;
use std::sync::atomic::Ordering;
use std::time::Duration;

#[actix_web::test]
async fn a_serial_is_read_as_people_type_it_and_a_slip_is_said_and_not_guessed() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let bare = serial.rsplit_once('-').unwrap().0;
    for typed in [
        serial.to_lowercase(),
        serial.replace('-', ""),
        serial.replace('-', "%20"),
    ] {
        let record = app.get(&format!("/v1/serials/{typed}")).await.expect(200).json();
        assert_eq!(record["serial"], serial, "{typed}");
        assert_eq!(record["slip_checked"], true);
    }
    let record = app.get(&format!("/v1/serials/{bare}")).await.expect(200).json();
    assert_eq!(record["slip_checked"], false);
    assert!(
        record["caution"]
            .as_str()
            .unwrap()
            .contains("could not be caught")
    );

    // Every serial with one wrong digit: none finds a piece, none is told the right one.
    for place in 3..serial.len() {
        let mut typed = serial.clone().into_bytes();
        if !typed[place].is_ascii_digit() {
            continue;
        }
        typed[place] = if typed[place] == b'9' {
            b'0'
        } else {
            typed[place] + 1
        };
        let typed = String::from_utf8(typed).unwrap();
        for path in [
            format!("/v1/serials/{typed}"),
            format!("/v1/serials/{typed}/proof"),
        ] {
            let reply = app.get(&path).await.expect(422);
            assert_eq!(reply.problem(), "serial-slip", "{typed}");
            assert!(!reply.text().contains(&serial));
        }
    }
    assert_eq!(
        app.get("/v1/serials/hello").await.expect(422).problem(),
        "serial-form"
    );
    assert_eq!(
        app.get("/v1/serials/TW-9999").await.expect(404).problem(),
        "serial-unknown"
    );
}

#[actix_web::test]
async fn the_tiles_make_the_tree_that_the_checkpoint_signs() {
    let app = TestApp::start_with(true).await;
    let shop = Workshop::open(&app).await;
    shop.pour(&app, &["50.42", "50.60"]).await;
    app.released().await;
    let note = app.get("/log/checkpoint").await.expect(200).text();
    let log = NoteSigner::new(ORIGIN, &[3; 32]).unwrap();
    let checkpoint = Checkpoint::open(&note, &[log.verifier()]).unwrap();
    let size = checkpoint.size;

    let bundle = app
        .get(&format!("/log/tile/entries/000.p/{size}"))
        .await
        .expect(200);
    assert_eq!(
        bundle.header("cache-control"),
        Some("public, max-age=31536000, immutable")
    );
    let entries = tile::unbundle(&bundle.body).unwrap();
    let mut tree = Tree::new();
    for entry in &entries {
        tree.push(leaf_hash(entry));
    }
    assert_eq!((tree.size(), tree.root()), (size, checkpoint.root));

    let hashes = app
        .get(&format!("/log/tile/0/000.p/{size}"))
        .await
        .expect(200)
        .body;
    let told: Vec<Hash> = hashes
        .chunks(32)
        .map(|chunk| Hash(chunk.try_into().unwrap()))
        .collect();
    let made: Vec<Hash> = entries.iter().map(|entry| leaf_hash(entry)).collect();
    assert_eq!(told, made);

    for beyond in [
        format!("0/000.p/{}", size + 1),
        "0/000".into(),
        "1/000".into(),
        "0/001.p/1".into(),
    ] {
        app.get(&format!("/log/tile/{beyond}")).await.expect(404);
    }
    for no_path in [
        "0/0",
        "0/000.p/0",
        "0/000.p/256",
        "64/000.p/1",
        "00/000.p/1",
        "0/000.p/01",
        "x/000",
        "entries/x",
    ] {
        app.get(&format!("/log/tile/{no_path}")).await.expect(404);
    }
}

#[actix_web::test]
async fn nothing_is_served_that_no_released_checkpoint_covers() {
    let app = TestApp::start_with(true).await;
    app.released().await;
    app.held.store(true, Ordering::SeqCst);
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let size = app.app.views.position();
    let note = app.get("/log/checkpoint").await.expect(200).text();
    let released = Checkpoint::peek(&note).unwrap().size;
    assert!(released < size);
    for width in released + 1..=size {
        app.get(&format!("/log/tile/0/000.p/{width}")).await.expect(404);
        app.get(&format!("/log/tile/entries/000.p/{width}"))
            .await
            .expect(404);
    }
    let reply = app.get(&format!("/v1/serials/{serial}/proof")).await.expect(503);
    assert_eq!(
        (reply.problem().as_str(), reply.header("retry-after")),
        ("not-released", Some("1"))
    );
    app.held.store(false, Ordering::SeqCst);
    app.released().await;
    app.get(&format!("/log/tile/0/000.p/{size}")).await.expect(200);
    app.get(&format!("/v1/serials/{serial}/proof")).await.expect(200);
}

/// A file that left out what its checkpoint covers would hide a theft from a buyer for as long as it is kept.
#[actix_web::test]
async fn no_proof_and_no_page_are_made_while_the_views_are_behind_the_checkpoint() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.43"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.released().await;
    let shown = app.app.views.position();
    app.behind.store(true, Ordering::SeqCst);
    // Nobody reads the answer: it waits for the views. The command is recorded all the same.
    let theft = |piece: &str| format!("/v1/pieces/{piece}/theft");
    let path = theft(&pieces[0]);
    let telling = app.post(&path, json!({"reference": "CR 42"}));
    let told = actix_web::rt::time::timeout(Duration::from_millis(300), telling).await;
    assert!(told.is_err(), "the views followed");
    let released = || {
        app.app
            .writer
            .published()
            .released()
            .map_or(0, |released| released.size)
    };
    assert!(released() > shown && app.app.views.position() == shown);
    let proof = app.get(&format!("/v1/serials/{serial}/proof")).await.expect(503);
    assert_eq!(proof.problem(), "not-released");
    app.get(&format!("/p/{serial}")).await.expect(503);

    app.behind.store(false, Ordering::SeqCst);
    let another = json!({"reference": "CR 43"});
    app.post(&theft(&pieces[1]), another).await.expect(201);
    app.released().await;
    let page = app.get(&format!("/p/{serial}")).await.expect(200).text();
    assert!(page.contains("stolen"), "{page}");
}

#[actix_web::test]
async fn the_policy_is_one_that_a_verifier_takes() {
    let app = TestApp::start().await;
    let text = app.get("/v1/policy").await.expect(200).text();
    assert!(text.contains(&format!("# root {}\n", app.root)));
    let policy = Policy::parse(&text).unwrap();
    assert_eq!(policy.root.as_deref(), Some(app.root.as_str()));
}

#[actix_web::test]
async fn health_tells_how_far_everything_is() {
    let app = TestApp::start().await;
    app.released().await;
    let health = app.get("/healthz").await.expect(200).json();
    assert_eq!(health["status"], "ok");
    assert_eq!(
        (&health["size"], &health["released"], &health["views"]),
        (&3.into(), &3.into(), &3.into())
    );
    assert!(
        app.get("/openapi.yaml")
            .await
            .expect(200)
            .text()
            .starts_with("openapi: 3.1")
    );
}
