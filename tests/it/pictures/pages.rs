//! The pages about metal through HTTP: who may read them, as of when they speak, that every figure leads to what it is made of.

use crate::http::workshop::Browser;
use crate::http::{Reply, TestApp, Workshop, item};
use pourbook::http::Role;
use serde_json::json;

const PATHS: [&str; 7] = [
    "/metal",
    "/metal/silver",
    "/metal/silver/losses",
    "/metal/silver/under/unmelted",
    "/metal/series/TW",
    "/metal/melts/1",
    "/metal/gold",
];

async fn worked(app: &TestApp) -> Workshop {
    let workshop = Workshop::open(app).await;
    let (melt, pieces) = workshop.pour(app, &["50.42", "49.80", "50.02"]).await;
    workshop.close(app, &melt).await;
    app.post(
        &format!("/v1/pieces/{}/condemnation", pieces[1]),
        json!({"reason": "under"}),
    )
    .await
    .expect(201);
    workshop
}

/// The text of a page without its tags, blanks together.
fn text(reply: &Reply) -> String {
    let read = crate::http::pages::read(&reply.text().replace('<', " <"));
    read.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[actix_web::test]
async fn the_pages_are_for_all_who_are_signed_in_and_money_for_those_who_see_it() {
    let app = TestApp::start().await;
    worked(&app).await;
    for path in PATHS.iter().chain(&["/metal/stock"]) {
        let reply = app.get(path).await.expect(303);
        assert!(
            reply.header("location").unwrap().starts_with("/sign-in"),
            "{path}"
        );
    }
    for role in Role::ALL {
        let browser = Browser::of(&app, role).await;
        for path in PATHS {
            let reply = browser.get(&app, path).await.expect(200);
            assert!(!reply.text().contains("not accounted for</h2>"), "{path}");
        }
        let seen = if role.sees_private() { 200 } else { 403 };
        let reply = browser.get(&app, "/metal/stock").await.expect(seen);
        assert_eq!(reply.text().contains("At cost"), role.sees_private());
        let overview = browser.get(&app, "/metal").await;
        assert_eq!(overview.text().contains("/metal/stock"), role.sees_private());
    }
}

#[actix_web::test]
async fn what_is_not_there_and_what_is_no_day_is_a_page_that_says_so() {
    let app = TestApp::start().await;
    worked(&app).await;
    let browser = Browser::of(&app, Role::Bench).await;
    for (path, status) in [
        ("/metal/iron", 404),
        ("/metal/iron/losses", 404),
        ("/metal/silver/under/attic", 404),
        ("/metal/series/ZZ", 404),
        ("/metal/series/%3Cb%3E", 404),
        ("/metal/melts/2", 404),
        ("/metal/melts/x", 404),
        ("/metal/silver?at=tomorrow", 400),
        ("/metal/silver?at=2026-02-30", 422),
        ("/metal/silver?at=99999", 422),
        ("/metal/silver?colour=red", 400),
        ("/metal/silver/under/unmelted?from=x", 400),
    ] {
        browser.get(&app, path).await.expect(status);
    }
}

#[actix_web::test]
async fn a_page_speaks_as_of_an_earlier_position_and_its_links_keep_it() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let before = app.app.views.position();
    let (melt, _) = workshop.pour(&app, &["50.42", "50.60"]).await;
    workshop.close(&app, &melt).await;
    let browser = Browser::of(&app, Role::Auditor).await;
    let earlier = browser
        .get(&app, &format!("/metal/silver?at={before}"))
        .await
        .expect(200);
    assert!(
        text(&earlier).contains("Lots, not melted yet 500.00"),
        "{}",
        text(&earlier)
    );
    let links = earlier.text();
    let links = links.split("href=\"/metal/silver/under/").skip(1);
    assert!(links.clone().count() > 2);
    for link in links {
        let address = link.split('"').next().unwrap();
        assert!(address.ends_with(&format!("?at={before}")), "{address}");
    }
    let now = browser.get(&app, "/metal/silver").await.expect(200);
    assert!(
        text(&now).contains("Lots, not melted yet 250.00"),
        "{}",
        text(&now)
    );
}

/// Every figure of the statement opens a page that states the same figure and as many movements.
#[actix_web::test]
async fn every_figure_of_the_statement_opens_to_itself() {
    let app = TestApp::start().await;
    worked(&app).await;
    let browser = Browser::of(&app, Role::Office).await;
    let page = browser.get(&app, "/metal/silver").await.expect(200).text();
    let table = page.split("<table class=\"figures\">").nth(1).unwrap();
    let table = table.split("</table>").next().unwrap();
    let mut opened = 0;
    for row in table
        .split("<tr")
        .filter(|row| row.contains("<a href=\"/metal/silver/under/"))
    {
        let address = row.split("href=\"").nth(1).unwrap().split('"').next().unwrap();
        let cells: Vec<&str> = row
            .split("<td class=\"number\">")
            .skip(1)
            .map(|cell| cell.split('<').next().unwrap())
            .collect();
        let (grams, movements): (&str, usize) = (cells[0], cells[2].parse().unwrap());
        let reply = browser.get(&app, address).await.expect(200);
        assert!(
            text(&reply).contains(&format!("{grams} g (")),
            "{address}: {grams}"
        );
        assert_eq!(reply.text().matches("<tr>").count(), movements + 1, "{address}");
        opened += 1;
    }
    assert!(opened >= 5, "{opened} figures were opened");
}

