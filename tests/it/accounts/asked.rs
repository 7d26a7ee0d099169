//! Shares, recalls, costs and suspicions as they are asked over HTTP, and on the command line of a demo book.

use crate::cli::{Desk, pourbook};
use crate::http::{TestApp, Workshop, item, lot};
use pourbook::http::Role;
use serde_json::{Value, json};

/// A second lot, melted with the heel of a melt of the first: 100 g of it with 147.50 g.
struct Mixed {
    app: TestApp,
    workshop: Workshop,
    second_lot: String,
    piece: String,
    melt: String,
}

impl Mixed {
    /// `priced`: whether the second lot has a price.
    async fn make(priced: bool) -> Self {
        let app = TestApp::start().await;
        let workshop = Workshop::open(&app).await;
        let (first, _) = workshop.pour(&app, &["51.00", "51.00"]).await;
        workshop.close(&app, &first).await;
        let mut other = lot(&workshop.session);
        other["fineness"] = json!("999.0");
        if !priced {
            other.as_object_mut().unwrap().remove("price");
        }
        let second_lot = app.done("/v1/lots", other).await;
        let lots = json!([{"lot": second_lot, "mass": "100.00"}]);
        let charge = json!({"metal": "silver", "session": workshop.session, "lots": lots, "heels": [first]});
        let melt = app.done("/v1/melts", charge).await;
        let pours = json!({"pours": [{"series": workshop.series, "shape": "oval"}]});
        let poured = app
            .post(&format!("/v1/melts/{melt}/pours"), pours)
            .await
            .expect(201);
        let piece = poured.json()["events"][0]["piece"].as_str().unwrap().to_owned();
        let weighed = workshop.tray("from_mould", vec![item(&app, &piece, "49.50")]);
        app.post("/v1/weighings", weighed).await.expect(201);
        Self {
            app,
            workshop,
            second_lot,
            piece,
            melt,
        }
    }

    async fn get(&self, address: &str) -> Value {
        self.app.get_as(Role::Office, address).await.expect(200).json()
    }

    async fn cost(&self) -> Value {
        self.get(&format!("/v1/pieces/{}/cost", self.piece)).await
    }
}

/// 250 g less two pieces of 51 g and 0.50 g lost leave a heel of 147.50 g: 59/99 of 247.50 g.
#[actix_web::test]
async fn shares_are_told_of_a_piece_and_its_melt() {
    let m = Mixed::make(true).await;
    let shares = m.get(&format!("/v1/pieces/{}/shares", m.piece)).await;
    assert_eq!(shares["lots"][0]["lot"], json!(m.workshop.lot));
    assert_eq!(shares["lots"][0]["share"], "59/99");
    assert_eq!(
        shares["lots"][0]["mass"],
        json!({"exact": "59/2", "grams": "29.50000"})
    );
    assert_eq!(
        shares["lots"][1]["mass"],
        json!({"exact": "20/1", "grams": "20.00000"})
    );
    // 29.5 g at 999.9 and 20 g at 999.0.
    assert_eq!(shares["fine"]["grams"], "49.47705");
    assert_eq!(shares["untraced"]["share"], "0/1");
    assert!(shares.get("origins").is_none(), "no refiner had any of it");
    let of_melt = m.get(&format!("/v1/melts/{}/shares", m.melt)).await;
    assert_eq!(of_melt["mass"], "247.50");
    assert_eq!(of_melt["lots"][1]["mass"]["grams"], "100.00000");
    // Before the second melt there was none of it.
    let address = format!("/v1/melts/{}/shares?at={}", m.melt, 8);
    m.app.get_as(Role::Office, &address).await.expect(404);
}

#[actix_web::test]
async fn a_recall_is_told_page_by_page_as_of_one_position() {
    let m = Mixed::make(true).await;
    let mut address = format!("/v1/lots/{}/recall?limit=2", m.workshop.lot);
    let (mut held, mut pages) = (Vec::new(), 0);
    let whole = m.get(&format!("/v1/lots/{}/recall", m.workshop.lot)).await;
    while !address.is_empty() {
        let reply = m.app.get_as(Role::Bench, &address).await.expect(200);
        held.extend(reply.json()["held"].as_array().unwrap().clone());
        let link = reply.header("link").unwrap_or_default();
        address = link
            .trim_start_matches('<')
            .split('>')
            .next()
            .unwrap_or_default()
            .to_owned();
        assert!(address.is_empty() || address.contains("at="), "{address}");
        pages += 1;
        // What is recorded between two pages is on none of them.
        m.app.done("/v1/lots", lot(&m.workshop.session)).await;
    }
    assert!(pages > 2);
    assert_eq!(Value::Array(held), whole["held"]);
    assert_eq!(whole["all"]["grams"], "500.00000");
    assert_eq!(whole["untraced"]["exact"], "0/1");
    // Two pieces of 51 g, and 29.50 g of the third.
    let of_pieces: Vec<&Value> = whole["held"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|held| held["place"] == "piece")
        .map(|held| &held["mass"]["grams"])
        .collect();
    assert_eq!(of_pieces, ["51.00000", "51.00000", "29.50000"]);
    let of_melt = m.get(&format!("/v1/melts/{}/recall", m.melt)).await;
    assert_eq!(of_melt["count"], 2);
}

