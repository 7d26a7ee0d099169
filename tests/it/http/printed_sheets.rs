//! Labels of a series and the packing list of a consignment, over HTTP: who gets them, and what stands on them.

use super::edition::Edition;
use super::{Served, TestApp, Workshop, bearer};
use crate::print::{labels_of, pages_of, text_of};
use actix_web::test::TestRequest;
use pourbook::http::Role;
use serde_json::{Value, json};
use std::collections::BTreeSet;

const NOBODY: &str = "11111111-1111-4111-8111-111111111111";

#[actix_web::test]
async fn labels_are_for_pieces_with_a_serial_that_are_in_the_workshop() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.50"]).await;
    let path = format!("/v1/series/{}/labels", shop.series);
    app.get_as(Role::Office, &path)
        .await
        .refused(404, "not-found", "");
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let size = app.app.views.position();
    let first = app.get_as(Role::Office, &path).await.expect(200);
    assert_eq!(first.header("content-type"), Some("application/pdf"));
    assert_eq!(first.header("link"), None);
    for (accept, status) in [("application/pdf", 200), ("application/json", 406)] {
        let asked = TestRequest::get()
            .uri(&path)
            .insert_header(bearer(app.token(Role::Office)))
            .insert_header(("accept", accept));
        app.send(asked).await.expect(status);
    }
    assert!(first.body == app.get_as(Role::Office, &path).await.expect(200).body);
    assert_eq!(app.app.views.position(), size, "a label was recorded");
    if let Some(text) = text_of(&first.body) {
        for said in [serial.as_str(), "oval, № 1 of 4", "50.42 g"] {
            assert!(text.contains(said), "{said} does not stand in:\n{text}");
        }
        let small = text.to_lowercase();
        assert!(small.contains("tidewheel"), "{text}");
        // The commissioner is for the staff.
        assert!(!small.contains("lantern"), "{text}");
        let address = format!("HTTPS://BOOK.BRACKENFOLD.EXAMPLE/P/{serial}#k={}", app.root);
        assert_eq!(labels_of(&first.body, 1).unwrap(), vec![address]);
    }
    let begun = app
        .get_as(Role::Office, &format!("{path}?skip=23"))
        .await
        .expect(200);
    assert!(begun.body != first.body);
    for wrong in [
        "skip=24",
        "skip=-1",
        "skip=x",
        "after=hello",
        "after=TW-0001-00",
        "nonsense=1",
    ] {
        let reply = app.get_as(Role::Office, &format!("{path}?{wrong}")).await;
        assert_eq!(
            (reply.status, reply.problem().as_str()),
            (400, "unreadable"),
            "{wrong}"
        );
    }
    let rest = app.get_as(Role::Office, &format!("{path}?after={serial}")).await;
    rest.refused(404, "not-found", "");
    for role in [Role::Bench, Role::Auditor, Role::Admin] {
        app.get_as(role, &path).await.refused(403, "forbidden", "");
    }
    let unknown = format!("/v1/series/{NOBODY}/labels");
    app.get_as(Role::Office, &unknown)
        .await
        .refused(404, "not-found", "");
    // What is not there any more gets no label.
    let theft = format!("/v1/pieces/{}/theft", pieces[0]);
    app.post(&theft, serde_json::json!({})).await.expect(201);
    app.get_as(Role::Office, &path)
        .await
        .refused(404, "not-found", "");
}

#[actix_web::test]
async fn a_book_without_an_address_prints_no_labels() {
    let served = Served {
        no_address: true,
        ..Served::default()
    };
    let app = TestApp::serve(served).await;
    let path = format!("/v1/series/{NOBODY}/labels");
    let reply = app.get_as(Role::Office, &path).await.expect(409);
    assert_eq!(reply.json()["type"], "/problems/address-missing");
}

