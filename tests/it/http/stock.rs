//! What the stock is worth: at cost, at spot, for the insurer.

use super::{TestApp, Workshop, lot};
use pourbook::http::Role;
use serde_json::{Value, json};

async fn valued(app: &TestApp, query: &str) -> Value {
    app.get_as(Role::Office, &format!("/v1/stock-value{query}"))
        .await
        .expect(200)
        .json()
}

fn spot(amount: &str, priced_at: &str) -> Value {
    json!({"metal": "silver", "price": {"amount": amount, "currency": "GBP"}, "priced_at": priced_at})
}

fn amounts(value: &Value) -> Vec<String> {
    let amounts = value["amounts"].as_array().unwrap().iter();
    amounts
        .map(|money| money["amount"].as_str().unwrap().to_owned())
        .collect()
}

#[actix_web::test]
async fn stock_is_worth_its_cost_its_metal_at_spot_and_the_greater_for_the_insurer() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    // 500.00 g at 999.9, bought for what the vault knows.
    let mine = lot(&workshop.session);
    let price = mine["price"]["amount"].as_str().unwrap().to_owned();
    let told = valued(&app, "").await;
    assert_eq!(told["lines"].as_array().unwrap().len(), 1);
    assert_eq!(told["lines"][0]["fine"], "499.95000");
    assert_eq!(
        (&told["cost"]["known"], amounts(&told["cost"])),
        (&json!(true), vec![price.clone()])
    );
    // Without a spot price neither that nor the insurer's figure is known: they are not zero.
    for unknown in ["spot", "insurer"] {
        assert_eq!(
            (&told[unknown]["known"], &told[unknown]["amounts"]),
            (&json!(false), &json!([]))
        );
    }
    let before = app.app.views.position();
    app.done("/v1/spots", spot("24.51", "2026-03-14T09:00:00Z")).await;
    // Computed: 499.95 / 31.1034768 x 24.51 = 393.9681...
    let told = valued(&app, "").await;
    assert_eq!(amounts(&told["spot"]), ["393.97"]);
    assert_eq!(told["spots"][0]["price"]["amount"], "24.51");
    assert!(told["spots"][0]["age_seconds"].as_i64().unwrap() > 0);
    // A price that was noted later and is of an earlier time is not the newest one.
    app.done("/v1/spots", spot("90.00", "2026-03-13T09:00:00Z")).await;
    assert_eq!(amounts(&valued(&app, "").await["spot"]), ["393.97"]);
    assert_eq!(valued(&app, &format!("?at={before}")).await["spots"], json!([]));

    // In pieces, heel and remainder: the same metal less what the fire took, and each line adds up to the sum.
    let (melt, _) = workshop.pour(&app, &["50.42", "50.60"]).await;
    workshop.close(&app, &melt).await;
    let told = valued(&app, "?making_percent=40").await;
    let cents = |value: &Value| -> i64 {
        amounts(value)
            .iter()
            .map(|text| text.replace('.', "").parse::<i64>().unwrap())
            .sum()
    };
    for kind in ["cost", "spot", "insurer"] {
        let lines: i64 = told["lines"]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| cents(&line[kind]))
            .sum();
        assert_eq!(lines, cents(&told[kind]), "{kind}");
    }
    for line in told["lines"].as_array().unwrap() {
        let greater = cents(&line["cost"]).max(cents(&line["spot"]));
        let charged = if line["place"] == "piece" {
            greater * 14 / 10
        } else {
            greater
        };
        assert!((cents(&line["insurer"]) - charged).abs() <= 2, "{line}");
    }
    let places: Vec<&str> = told["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| line["place"].as_str().unwrap())
        .collect();
    assert_eq!(places, ["unmelted", "heel", "piece", "piece"]);
}

