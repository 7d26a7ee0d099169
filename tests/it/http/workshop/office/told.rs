//! Two people on one thing: the second is told. And pages of an empty book.

use super::Desk;
use crate::http::workshop::{Browser, hidden};
use crate::http::{TestApp, Workshop, series};
use pourbook::http::Role;
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};

/// A consignment of two pieces, out, and the workshop with an edition that is exempt.
pub(super) async fn out(desk: &Desk) -> (String, Vec<String>, Workshop) {
    let app = &desk.app;
    let shop = Workshop::open(app).await;
    let exempt = shop.series.clone();
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
    let consignment = app.done("/v1/consignments", sent).await;
    let shop = Workshop {
        series: exempt,
        ..shop
    };
    (consignment, pieces, shop)
}

/// The pages of the office that are about nothing in particular.
const OFFICE: [&str; 6] = [
    "/office",
    "/office/assay",
    "/office/numbers",
    "/office/stock",
    "/office/orders",
    "/office/setup",
];

#[actix_web::test]
async fn of_two_people_on_one_consignment_the_second_is_told() {
    let desk = Desk::open().await;
    let (consignment, pieces, _) = out(&desk).await;
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
        for path in OFFICE.into_iter().chain(["/entries/0"]) {
            let page = browser.get(&app, path).await.expect(200).text();
            assert!(page.contains("<h1>"), "{path}");
        }
    }
    let browser = Browser::of(&app, Role::Office).await;
    for path in [
        "/entries/999",
        "/entries/x",
        "/entries/0/lot",
        "/orders/11111111-1111-4111-8111-111111111111",
    ] {
        browser.get(&app, path).await.expect(404);
    }
}

/// Where the links of a page lead.
fn links(page: &str) -> BTreeSet<String> {
    let hrefs = page
        .split("href=\"")
        .skip(1)
        .filter_map(|part| part.split('"').next());
    let ours = hrefs.filter(|href| href.starts_with('/'));
    ours.map(|href| href.replace("&amp;", "&")).collect()
}

/// Every link of every page of the office opens for whoever sees it: nobody is offered what is not the part of their role.
#[actix_web::test]
async fn nobody_is_offered_what_their_role_may_not_open() {
    let desk = Desk::open().await;
    let app = &desk.app;
    let (consignment, _, shop) = out(&desk).await;
    let (melt, pieces) = shop.pour(app, &["50.42", "49.00"]).await;
    shop.certify(app, &melt, &pieces[0], "50.42").await;
    let condemned = json!({"reason": "under"});
    app.post(&format!("/v1/pieces/{}/condemnation", pieces[1]), condemned)
        .await
        .expect(201);
    let order = json!({"series": shop.series, "shapes": [{"shape": "oval", "count": 1}], "buyer": "Hollis"});
    let order = app.done("/v1/orders", order).await;
    let sold = json!({"items": [{"piece": pieces[0]}]});
    let sale = app.done("/v1/sales", sold).await;
    app.done("/v1/owners", json!({"name": "a neighbour"})).await;
    app.done("/v1/dies", json!({"owner": "workshop"})).await;
    let mut offered = BTreeMap::new();
    for role in Role::ALL {
        let browser = Browser::of(app, role).await;
        let mut all = BTreeSet::new();
        let others = [
            format!("/consignments/{consignment}"),
            format!("/orders/{order}"),
            format!("/sales/{sale}"),
            format!("/pieces/{}", pieces[0]),
            "/home".to_owned(),
        ];
        for path in OFFICE.into_iter().chain(others.iter().map(String::as_str)) {
            all.extend(links(&browser.get(app, path).await.expect(200).text()));
        }
        for link in &all {
            let status = browser.get(app, link).await.status;
            assert!(status < 400 || status == 409, "{role:?} {link}: {status}");
        }
        offered.insert(role.word(), all);
    }
    for form in ["/series/new", "/sales/new", "/scales/new", "/refinings/new"] {
        let who: Vec<&str> = offered
            .iter()
            .filter(|(_, links)| links.contains(form))
            .map(|(role, _)| *role)
            .collect();
        assert_eq!(who, ["office"], "{form}");
    }
    assert!(offered["bench"].contains("/bench/jars/new") && !offered["auditor"].contains("/bench/jars/new"));
}

/// What closed an edition closes it once, however often it is sent.
#[actix_web::test]
async fn the_second_tap_that_closes_an_edition_is_the_first() {
    let desk = Desk::open().await;
    let edition = desk.app.done("/v1/series", series("TW")).await;
    let path = format!("/series/{edition}/closing");
    desk.once(&path, &[("note", "done")]).await;
    // Whoever comes later is told by the book.
    let shown = desk.page(&path).await;
    assert!(shown.contains("It is closed already."), "{shown}");
    let told = desk.browser.send(&desk.app, &path, &shown, &[]).await;
    assert!(told.expect(409).text().contains("closed"));
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
