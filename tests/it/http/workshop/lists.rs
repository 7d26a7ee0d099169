//! Lists, their filters and their CSV; home; and the question whether the book has changed.

use super::Browser;
use crate::http::{NOW, TestApp, Workshop, lot, scale};
use actix_web::test::TestRequest;
use pourbook::http::Role;
use serde_json::json;
use std::sync::atomic::Ordering;

const LISTS: &[&str] = &[
    "pieces",
    "lots",
    "melts",
    "residues",
    "series",
    "consignments",
    "orders",
    "sales",
    "certificates",
];

fn lines(csv: &str) -> Vec<Vec<&str>> {
    csv.split_terminator("\r\n")
        .map(|line| line.split(',').collect())
        .collect()
}

#[actix_web::test]
async fn every_list_is_a_page_and_a_csv_with_the_same_rows() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "49.00", "50.60"]).await;
    shop.certify(&app, &melt, &pieces[0], "50.42").await;
    app.post(
        "/v1/sales",
        json!({"items": [{"piece": pieces[0]}], "buyer": "=HYPERLINK(1)"}),
    )
    .await
    .expect(201);
    let order =
        json!({"series": shop.series, "shapes": [{"shape": "oval", "count": 1}], "buyer": "Mr, \"Q\""});
    app.post("/v1/orders", order).await.expect(201);
    let office = Browser::of(&app, Role::Office).await;
    let bench = Browser::of(&app, Role::Bench).await;
    for list in LISTS {
        let page = office.get(&app, &format!("/{list}")).await.expect(200).text();
        let csv = office.get(&app, &format!("/{list}.csv")).await.expect(200);
        assert_eq!(
            csv.header("content-type"),
            Some("text/csv; charset=utf-8; header=present")
        );
        let disposition = format!("attachment; filename=\"{list}.csv\"");
        assert_eq!(csv.header("content-disposition"), Some(disposition.as_str()));
        let text = csv.text();
        let rows = lines(&text).len() - 1;
        let wanted = if *list == "consignments" { 0 } else { 1 };
        assert!(rows >= wanted, "{list}: {text}");
        assert_eq!(page.matches("<th scope=\"row\">").count(), rows, "{list}");
        assert!(text.ends_with("\r\n"));
        office
            .get(&app, &format!("/{list}?colour=blue"))
            .await
            .expect(400);
    }
    // What a spreadsheet would take for a formula is none, and quotes are doubled.
    let sales = office.get(&app, "/sales.csv").await.text();
    assert!(sales.contains("'=HYPERLINK(1)"), "{sales}");
    let orders = office.get(&app, "/orders.csv").await.text();
    assert!(orders.contains("\"Mr, \"\"Q\"\"\""), "{orders}");
    // Names are for those who may see names.
    let sales = bench.get(&app, "/sales.csv").await.expect(200).text();
    assert!(
        !sales.contains("HYPERLINK") && !sales.contains("Buyer"),
        "{sales}"
    );
    let lots = bench.get(&app, "/lots").await.expect(200).text();
    assert!(!lots.contains("Pellworth"));
    assert!(office.get(&app, "/lots").await.text().contains("Pellworth"));
}

#[actix_web::test]
async fn filters_stand_in_the_address_and_are_kept_in_the_csv() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    shop.pour(&app, &["50.42", "49.00", "50.60", "52.00"]).await;
    let office = Browser::of(&app, Role::Office).await;
    for (query, masses) in [
        ("", vec!["52.00", "50.60", "49.00", "50.42"]),
        ("state=graded&grade=accepted", vec!["50.60", "50.42"]),
        ("grade=under", vec!["49.00"]),
        (
            "series=TW&shape=oval&melt=1",
            vec!["52.00", "50.60", "49.00", "50.42"],
        ),
        ("series=DW", vec![]),
        ("shape=square", vec![]),
        // Both ends belong to it.
        ("mass_from=50.42&mass_to=50.60", vec!["50.60", "50.42"]),
        ("mass_from=50,43&mass_to=", vec!["52.00", "50.60"]),
        ("melt=2", vec![]),
        ("state=", vec!["52.00", "50.60", "49.00", "50.42"]),
    ] {
        let csv = office
            .get(&app, &format!("/pieces.csv?{query}"))
            .await
            .expect(200)
            .text();
        let found: Vec<&str> = lines(&csv).iter().skip(1).map(|cells| cells[3]).collect();
        assert_eq!(found, masses, "{query}");
        let page = office
            .get(&app, &format!("/pieces?{query}"))
            .await
            .expect(200)
            .text();
        assert_eq!(
            page.matches("<th scope=\"row\">").count(),
            masses.len(),
            "{query}"
        );
    }
    let page = office.get(&app, "/pieces?grade=accepted&shape=oval").await.text();
    assert!(
        page.contains("href=\"/pieces.csv?grade=accepted&amp;shape=oval\""),
        "{page}"
    );
    assert!(page.contains("<option value=\"accepted\" selected>"));
    for wrong in [
        "state=gone",
        "grade=good",
        "mass_from=heavy",
        "from=-1",
        "state=poured&state=graded",
    ] {
        office.get(&app, &format!("/pieces?{wrong}")).await.expect(400);
    }
}

