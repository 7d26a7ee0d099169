//! The steps of the bench as they work without a script, by somebody of the bench role; what their pages tell the modules; and
//! that what the modules are given opens no more than the role does.

use super::{Browser, hidden};
use crate::http::{TestApp, Workshop, item, lot};
use actix_web::test::TestRequest;
use pourbook::domain::{MeltId, Piece, Scale};
use pourbook::http::Role;
use serde_json::json;
use uuid::Uuid;

fn pieces(app: &TestApp, melt: &str) -> Vec<Piece> {
    let melt = MeltId(Uuid::try_parse(melt).unwrap());
    let row = app.app.views.melt(melt).unwrap().unwrap();
    let ids = row.pieces.iter();
    ids.map(|id| app.app.views.piece(*id).unwrap().unwrap()).collect()
}

/// The only scale.
fn scale_of(app: &TestApp) -> String {
    let scales = app.app.views.list(&|_: &Scale| true, None, 1).unwrap();
    scales.rows[0].scale.to_string()
}

/// The part of an address behind `/melts/` or `/sessions/`.
fn id_in(address: &str, below: &str) -> String {
    address.split(below).nth(1).unwrap()[..36].to_owned()
}

#[actix_web::test]
async fn a_melt_goes_from_the_charge_to_its_balance_by_forms_alone() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let prills = json!({"metal": "silver", "fineness": "999", "residue": "prills"});
    let prills = app.done("/v1/jars", prills).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let drawn = format!("lots/{}/mass", shop.lot);
    let charge = [
        ("metal", "silver"),
        ("session", shop.session.as_str()),
        ("lots", shop.lot.as_str()),
        (drawn.as_str(), "150,00 g"),
    ];
    let charged = bench.fill(&app, "/bench/charge", &charge).await.expect(303);
    let melt = id_in(charged.header("location").unwrap(), "/melts/");
    let pouring = format!("/bench/melts/{melt}/pouring");
    let pours = [
        ("pours/1/series", shop.series.as_str()),
        ("pours/1/shape", "oval"),
        ("pours/2/series", shop.series.as_str()),
        ("pours/2/shape", "oval"),
    ];
    bench.fill(&app, &pouring, &pours).await.expect(303);
    weigh(
        &app,
        &bench,
        &shop,
        &melt,
        "50,42",
        "accepted: within 50.00 g to 51.20 g",
    )
    .await;
    weigh(&app, &bench, &shop, &melt, "N + 50.60 g", "50.60 g, ").await;
    let closing = [
        ("session", shop.session.as_str()),
        ("heel", "48.70"),
        ("prills/jar", prills.as_str()),
        ("prills/mass", "0.20"),
    ];
    let path = format!("/bench/melts/{melt}/closing");
    let closed = bench.fill(&app, &path, &closing).await.expect(303);
    let balance = bench
        .get(&app, closed.header("location").unwrap())
        .await
        .expect(200)
        .text();
    // 150.00 - 50.42 - 50.60 - 48.70 - 0.20 = 0.08 g.
    for told in ["Melt 1 is weighed out", "101.02 g", "48.70 g", "0.20 g", "0.08 g"] {
        assert!(balance.contains(told), "{told}: {balance}");
    }
}

async fn weigh(app: &TestApp, bench: &Browser, shop: &Workshop, melt: &str, mass: &str, says: &str) {
    let path = format!("/bench/melts/{melt}/weighing");
    let shown = bench.get(app, &path).await.expect(200).text();
    let piece = pieces(app, melt)
        .into_iter()
        .find(|piece| piece.readings.is_empty())
        .unwrap();
    let (id, version) = (
        piece.piece.to_string(),
        app.version(&piece.piece.to_string()).to_string(),
    );
    let names = [format!("items/{id}/mass"), format!("items/{id}/version")];
    let fields = [
        ("session", shop.session.as_str()),
        ("items", id.as_str()),
        (names[0].as_str(), mass),
        (names[1].as_str(), version.as_str()),
    ];
    let taken = bench.send(app, &path, &shown, &fields).await.expect(303);
    let next = bench
        .get(app, taken.header("location").unwrap())
        .await
        .expect(200)
        .text();
    assert!(next.contains(says), "{says}: {next}");
}

