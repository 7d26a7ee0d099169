//! Sessions: what signs in and out, what ends one, and what a cookie alone cannot do.

use super::{Browser, form_request, hidden, post_form};
use crate::http::access::address;
use crate::http::{NOW, Served, TestApp, bearer, scale};
use actix_web::test::TestRequest;
use pourbook::http::routes::{Deed, ROUTES, Who};
use pourbook::http::workshop::Sheet;
use pourbook::http::{Quotas, Role, WorkshopSettings};
use std::sync::atomic::Ordering;

#[actix_web::test]
async fn every_page_of_the_workshop_takes_its_roles_and_nobody_else() {
    let app = TestApp::start().await;
    let mut browsers = Vec::new();
    for role in Role::ALL {
        browsers.push((role, Browser::of(&app, role).await));
    }
    let mut tried = 0;
    for route in ROUTES {
        let (Deed::Sheet(sheet), path) = (route.deed, address(route.path)) else {
            continue;
        };
        let what = format!("{} {path}", route.method);
        let Who::Roles(roles) = route.who else {
            assert!(
                matches!(sheet, Sheet::SignIn | Sheet::SendToken | Sheet::SignOut),
                "{what} is open to everybody"
            );
            continue;
        };
        let request = |browser: Option<&Browser>| match (route.method, browser) {
            ("GET", None) => TestRequest::get().uri(&path),
            ("GET", Some(browser)) => TestRequest::get()
                .uri(&path)
                .insert_header(("cookie", browser.cookie.clone())),
            (_, browser) => form_request(browser, &path, &[]),
        };
        // A token is no way in, nor is no session: the page to sign in comes instead.
        for asked in [
            request(None),
            request(None).insert_header(bearer(app.token(Role::Office))),
        ] {
            let reply = app.send(asked).await;
            if route.method == "GET" {
                let next = reply.expect(303).header("location").unwrap().to_owned();
                assert_eq!(next, format!("/sign-in?next={path}"), "{what}");
            } else {
                assert!(reply.expect(401).text().contains("not yet in the book"), "{what}");
            }
        }
        for (role, browser) in &browsers {
            let reply = app.send(request(Some(browser))).await;
            // A form without its form token is refused too, but as a form: whatever it holds is shown again.
            let refused = reply.status == 403 && !reply.text().contains("name=\"key\"");
            assert_eq!(
                refused,
                !roles.contains(role),
                "{what} as {role:?}: {}",
                reply.text()
            );
            tried += 1;
        }
        if let Sheet::Form(form) | Sheet::Sent(form) = sheet {
            let mut commands = ROUTES.iter().filter(|other| {
                matches!(other.deed, Deed::Command(recording) if recording.name == form.recording.name)
            });
            assert_eq!(
                commands.next().unwrap().who,
                route.who,
                "{what}: the roles of the command"
            );
        }
    }
    assert!(tried >= 12);
}

#[actix_web::test]
async fn a_cookie_says_little_and_is_bound_to_tls_where_there_is_tls() {
    let app = TestApp::start().await;
    let plain = post_form(&app, None, "/sign-in", &[("token", app.token(Role::Office))])
        .await
        .expect(303);
    let cookie = plain.header("set-cookie").unwrap();
    let (pair, attributes) = cookie.split_once("; ").unwrap();
    let (name, id) = pair.split_once('=').unwrap();
    assert_eq!(
        (name, attributes),
        ("pourbook", "Path=/; HttpOnly; SameSite=Strict")
    );
    // 256 bits, base64url.
    assert_eq!(id.len(), 43);
    assert!(!cookie.contains(app.token(Role::Office)));
    let behind = WorkshopSettings {
        behind_tls: true,
        ..WorkshopSettings::default()
    };
    let app = TestApp::serve(Served {
        workshop: behind,
        ..Served::default()
    })
    .await;
    let secure = post_form(&app, None, "/sign-in", &[("token", app.token(Role::Office))])
        .await
        .expect(303);
    let cookie = secure.header("set-cookie").unwrap().to_owned();
    assert!(cookie.starts_with("__Host-pourbook="), "{cookie}");
    assert!(
        cookie.ends_with("Path=/; HttpOnly; SameSite=Strict; Secure"),
        "{cookie}"
    );
    // Under the plain name it is not taken there.
    let id = cookie.split(['=', ';']).nth(1).unwrap();
    let home = |cookie: String| app.send(TestRequest::get().uri("/home").insert_header(("cookie", cookie)));
    home(format!("__Host-pourbook={id}")).await.expect(200);
    home(format!("pourbook={id}")).await.expect(303);
    // Two of a name are none, whichever comes first.
    for two in [
        format!("__Host-pourbook={id}; __Host-pourbook=x"),
        format!("__Host-pourbook=x; __Host-pourbook={id}"),
    ] {
        home(two).await.expect(303);
    }
}

