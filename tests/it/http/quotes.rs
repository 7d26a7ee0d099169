//! Spot prices and quotations through HTTP: an old quotation recomputes to the penny, whatever came later.

use super::{TestApp, Workshop};
use pourbook::http::Role;
use serde_json::{Value, json};

fn spot(metal: &str, amount: &str) -> Value {
    json!({"metal": metal, "price": {"amount": amount, "currency": "GBP"}, "priced_at": "2026-03-14T09:00:00Z",
           "source": "the trade letter"})
}

fn quote(spot: &str, of: Value) -> Value {
    json!({"spot": spot, "of": of, "premium_percent": "28", "weight": "ozt-0.001", "vat": "standard",
           "buyer": "a reader of the letter"})
}

async fn shown(app: &TestApp, role: Role, quote: &str) -> Value {
    app.get_as(role, &format!("/v1/quotes/{quote}"))
        .await
        .expect(200)
        .json()
}

fn money(amount: &str) -> Value {
    json!({"amount": amount, "currency": "GBP"})
}

#[actix_web::test]
async fn an_old_quote_recomputes_whatever_came_later() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (_, pieces) = workshop.pour(&app, &["50.42", "50.60"]).await;
    let first = app.done("/v1/spots", spot("silver", "24.51")).await;
    let of_metal = app
        .done("/v1/quotes", quote(&first, json!({"mass": "102.53"})))
        .await;
    let of_piece = app
        .done("/v1/quotes", quote(&first, json!({"piece": pieces[0]})))
        .await;

    // 102.53 g at 24.51 and a premium of 28 %, all invented; computed with Python's `decimal`.
    let told = shown(&app, Role::Office, &of_metal).await;
    assert_eq!(told["number"], 1);
    let recomputed = &told["recomputed"];
    assert_eq!(
        (&recomputed["known"], &recomputed["equal"]),
        (&json!(true), &json!(true))
    );
    assert_eq!(recomputed["net"], money("103.40"));
    assert_eq!(recomputed["vat"], money("20.68"));
    assert_eq!(recomputed["gross"], money("124.08"));
    assert_eq!(told["private"]["gross"], money("124.08"));
    assert_eq!(recomputed["inputs"]["price"]["vat"]["percent"], "20");
    assert_eq!(recomputed["inputs"]["price"]["vat"]["from"], "2011-01-04");

    // The piece at its last reading: which entry that was is kept with it.
    let told = shown(&app, Role::Office, &of_piece).await;
    assert_eq!(told["recomputed"]["inputs"]["price"]["mass"], "50.42");
    assert_eq!(told["recomputed"]["inputs"]["price"]["fineness"], "999.0");
    let reading = told["recomputed"]["inputs"]["reading"].as_u64().unwrap();
    let before = told["recomputed"].clone();

    // A new spot price comes, and the reading was typed wrong: the old quotation stays what it was.
    app.done("/v1/spots", spot("silver", "31.07")).await;
    let instead = json!({"command": "weigh_pieces", "session": workshop.session, "stage": "from_mould", "items": [
        {"piece": pieces[0], "mass": "50.24"}, {"piece": pieces[1], "mass": "50.60"}]});
    let body = json!({"corrections": [{"index": reading, "instead": instead}], "reason": "mistyped"});
    app.post("/v1/corrections", body).await.expect(201);
    let piece = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}", pieces[0]))
        .await
        .json();
    assert_eq!(piece["readings"][0]["mass"], "50.24");
    assert_eq!(shown(&app, Role::Office, &of_piece).await["recomputed"], before);

    let list = app
        .get_as(Role::Bench, &format!("/v1/quotes?piece={}", pieces[0]))
        .await
        .expect(200)
        .json();
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    assert_eq!(list["items"][0]["quote"], of_piece);
    let gold = app
        .get_as(Role::Bench, "/v1/spots?metal=gold")
        .await
        .expect(200)
        .json();
    assert_eq!(gold["items"], json!([]));
}

#[actix_web::test]
async fn what_was_quoted_is_for_the_office_and_can_be_erased() {
    let app = TestApp::start().await;
    Workshop::open(&app).await;
    let spot = app.done("/v1/spots", spot("silver", "24.51")).await;
    let index = app.app.views.position();
    let made = app
        .done("/v1/quotes", quote(&spot, json!({"mass": "102.53"})))
        .await;
    let bench = shown(&app, Role::Bench, &made).await;
    assert!(
        bench.get("private").is_none() && bench.get("recomputed").is_none(),
        "{bench}"
    );
    let entry = app.app.entry(index).unwrap();
    let text = format!("{:?}", entry.payload);
    for private in ["103.40", "124.08", "102.53", "reader"] {
        assert!(!text.contains(private), "{private} stands in the log");
    }
    let erase = json!({"index": index, "event": 0, "member": "inputs", "reason": "request"});
    app.post_as(Role::Admin, "/v1/erasures", erase).await.expect(201);
    let told = shown(&app, Role::Office, &made).await;
    assert_eq!(told["recomputed"]["known"], false);
    assert!(told["recomputed"].get("equal").is_none());
}