#[actix_web::test]
async fn a_customers_metal_is_no_stock_and_an_unpriced_lot_makes_the_cost_unknown() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    app.done("/v1/spots", spot("24.51", "2026-03-14T09:00:00Z")).await;
    let owner = app
        .done("/v1/owners", json!({"name": "a neighbour with a box of spoons"}))
        .await;
    let mut theirs = lot(&workshop.session);
    theirs["owner"] = json!(owner);
    theirs.as_object_mut().unwrap().remove("price");
    let before = valued(&app, "").await;
    app.done("/v1/lots", theirs).await;
    let told = valued(&app, "").await;
    assert_eq!(
        (&told["lines"], &told["cost"]),
        (&before["lines"], &before["cost"])
    );
    let mut unpriced = lot(&workshop.session);
    unpriced.as_object_mut().unwrap().remove("price");
    app.done("/v1/lots", unpriced).await;
    let told = valued(&app, "").await;
    assert_eq!(
        (&told["cost"]["known"], amounts(&told["cost"])),
        (&json!(false), amounts(&before["cost"]))
    );
    assert_eq!(told["insurer"]["known"], false);
    assert_eq!(told["spot"]["known"], true);
    for bad in [
        "?making_percent=-1",
        "?making_percent=x",
        "?making_percent=100001",
    ] {
        let reply = app.get_as(Role::Office, &format!("/v1/stock-value{bad}")).await;
        reply.refused(400, "unreadable", "");
    }
}

#[actix_web::test]
async fn what_a_piece_cost_and_left_is_not_known_until_every_part_is() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (melt, pieces) = workshop.pour(&app, &["50.42", "50.60"]).await;
    workshop.certify(&app, &melt, &pieces[0], "50.42").await;
    let path = format!("/v1/pieces/{}/margin", pieces[0]);
    let told = async || app.get_as(Role::Office, &path).await.expect(200).json();
    let before = told().await;
    assert!(before.get("price").is_none() && before.get("margin").is_none());
    let price = json!({"amount": "95.00", "currency": "GBP"});
    let sale = app
        .done(
            "/v1/sales",
            json!({"items": [{"piece": pieces[0], "price": price}]}),
        )
        .await;
    // Computed: 50.42 of 500.00 g bought for 431.20 is 43.4822; its part of a loss of 0.50 g, 50.42 of 249.50 that came out,
    // is 0.0871; together 43.5693.
    let sold = told().await;
    assert_eq!(amounts(&sold["metal"]), ["43.48"]);
    assert_eq!(amounts(&sold["melt_loss"]), ["0.09"]);
    assert_eq!(amounts(&sold["cost"]), ["43.57"]);
    assert_eq!(sold["margin"]["amount"], "51.43");
    for free in ["hallmark", "dies", "postage"] {
        assert_eq!(sold[free], json!({"known": true, "amounts": []}), "{free}");
    }
    // Sent, and what that cost is not known yet: so is the whole, and it is not zero.
    let sent = json!({"pieces": [pieces[0]]});
    app.post(&format!("/v1/sales/{sale}/dispatches"), sent)
        .await
        .expect(201);
    let sent = told().await;
    assert_eq!(
        (&sent["postage"]["known"], &sent["cost"]["known"]),
        (&json!(false), &json!(false))
    );
    assert!(sent.get("margin").is_none());
    let charge = json!({"sale": sale, "amount": {"amount": "8.40", "currency": "GBP"}});
    let index = app.app.views.position();
    app.post("/v1/charges", charge).await.expect(201);
    let charged = told().await;
    assert_eq!(amounts(&charged["postage"]), ["8.40"]);
    assert_eq!(amounts(&charged["cost"]), ["51.97"]);
    assert_eq!(charged["margin"]["amount"], "43.03");
    // Euros are not taken off pounds.
    let euros = json!({"sale": sale, "amount": {"amount": "1.00", "currency": "EUR"}});
    app.post("/v1/charges", euros).await.expect(201);
    let mixed = told().await;
    assert_eq!(amounts(&mixed["cost"]).len(), 2);
    assert!(mixed.get("margin").is_none());
    let erase = json!({"index": index, "event": 0, "member": "amount", "reason": "request"});
    app.post_as(Role::Admin, "/v1/erasures", erase).await.expect(201);
    assert_eq!(told().await["postage"]["known"], false);
    for (body, pointer) in [
        (json!({"amount": {"amount": "1", "currency": "GBP"}}), ""),
        (
            json!({"sale": sale, "die": sale, "amount": {"amount": "1", "currency": "GBP"}}),
            "",
        ),
        (
            json!({"sale": sale, "amount": {"amount": "-1", "currency": "GBP"}}),
            "#/amount",
        ),
    ] {
        app.post("/v1/charges", body)
            .await
            .refused(422, "charge-impossible", pointer);
    }
    app.get_as(Role::Bench, &path).await.refused(403, "forbidden", "");
}
