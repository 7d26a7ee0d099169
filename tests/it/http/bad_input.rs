//! Bad input: each gets a clear error that names the member and the fact, and nothing is recorded.

use super::{TestApp, Workshop, bearer, item, lot, scale};
use actix_web::test::TestRequest;
use pourbook::http::Role;
use serde_json::{Value, json};

async fn unreadable(app: &TestApp, body: &[u8], pointer: &str) {
    let before = app.app.views.position();
    let shown = String::from_utf8_lossy(&body[..body.len().min(60)]).into_owned();
    let reply = app.post_bytes(Role::Office, "/v1/jars", body.to_vec()).await;
    assert_eq!(reply.status, 400, "{shown}: {}", reply.text());
    assert_eq!(
        (reply.problem().as_str(), reply.pointer().as_str()),
        ("unreadable", pointer),
        "{shown}"
    );
    assert_eq!(app.app.views.position(), before);
}

#[actix_web::test]
async fn json_that_is_broken_deep_doubled_or_not_utf8() {
    let app = TestApp::start().await;
    let whole = json!({"metal": "silver", "fineness": "999", "residue": "lemel"}).to_string();
    for length in 0..whole.len() {
        unreadable(&app, &whole.as_bytes()[..length], "").await;
    }
    unreadable(&app, format!("{whole} x").as_bytes(), "").await;
    unreadable(&app, b"{\"metal\": \"silver\xff\"}", "").await;
    unreadable(
        &app,
        br#"{"metal": "silver", "fineness": "999", "metal": "gold"}"#,
        "#/metal",
    )
    .await;
    unreadable(
        &app,
        br#"{"price": [{"amount": "1", "amount": "2"}]}"#,
        "#/price/0/amount",
    )
    .await;
    let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000));
    let pointer = format!("#{}", "/0".repeat(17));
    unreadable(&app, deep.as_bytes(), &pointer).await;
    unreadable(&app, b"{\"fineness\": 999.5}", "#/fineness").await;
    for value in ["[]", "7", "null", "\"text\""] {
        app.post_bytes(Role::Office, "/v1/jars", value.into())
            .await
            .refused(422, "invalid", "#");
    }
}

#[actix_web::test]
async fn a_body_that_is_too_large() {
    let app = TestApp::start().await;
    let body =
        json!({"metal": "silver", "fineness": "999", "residue": "lemel", "label": "x".repeat(300_000)});
    app.post("/v1/jars", body)
        .await
        .refused(413, "body-too-large", "");
    let body = json!({"metal": "silver", "fineness": "999", "residue": "lemel", "label": "x".repeat(2_001)});
    app.post("/v1/jars", body)
        .await
        .refused(422, "text-too-long", "#/label");
}

#[actix_web::test]
async fn masses_that_are_none() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let before = app.app.views.position();
    for (mass, says) in [
        (json!("-5"), "negative"),
        (json!("1e3"), "exponent"),
        (json!("1,5"), "comma"),
        (json!("5 oz"), "oz"),
        (json!("1oz"), "oz"),
        (json!(""), "empty"),
        (json!("1.000001"), "too fine"),
        (json!("999999999999"), "too large"),
        (json!("١٢"), "not a plain decimal number"),
        (json!(50), "string"),
        (json!(null), "null"),
    ] {
        let mut body = lot(&shop.session);
        body["mass"] = mass.clone();
        let reply = app.post("/v1/lots", body).await.expect(422);
        assert_eq!(
            (reply.problem().as_str(), reply.pointer().as_str()),
            ("invalid", "#/mass"),
            "{mass}"
        );
        let detail = reply.json()["detail"].as_str().unwrap().to_owned();
        assert!(detail.contains(says), "{mass}: {detail}");
    }
    let mut body = lot(&shop.session);
    body["mass"] = json!("0.00");
    app.post("/v1/lots", body.clone())
        .await
        .refused(422, "zero-mass", "#/mass");
    body["mass"] = json!("10.005");
    app.post("/v1/lots", body.clone())
        .await
        .refused(409, "too-fine-for-scale", "#/mass");
    body["mass"] = json!("600.01");
    app.post("/v1/lots", body)
        .await
        .refused(409, "above-scale", "#/mass");
    assert_eq!(app.app.views.position(), before);
}

#[actix_web::test]
async fn members_that_are_missing_unknown_or_of_another_kind() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let cases: [(&str, Value, &str); 9] = [
        ("metal", json!(null), "#/metal"),
        ("metal", json!("mithril"), "#/metal"),
        ("fineness", json!("1000.1"), "#/fineness"),
        ("basis", json!(3), "#/basis"),
        ("session", json!("seven"), "#/session"),
        (
            "price",
            json!({"amount": "1.00", "currency": "pounds"}),
            "#/price/currency",
        ),
        ("price", json!({"amount": "1.00"}), "#/price/currency"),
        ("colour", json!("bright"), "#/colour"),
        ("a/b~c", json!(1), "#/a~1b~0c"),
    ];
    for (member, value, pointer) in cases {
        let mut body = lot(&shop.session);
        body[member] = value;
        app.post("/v1/lots", body).await.refused(422, "invalid", pointer);
    }
    let mut body = lot(&shop.session);
    body.as_object_mut().unwrap().remove("mass");
    app.post("/v1/lots", body).await.refused(422, "invalid", "#/mass");
    // What stands in the path is no member of the body.
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    let path = format!("/v1/pieces/{}/fault", pieces[0]);
    app.post(&path, json!({"fault": "crack", "piece": pieces[0]}))
        .await
        .refused(422, "invalid", "#/piece");
    let erasure = json!({"index": 3, "event": 0, "member": "label", "reason": "request", "entry": "x"});
    app.post_as(Role::Admin, "/v1/erasures", erasure)
        .await
        .refused(422, "invalid", "#/entry");
}

