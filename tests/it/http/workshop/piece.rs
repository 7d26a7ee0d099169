//! A piece's page, and what may be done next: decided by the book and thrown away.

use super::Browser;
use crate::http::{TestApp, Workshop, item};
use crate::shop::{NOW, Shop};
use pourbook::domain::{CloseMelt, Command, GiveSerials, OperatorId, PieceId};
use pourbook::http::Role;
use pourbook::log::MemoryStore;
use serde_json::json;
use std::sync::Arc;
use uuid::Uuid;

/// What a page says may be done, and what may not with its reason.
fn next(page: &str) -> (Vec<String>, Vec<(String, String)>) {
    let text = |part: &str| part.split('<').next().unwrap().to_owned();
    let may = page
        .split("<ul class=\"deeds\">")
        .nth(1)
        .map_or(Vec::new(), |part| {
            let list = part.split("</ul>").next().unwrap();
            let items = list.split("<li>").skip(1);
            items.map(|item| text(item.split('>').nth(1).unwrap())).collect()
        });
    let not = page
        .split("<ul class=\"reasons\">")
        .nth(1)
        .map_or(Vec::new(), |part| {
            let list = part.split("</ul>").next().unwrap();
            let items = list.split("<strong>").skip(1);
            items
                .map(|item| (text(item), text(item.split("</strong>: ").nth(1).unwrap())))
                .collect()
        });
    (may, not)
}

#[track_caller]
fn reason<'a>(not: &'a [(String, String)], deed: &str) -> &'a str {
    let found = not.iter().find(|(words, _)| words == deed);
    &found.unwrap_or_else(|| panic!("{deed} is not among {not:?}")).1
}

#[actix_web::test]
async fn what_may_be_done_is_what_the_book_takes_and_looking_records_nothing() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "49.00"]).await;
    let office = Browser::of(&app, Role::Office).await;
    let (position, version) = (app.app.views.position(), app.version(&pieces[0]));
    let statement = app
        .get_as(Role::Office, "/v1/statement?metal=silver")
        .await
        .text();
    let page = |name: String| office.get(&app, Box::leak(format!("/pieces/{name}").into_boxed_str()));
    let shown = page(pieces[0].clone()).await.expect(200).text();
    let (may, not) = next(&shown);
    assert!(may.contains(&"Give it up".to_owned()), "{may:?}");
    assert!(
        reason(&not, "Give it its serial").contains("melt 1 is not weighed out yet"),
        "{not:?}"
    );
    assert!(reason(&not, "Sell it").contains("the piece is graded"), "{not:?}");
    assert_eq!(reason(&not, "Hand it over"), "it is in no sale.");
    // Nothing was recorded, no version moved, and every gram is where it was.
    assert_eq!(
        (app.app.views.position(), app.version(&pieces[0])),
        (position, version)
    );
    assert_eq!(
        app.get_as(Role::Office, "/v1/statement?metal=silver")
            .await
            .text(),
        statement
    );
    // The API says the same of both.
    app.post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .refused(409, "melt-open", "#/pieces/0");
    shop.close(&app, &melt).await;
    let (may, _) = next(&page(pieces[0].clone()).await.expect(200).text());
    assert!(may.contains(&"Give it its serial".to_owned()), "{may:?}");
    app.post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201);
    // An under piece is given up, never sold.
    let (may, not) = next(&page(pieces[1].clone()).await.expect(200).text());
    assert!(may.contains(&"Give it up".to_owned()) && !may.contains(&"Give it its serial".to_owned()));
    assert!(reason(&not, "Give it its serial").contains("under"), "{not:?}");
    // A role is told of its own deeds only, and an auditor has none.
    let bench = Browser::of(&app, Role::Bench).await;
    let path = format!("/pieces/{}", pieces[0]);
    let (may, not) = next(&bench.get(&app, &path).await.expect(200).text());
    assert!(
        may.iter()
            .chain(not.iter().map(|(deed, _)| deed))
            .all(|deed| deed != "Sell it"),
        "{may:?} {not:?}"
    );
    assert!(!may.is_empty());
    let auditor = Browser::of(&app, Role::Auditor).await;
    let shown = auditor.get(&app, &path).await.expect(200).text();
    assert_eq!(next(&shown), (Vec::new(), Vec::new()));
}

