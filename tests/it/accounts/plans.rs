//! How many are still to be poured, by the record of a book: what counts as good, the spread of moulds, and that the plan
//! is the calculator's own answer to the record.

use crate::http::{Reply, TestApp, Workshop, item, series};
use pourbook::http::Role;
use serde_json::{Value, json};

async fn asked(app: &TestApp, series: &str, query: &str) -> Reply {
    let path = format!("/v1/series/{series}/plan{query}");
    app.get_as(Role::Bench, &path).await
}

async fn plan(app: &TestApp, series: &str, query: &str) -> Value {
    asked(app, series, query).await.expect(200).json()
}

#[track_caller]
fn counts(plan: &Value, wanted: [u64; 7]) {
    let names = [
        "numbered",
        "under_way",
        "poured",
        "good",
        "bad",
        "undecided",
        "wanted",
    ];
    let found = names.map(|name| plan["shapes"][0][name].as_u64().unwrap());
    assert_eq!(found, wanted, "{names:?}: {plan:#}");
}

#[actix_web::test]
async fn a_plan_is_what_the_record_says() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let before = app.app.views.position();
    let empty = plan(&app, &shop.series, "").await;
    counts(&empty, [0, 0, 0, 0, 0, 0, 4]);
    assert_eq!(empty["shapes"][0]["spread"], Value::Null);
    // Nothing was poured, so every yield is alike: n pours give 4 with chance (n - 3) / (n + 1), by the rule of succession.
    assert_eq!(empty["plan"]["pours"], 79);

    let (melt, pieces) = shop.pour(&app, &["50.42", "50.60", "49.50", "51.60"]).await;
    let now = plan(&app, &shop.series, "").await;
    // Two accepted, one under; the one over may still be filed.
    counts(&now, [0, 2, 4, 2, 1, 1, 2]);
    // Mean and deviation by hand: 202.12 / 4, and the root of 2.2228 / 3.
    assert_eq!(now["shapes"][0]["spread"]["mean"], "50.53");
    assert_eq!(now["shapes"][0]["spread"]["deviation"], "0.861");
    assert_eq!(now["shapes"][0]["aim"], "50.60");
    let question = json!({"shapes": [{"shape": "oval", "wanted": 2, "good": 2, "poured": 3, "mean": "50.53"}], "cavities": 4});
    let answered = app
        .post("/v1/calculations/plan", question)
        .await
        .expect(200)
        .json();
    assert_eq!(now["plan"], answered, "the plan is the calculator's answer");

    // What leaves the series was no good to it, and its mass still counts in the spread.
    let mut open = series("DW");
    open["kind_of"] = json!("open");
    for of_an_edition in ["limits", "shapes"] {
        open.as_object_mut().unwrap().remove(of_an_edition);
    }
    let open = app.done("/v1/series", open).await;
    let moving = json!({"to": open});
    let path = format!("/v1/pieces/{}/series", pieces[3]);
    app.post(&path, moving).await.expect(201);
    counts(&plan(&app, &shop.series, "").await, [0, 2, 4, 2, 2, 0, 2]);
    let elsewhere = plan(&app, &open, "").await;
    assert_eq!(
        elsewhere["shapes"],
        json!([]),
        "it was not poured for the other series"
    );
    assert!(elsewhere.get("plan").is_none());

    // Heel and loss come with the first melt that is weighed out.
    shop.close(&app, &melt).await;
    let closed = plan(&app, &shop.series, "?melts=2&cavities=3&confidence=0.8&prior=2:1").await;
    // The charge was 250 g and 0.50 g of it is lost: 2000 ppm.
    let formula = closed["plan"]["formula"].as_array().unwrap();
    let formula: Vec<&str> = formula.iter().map(|line| line.as_str().unwrap()).collect();
    assert!(formula[0].contains("BetaBin(n, 4, 3)"), "{formula:?}");
    assert!(formula[1].contains("2000 ppm"), "{formula:?}");
    assert!(closed["plan"]["within_least"].is_string());
    // What is still to be poured once one has its number.
    let (melt, pieces) = shop.pour(&app, &["50.70"]).await;
    shop.certify(&app, &melt, &pieces[0], "50.70").await;
    counts(&plan(&app, &shop.series, "").await, [1, 2, 5, 3, 2, 0, 1]);
    // As of before it all.
    let then = plan(&app, &shop.series, &format!("?at={before}")).await;
    assert_eq!(then, empty);
}

