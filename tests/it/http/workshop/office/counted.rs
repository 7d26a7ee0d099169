//! Spot prices, quotations, bills, sweepings and counts by their forms; the page of a lot; and what an entry says of things.

use super::Desk;
use crate::http::workshop::Browser;
use crate::http::{TestApp, Workshop, series};
use pourbook::domain::{Jar, Spot, Stocktake};
use pourbook::http::Role;
use pourbook::views::Tabled;
use serde_json::json;

fn rows<T: Tabled>(desk: &Desk) -> Vec<T> {
    desk.app.app.views.list(&|_: &T| true, None, 50).unwrap().rows
}

/// Two good pieces of an edition, poured and weighed out.
async fn poured(desk: &Desk) -> (Workshop, Vec<String>) {
    let shop = Workshop::open(&desk.app).await;
    let (melt, pieces) = shop.pour(&desk.app, &["50.40", "50.60"]).await;
    shop.close(&desk.app, &melt).await;
    (shop, pieces)
}

#[actix_web::test]
async fn a_price_is_noted_and_quoted_and_a_bill_recorded_by_forms() {
    let desk = Desk::open().await;
    let (_, pieces) = poured(&desk).await;
    assert!(desk.page("/metal/stock").await.contains("href=\"/spots/new\""));
    let spot = |price| {
        vec![
            ("metal", "silver"),
            ("price", price),
            ("priced_at", "2020-01-02T10:00"),
        ]
    };
    desk.refused("/spots/new", &spot("0"), 422, "above zero").await;
    // Without a price nothing can be quoted, and the form says what is missing.
    let mut quote = vec![
        ("of/piece", pieces[0].as_str()),
        ("premium_percent", "12,5"),
        ("weight", "gram"),
        ("vat", "standard"),
        ("buyer", "Odile Tarrant"),
    ];
    desk.refused("/quotes/new", &quote[1..2], 422, "f-spot-fault")
        .await;
    assert_eq!(desk.once("/spots/new", &spot("24,10")).await, "/metal/stock");
    let noted = &rows::<Spot>(&desk)[0];
    assert_eq!(noted.price.to_string(), "24.10 GBP");
    let id = noted.spot.to_string();
    quote.push(("spot", &id));
    let page = desk.once("/quotes/new", &quote).await;
    let told = desk.page(&page).await;
    // 50.40 g / 31.1034768 g (ISO 80000-4 and the Weights and Measures Act 1985: one troy ounce) x 24.10 x 1.125 = 43.93
    for said in [
        "Quotation 1",
        "43.93 GBP",
        "8.79 GBP",
        "52.72 GBP",
        "the same",
        "Odile Tarrant",
    ] {
        assert!(told.contains(said), "{said}: {told}");
    }
    assert!(desk.page("/quotes").await.contains("52.72 GBP"));
    let auditor = Browser::of(&desk.app, Role::Auditor).await;
    let told = auditor.get(&desk.app, &page).await.expect(200).text();
    assert!(!told.contains("52.72") && !told.contains("Odile"), "{told}");

    let sale = billed(&desk).await;
    desk.refused("/charges/new", &[("amount", "4.50")], 422, "one of them")
        .await;
    let to = desk
        .once(
            "/charges/new",
            &[("die", &sale), ("amount", "38,40"), ("document", "EAH 2210")],
        )
        .await;
    assert_eq!(to, "/office/setup");
    assert!(desk.page("/charges").await.contains("38.40 GBP"));
}

/// A die, for which somebody sends a bill.
async fn billed(desk: &Desk) -> String {
    desk.bench("/v1/dies", json!({"owner": "workshop", "label": "the sluice"}))
        .await
}

#[actix_web::test]
async fn a_count_is_blind_and_counts_what_is_beside_a_weight() {
    let desk = Desk::open().await;
    let (shop, pieces) = poured(&desk).await;
    let row = desk.json(&format!("/v1/lots/{}", shop.lot)).await;
    let left = row["left"].as_str().unwrap().to_owned();
    let page = desk.page("/stocktakes/new").await;
    assert!(page.contains(&shop.lot) && page.contains(&pieces[0]));
    assert!(
        !page.contains(&left),
        "what the book expects stands in a count: {page}"
    );
    let (weight, heel) = (format!("lots/{}/mass", shop.lot), pieces[0].as_str());
    desk.refused("/stocktakes/new", &[], 422, "nothing").await;
    // Every line is sent; only those count beside which something stands.
    let lines = [
        ("session", shop.session.as_str()),
        ("lots", shop.lot.as_str()),
        (weight.as_str(), "100,00 g"),
        ("jars", shop.jar.as_str()),
        ("pieces/seen", heel),
    ];
    desk.asks("/stocktakes/new", &lines, "1 seen; not seen: ").await;
    let to = desk.once("/stocktakes/new", &lines).await;
    let told = desk.page(&to).await;
    assert!(
        told.contains("stocktake taken") && told.contains("100.00 g"),
        "{told}"
    );
    let count = &rows::<Stocktake>(&desk)[0];
    assert_eq!(count.lines.len(), 1, "{:?}", count.lines);
    let seen = count.pieces.as_ref().unwrap();
    assert_eq!((seen.seen.len(), seen.unseen.len()), (1, 1));
    assert!(
        desk.page("/stocktakes")
            .await
            .contains("<td class=\"figure\">1</td>")
    );

    // A series of which nothing was seen is a count too: all of it is missing.
    let none = [("pieces/series", shop.series.as_str())];
    desk.asks("/stocktakes/new", &none, "0 seen; not seen: ").await;
    desk.once("/stocktakes/new", &none).await;
    assert_eq!(
        rows::<Stocktake>(&desk)[1].pieces.as_ref().unwrap().unseen.len(),
        2
    );
}