#[actix_web::test]
async fn a_piece_is_found_by_id_serial_and_pour_number_and_its_story_is_told() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.41").await;
    let office = Browser::of(&app, Role::Office).await;
    let by_id = office
        .get(&app, &format!("/pieces/{}", pieces[0]))
        .await
        .expect(200)
        .text();
    for name in [serial.as_str(), "1-01"] {
        let shown = office
            .get(&app, &format!("/pieces/{name}"))
            .await
            .expect(200)
            .text();
        assert!(shown.contains(&format!("Piece {serial}")), "{name}");
    }
    office.get(&app, "/pieces/9-99").await.expect(404);
    // The reading that was superseded is struck through, the newest is not.
    assert!(by_id.contains("<s>50.42 g</s>"), "{by_id}");
    assert!(by_id.contains("<strong>50.41 g</strong>"));
    assert!(by_id.contains("Maud at the desk"));
    assert!(by_id.contains("Given number 1 of 4."));
    assert!(
        by_id.contains("Lot 1</a></th><td class=\"figure\">50.41 g</td>"),
        "{by_id}"
    );
    assert!(by_id.contains("<strong>Issue 1</strong>"));
    let (may, _) = next(&by_id);
    assert!(may.contains(&"Sell it".to_owned()), "{may:?}");
    // Reserved for somebody, it cannot be given up; sold, it can be handed over.
    app.post("/v1/sales", json!({"items": [{"piece": pieces[0]}]}))
        .await
        .expect(201);
    let (may, not) = next(&office.get(&app, &format!("/pieces/{serial}")).await.text());
    assert!(may.contains(&"Hand it over".to_owned()), "{may:?}");
    assert!(
        reason(&not, "Sell it").contains("the piece is in sale 1, which stands"),
        "{not:?}"
    );
}

#[actix_web::test]
async fn a_reading_before_a_failed_check_is_flagged_and_home_says_so() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    let office = Browser::of(&app, Role::Office).await;
    let path = format!("/pieces/{}", pieces[0]);
    assert!(!office.get(&app, &path).await.text().contains("suspect"));
    let check = json!({"nominal": "50.00", "reading": "50.40"});
    app.post(&format!("/v1/sessions/{}/closing", shop.session), check)
        .await
        .expect(201);
    assert!(
        office
            .get(&app, &path)
            .await
            .text()
            .contains("suspect: a check of the scale failed after it")
    );
    let home = office.get(&app, "/home").await.text();
    assert!(home.contains("Reading suspect") && home.contains(&path), "{home}");
}

#[actix_web::test]
async fn an_entry_that_was_corrected_shows_what_it_said_first() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.24"]).await;
    let weighed = app.app.views.position() - 1;
    let instead = json!({"command": "weigh_pieces", "session": shop.session, "stage": "from_mould",
                         "items": [{"piece": pieces[0], "mass": "50.42"}]});
    let body = json!({"corrections": [{"index": weighed, "instead": instead}], "reason": "mistyped"});
    app.post("/v1/corrections", body).await.expect(201);
    let office = Browser::of(&app, Role::Office).await;
    let shown = office
        .get(&app, &format!("/pieces/{}", pieces[0]))
        .await
        .expect(200)
        .text();
    assert!(
        shown.contains("First recorded as: <s>Weighed as it came from the mould: 50.24\u{a0}g."),
        "{shown}"
    );
    assert!(shown.contains("<strong>50.42 g</strong>"));
}