#[actix_web::test]
async fn the_spread_is_told_for_each_mould() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let charge =
        json!({"metal": "silver", "session": shop.session, "lots": [{"lot": shop.lot, "mass": "250.00"}]});
    let melt = app.done("/v1/melts", charge).await;
    let pour = |mould: Option<&str>| {
        let mut pour = json!({"series": shop.series, "shape": "oval"});
        if let Some(mould) = mould {
            pour["mould"] = json!(mould);
        }
        pour
    };
    let path = format!("/v1/melts/{melt}/pours");
    let bad = app.post(&path, json!({"pours": [pour(Some("M 2"))]})).await;
    let bad = bad.expect(422).json();
    assert_eq!(bad["errors"][0]["pointer"], "#/pours/0/mould", "{bad}");
    assert!(
        bad["errors"][0]["detail"]
            .as_str()
            .unwrap()
            .contains("a mould is"),
        "{bad}"
    );
    let pours = json!({"pours": [pour(Some("m2")), pour(Some("m1")), pour(Some("m2")), pour(None)]});
    let poured = app.post(&path, pours).await.expect(201).json();
    let events = poured["events"].as_array().unwrap();
    assert_eq!(events[0]["mould"], "m2");
    assert!(events[3].get("mould").is_none(), "it is absent when unused");
    let pieces = events.iter().map(|event| event["piece"].as_str().unwrap());
    let masses = ["50.40", "50.90", "50.60", "50.20"];
    let items = pieces
        .zip(masses)
        .map(|(piece, mass)| item(&app, piece, mass))
        .collect();
    app.post("/v1/weighings", shop.tray("from_mould", items))
        .await
        .expect(201);
    let spread = |mould: Value, weighed: u64, mean: &str, deviation: Value| json!({"mould": mould, "weighed": weighed, "mean": mean, "deviation": deviation});
    let found = plan(&app, &shop.series, "").await;
    // Two of 50.40 and 50.60 have a deviation of the root of 0.02, 0.14142…
    assert_eq!(
        found["shapes"][0]["moulds"],
        json!([
            spread(Value::Null, 1, "50.20", Value::Null),
            spread(json!("m1"), 1, "50.90", Value::Null),
            spread(json!("m2"), 2, "50.50", json!("0.142")),
        ])
    );
    let piece = app
        .get_as(
            Role::Bench,
            &format!("/v1/pieces/{}", events[0]["piece"].as_str().unwrap()),
        )
        .await;
    assert_eq!(piece.expect(200).json()["mould"], "m2");
}

#[actix_web::test]
async fn a_plan_that_cannot_be_made_is_refused() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    for (query, status, says) in [
        ("?confidence=1", 422, "above 0 and below 1"),
        ("?confidence=0", 422, "above 0 and below 1"),
        ("?confidence=0.99999999", 422, "more than 50000 pours"),
        ("?melts=3", 422, "needs the cavities"),
        ("?melts=3&cavities=4000", 422, "at most 2000"),
        ("?confidence=95%25", 400, "confidence"),
        ("?prior=0:1", 400, "prior"),
        ("?spoon=1", 400, "spoon"),
    ] {
        let problem = asked(&app, &shop.series, query).await.expect(status).json();
        assert!(
            problem["detail"].as_str().unwrap().contains(says),
            "{query}: {problem}"
        );
    }
    let nobody = "11111111-1111-4111-8111-111111111111";
    asked(&app, nobody, "").await.refused(404, "not-found", "");
    asked(&app, "TW", "").await.refused(404, "not-found", "");
}