#[actix_web::test]
async fn sweepings_go_into_their_jar() {
    let desk = Desk::open().await;
    let shop = Workshop::open(&desk.app).await;
    let jar = json!({"metal": "silver", "fineness": "800", "residue": "sweeps", "label": "floor"});
    let jar = desk.bench("/v1/jars", jar).await;
    let path = format!("/bench/jars/{jar}/sweepings");
    for page in ["/bench", "/office/setup"] {
        assert!(desk.page(page).await.contains(&path), "{page}");
    }
    let sweepings = [("session", shop.session.as_str()), ("mass", "84,10")];
    assert_eq!(desk.once(&path, &sweepings).await, "/bench");
    let swept = rows::<Jar>(&desk)
        .into_iter()
        .find(|row| row.jar.to_string() == jar);
    assert_eq!(swept.unwrap().swept.to_string(), "84.10");
    let lemel = format!("/bench/jars/{}/sweepings", shop.jar);
    desk.refused(&lemel, &sweepings, 409, "only a jar of sweeps")
        .await;
}

#[actix_web::test]
async fn the_page_of_a_lot_says_where_its_metal_is() {
    let desk = Desk::open().await;
    let (shop, pieces) = poured(&desk).await;
    let path = format!("/lots/{}", shop.lot);
    assert!(desk.page("/lots").await.contains(&format!("href=\"{path}\"")));
    let page = desk.page(&path).await;
    for said in [
        "250.00 g of a charge of 250.00 g",
        "Not melted yet",
        "Lost in melt 1",
        "50.40 g of it",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    assert!(page.contains(&format!("/pieces/{}", pieces[0])));
    desk.reply("/lots/11111111-1111-4111-8111-111111111111")
        .await
        .expect(404);
}

/// What a page says, without its marks.
fn words(page: &str) -> String {
    let mut words = String::new();
    for part in page.split('<') {
        words.push_str(part.split_once('>').map_or("", |(_, text)| text));
        words.push(' ');
    }
    words
}

/// Whether an id stands somewhere.
fn has_id(text: &str) -> bool {
    let dashes = [8, 13, 18, 23];
    let is_id = |part: &[u8]| {
        (0..36).all(|at| match dashes.contains(&at) {
            true => part[at] == b'-',
            false => part[at].is_ascii_hexdigit(),
        })
    };
    text.as_bytes().windows(36).any(is_id)
}

#[actix_web::test]
async fn an_entry_names_things_as_the_workshop_does() {
    let desk = Desk::open().await;
    let (shop, pieces) = poured(&desk).await;
    let app = &desk.app;
    app.post("/v1/serials", json!({"pieces": pieces}))
        .await
        .expect(201);
    app.post(
        &format!("/v1/sessions/{}/closing", shop.session),
        json!({"nominal": "50.00", "reading": "50.00"}),
    )
    .await
    .expect(201);
    assert!(has_id(&shop.session) && !has_id("2026-03-14T10:26"));
    for index in 1..desk.size() {
        let page = desk.page(&format!("/entries/{index}")).await;
        let main = page.split("<main").nth(1).unwrap();
        let told = words(main);
        assert!(!has_id(&told), "entry {index}: {told}");
    }
    let weighed = desk.page("/entries/8").await;
    assert!(weighed.contains("begun "), "{weighed}");
}

/// Links of a page to our own pages.
fn links(page: &str) -> Vec<String> {
    let each = page.split("href=\"/").skip(1);
    let each = each.map(|rest| format!("/{}", rest.split('"').next().unwrap()).replace("&amp;", "&"));
    each.filter(|path| !path.starts_with("/assets/") && !path.starts_with("/p/"))
        .collect()
}

#[actix_web::test]
async fn what_is_not_the_part_of_a_role_is_not_offered() {
    let desk = Desk::open().await;
    let (shop, pieces) = poured(&desk).await;
    let app: &TestApp = &desk.app;
    app.post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201);
    app.done("/v1/series", series("ZZ")).await;
    let pages = [
        "/home".to_owned(),
        "/office".to_owned(),
        "/office/assay".to_owned(),
        "/office/numbers".to_owned(),
        "/office/stock".to_owned(),
        "/office/orders".to_owned(),
        "/office/setup".to_owned(),
        "/entries/3".to_owned(),
        "/lists".to_owned(),
        format!("/lots/{}", shop.lot),
        format!("/pieces/{}", pieces[0]),
    ];
    for role in Role::ALL {
        let browser = Browser::of(app, role).await;
        let mut followed = 0;
        for path in &pages {
            let page = browser.get(app, path).await.expect(200).text();
            for link in links(&page) {
                let status = browser.get(app, &link).await.status;
                assert_ne!(status, 403, "{role:?} at {path} is led to {link}");
                followed += 1;
            }
        }
        assert!(followed > 50, "{role:?} followed {followed}");
    }
}

#[actix_web::test]
async fn an_empty_book_says_what_comes_first() {
    let desk = Desk::open().await;
    let home = desk.page("/home").await;
    assert!(
        home.contains("Begin with a scale") && home.contains("href=\"/scales/new\""),
        "{home}"
    );
    let _shop = Workshop::open(&desk.app).await;
    let home = desk.page("/home").await;
    assert!(!home.contains("A new book"), "{home}");
}