/// Decided and undone: of no command does the book, or what is recorded next, show a trace.
#[test]
fn what_was_only_tried_leaves_no_trace() {
    let begun = || {
        let mut shop = Shop::found(
            Arc::new(MemoryStore::new([])),
            "brackenfold.example/book",
            [9; 32],
        );
        let pieces = shop.pour(2);
        (shop, pieces)
    };
    let (mut tried, pieces) = begun();
    let (mut untouched, _) = begun();
    let by = OperatorId(Uuid::nil());
    let before = tried.desk.book().clone();
    let melt = before.piece(pieces[0]).unwrap().melt;
    let closing = CloseMelt {
        melt,
        session: tried.session,
        heel: crate::shop::reading("10.00"),
        prills: None,
        note: None,
    };
    let commands: Vec<Command> = vec![
        tried.weighing(pieces[0]),
        tried.weighing(pieces[0]),
        tried.weighing(PieceId(Uuid::from_u128(1))),
        closing.into(),
        GiveSerials {
            pieces: vec![pieces[0]],
        }
        .into(),
        crate::shop::lot(tried.session).into(),
        crate::shop::series("ZZ").into(),
    ];
    let outcomes = tried.desk.would(NOW, [1; 32], by, &commands);
    let taken: Vec<bool> = outcomes.iter().map(Result::is_ok).collect();
    // The second weighing is tried as if the first had never been.
    assert_eq!(taken, [true, true, false, false, false, true, true]);
    assert_eq!(*tried.desk.book(), before);
    for shop in [&mut tried, &mut untouched] {
        let weighing = shop.weighing(pieces[0]);
        shop.record(vec![weighing], |_| None::<()>);
    }
    assert_eq!(tried.desk.book(), untouched.desk.book());
    assert_eq!(
        tried.desk.published().tree().root(),
        untouched.desk.published().tree().root()
    );
}

/// The list and the page of a piece agree on its mass: an item that is weighed again shows the newest.
#[actix_web::test]
async fn a_page_shows_the_newest_reading() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    shop.close(&app, &melt).await;
    let jar = json!({"session": shop.session, "jar": shop.jar, "items": [item(&app, &pieces[0], "50.40")]});
    app.post("/v1/finishings", jar).await.expect(201);
    let office = Browser::of(&app, Role::Office).await;
    let shown = office.get(&app, &format!("/pieces/{}", pieces[0])).await.text();
    assert!(shown.contains("<strong>50.40 g</strong>"));
    assert!(office.get(&app, "/pieces").await.text().contains("50.40"));
}

/// A long story is told from its beginning and to its end, and says how much is left out between.
#[actix_web::test]
async fn a_long_story_says_what_it_leaves_out() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (_, pieces) = shop.pour(&app, &["50.42"]).await;
    let office = Browser::of(&app, Role::Office).await;
    let path = format!("/pieces/{}", pieces[0]);
    let steps = |page: &str| {
        let story = page.split("id=\"story\"").nth(1).unwrap();
        story.matches("<p class=\"when\">").count()
    };
    let shown = office.get(&app, &path).await.expect(200).text();
    assert!(!shown.contains("left out"), "{shown}");
    let begun = app.version(&pieces[0]);
    let before = steps(&shown);
    assert_eq!(before as u64, begun);
    let in_water = json!({"session": shop.session, "method": "cup", "in_air": "50.42", "in_water": "4.81", "water": "21"});
    let measured = format!("/v1{path}/gravity");
    let mut last = 0;
    while app.version(&pieces[0]) < 503 {
        let reply = app.post(&measured, in_water.clone());
        last = reply.await.expect(201).json()["index"].as_u64().unwrap();
    }
    let shown = office.get(&app, &path).await.expect(200).text();
    assert!(
        shown.contains("3 further entries are left out here; the log holds all of them."),
        "it does not say so"
    );
    assert_eq!(steps(&shown), 500);
    assert!(
        shown.contains(&format!("\"/entries/{last}\"")),
        "the newest is told"
    );
}
