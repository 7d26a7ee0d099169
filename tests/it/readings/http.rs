//! The same over HTTP: as of a position, with corrections, and in the public record.

use crate::http::{TestApp, Workshop, item};
use pourbook::http::Role;
use serde_json::{Value, json};

async fn asked(app: &TestApp, path: &str) -> Value {
    app.get_as(Role::Bench, path).await.expect(200).json()
}

#[actix_web::test]
async fn gradings_are_reckoned_again_as_of_a_position_and_after_a_correction() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let before = app.app.views.position();
    // One typed for the other: 49.10 is the second piece's.
    let (_, pieces) = workshop.pour(&app, &["49.10", "50.42"]).await;
    let position = app.app.views.position();
    let gradings = async |piece: &str, query: &str| {
        let told = asked(&app, &format!("/v1/pieces/{piece}/gradings{query}")).await;
        let items = told["gradings"].as_array().unwrap().clone();
        assert!(items.iter().all(|told| told["agrees"] == true), "{items:?}");
        let brief = |told: &Value| format!("{} {}", told["reading"]["mass"], told["grade"]).replace('"', "");
        items.iter().map(brief).collect::<Vec<String>>()
    };
    let first = gradings(&pieces[0], "").await;
    let second = gradings(&pieces[1], "").await;
    assert_eq!((first.len(), second.len()), (1, 1), "{first:?} {second:?}");
    let index = (before..position)
        .find(|index| {
            app.app
                .entry(*index)
                .unwrap()
                .events()
                .any(|event| event.kind() == "piece.weighed")
        })
        .unwrap();
    let items = json!([{"piece": pieces[0], "mass": "50.42"}, {"piece": pieces[1], "mass": "49.10"}]);
    let instead = json!({"command": "weigh_pieces", "session": workshop.session, "stage": "from_mould", "items": items});
    let body = json!({"corrections": [{"index": index, "instead": instead}], "reason": "mistyped"});
    app.post("/v1/corrections", body).await.expect(201);
    assert_eq!(gradings(&pieces[0], "").await, second);
    assert_eq!(gradings(&pieces[1], "").await, first);
    let then = format!("?at={position}");
    assert_eq!(
        gradings(&pieces[0], &then).await,
        first,
        "before the correction was heard of"
    );
    let nowhere = format!("/v1/pieces/{}/gradings?at={before}", pieces[0]);
    app.get_as(Role::Bench, &nowhere)
        .await
        .refused(404, "not-found", "");
}

/// P1 typed for P2: the entry stands in the chain of the first only, and the second has it by its correction.
#[actix_web::test]
async fn a_reading_that_a_correction_gave_to_another_piece_is_graded_there() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (session, series, lot) = (&workshop.session, &workshop.series, &workshop.lot);
    let charge = json!({"metal": "silver", "session": session, "lots": [{"lot": lot, "mass": "250.00"}]});
    let melt = app.done("/v1/melts", charge).await;
    let oval = json!({"series": series, "shape": "oval"});
    let pours = json!({"pours": [oval, oval]});
    let poured = app
        .post(&format!("/v1/melts/{melt}/pours"), pours)
        .await
        .expect(201)
        .json();
    let piece = |at: usize| poured["events"][at]["piece"].as_str().unwrap().to_owned();
    let index = app.app.views.position();
    let items = vec![item(&app, &piece(0), "50.42")];
    app.post("/v1/weighings", workshop.tray("from_mould", items))
        .await
        .expect(201);
    let items = json!([{"piece": piece(1), "mass": "50.42"}]);
    let instead =
        json!({"command": "weigh_pieces", "session": session, "stage": "from_mould", "items": items});
    let body = json!({"corrections": [{"index": index, "instead": instead}], "reason": "mistyped"});
    app.post("/v1/corrections", body).await.expect(201);
    let first = asked(&app, &format!("/v1/pieces/{}/gradings", piece(0))).await;
    let second = asked(&app, &format!("/v1/pieces/{}/gradings", piece(1))).await;
    assert_eq!(first["gradings"], json!([]));
    assert_eq!(second["gradings"][0]["reading"]["mass"], "50.42");
    assert_eq!(second["gradings"][0]["agrees"], true);
}

#[actix_web::test]
async fn what_a_failed_check_puts_in_doubt_is_listed_a_page_at_a_time() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    workshop.pour(&app, &["50.10", "50.60"]).await;
    let session = &workshop.session;
    assert_eq!(asked(&app, "/v1/suspects").await["sessions"], json!([]));
    let check = json!({"nominal": "50.00", "reading": "50.10"});
    app.post(&format!("/v1/sessions/{session}/checks"), check)
        .await
        .expect(201);
    let told = &asked(&app, &format!("/v1/sessions/{session}/suspects")).await["suspicion"];
    assert_eq!(told["check"]["deviation"], "0.10");
    // The lot of the workshop and its charge were weighed there too.
    let kinds: Vec<&str> = told["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["kind"].as_str().unwrap())
        .collect();
    assert_eq!(
        kinds,
        ["lot.received", "melt.charged", "piece.weighed", "piece.weighed"]
    );
    let all = asked(&app, "/v1/suspects?limit=1").await;
    assert_eq!(all["sessions"][0]["readings"], told["readings"]);
    assert_eq!(all["next"], Value::Null);
    let later = told["check"]["index"].as_u64().unwrap() + 1;
    assert_eq!(
        asked(&app, &format!("/v1/suspects?from={later}")).await["sessions"],
        json!([])
    );
    let then = &asked(&app, &format!("/v1/sessions/{session}/suspects?at={}", later - 1)).await["suspicion"];
    assert_eq!(
        (&then["check"], &then["readings"]),
        (&Value::Null, &json!([])),
        "before the check"
    );
}

#[actix_web::test]
async fn a_density_stands_on_the_piece_in_its_history_and_in_the_public_record() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (melt, pieces) = workshop.pour(&app, &["50.42"]).await;
    let piece = &pieces[0];
    let body = json!({"session": workshop.session, "method": "cup", "in_air": "50.42", "in_water": "4.81", "water": "20.5"});
    let path = format!("/v1/pieces/{piece}/gravity");
    app.post(&path, body).await.expect(201);
    let row = asked(&app, &format!("/v1/pieces/{piece}")).await;
    assert_eq!(row["gravities"][0]["in_water"], "4.81");
    let history = asked(&app, &format!("/v1/pieces/{piece}/history")).await;
    assert!(history.to_string().contains("\"piece.gravity\""));
    let told = asked(&app, &path).await;
    // 50.42 (0.998103 - 0.0012) / 4.81 + 0.0012, of which 0.998103 g/cm3 is water of 20.5 degrees by Tanaka's formula.
    assert_eq!(told["gravities"][0]["density"], "10.451");
    assert!(
        told["newest"]["excluded"]
            .as_array()
            .unwrap()
            .contains(&json!("copper, plated"))
    );
    let serial = workshop.certify(&app, &melt, piece, "50.42").await;
    let public = app.get(&format!("/v1/serials/{serial}")).await.expect(200).json();
    assert_eq!(public["gravity"], told["gravities"][0]);
}