#[actix_web::test]
async fn a_slip_is_asked_about_once_and_then_taken() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let charge =
        json!({"metal": "silver", "session": shop.session, "lots": [{"lot": shop.lot, "mass": "150.00"}]});
    let melt = app.done("/v1/melts", charge).await;
    let pours = json!({"pours": [{"series": shop.series, "shape": "oval"}]});
    app.post(&format!("/v1/melts/{melt}/pours"), pours)
        .await
        .expect(201);
    let path = format!("/bench/melts/{melt}/weighing");
    let shown = bench.get(&app, &path).await.expect(200).text();
    let id = pieces(&app, &melt)[0].piece.to_string();
    let names = [format!("items/{id}/mass"), format!("items/{id}/version")];
    let mut fields = vec![
        ("session", shop.session.as_str()),
        ("items", id.as_str()),
        (names[0].as_str(), "5.042"),
        (names[1].as_str(), "1"),
    ];
    let asked = bench.send(&app, &path, &shown, &fields).await.expect(200).text();
    // Limits 50.00 g and 51.20 g, and a twentieth on either side.
    assert!(
        asked.contains("the limits let expect 47.50 g to 53.76 g"),
        "{asked}"
    );
    assert!(
        pieces(&app, &melt)[0].readings.is_empty(),
        "it was taken without an answer"
    );
    fields[2].1 = "50.42";
    bench.send(&app, &path, &asked, &fields).await.expect(303);
    assert_eq!(pieces(&app, &melt)[0].readings.len(), 1);
}

#[actix_web::test]
async fn a_closing_check_that_fails_lists_what_is_suspect() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    shop.pour(&app, &["50.42", "50.60"]).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let path = format!("/bench/sessions/{}/closing", shop.session);
    let closed = bench
        .fill(&app, &path, &[("nominal", "50"), ("reading", "50.30")])
        .await
        .expect(303);
    let over = bench
        .get(&app, closed.header("location").unwrap())
        .await
        .expect(200)
        .text();
    assert!(
        over.contains("The check failed") && over.contains("50.30 g"),
        "{over}"
    );
    for suspect in ["piece 1-01", "piece 1-02"] {
        assert!(over.contains(&format!("<strong>{suspect}")), "{suspect}: {over}");
    }
}

/// The form that weighs one piece weighs the one that its address names, also when it is shown again.
#[actix_web::test]
async fn a_suspect_piece_is_weighed_again_by_the_link_of_its_page_and_the_session_says_so() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.60"]).await;
    let check = json!({"nominal": "50.00", "reading": "50.30"});
    app.post(&format!("/v1/sessions/{}/closing", shop.session), check)
        .await
        .expect(201);
    let opening = json!({"scale": scale_of(&app), "nominal": "50.00", "reading": "50.00"});
    let session = app.done("/v1/sessions", opening).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let page = bench.get(&app, &format!("/pieces/{}", pieces[1])).await.text();
    let path = format!("/bench/melts/{melt}/weighing?piece={}", pieces[1]);
    assert!(page.contains(&format!("href=\"{path}\"")), "{page}");
    let shown = bench.get(&app, &path).await.expect(200).text();
    let version = app.version(&pieces[1]).to_string();
    let names = ["mass", "version"].map(|name| format!("items/{}/{name}", pieces[1]));
    let mut fields = vec![
        ("session", session.as_str()),
        ("items", pieces[1].as_str()),
        (names[0].as_str(), "much"),
        (names[1].as_str(), version.as_str()),
    ];
    let refused = bench.send(&app, &path, &shown, &fields).await.expect(422).text();
    for page in [&shown, &refused] {
        assert!(page.contains(&format!("action=\"{path}\"")), "{page}");
        assert_eq!(page.matches("name=\"items\"").count(), 1, "{page}");
        assert_eq!(hidden(page, "items"), pieces[1]);
    }
    fields[2].1 = "50.60";
    bench.send(&app, &path, &refused, &fields).await.expect(303);
    let again = app.app.views.position() - 1;
    let over = bench
        .get(&app, &format!("/bench/sessions/{}", shop.session))
        .await
        .expect(200)
        .text();
    for told in [
        "<strong>piece 1-01</strong>, 50.42 g: weigh again".to_owned(),
        format!("<strong>piece 1-02</strong>, 50.60 g: weighed again in entry {again}"),
    ] {
        assert!(over.contains(&told), "{told}: {over}");
    }
    // With nothing left to weigh, it is not as if nothing had been in doubt.
    let items = vec![item(&app, &pieces[0], "50.42")];
    let weighing = json!({"session": session, "stage": "from_mould", "items": items});
    app.post("/v1/weighings", weighing).await.expect(201);
    let over = bench
        .get(&app, &format!("/bench/sessions/{}", shop.session))
        .await
        .text();
    assert!(!over.contains("Nothing was weighed since"), "{over}");
    assert!(!over.contains("weigh it again on a scale"), "{over}");
    assert_eq!(over.matches("weighed again in entry").count(), 2, "{over}");
}

