//! A piece from grain to certificate to a proof that a stranger checks, all through HTTP.

use super::{ORIGIN, TestApp, Workshop, item};
use pourbook::check::{Trust, check_piece};
use pourbook::http::Role;
use serde_json::json;

#[actix_web::test]
async fn a_piece_goes_from_grain_to_a_proof_that_holds() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.60", "50.55"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.released().await;

    let record = app.get(&format!("/v1/serials/{serial}")).await.expect(200).json();
    assert_eq!(record["state"], "certified");
    assert_eq!(record["slip_checked"], true);
    assert_eq!(record["series"]["code"], "TW");
    assert_eq!(record["series"]["title"], "Tidewheel");
    assert_eq!(record["certificate"]["number"], 1);
    assert_eq!(record["certificate"]["of"], 4);
    assert_eq!(record["certificate"]["weight"]["grams"], "50.42");
    // 50.42 / 31.1034768 = 1.62103..., by hand.
    assert_eq!(record["certificate"]["weight"]["troy_ounces"], "1.6210");
    assert_eq!(record["certificate"]["hallmark"], "not_hallmarked");
    assert_eq!(record["suspect"], false);
    let text = record.to_string();
    for hidden in ["Pellworth", "431.20", "Lantern", "PMC 1207"] {
        assert!(!text.contains(hidden), "{hidden} is shown to everybody");
    }

    let proof = app.get(&format!("/v1/serials/{serial}/proof")).await.expect(200);
    let trust = Trust {
        root: app.root.clone(),
        policy: None,
    };
    let report = check_piece(&proof.body, &trust);
    assert!(report.holds(), "{report:?}");
    let mut bent = proof.text().replacen(&serial, "TW-0002-62", 1).into_bytes();
    assert!(
        !check_piece(&bent, &trust).holds(),
        "a proof with another serial holds"
    );
    bent = proof
        .text()
        .replacen(ORIGIN, "other.example/book", 1)
        .into_bytes();
    assert!(
        !check_piece(&bent, &trust).holds(),
        "a proof of another log holds"
    );
}

#[actix_web::test]
async fn what_comes_after_a_checkpoint_is_stated() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.released().await;
    let size = app.app.views.position();
    let address = format!("/v1/serials/{serial}/proof");
    let first = app.get(&address).await.expect(200);
    let nothing = app
        .get(&format!("{address}?after={size}"))
        .await
        .expect(200)
        .json();
    assert_eq!(nothing["entries"], json!([]));

    let reason = json!({"reason": "damaged", "note": "the paper was wet"});
    app.post(&format!("/v1/pieces/{}/supersession", pieces[0]), reason)
        .await
        .expect(201);
    let later = app
        .get(&format!("{address}?after={size}"))
        .await
        .expect(200)
        .json();
    assert_eq!(later["entries"][0]["index"], size);
    assert!(!later.to_string().contains("wet"));

    // The piece has a new entry, so the proof that was kept is not served again.
    app.released().await;
    let second = app.get(&address).await.expect(200);
    assert_ne!(first.body, second.body);
    assert!(
        check_piece(
            &second.body,
            &Trust {
                root: app.root.clone(),
                policy: None
            }
        )
        .holds()
    );
    let record = app.get(&format!("/v1/serials/{serial}")).await.expect(200).json();
    assert_eq!(record["certificate"]["issue"], 2);
}

#[actix_web::test]
async fn a_proof_is_kept_until_its_checkpoint_is_ten_minutes_old() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.released().await;
    let address = format!("/v1/serials/{serial}/proof");
    let first = app.get(&address).await.expect(200);
    // Another thing is recorded, so the released checkpoint moves on; the proof that is kept is still served.
    app.post(
        "/v1/jars",
        json!({"metal": "silver", "fineness": "999", "residue": "prills"}),
    )
    .await
    .expect(201);
    app.released().await;
    assert_eq!(first.body, app.get(&address).await.expect(200).body);
    app.clock.fetch_add(600, std::sync::atomic::Ordering::SeqCst);
    assert_ne!(first.body, app.get(&address).await.expect(200).body);
}

#[actix_web::test]
async fn a_closing_check_that_fails_makes_its_readings_suspect() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    shop.close(&app, &melt).await;
    let serials = app
        .post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201)
        .json();
    let serial = serials["events"][0]["serial"].as_str().unwrap();
    let check = json!({"nominal": "50.00", "reading": "50.20"});
    app.post(&format!("/v1/sessions/{}/closing", shop.session), check)
        .await
        .expect(201);
    let record = app.get(&format!("/v1/serials/{serial}")).await.expect(200).json();
    assert_eq!(record["suspect"], true);
    assert!(record.get("certificate").is_none());
}

