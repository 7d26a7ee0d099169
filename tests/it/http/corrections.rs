//! Corrections through HTTP: what was typed wrong is put right, and what would then be impossible is named.

use super::{TestApp, Workshop};
use pourbook::check::{Trust, check_piece};
use pourbook::http::Role;
use serde_json::{Value, json};

/// Index of the entry of a kind, counted among those of its kind.
async fn index_of(app: &TestApp, kind: &str, place: usize) -> u64 {
    let events = app
        .get_as(Role::Auditor, "/v1/events?from=0&limit=200")
        .await
        .expect(200)
        .json();
    let entries = events["entries"].as_array().unwrap().iter();
    let mut of_kind = entries.filter(|entry| entry["events"][0]["kind"] == kind);
    of_kind.nth(place).unwrap()["index"].as_u64().unwrap()
}

fn command(corrections: Value) -> Value {
    json!({"corrections": corrections, "reason": "mistyped", "note": "the apprentice read it upside down"})
}

#[actix_web::test]
async fn a_final_weight_typed_wrong_is_corrected_and_the_certificate_superseded() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (melt, pieces) = workshop.pour(&app, &["50.42", "50.60"]).await;
    let serial = workshop.certify(&app, &melt, &pieces[0], "50.42").await;
    let weighed = index_of(&app, "piece.weighed", 1).await;
    let instead = json!({"command": "weigh_pieces", "session": workshop.session, "stage": "final",
                         "items": [{"piece": pieces[0], "mass": "50.24"}]});
    let body = command(json!([{"index": weighed, "instead": instead}]));
    let reply = app.post("/v1/corrections", body).await.expect(201).json();
    let kinds: Vec<&str> = reply["events"]
        .as_array()
        .unwrap()
        .iter()
        .map(|event| event["kind"].as_str().unwrap())
        .collect();
    assert_eq!(
        kinds,
        [
            "entry.corrected",
            "certificate.issued",
            "certificate.superseded",
            "piece.certified"
        ]
    );
    let record = app.get(&format!("/v1/serials/{serial}")).await.expect(200).json();
    assert_eq!(record["certificate"]["issue"], 2);
    assert_eq!(record["certificate"]["weight"]["grams"], "50.24");
    let piece = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}", pieces[0]))
        .await
        .json();
    assert_eq!(piece["readings"][1]["mass"], "50.24");
    // What was said first is still there to be read, and so is who said otherwise and why.
    let path = format!("/v1/pieces/{}/history", pieces[0]);
    let history = app.get_as(Role::Office, &path).await.expect(200);
    for said in ["50.42", "entry.corrected", "upside down"] {
        assert!(history.text().contains(said), "{said}");
    }
    let history = app.get_as(Role::Bench, &path).await.expect(200);
    assert!(
        !history.text().contains("upside down"),
        "the note is for the office"
    );
    app.released().await;
    let proof = app.get(&format!("/v1/serials/{serial}/proof")).await.expect(200);
    let trust = Trust {
        root: app.root.clone(),
        policy: None,
    };
    let report = check_piece(&proof.body, &trust);
    assert!(report.holds(), "{report:?}");
    // The correction stands among the piece's own entries: without it the file does not hold.
    let mut file = proof.json();
    file["proofs"].as_array_mut().unwrap().pop();
    let mut bent = serde_json::to_vec(&file).unwrap();
    bent.push(b'\n');
    assert!(
        !check_piece(&bent, &trust).holds(),
        "a file without its correction holds"
    );
}

#[actix_web::test]
async fn a_correction_that_would_un_melt_a_sold_piece_is_refused_and_names_the_fact() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (melt, pieces) = workshop.pour(&app, &["50.42"]).await;
    workshop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.done("/v1/sales", json!({"items": [{"piece": pieces[0]}]}))
        .await;
    let charged = index_of(&app, "melt.charged", 0).await;
    let before = app.version(&pieces[0]);
    let reply = app
        .post("/v1/corrections", command(json!([{"index": charged}])))
        .await;
    assert!(reply.text().contains("piece.poured of entry"), "{}", reply.text());
    reply.refused(409, "later-fact", "#/corrections");
    assert_eq!(app.version(&pieces[0]), before);
    let serialled = index_of(&app, "piece.serialled", 0).await;
    app.post("/v1/corrections", command(json!([{"index": serialled}])))
        .await
        .refused(409, "not-correctable", "#/corrections/0/index");
    app.post("/v1/corrections", command(json!([{"index": 900}])))
        .await
        .refused(409, "no-such-entry", "#/corrections/0/index");
    app.post(
        "/v1/corrections",
        command(json!([{"index": 3, "instead": {"command": "melt_it_all"}}])),
    )
    .await
    .expect(422);
}