#[actix_web::test]
async fn a_price_that_cannot_be_is_refused_by_name() {
    let app = TestApp::start().await;
    Workshop::open(&app).await;
    let silver = app.done("/v1/spots", spot("silver", "24.51")).await;
    let gold = app.done("/v1/spots", spot("gold", "2600")).await;
    let with = |spot: &str, of: Value, changes: Value| {
        let mut body = quote(spot, of);
        for (name, value) in changes.as_object().unwrap() {
            body[name] = value.clone();
        }
        body
    };
    let grams = || json!({"mass": "102.53"});
    for (body, code, pointer) in [
        (
            with(
                &silver,
                grams(),
                json!({"fees": {"amount": "4", "currency": "EUR"}}),
            ),
            "price-impossible",
            "#/fees",
        ),
        (
            with(
                &silver,
                grams(),
                json!({"fees": {"amount": "-4", "currency": "GBP"}}),
            ),
            "price-impossible",
            "#/fees",
        ),
        (
            with(&silver, grams(), json!({"premium_percent": "-100.5"})),
            "invalid",
            "#/premium_percent",
        ),
        (
            with(&silver, grams(), json!({"vat": "investment_gold"})),
            "price-impossible",
            "#/vat",
        ),
        (
            with(
                &gold,
                json!({"mass": "31.1", "fineness": "916"}),
                json!({"vat": "investment_gold"}),
            ),
            "price-impossible",
            "#/vat",
        ),
        (
            with(&silver, json!({"mass": "0"}), json!({})),
            "price-impossible",
            "#/of/mass",
        ),
        (
            with(&silver, grams(), json!({"by_fine_weight": true})),
            "price-impossible",
            "#/of/fineness",
        ),
        (with(&silver, json!({}), json!({})), "price-impossible", "#/of"),
        (
            with(&silver, json!({"mass": "1", "piece": silver}), json!({})),
            "price-impossible",
            "#/of",
        ),
        (
            with(&silver, json!({"mass": "1", "fineness": "1000.5"}), json!({})),
            "invalid",
            "#/of/fineness",
        ),
        (
            with(
                &silver,
                grams(),
                json!({"rounding": {"rule": "up", "decimals": 9}}),
            ),
            "price-impossible",
            "#/rounding/decimals",
        ),
    ] {
        app.post("/v1/quotes", body).await.refused(422, code, pointer);
    }
    let nowhere = with("11111111-1111-4111-8111-111111111111", grams(), json!({}));
    app.post("/v1/quotes", nowhere)
        .await
        .refused(409, "unknown-spot", "#/spot");
    let zero = app.post("/v1/spots", spot("silver", "0")).await;
    zero.refused(422, "spot-not-positive", "#/price");
    let copper = app.post("/v1/spots", spot("copper", "0.2")).await;
    copper.refused(409, "not-precious", "#/metal");
    let mut later = spot("silver", "24.51");
    later["priced_at"] = json!("2126-03-14T09:00:00Z");
    app.post("/v1/spots", later)
        .await
        .refused(409, "spot-to-come", "#/priced_at");
}

#[actix_web::test]
async fn a_piece_is_quoted_for_in_its_own_metal_while_it_is_one() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (_, pieces) = workshop.pour(&app, &["50.42", "50.60"]).await;
    let gold = app.done("/v1/spots", spot("gold", "2600")).await;
    let wrong = app
        .post("/v1/quotes", quote(&gold, json!({"piece": pieces[0]})))
        .await;
    wrong.refused(409, "wrong-metal", "#/of/piece");
    let silver = app.done("/v1/spots", spot("silver", "24.51")).await;
    let unknown = json!({"piece": "11111111-1111-4111-8111-111111111111"});
    let unknown = app.post("/v1/quotes", quote(&silver, unknown)).await;
    unknown.refused(409, "unknown-piece", "#/of/piece");
    app.done("/v1/quotes", quote(&silver, json!({"piece": pieces[0]})))
        .await;
}