#[actix_web::test]
async fn a_long_list_is_shown_in_parts_and_its_csv_is_whole() {
    let app = TestApp::start().await;
    let scale = app.done("/v1/scales", scale()).await;
    let opening = json!({"scale": scale, "nominal": "50.00", "reading": "50.00"});
    let session = app.done("/v1/sessions", opening).await;
    for _ in 0..203 {
        app.done("/v1/lots", lot(&session)).await;
    }
    let office = Browser::of(&app, Role::Office).await;
    let csv = office.get(&app, "/lots.csv?metal=silver").await.text();
    assert_eq!(lines(&csv).len(), 204);
    let first = office.get(&app, "/lots?metal=silver").await.text();
    assert!(first.contains("1 to 100 of 203, newest first."));
    assert!(first.contains("href=\"/lots?metal=silver&amp;from=100\""));
    let last = office.get(&app, "/lots?metal=silver&from=200").await.text();
    assert_eq!(last.matches("<th scope=\"row\">").count(), 3);
    assert!(last.contains("href=\"/lots?metal=silver&amp;from=100\""));
    office.get(&app, "/lots?from=1000").await.expect(200);
}

#[actix_web::test]
async fn home_says_what_needs_a_hand_and_nothing_else() {
    let app = TestApp::start().await;
    let office = Browser::of(&app, Role::Office).await;
    let home = || office.get(&app, "/home");
    // A scale, a series and metal come first in every book.
    let shop = Workshop::open(&app).await;
    // A session of today is at work; one of yesterday was left without its check.
    assert!(home().await.text().contains("Nothing needs a hand today."));
    shop.pour(&app, &["49.99", "50.42"]).await;
    let shown = home().await.text();
    assert!(
        shown.contains("One thing needs a hand.") && shown.contains("Borderline piece"),
        "{shown}"
    );
    assert!(shown.contains("Piece 1-01 is too near a limit"));
    app.clock.store(NOW + 11 * 3_600, Ordering::SeqCst);
    home().await.expect(200);
    app.clock.store(NOW + 21 * 3_600, Ordering::SeqCst);
    let shown = home().await.text();
    assert!(shown.contains("Closing check missing"), "{shown}");
    assert!(shown.contains("bench scale by the window is in session since 21 September 2026, 14:13 UTC"));
    let check = json!({"nominal": "50.00", "reading": "50.00"});
    app.post(&format!("/v1/sessions/{}/closing", shop.session), check)
        .await
        .expect(201);
    assert!(!home().await.text().contains("Closing check missing"));
}

#[actix_web::test]
async fn home_says_when_more_is_promised_than_the_metal_gives() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let office = Browser::of(&app, Role::Office).await;
    // 500 g of silver are there, 250 g of them in the melt; four pieces of 50 g are promised.
    let order = json!({"series": shop.series, "shapes": [{"shape": "oval", "count": 4}]});
    app.post("/v1/orders", order).await.expect(201);
    assert!(!office.get(&app, "/home").await.text().contains("Promised more"));
    let charge =
        json!({"metal": "silver", "session": shop.session, "lots": [{"lot": shop.lot, "mass": "350.00"}]});
    app.done("/v1/melts", charge).await;
    let says = "4 more must be poured for what is promised, some 200.00 g; the workshop's own lots that are fine enough hold \
                150.00 g.";
    let shown = office.get(&app, "/home").await.text();
    assert!(shown.contains("Promised more than can be poured"), "{shown}");
    assert!(shown.contains(says), "{shown}");
    // A customer's metal is not the workshop's to promise.
    let owner = app.done("/v1/owners", json!({"name": "a neighbour"})).await;
    let mut theirs = lot(&shop.session);
    theirs["owner"] = json!(owner);
    app.post("/v1/lots", theirs).await.expect(201);
    let shown = office.get(&app, "/home").await.text();
    assert!(shown.contains(says), "{shown}");
}

#[actix_web::test]
async fn a_page_that_looks_by_itself_keeps_nobody_signed_in() {
    let app = TestApp::start().await;
    let office = Browser::of(&app, Role::Office).await;
    let reply = office.get(&app, "/changed").await.expect(200);
    assert_eq!(reply.json(), json!({"position": app.app.views.position()}));
    let refreshed = |path: &'static str| {
        let request = TestRequest::get()
            .uri(path)
            .insert_header(("cookie", office.cookie.clone()));
        app.send(request.insert_header(("pourbook-refresh", "1")))
    };
    for hours in [6, 11] {
        app.clock.store(NOW + hours * 3_600, Ordering::SeqCst);
        office.get(&app, "/changed").await.expect(200);
        refreshed("/home").await.expect(200);
    }
    app.clock.store(NOW + 12 * 3_600, Ordering::SeqCst);
    office.get(&app, "/changed").await.expect(303);
}
