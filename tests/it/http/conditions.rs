//! Keys, versions, methods, media types: what the headers of a request do.

use super::{TestApp, Workshop, bearer, item};
use actix_web::test::TestRequest;
use pourbook::http::Role;
use serde_json::{Value, json};

const KEY: &str = "8e03978e-40d5-43e8-bc93-6894a57f9324";

fn jar() -> Value {
    json!({"metal": "silver", "fineness": "925", "residue": "sweeps"})
}

fn post(app: &TestApp, role: Role, path: &str, key: &str, body: &Value) -> TestRequest {
    TestRequest::post()
        .uri(path)
        .insert_header(bearer(app.token(role)))
        .insert_header(("idempotency-key", key))
        .insert_header(("content-type", "application/json"))
        .set_payload(body.to_string())
}

#[actix_web::test]
async fn the_same_request_is_recorded_once_and_answered_alike() {
    let app = TestApp::start().await;
    let first = app
        .send(post(&app, Role::Office, "/v1/jars", KEY, &jar()))
        .await
        .expect(201);
    // The key may stand in quotes, as the header field is defined, or bare.
    let again = app
        .send(post(
            &app,
            Role::Office,
            "/v1/jars",
            &format!("\"{KEY}\""),
            &jar(),
        ))
        .await
        .expect(201);
    assert_eq!(first.body, again.body);
    assert_eq!(first.header("location"), again.header("location"));
    assert_eq!(first.header("etag"), again.header("etag"));
    assert_eq!(
        app.get_as(Role::Office, "/v1/jars").await.json()["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );

    let other = json!({"metal": "gold", "fineness": "750", "residue": "sweeps"});
    let reply = app.send(post(&app, Role::Office, "/v1/jars", KEY, &other)).await;
    reply.refused(422, "idempotency-key-reused", "");
    let reply = app.send(post(&app, Role::Bench, "/v1/jars", KEY, &jar())).await;
    reply.refused(422, "idempotency-key-reused", "");
}

#[actix_web::test]
async fn a_refusal_is_not_remembered() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let charge = |mass: &str| json!({"metal": "silver", "session": shop.session, "lots": [{"lot": shop.lot, "mass": mass}]});
    let reply = app
        .send(post(&app, Role::Bench, "/v1/melts", KEY, &charge("500.01")))
        .await;
    reply.refused(409, "lot-overdrawn", "#/lots/0/mass");
    app.send(post(&app, Role::Bench, "/v1/melts", KEY, &charge("499.99")))
        .await
        .expect(201);
}

#[actix_web::test]
async fn a_request_without_its_key_or_with_a_bad_one_is_refused() {
    let app = TestApp::start().await;
    let without = TestRequest::post()
        .uri("/v1/jars")
        .insert_header(bearer(app.token(Role::Office)))
        .insert_header(("content-type", "application/json"))
        .set_payload(jar().to_string());
    app.send(without)
        .await
        .refused(400, "idempotency-key-missing", "");
    for bad in [
        "seven",
        "\"seven\"",
        "8e03978e40d543e8bc936894a57f9324",
        "{8e03978e-40d5-43e8-bc93-6894a57f9324}",
        "",
    ] {
        app.send(post(&app, Role::Office, "/v1/jars", bad, &jar()))
            .await
            .refused(400, "unreadable", "");
    }
}

#[actix_web::test]
async fn a_command_about_something_needs_its_version() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    let path = format!("/v1/pieces/{}/fault", pieces[0]);
    let fault = json!({"fault": "porosity"});
    app.send(post(&app, Role::Bench, &path, &app.fresh_key(), &fault))
        .await
        .refused(428, "precondition-required", "");
    for stale in ["\"1\"", "\"3\"", "W/\"2\"", "\"abc\"", "\"99999999999999999999\""] {
        let sent =
            post(&app, Role::Bench, &path, &app.fresh_key(), &fault).insert_header(("if-match", stale));
        assert_eq!(app.send(sent).await.expect(412).problem(), "stale", "{stale}");
    }
    for unreadable in ["2", "*", "\"2\", \"3\""] {
        let sent =
            post(&app, Role::Bench, &path, &app.fresh_key(), &fault).insert_header(("if-match", unreadable));
        let status = app.send(sent).await.status;
        assert!([400, 412].contains(&status), "{unreadable}: {status}");
    }
    let shown = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}", pieces[0]))
        .await
        .expect(200);
    let etag = shown.header("etag").unwrap();
    assert_eq!(etag, "\"2\"");
    let sent = post(&app, Role::Bench, &path, &app.fresh_key(), &fault).insert_header(("if-match", etag));
    assert_eq!(app.send(sent).await.expect(201).header("etag"), Some("\"3\""));
    let unknown = "/v1/pieces/11111111-1111-4111-8111-111111111111/fault";
    let sent =
        post(&app, Role::Bench, unknown, &app.fresh_key(), &fault).insert_header(("if-match", "\"1\""));
    app.send(sent).await.refused(404, "not-found", "");
}

#[actix_web::test]
async fn a_repeat_is_answered_even_though_the_version_has_moved_on() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    let path = format!("/v1/pieces/{}/fault", pieces[0]);
    let sent = || {
        post(&app, Role::Bench, &path, KEY, &json!({"fault": "crack"})).insert_header(("if-match", "\"2\""))
    };
    let first = app.send(sent()).await.expect(201);
    let again = app.send(sent()).await.expect(201);
    assert_eq!(first.body, again.body);
}