#[actix_web::test]
async fn a_whole_number_may_be_written_with_a_zero_fraction() {
    let app = TestApp::start().await;
    let mut body = super::series("DW").to_string();
    body = body.replace("\"digits\":4", "\"digits\":4.0");
    app.post_bytes(Role::Office, "/v1/series", body.into_bytes())
        .await
        .expect(201);
}

#[actix_web::test]
async fn ids_that_nothing_has() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let nobody = "11111111-1111-4111-8111-111111111111";
    app.post("/v1/lots", lot(nobody))
        .await
        .refused(409, "unknown-session", "#/session");
    let charge =
        json!({"metal": "silver", "session": shop.session, "lots": [{"lot": nobody, "mass": "1.00"}]});
    app.post("/v1/melts", charge)
        .await
        .refused(409, "unknown-lot", "#/lots/0/lot");
    let items = json!([{"piece": nobody, "mass": "50.00", "version": 1}]);
    let tray = json!({"session": shop.session, "stage": "final", "items": items});
    let status = app.post("/v1/weighings", tray).await.status;
    assert!([409, 412].contains(&status), "{status}");
    for table in [
        "lots",
        "scales",
        "sessions",
        "jars",
        "series",
        "melts",
        "pieces",
        "certificates",
    ] {
        for id in [nobody, "seven", "%00"] {
            let reply = app
                .get_as(Role::Bench, &format!("/v1/{table}/{id}"))
                .await
                .expect(404);
            assert_eq!(reply.problem(), "not-found");
        }
    }
    app.get_as(Role::Bench, &format!("/v1/pieces/{nobody}/history"))
        .await
        .expect(404);
}

#[actix_web::test]
async fn a_lot_overdrawn_and_a_piece_remelted_twice() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["51.90"]).await;
    shop.close(&app, &melt).await;
    let charge = |lots: Value, pieces: Value| json!({"metal": "silver", "session": shop.session, "lots": lots, "pieces": pieces});
    let too_much = charge(json!([{"lot": shop.lot, "mass": "300.01"}]), json!([]));
    app.post("/v1/melts", too_much)
        .await
        .refused(409, "lot-overdrawn", "#/lots/0/mass");
    let early = charge(json!([]), json!([pieces[0]]));
    app.post("/v1/melts", early.clone())
        .await
        .refused(409, "not-condemned", "#/pieces/0");
    app.post(
        &format!("/v1/pieces/{}/condemnation", pieces[0]),
        json!({"reason": "over"}),
    )
    .await
    .expect(201);
    app.post("/v1/melts", early.clone()).await.expect(201);
    app.post("/v1/melts", early)
        .await
        .refused(409, "already-remelted", "#/pieces/0");
}

#[actix_web::test]
async fn more_than_fits_in_one_command() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let charge =
        json!({"metal": "silver", "session": shop.session, "lots": [{"lot": shop.lot, "mass": "200.00"}]});
    let melt = app.done("/v1/melts", charge).await;
    let pours = vec![json!({"series": shop.series, "shape": "oval"}); 65];
    let reply = app
        .post(&format!("/v1/melts/{melt}/pours"), json!({"pours": pours}))
        .await
        .expect(422);
    assert_eq!(reply.problem(), "too-many");
    let twice = json!([item(&app, &melt, "1.00"), item(&app, &melt, "1.00")]);
    let tray = json!({"session": shop.session, "stage": "final", "items": twice});
    assert!([409, 412, 422].contains(&app.post("/v1/weighings", tray).await.status));
    let none = json!({"session": shop.session, "stage": "final", "items": []});
    assert_eq!(
        app.post("/v1/weighings", none).await.expect(422).problem(),
        "nothing-named"
    );
}

#[actix_web::test]
async fn a_scale_or_a_series_that_cannot_be() {
    let app = TestApp::start().await;
    let mut impossible = scale();
    impossible["d"] = json!("0.1");
    assert_eq!(
        app.post("/v1/scales", impossible).await.expect(422).problem(),
        "scale-impossible"
    );
    let mut impossible = super::series("TW");
    impossible["limits"]["lower"] = json!("60.00");
    assert_eq!(
        app.post("/v1/series", impossible).await.expect(422).problem(),
        "series-impossible"
    );
    app.post("/v1/series", super::series("TW")).await.expect(201);
    app.post("/v1/series", super::series("TW"))
        .await
        .refused(409, "series-code-taken", "#/code");
    app.post("/v1/series", super::series("TI"))
        .await
        .refused(422, "invalid", "#/code");
}

#[actix_web::test]
async fn a_key_entry_that_the_root_key_did_not_sign() {
    let app = TestApp::start().await;
    for body in ["", "nonsense", "a.b.c"] {
        let sent = TestRequest::post()
            .uri("/v1/keys")
            .insert_header(bearer(app.token(Role::Admin)))
            .insert_header(("idempotency-key", app.fresh_key()))
            .insert_header(("content-type", "text/plain"))
            .set_payload(body);
        assert_eq!(app.send(sent).await.expect(409).problem(), "key-entry");
    }
}

#[actix_web::test]
async fn headers_that_are_sent_twice() {
    let app = TestApp::start().await;
    let sent = TestRequest::get()
        .uri("/v1/jars")
        .append_header(bearer(app.token(Role::Bench)))
        .append_header(bearer(app.token(Role::Office)));
    app.send(sent).await.refused(400, "unreadable", "");
    let sent = TestRequest::get()
        .uri("/v1/jars")
        .insert_header(("authorization", "Basic YTpi"));
    app.send(sent).await.refused(401, "unauthorized", "");
}
