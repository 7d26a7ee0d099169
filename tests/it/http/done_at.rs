//! When a command was done, if the operator says another time than now: the member `at`.

use super::{NOW, TestApp, Workshop, bearer};
use actix_web::test::TestRequest;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::http::Role;
use serde_json::{Value, json};

fn jar(at: Value) -> Value {
    json!({"metal": "silver", "fineness": "925", "residue": "sweeps", "at": at})
}

/// The newest entry as an auditor reads it, and its payload.
async fn newest(app: &TestApp) -> (Value, Value) {
    let from = app.app.views.position() - 1;
    let read = app
        .get_as(Role::Auditor, &format!("/v1/events?from={from}"))
        .await
        .expect(200)
        .json();
    let told = read["entries"][0].clone();
    let payload = told["entry"].as_str().unwrap().split('.').nth(1).unwrap();
    let payload = serde_json::from_slice(&URL_SAFE_NO_PAD.decode(payload).unwrap()).unwrap();
    (told, payload)
}

#[actix_web::test]
async fn an_entry_carries_when_it_was_done_beside_when_it_was_recorded() {
    let app = TestApp::start().await;
    // 1790000000 is 2026-09-21T14:13:20Z (GNU date).
    for (at, seconds) in [
        ("2026-09-20T18:00:00Z", 1_789_927_200),
        ("2026-09-20T18:00:00+01:00", 1_789_923_600),
        ("2026-09-21T14:13:25Z", NOW + 5),
        ("1970-01-01T00:00:00Z", 0),
    ] {
        app.post("/v1/jars", jar(json!(at))).await.expect(201);
        let (told, payload) = newest(&app).await;
        assert_eq!(
            (&told["at"], &payload["at"]),
            (&json!(seconds), &json!(seconds)),
            "{at}"
        );
        assert_eq!(
            (&told["recorded"], &payload["iat"]),
            (&json!(NOW), &json!(NOW)),
            "{at}"
        );
    }
    let mut now = jar(json!(null));
    now.as_object_mut().unwrap().remove("at");
    app.post("/v1/jars", now).await.expect(201);
    let (told, payload) = newest(&app).await;
    assert!(told.get("at").is_none() && payload.get("at").is_none());
}

#[actix_web::test]
async fn what_stands_in_the_path_and_in_a_tray_takes_it_too() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.60"]).await;
    shop.close(&app, &melt).await;
    let at = "2026-09-20T18:00:00Z";
    let mut tray = shop.tray("finished", vec![super::item(&app, &pieces[1], "50.60")]);
    tray["at"] = json!(at);
    app.post("/v1/weighings", tray).await.expect(201);
    assert_eq!(newest(&app).await.0["at"], 1_789_927_200);
    let fault = json!({"fault": "crack", "at": at});
    app.post(&format!("/v1/pieces/{}/fault", pieces[0]), fault)
        .await
        .expect(201);
    assert_eq!(newest(&app).await.0["at"], 1_789_927_200);
    let history = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}/history", pieces[0]))
        .await
        .json();
    let last = history["entries"].as_array().unwrap().last().unwrap().clone();
    assert_eq!(last["at"], 1_789_927_200);
}

#[actix_web::test]
async fn a_time_that_is_none_or_still_to_come_is_refused_and_nothing_is_recorded() {
    let app = TestApp::start().await;
    let before = app.app.views.position();
    for (at, says) in [
        (json!("2026-09-21T14:13:26Z"), "still to come"),
        (json!("9999-12-31T23:59:59-23:59"), "after 9999"),
        (json!("2026-09-20T18:00:00.5Z"), "whole seconds"),
        (json!("2026-09-20T18:00:00"), "offset"),
        (json!("2026-09-20"), "offset"),
        (json!("2026-02-30T18:00:00Z"), "calendar"),
        (json!("2026-09-20T24:00:00Z"), "time of day"),
        (json!("1969-12-31T23:59:59Z"), "before 1970"),
        (json!("yesterday"), "date and time"),
        (json!(1_789_927_200), "date and time"),
        (json!(null), "date and time"),
    ] {
        let reply = app.post("/v1/jars", jar(at.clone())).await.expect(422);
        assert_eq!(
            (reply.problem().as_str(), reply.pointer().as_str()),
            ("invalid", "#/at"),
            "{at}"
        );
        let detail = reply.json()["detail"].as_str().unwrap().to_owned();
        assert!(detail.contains(says), "{at}: {detail}");
    }
    assert_eq!(app.app.views.position(), before);
}

#[actix_web::test]
async fn the_same_key_with_another_time_is_other_content() {
    let app = TestApp::start().await;
    let key = app.fresh_key();
    let send = |body: Value| {
        let request = TestRequest::post()
            .uri("/v1/jars")
            .insert_header(bearer(app.token(Role::Office)))
            .insert_header(("idempotency-key", key.clone()))
            .insert_header(("content-type", "application/json"))
            .set_payload(body.to_string());
        app.send(request)
    };
    let first = send(jar(json!("2026-09-20T18:00:00Z"))).await.expect(201);
    // The same moment, written otherwise, is the same content.
    let again = send(jar(json!("2026-09-20T19:00:00+01:00"))).await.expect(201);
    assert_eq!(first.body, again.body);
    send(jar(json!("2026-09-20T18:00:01Z")))
        .await
        .refused(422, "idempotency-key-reused", "");
    let mut without = jar(json!(null));
    without.as_object_mut().unwrap().remove("at");
    send(without).await.refused(422, "idempotency-key-reused", "");
}