#[actix_web::test]
async fn a_repeat_names_what_moved_in_the_order_of_the_first_answer() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, _) = shop.pour(&app, &["50.42"]).await;
    let path = format!("/v1/melts/{melt}");
    let row = app.get_as(Role::Bench, &path).await.expect(200);
    let version = row.header("etag").unwrap().to_owned();
    let pour = json!({"series": shop.series, "shape": "oval"});
    // Ids are made by chance: of eight, hardly ever all come in their own order.
    let pours = json!({"pours": [pour, pour, pour, pour, pour, pour, pour, pour]});
    let sent = || {
        post(&app, Role::Bench, &format!("{path}/pours"), KEY, &pours)
            .insert_header(("if-match", version.as_str()))
    };
    let first = app.send(sent()).await.expect(201);
    let again = app.send(sent()).await.expect(201);
    assert_eq!(first.json(), again.json());
}

#[actix_web::test]
async fn an_item_of_a_tray_carries_its_version() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42", "50.60"]).await;
    let mut items = vec![item(&app, &pieces[0], "50.42"), item(&app, &pieces[1], "50.60")];
    items[1].as_object_mut().unwrap().remove("version");
    app.post("/v1/weighings", shop.tray("finished", items.clone()))
        .await
        .refused(422, "invalid", "#/items/1/version");
    items[1]["version"] = json!("2");
    app.post("/v1/weighings", shop.tray("finished", items))
        .await
        .refused(422, "invalid", "#/items/1/version");
}

#[actix_web::test]
async fn a_wrong_method_is_told_the_right_ones() {
    let app = TestApp::start().await;
    for (path, allow) in [
        ("/v1/jars", "GET, HEAD, POST"),
        ("/v1/weighings", "POST"),
        ("/healthz", "GET, HEAD"),
        ("/log/checkpoint", "GET, HEAD"),
    ] {
        for method in ["DELETE", "PUT", "PATCH", "OPTIONS", "TRACE"] {
            let reply = app
                .send(TestRequest::default().method(super::method(method)).uri(path))
                .await
                .expect(405);
            assert_eq!(reply.header("allow"), Some(allow), "{method} {path}");
            assert_eq!(reply.problem(), "method-not-allowed");
        }
    }
    assert_eq!(app.get("/v1/nothing").await.expect(404).problem(), "not-found");
}

#[actix_web::test]
async fn head_answers_as_get_does() {
    let app = TestApp::start().await;
    app.released().await;
    for path in ["/healthz", "/log/checkpoint", "/v1/policy"] {
        let head = app
            .send(TestRequest::default().method(super::method("HEAD")).uri(path))
            .await
            .expect(200);
        let got = app.get(path).await.expect(200);
        assert_eq!(head.header("etag"), got.header("etag"), "{path}");
    }
}

#[actix_web::test]
async fn what_the_caller_has_is_not_sent_again() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    app.released().await;
    for path in [
        format!("/v1/lots/{}", shop.lot),
        "/v1/lots".to_owned(),
        "/log/checkpoint".to_owned(),
    ] {
        let first = app.get_as(Role::Office, &path).await.expect(200);
        let etag = first.header("etag").unwrap().to_owned();
        let again = TestRequest::get()
            .uri(&path)
            .insert_header(bearer(app.token(Role::Office)));
        let again = app
            .send(again.insert_header(("if-none-match", etag)))
            .await
            .expect(304);
        assert!(again.body.is_empty());
    }
    // A series counts the serials of its pieces without an entry of its own, so its version proves nothing.
    let path = format!("/v1/series/{}", shop.series);
    let asked = TestRequest::get()
        .uri(&path)
        .insert_header(bearer(app.token(Role::Office)));
    app.send(asked.insert_header(("if-none-match", "\"1\"")))
        .await
        .expect(200);
}

#[actix_web::test]
async fn only_the_right_media_type_is_read() {
    let app = TestApp::start().await;
    for (media, status) in [
        ("application/json", 201),
        ("Application/JSON; charset=UTF-8", 201),
        ("text/plain", 415),
        ("application/json; charset=latin1", 415),
        ("application/x-www-form-urlencoded", 415),
    ] {
        let sent = TestRequest::post()
            .uri("/v1/jars")
            .insert_header(bearer(app.token(Role::Office)))
            .insert_header(("idempotency-key", app.fresh_key()))
            .insert_header(("content-type", media))
            .set_payload(jar().to_string());
        assert_eq!(app.send(sent).await.status, status, "{media}");
    }
    let packed = post(&app, Role::Office, "/v1/jars", &app.fresh_key(), &jar())
        .insert_header(("content-encoding", "gzip"));
    app.send(packed).await.refused(415, "media-type", "");
}

#[actix_web::test]
async fn a_clock_that_jumped_stops_recording_until_an_admin_vouches_for_it() {
    let app = TestApp::start().await;
    app.post("/v1/jars", jar()).await.expect(201);
    app.clock.fetch_sub(60, std::sync::atomic::Ordering::SeqCst);
    let reply = app.post("/v1/jars", jar()).await.expect(503);
    assert_eq!(reply.problem(), "clock");
    assert!(reply.header("retry-after").is_some());
    app.post_as(Role::Admin, "/v1/clock", json!({})).await.expect(201);
    app.post("/v1/jars", jar()).await.expect(201);
}