/// A form that offers only the newest says so.
#[actix_web::test]
async fn a_charge_says_that_it_offers_no_older_lots() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let says = "the 300 newest stand here";
    for _ in 0..298 {
        app.post("/v1/lots", lot(&shop.session)).await.expect(201);
    }
    let page = bench.get(&app, "/bench/charge").await.expect(200).text();
    assert!(!page.contains(says) && page.contains("Lot 1,"));
    for _ in 0..2 {
        app.post("/v1/lots", lot(&shop.session)).await.expect(201);
    }
    let page = bench.get(&app, "/bench/charge").await.expect(200).text();
    assert!(page.contains(says) && !page.contains("Lot 1,") && page.contains("Lot 301,"));
}

#[actix_web::test]
async fn a_charge_says_whose_metal_a_lot_is_and_what_a_jar_is_called() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let owner = app.done("/v1/owners", json!({"name": "a neighbour"})).await;
    let mut theirs = lot(&shop.session);
    theirs["owner"] = json!(owner);
    theirs["metal"] = json!("palladium");
    app.done("/v1/lots", theirs).await;
    let office = Browser::of(&app, Role::Office).await;
    let page = office.get(&app, "/bench/charge").await.expect(200).text();
    assert!(page.contains("500.00 g left, metal of a neighbour"), "{page}");
    assert_eq!(page.matches("metal of").count(), 1, "{page}");
    assert!(page.contains("<option value=\"palladium\""), "{page}");
    let page = office
        .get(&app, &format!("/owners/{owner}/agreement"))
        .await
        .text();
    assert!(page.contains("<strong>a neighbour</strong>"), "{page}");
    // The bench knows that it is somebody's, and not whose.
    let bench = Browser::of(&app, Role::Bench).await;
    let page = bench.get(&app, "/bench/charge").await.expect(200).text();
    let short = &owner[..8];
    assert!(page.contains(&format!("metal of Customer {short}")), "{page}");
    let lots = bench.get(&app, "/lots").await.expect(200).text();
    assert!(lots.contains(&format!("Customer {short}")), "{lots}");
}

#[actix_web::test]
async fn a_tray_tells_its_module_versions_windows_and_what_is_in_the_book() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, weighed) = shop.pour(&app, &["50.40", "50.41", "50.42", "50.43"]).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let address = format!("/bench/tray?melt={melt}");
    let tray = bench.get(&app, &address).await.expect(200).text();
    assert!(
        !tray.contains("data-corrects"),
        "the bench role corrects nothing: {tray}"
    );
    assert!(
        !tray.contains("bench scale by the window"),
        "what a scale is called is private"
    );
    let row = tray.split("<li ").find(|row| row.contains(&weighed[0])).unwrap();
    for told in [
        "data-version=\"2\"",
        "data-mass=\"50.40\"",
        "data-grade=\"accepted\"",
        "data-by=\"limits\"",
    ] {
        assert!(row.contains(told), "{told}: {row}");
    }
    // Four in one entry: what one of them was is no entry of its own.
    assert!(!row.contains("data-alone"), "{row}");
    let (second, _) = shop.pour(&app, &["50.44"]).await;
    let tray = bench
        .get(&app, &format!("/bench/tray?melt={second}"))
        .await
        .expect(200)
        .text();
    // Five readings, 50.40 to 50.44: the mean is 50.42 g, and a hundredth of it is more than five deviations.
    for told in [
        "data-low=\"49.91\"",
        "data-near=\"50.42\"",
        "data-high=\"50.93\"",
        "data-by=\"mould\"",
        "data-alone=\"yes\"",
    ] {
        assert!(tray.contains(told), "{told}: {tray}");
    }
    let office = Browser::of(&app, Role::Office).await;
    let tray = office.get(&app, &address).await.expect(200).text();
    assert!(tray.contains("data-corrects=\"yes\"") && tray.contains("bench scale by the window"));
}