#[actix_web::test]
async fn a_packing_list_says_what_was_declared_and_is_for_the_office() {
    let told = Edition::poured(&["50.40", "50.50", "50.60"]).await;
    told.strike(&[0, 1, 2], "good").await;
    told.done("/v1/serials", &[0, 1]).await;
    let consignment = told.send(&[0, 1]).await;
    let path = format!("/v1/consignments/{consignment}/packing-list");
    let list = told.app.get_as(Role::Office, &path).await.expect(200);
    assert_eq!(list.header("content-type"), Some("application/pdf"));
    if let Some(text) = text_of(&list.body) {
        for said in [
            "Consignment № 1",
            "Eastmarch Assay Hall",
            "S-88",
            "2 pieces, 100.90 g",
            "999.0 parts per thousand",
            "date letter",
            "SR-0001-",
            "50.40",
            "50.50",
            "1 of 1",
        ] {
            assert!(text.contains(said), "{said} does not stand in:\n{text}");
        }
        assert!(!text.contains("50.60"), "a piece that was not sent: {text}");
    }
    for role in [Role::Bench, Role::Auditor, Role::Admin] {
        told.app.get_as(role, &path).await.refused(403, "forbidden", "");
    }
    let unknown = format!("/v1/consignments/{NOBODY}/packing-list");
    told.app
        .get_as(Role::Office, &unknown)
        .await
        .refused(404, "not-found", "");
    let query = format!("{path}?at=1");
    let reply = told.app.get_as(Role::Office, &query).await;
    assert_eq!((reply.status, reply.problem().as_str()), (400, "unreadable"));
}

/// A series with so many pieces that have a serial, and nothing else done to them; its serials, in order.
async fn serialled(app: &TestApp, count: usize) -> (String, Vec<String>) {
    let shop = Workshop::open(app).await;
    let series = json!({"code": "WB", "kind_of": "open", "metal": "silver", "fineness": "999", "unit": "g", "digits": 4,
        "marking": "exempt", "ground": "bullion"});
    let series = app.done("/v1/series", series).await;
    let shop = Workshop {
        series: series.clone(),
        ..shop
    };
    let mut serials = Vec::new();
    while serials.len() < count {
        let some = (count - serials.len()).min(50);
        let charge =
            json!({"metal": "silver", "session": shop.session, "lots": [{"lot": shop.lot, "mass": "60.00"}]});
        let melt = app.done("/v1/melts", charge).await;
        let pours: Vec<Value> = vec![json!({"series": series, "shape": "oval"}); some];
        let pours = json!({"pours": pours});
        let poured = app
            .post(&format!("/v1/melts/{melt}/pours"), pours)
            .await
            .expect(201);
        let pieces = super::edition::of(&poured, "piece");
        let items = pieces
            .iter()
            .map(|piece| super::item(app, piece, "1.00"))
            .collect();
        let tray = shop.tray("from_mould", items);
        app.post("/v1/weighings", tray).await.expect(201);
        shop.close(app, &melt).await;
        let given = app
            .post("/v1/serials", json!({"pieces": pieces}))
            .await
            .expect(201);
        serials.extend(super::edition::of(&given, "serial"));
    }
    serials.sort();
    (series, serials)
}

/// A series with more pieces than eight sheets have places: `Link` leads on from the last label to the rest, each piece has one
/// label, the free places stand on the first sheet alone, and the last page leads nowhere.
#[actix_web::test]
async fn what_eight_sheets_do_not_hold_is_behind_the_link() {
    let app = TestApp::start().await;
    let (series, serials) = serialled(&app, 195).await;
    let path = format!("/v1/series/{series}/labels");
    for (query, filled, sheets) in [("", [192, 3], [8, 1]), ("?skip=23", [169, 26], [8, 2])] {
        let mut next = format!("{path}{query}");
        let mut seen = BTreeSet::new();
        for (place, (count, sheets)) in filled.into_iter().zip(sheets).enumerate() {
            let reply = app.get_as(Role::Office, &next).await.expect(200);
            match (place, reply.header("link")) {
                (0, Some(link)) => {
                    let last = &serials[count - 1];
                    assert_eq!(link, format!("<{path}?after={last}>; rel=\"next\""));
                    next = link[1..].split('>').next().unwrap().to_owned();
                }
                (0, None) => panic!("nothing leads to the rest"),
                (_, link) => assert_eq!(link, None),
            }
            let Some(text) = text_of(&reply.body) else {
                return println!("skipped: pdftotext is not installed");
            };
            let named: Vec<&str> = text
                .split_whitespace()
                .filter(|word| word.starts_with("WB-"))
                .collect();
            assert_eq!(named.len(), count);
            assert_eq!(pages_of(&reply.body), Some(sheets));
            seen.extend(named.into_iter().map(str::to_owned));
        }
        assert_eq!(seen, serials.iter().cloned().collect(), "{query}");
    }
}