#[actix_web::test]
async fn a_session_ends_when_it_is_idle_signed_out_or_its_token_ends() {
    let app = TestApp::start().await;
    let browser = Browser::of(&app, Role::Bench).await;
    let after = |hours: i64| app.clock.store(NOW + hours * 3_600, Ordering::SeqCst);
    // Each use begins the twelve hours anew.
    for hours in [11, 22] {
        after(hours);
        browser.get(&app, "/home").await.expect(200);
    }
    after(34);
    browser.get(&app, "/home").await.expect(303);
    // Once over, it stays over.
    after(33);
    browser.get(&app, "/home").await.expect(303);

    let browser = Browser::of(&app, Role::Bench).await;
    let out = post_form(
        &app,
        Some(&browser),
        "/sign-out",
        &[("form_token", &browser.form_token)],
    )
    .await;
    assert!(
        out.expect(303)
            .header("set-cookie")
            .unwrap()
            .contains("Max-Age=0")
    );
    browser.get(&app, "/home").await.expect(303);
    // A button of another session signs nobody out.
    let (one, other) = (
        Browser::of(&app, Role::Bench).await,
        Browser::of(&app, Role::Bench).await,
    );
    post_form(
        &app,
        Some(&one),
        "/sign-out",
        &[("form_token", &other.form_token)],
    )
    .await
    .expect(403);
    one.get(&app, "/home").await.expect(200);

    // The token of this auditor ends in a minute; its session is not idle, and ends with it.
    let app = TestApp::start().await;
    let reply = post_form(&app, None, "/sign-in", &[("token", &app.passing)])
        .await
        .expect(303);
    let cookie = reply
        .header("set-cookie")
        .unwrap()
        .split(';')
        .next()
        .unwrap()
        .to_owned();
    let home = || {
        app.send(
            TestRequest::get()
                .uri("/home")
                .insert_header(("cookie", cookie.clone())),
        )
    };
    app.clock.store(NOW + 59, Ordering::SeqCst);
    home().await.expect(200);
    app.clock.store(NOW + 60, Ordering::SeqCst);
    home().await.expect(303);
}

#[actix_web::test]
async fn signing_in_draws_a_fresh_id_and_ends_the_session_before() {
    let app = TestApp::start().await;
    let first = Browser::of(&app, Role::Office).await;
    let fields = [
        ("token", app.token(Role::Bench)),
        ("next", "/lots/new?metal=silver"),
    ];
    let again = post_form(&app, Some(&first), "/sign-in", &fields)
        .await
        .expect(303);
    assert_eq!(again.header("location"), Some("/lots/new?metal=silver"));
    assert_ne!(
        again.header("set-cookie").unwrap().split(';').next(),
        Some(first.cookie.as_str())
    );
    first.get(&app, "/home").await.expect(303);
    // Nobody is sent anywhere else.
    for next in [
        "https://elsewhere.example/",
        "//elsewhere.example",
        "/\\elsewhere.example",
    ] {
        let fields = [("token", app.token(Role::Bench)), ("next", next)];
        let reply = post_form(&app, None, "/sign-in", &fields).await.expect(303);
        assert_eq!(reply.header("location"), Some("/home"), "{next}");
    }
}

#[actix_web::test]
async fn wrong_tokens_are_slowed_and_a_right_one_is_not() {
    let quotas = Quotas {
        wrong_tokens_per_minute: 3,
        ..Quotas::OFF
    };
    let app = TestApp::serve(Served {
        quotas,
        ..Served::default()
    })
    .await;
    for _ in 0..3 {
        let reply = post_form(
            &app,
            None,
            "/sign-in",
            &[("token", "pb_guessed"), ("next", "/lots/new")],
        )
        .await
        .expect(401);
        assert!(reply.header("set-cookie").is_none());
        assert_eq!(hidden(&reply.text(), "next"), "/lots/new");
    }
    let (_, expired) = &app.expired[0];
    let late = [
        ("token", expired.as_str()),
        ("next", "/lots/new"),
        ("kept.mass", "5"),
    ];
    let reply = post_form(&app, None, "/sign-in", &late).await.expect(429);
    assert!(reply.header("retry-after").is_some());
    // What was typed before somebody had to sign in is not lost by waiting.
    assert_eq!(hidden(&reply.text(), "kept.mass"), "5");
    assert_eq!(hidden(&reply.text(), "next"), "/lots/new");
    Browser::of(&app, Role::Bench).await;
}

