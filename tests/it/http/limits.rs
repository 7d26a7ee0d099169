//! How often one address may ask, with a clock of the test's own; what may be read from elsewhere; media types.

use super::{Served, TestApp, bearer};
use actix_web::test::TestRequest;
use pourbook::http::routes::{ROUTES, Who};
use pourbook::http::{Quotas, Role};
use std::sync::atomic::Ordering;

fn from(address: &str, path: &str) -> TestRequest {
    TestRequest::get().uri(path).peer_addr(address.parse().unwrap())
}

async fn limited(quotas: Quotas) -> TestApp {
    TestApp::serve(Served {
        quotas,
        ..Served::default()
    })
    .await
}

#[actix_web::test]
async fn the_public_side_answers_an_address_only_so_often() {
    let app = limited(Quotas {
        public_per_minute: 6,
        public_burst: 3,
        wrong_tokens_per_minute: 0,
        ..Quotas::OFF
    })
    .await;
    let ask = |address: &'static str| from(address, "/healthz");
    for _ in 0..3 {
        app.send(ask("192.0.2.7:1000")).await.expect(200);
    }
    // Another port is the same address, and what the caller writes of itself is not believed.
    for header in ["forwarded", "x-forwarded-for", "x-real-ip"] {
        let sent = ask("192.0.2.7:1001").insert_header((header, "203.0.113.9"));
        let reply = app.send(sent).await.expect(429);
        assert_eq!(reply.problem(), "too-often");
        assert_eq!(reply.header("access-control-allow-origin"), Some("*"));
        // Six in a minute are one in ten seconds.
        let wait: u64 = reply.header("retry-after").unwrap().parse().unwrap();
        assert!((10..=11).contains(&wait), "{wait}");
    }
    app.send(ask("192.0.2.8:1000")).await.expect(200);
    // Whoever has a token is not counted.
    let sent = from("192.0.2.7:1000", "/v1/jars").insert_header(bearer(app.token(Role::Bench)));
    app.send(sent).await.expect(200);
    app.ticks.fetch_add(9_000, Ordering::SeqCst);
    app.send(ask("192.0.2.7:1000")).await.expect(429);
    app.ticks.fetch_add(2_000, Ordering::SeqCst);
    app.send(ask("192.0.2.7:1000")).await.expect(200);
    app.send(ask("192.0.2.7:1000")).await.expect(429);
}

#[actix_web::test]
async fn an_ipv6_network_and_an_ipv4_address_in_ipv6_are_one_address_each() {
    let app = limited(Quotas {
        public_per_minute: 1,
        public_burst: 1,
        wrong_tokens_per_minute: 0,
        ..Quotas::OFF
    })
    .await;
    for (address, status) in [
        ("[2001:db8::1]:1", 200),
        ("[2001:db8:0:0:ffff::2]:1", 429),
        ("[2001:db8:0:1::1]:1", 200),
        ("192.0.2.7:1", 200),
        ("[::ffff:192.0.2.7]:1", 429),
    ] {
        app.send(from(address, "/healthz")).await.expect(status);
    }
}

#[actix_web::test]
async fn wrong_tokens_are_answered_only_so_often_and_right_ones_always() {
    let app = limited(Quotas {
        public_per_minute: 0,
        public_burst: 0,
        wrong_tokens_per_minute: 2,
        ..Quotas::OFF
    })
    .await;
    let ask = |token: &str| from("192.0.2.7:1", "/v1/jars").insert_header(bearer(token));
    app.send(ask("pb_wrong")).await.expect(401);
    app.send(ask(&app.expired[0].1)).await.expect(401);
    let reply = app.send(ask("pb_wrong_too")).await.expect(429);
    assert_eq!(reply.problem(), "too-many-wrong-tokens");
    let wait: u64 = reply.header("retry-after").unwrap().parse().unwrap();
    assert!((30..=31).contains(&wait), "{wait}");
    app.send(ask(app.token(Role::Bench))).await.expect(200);
    // No token is no wrong token, and another address has its own share.
    app.send(from("192.0.2.7:1", "/v1/jars")).await.expect(401);
    let other = from("192.0.2.8:1", "/v1/jars").insert_header(bearer("pb_wrong"));
    app.send(other).await.expect(401);
    app.ticks.fetch_add(31_000, Ordering::SeqCst);
    app.send(ask("pb_wrong")).await.expect(401);
    for _ in 0..2_000 {
        app.send(from("192.0.2.7:1", "/healthz")).await.expect(200);
    }
}

