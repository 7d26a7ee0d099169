//! Two people on one thing: the second is told. And pages of an empty book.

use super::Desk;
use crate::http::workshop::{Browser, hidden};
use crate::http::{TestApp, Workshop, item, series};
use pourbook::http::Role;
use serde_json::json;

/// A consignment of two pieces, out.
async fn out(desk: &Desk) -> (String, Vec<String>) {
    let app = &desk.app;
    let shop = Workshop::open(app).await;
    let mut marked = series("MK");
    marked.as_object_mut().unwrap().remove("ground");
    marked["marking"] = json!("required");
    let marked = app.done("/v1/series", marked).await;
    let shop = Workshop {
        series: marked,
        ..shop
    };
    let (melt, pieces) = shop.pour(app, &["50.40", "50.60"]).await;
    shop.close(app, &melt).await;
    app.post("/v1/serials", json!({"pieces": pieces}))
        .await
        .expect(201);
    let sent = json!({"pieces": pieces, "fineness": "999", "marks": ["sponsor", "fineness", "office"]});
    (app.done("/v1/consignments", sent).await, pieces)
}

#[actix_web::test]
async fn of_two_people_on_one_consignment_the_second_is_told() {
    let desk = Desk::open().await;
    let (consignment, pieces) = out(&desk).await;
    let path = format!("/consignments/{consignment}/return");
    let other = Browser::of(&desk.app, Role::Office).await;
    let shown = other.get(&desk.app, &path).await.expect(200).text();
    let outcomes: Vec<String> = pieces
        .iter()
        .map(|piece| format!("lines/{piece}/outcome"))
        .collect();
    let mut lines: Vec<(&str, &str)> = pieces.iter().map(|piece| ("lines", piece.as_str())).collect();
    lines.extend(outcomes.iter().map(|name| (name.as_str(), "missing")));
    desk.once(&path, &lines).await;
    let size = desk.size();
    let asked = other
        .send(&desk.app, &path, &shown, &lines)
        .await
        .expect(200)
        .text();
    let mark = hidden(&asked, "sure");
    lines.push(("sure", &mark));
    let told = other
        .send(&desk.app, &path, &shown, &lines)
        .await
        .expect(412)
        .text();
    assert!(
        told.contains("Somebody has recorded something about this since you opened the form"),
        "{told}"
    );
    assert_eq!(desk.size(), size);
    assert_eq!(
        told.matches("value=\"missing\" selected").count(),
        2,
        "what was typed is kept"
    );
    // Sent once more, with what is there now before one's eyes, it is the book that says no.
    let told = other
        .send(&desk.app, &path, &told, &lines)
        .await
        .expect(409)
        .text();
    assert!(told.contains("consignment is back"), "{told}");
}

#[actix_web::test]
async fn every_page_of_the_office_is_there_in_an_empty_book_and_for_every_role() {
    let app = TestApp::start().await;
    for role in Role::ALL {
        let browser = Browser::of(&app, role).await;
        for path in [
            "/office",
            "/office/assay",
            "/office/numbers",
            "/office/stock",
            "/office/orders",
            "/office/setup",
            "/entries/0",
        ] {
            let page = browser.get(&app, path).await.expect(200).text();
            assert!(page.contains("<h1>"), "{path}");
        }
    }
    let browser = Browser::of(&app, Role::Office).await;
    for path in [
        "/entries/999",
        "/entries/x",
        "/entries/0/lot?x=1",
        "/orders/11111111-1111-4111-8111-111111111111",
    ] {
        let found = browser.get(&app, path).await.status;
        assert!(path.starts_with("/entries/0") || found == 404, "{path}: {found}");
    }
}

#[actix_web::test]
async fn a_form_can_be_opened_for_one_series_and_with_all_ticked() {
    let desk = Desk::open().await;
    let shop = Workshop::open(&desk.app).await;
    let (melt, pieces) = shop.pour(&desk.app, &["50.40", "50.60"]).await;
    shop.close(&desk.app, &melt).await;
    let page = desk.page("/serials/new").await;
    assert!(page.contains("Tick all 2") && !page.contains("checked"), "{page}");
    assert_eq!(
        desk.page("/serials/new?tick=all")
            .await
            .matches(" checked")
            .count(),
        2
    );
    assert_eq!(
        desk.page(&format!("/serials/new?piece={}", pieces[1]))
            .await
            .matches(" checked")
            .count(),
        1
    );
    let other = desk.app.done("/v1/series", series("ZZ")).await;
    assert!(
        !desk
            .page(&format!("/serials/new?series={other}"))
            .await
            .contains(&pieces[0])
    );
    desk.reply("/serials/new?series=x").await.expect(400);
    let _ = item(&desk.app, &pieces[0], "50.40");
}

#[actix_web::test]
async fn the_board_counts_each_piece_once_and_links_to_its_pieces() {
    let desk = Desk::open().await;
    let shop = Workshop::open(&desk.app).await;
    let (melt, pieces) = shop.pour(&desk.app, &["50.40", "50.60", "49.00"]).await;
    shop.close(&desk.app, &melt).await;
    desk.app
        .post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201);
    let page = desk.page("/office").await;
    let figure = |word: &str| {
        let at = page
            .find(&format!("<dt>{word}</dt>"))
            .unwrap_or_else(|| panic!("{word}: {page}"));
        let rest = &page[at..];
        let cell = &rest[rest.find("<dd>").unwrap() + 4..rest.find("</dd>").unwrap()];
        cell.split('>')
            .next_back()
            .map_or("", |_| cell.trim_end_matches("</a>").rsplit('>').next().unwrap())
            .to_owned()
    };
    for (word, count) in [
        ("poured", "3"),
        ("outside limits", "1"),
        ("accepted", "2"),
        ("sold", "0"),
        ("promised", "0"),
    ] {
        assert_eq!(figure(word), count, "{word}");
    }
    let accepted = "/pieces?series=TW&shape=oval&state=graded,serialled&grade=accepted";
    assert!(page.contains(&accepted.replace('&', "&amp;")), "{page}");
    let listed = desk.page(accepted).await;
    assert!(
        listed.contains(&pieces[1]) && !listed.contains(&pieces[2]),
        "{listed}"
    );
    // Each piece stands at one point: all of them together are what was poured.
    let points = [
        "not weighed",
        "outside limits",
        "accepted",
        "stamped",
        "at assay",
        "hallmarked",
        "spare",
        "numbered",
    ];
    let points = points.iter().chain(&["in stock", "kept", "sold", "fallen away"]);
    assert_eq!(
        points
            .map(|word| figure(word).parse::<u32>().unwrap())
            .sum::<u32>(),
        3
    );
}