#[actix_web::test]
async fn a_cookie_alone_opens_nothing_of_the_api_and_with_the_form_token_it_is_its_caller() {
    let app = TestApp::start().await;
    let browser = Browser::of(&app, Role::Office).await;
    let other = Browser::of(&app, Role::Office).await;
    let get = || {
        TestRequest::get()
            .uri("/v1/lots")
            .insert_header(("cookie", browser.cookie.clone()))
    };
    let form = |token: &str| ("pourbook-form", token.to_owned());
    app.send(get()).await.expect(401);
    app.send(get().insert_header(form(&other.form_token)))
        .await
        .expect(401);
    app.send(get().insert_header(form(""))).await.expect(401);
    app.send(
        TestRequest::get()
            .uri("/v1/lots")
            .insert_header(form(&browser.form_token)),
    )
    .await
    .expect(401);
    let seen = app
        .send(get().insert_header(form(&browser.form_token)))
        .await
        .expect(200);
    assert_eq!(seen.header("vary"), Some("authorization, cookie, pourbook-form"));
    // From a page elsewhere it is refused, whatever it carries.
    for (name, value) in [
        ("origin", "https://elsewhere.example"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        let asked = get()
            .insert_header(form(&browser.form_token))
            .insert_header((name, value));
        app.send(asked).await.refused(401, "unauthorized", "");
    }
    // A bearer token is the only one that counts where it is sent.
    let both = get()
        .insert_header(form(&browser.form_token))
        .insert_header(bearer("pb_wrong"));
    app.send(both).await.expect(401);

    let post = |key: &str| {
        TestRequest::post()
            .uri("/v1/scales")
            .insert_header(("cookie", browser.cookie.clone()))
            .insert_header(("idempotency-key", key.to_owned()))
            .set_json(scale())
    };
    let key = app.fresh_key();
    app.send(post(&key)).await.expect(401);
    let here = post(&key)
        .insert_header(form(&browser.form_token))
        .insert_header(("host", "book.test"))
        .insert_header(("origin", "http://book.test"))
        .insert_header(("sec-fetch-site", "same-origin"));
    app.send(here).await.expect(201);
    // The role is that of the session.
    let bench = Browser::of(&app, Role::Bench).await;
    let posted = TestRequest::post()
        .uri("/v1/scales")
        .insert_header(("cookie", bench.cookie.clone()))
        .insert_header(form(&bench.form_token))
        .insert_header(("idempotency-key", app.fresh_key()))
        .set_json(scale());
    app.send(posted).await.refused(403, "forbidden", "");
}

#[actix_web::test]
async fn a_form_from_elsewhere_or_of_another_session_is_refused() {
    let app = TestApp::start().await;
    let scale = app.done("/v1/scales", scale()).await;
    let opening = serde_json::json!({"scale": scale, "nominal": "50.00", "reading": "50.00"});
    let session = app.done("/v1/sessions", opening).await;
    let (one, other) = (
        Browser::of(&app, Role::Office).await,
        Browser::of(&app, Role::Office).await,
    );
    let size = app.app.views.position();
    let key = app.fresh_key();
    let fields = |token: &'static str| {
        vec![
            ("form_token", token),
            ("metal", "silver"),
            ("fineness", "999.9"),
            ("basis", "declared"),
            ("mass", "500.00"),
        ]
    };
    for token in ["", "AAAA"] {
        let mut all = fields(token);
        all.extend([("key", key.as_str()), ("session", session.as_str())]);
        let reply = post_form(&app, Some(&one), "/lots/new", &all).await.expect(403);
        // What was typed stands there still, with the token of now.
        assert!(reply.text().contains("value=\"500.00\""));
        assert_eq!(hidden(&reply.text(), "form_token"), one.form_token);
    }
    let stolen = vec![
        ("form_token", other.form_token.as_str()),
        ("key", &key),
        ("session", &session),
    ];
    post_form(&app, Some(&one), "/lots/new", &stolen)
        .await
        .expect(403);
    for (name, value) in [
        ("origin", "https://elsewhere.example"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        let mut all = fields("");
        all.remove(0);
        all.extend([
            ("form_token", one.form_token.as_str()),
            ("key", &key),
            ("session", &session),
        ]);
        let reply = app
            .send(form_request(Some(&one), "/lots/new", &all).insert_header((name, value)))
            .await
            .expect(403);
        // Nothing of what another site sent is shown as if it had been typed here.
        assert!(!reply.text().contains("value=\"500.00\""), "{name} {value}");
        let token = [("token", app.token(Role::Office))];
        app.send(form_request(None, "/sign-in", &token).insert_header((name, value)))
            .await
            .expect(403);
        let token = [("form_token", one.form_token.as_str())];
        app.send(form_request(Some(&one), "/sign-out", &token).insert_header((name, value)))
            .await
            .expect(403);
    }
    assert_eq!(app.app.views.position(), size, "something was recorded");
}

#[actix_web::test]
async fn pages_for_buyers_read_no_cookie() {
    let app = TestApp::start().await;
    let browser = Browser::of(&app, Role::Office).await;
    let with = browser.get(&app, "/p").await.expect(200);
    let without = app.get("/p").await.expect(200);
    assert_eq!(with.body, without.body);
    assert_eq!(with.header("vary"), None);
}