#[actix_web::test]
async fn nothing_is_limited_where_the_settings_say_so() {
    let app = limited(Quotas::OFF).await;
    for _ in 0..3_000 {
        let sent = from("192.0.2.7:1", "/v1/jars").insert_header(bearer("pb_wrong"));
        app.send(sent).await.expect(401);
        app.send(from("192.0.2.7:1", "/healthz")).await.expect(200);
    }
    let usual = limited(Quotas::default()).await;
    let mut refused = 0;
    for _ in 0..1_100 {
        refused += u32::from(usual.send(from("192.0.2.7:1", "/healthz")).await.status == 429);
    }
    assert_eq!(refused, 100, "the usual burst is 1,000");
}

#[actix_web::test]
async fn a_page_from_elsewhere_may_read_the_public_side_and_nothing_else() {
    let closed = TestApp::start().await;
    let open = TestApp::start_with(true).await;
    for route in ROUTES {
        let path = super::access::address(route.path);
        let ask = || {
            TestRequest::default()
                .method(super::method("OPTIONS"))
                .uri(&path)
                .insert_header(("origin", "https://elsewhere.example"))
                .insert_header(("access-control-request-method", route.method))
        };
        for (app, entries) in [(&closed, false), (&open, true)] {
            let reply = app.send(ask()).await;
            // A page is read where it stands.
            if route.is_page() {
                reply.expect(405);
                continue;
            }
            if route.who == Who::Public || (route.who == Who::Entries && entries) {
                assert_eq!(reply.status, 204, "{path}");
                assert_eq!(reply.header("access-control-allow-origin"), Some("*"));
                let methods = if route.method == "POST" {
                    "POST"
                } else {
                    "GET, HEAD"
                };
                assert_eq!(reply.header("access-control-allow-methods"), Some(methods));
            } else {
                assert_eq!(reply.problem(), "method-not-allowed", "{path}");
                assert_eq!(reply.header("access-control-allow-origin"), None, "{path}");
                assert_eq!(reply.header("access-control-allow-methods"), None, "{path}");
            }
            assert_eq!(reply.header("access-control-allow-credentials"), None);
        }
        // Without the question of a browser it is a method like any other.
        let bare = TestRequest::default().method(super::method("OPTIONS")).uri(&path);
        closed.send(bare).await.expect(405);
    }
}

#[actix_web::test]
async fn what_the_caller_cannot_take_is_not_sent_and_not_recorded() {
    let app = TestApp::start().await;
    app.released().await;
    for (path, accept, status) in [
        ("/healthz", "application/json", 200),
        ("/healthz", "text/html, Application/*;q=0.1", 200),
        ("/healthz", "*/*", 200),
        ("/healthz", "", 200),
        ("/healthz", "text/html", 406),
        ("/healthz", "application/problem+json", 406),
        ("/healthz", "*/*, application/json;q=0", 406),
        ("/healthz", "application/*;q=0.000, application/json;q=0.001", 200),
        ("/log/checkpoint", "text/plain; charset=utf-8", 200),
        ("/log/checkpoint", "application/json", 406),
        ("/log/tile/0/000.p/3", "application/octet-stream", 200),
        ("/openapi.yaml", "application/yaml", 200),
        (
            "/problems/stale",
            "text/html,application/xml;q=0.9,*/*;q=0.8",
            200,
        ),
        ("/problems/stale", "application/xml", 406),
    ] {
        let sent = TestRequest::get().uri(path).insert_header(("accept", accept));
        let reply = app.send(sent).await;
        assert_eq!(reply.status, status, "{path} {accept}: {}", reply.text());
        if status == 406 {
            assert_eq!(reply.problem(), "not-acceptable");
        }
    }
    let before = app.app.views.position();
    let jar = serde_json::json!({"metal": "silver", "fineness": "925", "residue": "sweeps"});
    let sent = TestRequest::post()
        .uri("/v1/jars")
        .insert_header(bearer(app.token(Role::Office)))
        .insert_header(("idempotency-key", app.fresh_key()))
        .insert_header(("content-type", "application/json"))
        .insert_header(("accept", "text/html"))
        .set_payload(jar.to_string());
    app.send(sent).await.refused(406, "not-acceptable", "");
    app.post("/v1/jars", jar).await.expect(201);
    assert_eq!(app.app.views.position(), before + 1);
}

#[actix_web::test]
async fn a_failure_of_the_server_is_a_problem_that_tells_no_internals() {
    let app = TestApp::serve(Served {
        unreadable: true,
        entries_public: true,
        ..Served::default()
    })
    .await;
    let shop = super::Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    app.released().await;
    let history = format!("/v1/pieces/{}/history", pieces[0]);
    for path in [history.as_str(), "/v1/events", "/log/tile/entries/000.p/1"] {
        let reply = app.get_as(Role::Auditor, path).await.expect(500);
        assert_eq!(reply.problem(), "internal", "{path}");
        for hidden in ["secret", "disk", "byte 17", "log/0"] {
            assert!(!reply.text().contains(hidden), "{path}: {}", reply.text());
        }
    }
}