/// Of what nobody knows the price the page says so, and shows no amount.
#[actix_web::test]
async fn what_is_not_known_is_never_shown_as_nothing() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let mut unpriced = crate::http::lot(&workshop.session);
    unpriced.as_object_mut().unwrap().remove("price");
    app.post("/v1/lots", unpriced).await.expect(201);
    let browser = Browser::of(&app, Role::Office).await;
    let page = text(&browser.get(&app, "/metal/stock").await.expect(200));
    assert!(page.contains("At spot not known"), "{page}");
    assert!(page.contains("431.20 GBP and more that is not known"), "{page}");
    assert!(page.contains("For the insurer not known"), "{page}");
    assert!(!page.contains("0.00 GBP"), "{page}");
}

/// A melt's page says what went in, what came out, and what was lost, to the last digit.
#[actix_web::test]
async fn a_melt_is_told_with_what_went_in_and_what_came_out() {
    let app = TestApp::start().await;
    let workshop = worked(&app).await;
    let charge = json!({"metal": "silver", "session": workshop.session, "lots": [{"lot": workshop.lot, "mass": "20.00"}]});
    let open = app.done("/v1/melts", charge).await;
    let browser = Browser::of(&app, Role::Bench).await;
    let first = text(&browser.get(&app, "/metal/melts/1").await.expect(200));
    let by_id = browser
        .get(&app, &format!("/metal/melts/{open}"))
        .await
        .expect(200);
    assert!(text(&by_id).contains("Melt 2"), "a melt is also found by its id");
    for words in [
        "Lot 1 250.00 g",
        "Pour 1-01, oval 50.42 g",
        "Pour 1-02, oval 49.80 g",
        "Heel 99.26 g",
        "what came out 0.50 g",
    ] {
        assert!(first.contains(words), "{words}: {first}");
    }
    let second = text(&browser.get(&app, "/metal/melts/2").await.expect(200));
    assert!(second.contains("Still in the crucible 20.00 g"), "{second}");
    let pour = json!({"pours": [{"series": workshop.series, "shape": "oval"}]});
    let poured = app
        .post(&format!("/v1/melts/{open}/pours"), pour)
        .await
        .expect(201)
        .json();
    let piece = poured["events"][0]["piece"].as_str().unwrap().to_owned();
    app.post(
        "/v1/weighings",
        workshop.tray("from_mould", vec![item(&app, &piece, "12.00")]),
    )
    .await
    .expect(201);
    let second = text(&browser.get(&app, "/metal/melts/2").await.expect(200));
    assert!(second.contains("Still in the crucible 8.00 g"), "{second}");
}

/// Each bar of the weights opens the list of exactly the pieces that it counts, and every piece is in one of them.
#[actix_web::test]
async fn every_bar_lists_exactly_the_pieces_that_it_counts() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    // Around the limits 50.00 and 51.20 g, on both ends of a band (49.53 to 50.02 g), and far off either way.
    for masses in [
        ["49.97", "50.02", "50.03", "51.18"],
        ["51.23", "50.60", "20.00", "99.00"],
    ] {
        let (melt, _) = workshop.pour(&app, &masses).await;
        workshop.close(&app, &melt).await;
    }
    let browser = Browser::of(&app, Role::Bench).await;
    let page = browser.get(&app, "/metal/series/TW").await.expect(200).text();
    let picture = super::narrow(&page[page.find("id=\"how-oval\"").unwrap()..]).to_owned();
    let mut listed: Vec<String> = Vec::new();
    for bar in picture.split("<a href=\"").skip(1) {
        let address = bar.split('"').next().unwrap().replace("&amp;", "&");
        let words = bar
            .split("aria-label=\"")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        let count: usize = words
            .rsplit(": ")
            .next()
            .unwrap()
            .split(' ')
            .next()
            .unwrap()
            .parse()
            .unwrap();
        let (path, query) = address.split_once('?').unwrap();
        browser.get(&app, &address).await.expect(200);
        let csv = browser
            .get(&app, &format!("{path}.csv?{query}"))
            .await
            .expect(200)
            .text();
        let pours: Vec<String> = csv
            .lines()
            .skip(1)
            .map(|line| line.rsplit(',').next().unwrap().to_owned())
            .collect();
        assert_eq!(pours.len(), count, "{words}: {csv}");
        listed.extend(pours);
    }
    listed.sort();
    let all: Vec<String> = (1..=2)
        .flat_map(|melt| (1..=4).map(move |piece| format!("{melt}-{piece:02}")))
        .collect();
    assert_eq!(listed, all, "{picture}");
}