#[actix_web::test]
async fn a_note_is_shown_to_the_office_until_it_is_erased() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let address = format!("/v1/lots/{}", shop.lot);
    let office = app.get_as(Role::Office, &address).await.expect(200).json();
    assert_eq!(office["private"]["seller"], "Pellworth Metals Counter");
    assert_eq!(office["private"]["price"]["amount"], "431.20");
    for role in [Role::Bench, Role::Auditor] {
        let shown = app.get_as(role, &address).await.expect(200).text();
        for hidden in ["Pellworth", "431.20", "PMC 1207"] {
            assert!(!shown.contains(hidden), "{role:?} sees {hidden}");
        }
    }
    let erasure = json!({"index": office["since"], "event": 0, "member": "seller", "reason": "request"});
    let erased = app
        .post_as(Role::Admin, "/v1/erasures", erasure.clone())
        .await
        .expect(201)
        .json();
    assert_eq!(erased["events"][0]["kind"], "field.erased");
    let office = app.get_as(Role::Office, &address).await.expect(200).json();
    assert!(office["private"]["seller"].is_null());
    assert_eq!(office["private"]["document"], "PMC 1207");
    assert_eq!(office["version"], 2);
    app.post_as(Role::Admin, "/v1/erasures", erasure)
        .await
        .refused(409, "already-erased", "");
}

#[actix_web::test]
async fn the_history_of_a_piece_tells_only_of_that_piece() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42", "51.90"]).await;
    let condemning = json!({"reason": "over", "note": "too heavy to file"});
    app.post(&format!("/v1/pieces/{}/condemnation", pieces[1]), condemning)
        .await
        .expect(201);
    let history = app
        .get_as(Role::Office, &format!("/v1/pieces/{}/history", pieces[1]))
        .await
        .expect(200)
        .json();
    let kinds: Vec<&str> = history["entries"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|entry| entry["events"].as_array().unwrap())
        .map(|event| event["kind"].as_str().unwrap())
        .collect();
    assert_eq!(
        kinds,
        ["piece.poured", "piece.weighed", "piece.graded", "piece.condemned"]
    );
    assert_eq!(
        history["entries"][2]["events"][0]["private"]["note"],
        "too heavy to file"
    );
    assert!(!history.to_string().contains(&pieces[0]));
    let bench = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}/history", pieces[1]))
        .await
        .expect(200)
        .text();
    assert!(!bench.contains("too heavy"));
}

#[actix_web::test]
async fn a_tray_is_weighed_whole_or_not_at_all() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.60", "50.55", "50.70"]).await;
    shop.close(&app, &melt).await;
    let before = app.app.views.position();
    let mut items: Vec<_> = pieces.iter().map(|piece| item(&app, piece, "50.50")).collect();
    items[3]["mass"] = json!("50.505");
    let tray = shop.tray("finished", items.clone());
    app.post("/v1/weighings", tray)
        .await
        .refused(409, "too-fine-for-scale", "#/items/3/mass");
    assert_eq!(app.app.views.position(), before, "something was recorded");
    assert!(pieces.iter().all(|piece| app.version(piece) == 2));

    items[3]["mass"] = json!("1e3");
    let tray = shop.tray("finished", items.clone());
    app.post("/v1/weighings", tray)
        .await
        .refused(422, "invalid", "#/items/3/mass");

    items[3]["mass"] = json!("50.50");
    items[2]["version"] = json!(1);
    let reply = app
        .post("/v1/weighings", shop.tray("finished", items))
        .await
        .expect(412);
    assert_eq!(
        (reply.problem().as_str(), reply.pointer().as_str()),
        ("stale", "#/items/2/version")
    );
    assert_eq!(reply.json()["version"], 2);
    assert!(pieces.iter().all(|piece| app.version(piece) == 2));
}

#[actix_web::test]
async fn a_piece_that_is_over_is_filed_down_and_its_lemel_is_accounted_for() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["51.90"]).await;
    shop.close(&app, &melt).await;
    let tray = |mass: &str| json!({"session": shop.session, "jar": shop.jar, "items": [item(&app, &pieces[0], mass)]});
    app.post_as(Role::Bench, "/v1/finishings", tray("51.95"))
        .await
        .refused(409, "heavier-than-before", "#/items/0/mass");
    app.post_as(Role::Bench, "/v1/finishings", tray("50.90"))
        .await
        .expect(201);
    let piece = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}", pieces[0]))
        .await
        .expect(200)
        .json();
    assert_eq!(
        (&piece["grading"]["grade"], &piece["filed"]),
        (&json!("accepted"), &json!("1.00"))
    );
    let jar = app
        .get_as(Role::Bench, &format!("/v1/jars/{}", shop.jar))
        .await
        .expect(200)
        .json();
    assert_eq!(jar["mass"], "1.00");
}