/// 500 g for 431.20 each: 49.50 g cost 42.6888, whichever lot they are of.
#[actix_web::test]
async fn what_a_piece_s_metal_cost_is_for_the_office_alone() {
    let m = Mixed::make(true).await;
    let cost = m.cost().await;
    assert_eq!(cost["known"], true);
    assert_eq!(cost["sums"][0]["amount"], "42.69");
    assert_eq!(cost["sums"][0]["exact"], "53361/1250");
    // 25.4408 and 17.2480 add up to 42.69 as printed.
    let of_lots = [&cost["lots"][0], &cost["lots"][1]].map(|line| line["cost"]["amount"].as_str().unwrap());
    assert_eq!(of_lots, ["25.44", "17.25"]);
    let address = format!("/v1/pieces/{}/cost", m.piece);
    m.app.get_as(Role::Bench, &address).await.expect(403);
    m.app.get_as(Role::Auditor, &address).await.expect(403);
}

#[actix_web::test]
async fn a_cost_that_is_not_known_is_said_so_and_never_zero() {
    let m = Mixed::make(false).await;
    let cost = m.cost().await;
    assert_eq!(cost["known"], false);
    assert_eq!(cost["lots"][1]["ground"], "not_known");
    assert!(cost["lots"][1].get("cost").is_none());
    assert_eq!(cost["sums"][0]["amount"], "25.44");
    // A price that is erased is known no longer.
    let row = m.get(&format!("/v1/lots/{}", m.workshop.lot)).await;
    let erasure = json!({"index": row["since"], "event": 0, "member": "price", "reason": "request"});
    let erased = m.app.post_as(Role::Admin, "/v1/erasures", erasure).await;
    erased.expect(201);
    let cost = m.cost().await;
    assert_eq!((&cost["known"], &cost["sums"]), (&json!(false), &json!([])));
}

/// Shares are remembered, and not beyond a correction: the heel went in with 50 g, not with 100.
#[actix_web::test]
async fn a_correction_makes_the_shares_anew() {
    let m = Mixed::make(true).await;
    let address = format!("/v1/melts/{}/shares", m.melt);
    assert_eq!(m.get(&address).await["lots"][1]["share"], "40/99");
    let row = m.get(&format!("/v1/melts/{}", m.melt)).await;
    let heel = row["inputs"]
        .as_array()
        .unwrap()
        .iter()
        .find(|input| input["from"] == "heel");
    let instead = json!({"command": "charge_melt", "metal": "silver", "session": m.workshop.session,
        "lots": [{"lot": m.second_lot, "mass": "147.50"}], "heels": [heel.unwrap()["melt"]]});
    let body = json!({"corrections": [{"index": row["since"], "instead": instead}], "reason": "mistyped"});
    m.app.post("/v1/corrections", body).await.expect(201);
    assert_eq!(m.get(&address).await["lots"][1]["share"], "1/2");
    let before = format!("{address}?at={}", row["since"].as_u64().unwrap() + 1);
    assert_eq!(m.get(&before).await["lots"][1]["share"], "40/99");
}

#[actix_web::test]
async fn a_book_without_assays_has_no_suspicion() {
    let m = Mixed::make(true).await;
    assert_eq!(m.get("/v1/lots/suspects").await["metals"], json!([]));
    for bad in ["0", "1001", "many"] {
        let address = format!("/v1/lots/suspects?assay_uncertainty={bad}");
        m.app.get_as(Role::Office, &address).await.expect(400);
    }
}

#[test]
fn the_demo_s_shares_recalls_and_suspects_are_told_and_refused() {
    let desk = Desk::new();
    let book = desk.demo();
    // 336.74 g of the first lot and 163.20 g of the second.
    let told = pourbook(&["shares", &book, "3-01"]);
    let told = told.ends(
        0,
        &[
            "pour 3-01  51.13 g",
            "34.43917 g  lot 1 at 999.9  16837/24997",
            "not traced",
        ],
    );
    assert!(told.out.contains("well mixed"));
    let json = pourbook(&["shares", &book, "TW-0009-59", "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(json["lots"][1]["share"], "8160/24997");
    pourbook(&["shares", &book, "99-01"]).ends(1, &["no piece of this book is 99-01"]);
    pourbook(&["shares", &book, "3-01", "--at", "then"]).ends(2, &["a position in the log, or a day"]);
    let recall = pourbook(&["recall", &book, "2"]);
    recall.ends(
        0,
        &[
            "lot 2: 1000.20000 g in",
            "piece 3-06 TW-0013-47, lost",
            "0.00000 g not traced",
        ],
    );
    let json = pourbook(&["recall", &book, "--melt", "14", "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(
        (&json["number"], &json["all"]["grams"]),
        (&json!(14), &json!("182.19000"))
    );
    pourbook(&["recall", &book, "99"]).ends(1, &["there is no lot or melt of that number"]);
    pourbook(&["recall", &book]).ends(2, &["required"]);
    let told = pourbook(&["suspects", &book]);
    told.ends(0, &["1 contradict what was declared", "A suspicion, not a fact"]);
    pourbook(&["suspects", &book, "--assay-uncertainty", "0"]).ends(2, &["assay-uncertainty"]);
}