#[actix_web::test]
async fn without_a_session_nothing_is_weighed_and_a_final_weighing_wants_a_verified_scale() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    shop.close(&app, &melt).await;
    app.post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201);
    let bench = Browser::of(&app, Role::Bench).await;
    let board = bench.get(&app, "/bench").await.expect(200).text();
    assert!(board.contains("Final weighing of TW: 1 piece<"), "{board}");
    let address = format!("/bench/tray?series={}", shop.series);
    let tray = bench.get(&app, &address).await.expect(200).text();
    assert!(
        tray.contains(&format!("data-piece=\"{}\"", pieces[0])) && tray.contains("data-by=\"last\""),
        "{tray}"
    );
    // What has its weight of record waits no more; its tray is there still.
    let weighed = shop.tray("final", vec![item(&app, &pieces[0], "50.40")]);
    app.post("/v1/weighings", weighed).await.expect(201);
    let board = bench.get(&app, "/bench").await.expect(200).text();
    assert!(!board.contains("Final weighing"), "{board}");
    let check = json!({"nominal": "50.00", "reading": "50.00"});
    app.post(&format!("/v1/sessions/{}/closing", shop.session), check)
        .await
        .expect(201);
    let unverified = json!({"class": "II", "e": "0.01", "d": "0.01", "max": "600", "verified": false, "repeatability": "0.003"});
    let scale = app.done("/v1/scales", unverified).await;
    app.done(
        "/v1/sessions",
        json!({"scale": scale, "nominal": "50.00", "reading": "50.00"}),
    )
    .await;
    let tray = bench.get(&app, &address).await.expect(200).text();
    assert!(
        tray.contains("needs a verified scale") && !tray.contains("data-piece"),
        "{tray}"
    );
}

#[actix_web::test]
async fn modules_are_for_everybody_and_hold_nothing_of_the_book() {
    let app = TestApp::start().await;
    for name in [
        "worker.mjs",
        "modules/tray.mjs",
        "modules/queue.mjs",
        "modules/keep.mjs",
    ] {
        let reply = app.get(&format!("/bench/{name}")).await.expect(200);
        assert_eq!(
            reply.header("content-type"),
            Some("text/javascript; charset=utf-8")
        );
        assert_eq!(reply.header("set-cookie"), None);
    }
    app.get("/bench/modules/nothing.mjs").await.expect(404);
    // A worker governs what lies below its own address: it must stand at the head of the bench.
    app.get("/worker.mjs").await.expect(404);
}

#[actix_web::test]
async fn a_reading_by_cookie_alone_is_nobodys() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    let bench = Browser::of(&app, Role::Bench).await;
    let body = shop.tray("from_mould", vec![item(&app, &pieces[0], "50.43")]);
    let ask = |token: Option<&str>| {
        let request = TestRequest::post()
            .uri("/v1/weighings")
            .insert_header(("idempotency-key", app.fresh_key()))
            .insert_header(("cookie", bench.cookie.clone()))
            .set_json(&body);
        match token {
            Some(token) => request.insert_header(("pourbook-form", token.to_owned())),
            None => request,
        }
    };
    app.send(ask(None)).await.expect(401);
    app.send(ask(Some("another"))).await.expect(401);
    // It is the bench's own now: what refuses it is the book, since the piece is weighed.
    let taken = app.send(ask(Some(&bench.form_token))).await;
    assert_eq!(taken.status, 409, "{}", taken.text());
}
