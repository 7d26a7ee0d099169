//! The whole life of a piece through HTTP, and each fact that forbids, named; what is refused changes nothing.

use super::edition::{Edition, of};
use super::{TestApp, item};
use pourbook::http::Role;
use serde_json::{Value, json};

const MASSES: &[&str] = &["50.40", "50.50", "50.60", "50.45", "50.55", "50.65"];
const FINAL: &[&str] = &["50.38", "50.48", "50.58"];

#[actix_web::test]
async fn a_piece_is_struck_hallmarked_numbered_promised_sold_sent_given_back_and_for_sale_again() {
    let mut told = Edition::poured(&MASSES[..3]).await;
    told.strike(&[0, 1, 2], "good").await;
    let serials = of(&told.done("/v1/serials", &[0, 1, 2]).await, "serial");
    let consignment = told.send(&[0, 1, 2]).await;
    let path = format!("/v1/consignments/{consignment}");
    let open = told.app.get_as(Role::Bench, &path).await.expect(200).json();
    assert_eq!(
        (&open["state"], &open["mass"]),
        (&json!("at_office"), &json!("151.50"))
    );
    assert!(open["private"].is_null(), "the bench reads no names");
    let open = told.app.get_as(Role::Office, &path).await.expect(200).json();
    assert_eq!(open["private"]["office"], "Eastmarch Assay Hall");
    let back = format!("{path}/return");
    told.app.post(&back, told.marked(&[0, 1, 2])).await.expect(201);
    told.weighed("final", FINAL).await;
    let numbers = told.done("/v1/numbers", &[0, 1, 2]).await.json();
    assert_eq!(numbers["events"][2]["number"], 3);
    told.next_session().await;
    told.done("/v1/certificates", &[0, 1, 2]).await;

    let order = json!({"series": told.series, "shapes": [{"shape": "oval", "count": 2}], "buyer": "Ansel Reedwright"});
    let order = told.app.done("/v1/orders", order).await;
    told.of_piece(0, "reservation", json!({"order": order}))
        .await
        .expect(201);
    let mut sale = told.sale(&[0, 1]);
    sale["order"] = json!(order);
    let sale = told.app.done("/v1/sales", sale).await;
    let row = told
        .app
        .get_as(Role::Bench, &format!("/v1/orders/{order}"))
        .await
        .json();
    assert_eq!((&row["state"], &row["sold"]), (&json!("supplied"), &json!([2])));
    let parcel = json!({"pieces": [told.pieces[0], told.pieces[1]], "weight": "212 g", "seal": "T-14",
                        "insured": {"amount": "190.14", "currency": "GBP"}, "carrier": "Hillfoot Carriers"});
    let of_sale = |what: &str| format!("/v1/sales/{sale}/{what}");
    told.app.post(&of_sale("dispatches"), parcel).await.expect(201);
    told.done(&of_sale("deliveries"), &[0, 1]).await;
    told.of_piece(0, "return", json!({"note": "too large for the shelf"}))
        .await
        .expect(201);
    told.of_piece(0, "restocking", json!({})).await.expect(201);
    assert_eq!(
        (told.state(0).await, told.state(1).await),
        ("certified".into(), "delivered".into())
    );
    let buyback =
        json!({"session": told.session, "mass": "50.46", "price": {"amount": "60.00", "currency": "GBP"}});
    told.of_piece(1, "buyback", buyback).await.expect(201);
    assert_eq!(told.state(1).await, "bought_back");
    let row = told
        .app
        .get_as(Role::Bench, &format!("/v1/sales/{sale}"))
        .await
        .json();
    assert_eq!(row["undone"], json!([told.pieces[0], told.pieces[1]]));
    told.sell(&[0]).await;
    told.app.released().await;
    let proof = told.app.get(&format!("/v1/serials/{}/proof", serials[0])).await;
    proof.expect(200);
}

/// The states that a stranger is told, at once, and nothing that is private.
#[actix_web::test]
async fn the_public_record_tells_the_state_at_once_and_no_name_place_or_amount() {
    let mut told = Edition::poured(&MASSES[..3]).await;
    told.strike(&[0, 1, 2], "good").await;
    let serials = of(&told.done("/v1/serials", &[0, 1, 2]).await, "serial");
    let consignment = told.send(&[0, 1, 2]).await;
    let record = async |app: &TestApp, place: usize| {
        let reply = app
            .get(&format!("/v1/serials/{}", serials[place]))
            .await
            .expect(200);
        for private in [
            "Eastmarch",
            "S-88",
            "Ansel",
            "Reedwright",
            "B-2031",
            "95.07",
            "Hillfoot",
            "T-14",
            "CR 42",
            "the stall",
            "Lantern & Loom",
            "Fenwick",
        ] {
            assert!(!reply.text().contains(private), "{private}: {}", reply.text());
        }
        reply.json()
    };
    assert_eq!(record(&told.app, 0).await["state"], "at_office");
    let back = format!("/v1/consignments/{consignment}/return");
    told.app.post(&back, told.marked(&[0, 1, 2])).await.expect(201);
    told.weighed("final", FINAL).await;
    told.done("/v1/numbers", &[0, 1, 2]).await;
    told.next_session().await;
    told.done("/v1/certificates", &[0, 1, 2]).await;
    let shown = record(&told.app, 0).await;
    assert_eq!(shown["certificate"]["hallmark"], "hallmarked");
    assert_eq!(
        shown["certificate"]["marks"]["marks"][3],
        json!({"mark": "date_letter", "legible": false})
    );
    assert_eq!(
        (&shown["number"], &shown["number_burned"]),
        (&json!(1), &json!(false))
    );
    assert_eq!(shown["series"]["state"], "open");

    let sale = told.sell(&[0, 1]).await;
    assert_eq!(record(&told.app, 0).await["state"], "sold");
    let parcel = json!({"pieces": [told.pieces[0]], "seal": "T-14", "carrier": "Hillfoot Carriers"});
    told.app
        .post(&format!("/v1/sales/{sale}/dispatches"), parcel)
        .await
        .expect(201);
    told.done(&format!("/v1/sales/{sale}/losses"), &[0]).await;
    let stolen = json!({"reference": "CR 42", "note": "from the stall"});
    told.of_piece(1, "theft", stolen).await.expect(201);
    told.of_piece(2, "destruction", json!({"witness": "Fenwick of the forge"}))
        .await
        .expect(201);
    for (place, state) in ["lost", "stolen", "destroyed"].into_iter().enumerate() {
        let shown = record(&told.app, place).await;
        assert_eq!(shown["state"], state);
        assert_eq!(shown["number_burned"], state != "stolen", "{state}");
        assert!(shown["notice"].as_str().unwrap().contains(state), "{shown}");
    }
    told.of_piece(1, "recovery", json!({})).await.expect(201);
    let shown = record(&told.app, 1).await;
    assert_eq!(
        (&shown["state"], &shown["number_burned"]),
        (&json!("sold"), &json!(false))
    );
    assert!(shown["notice"].is_null());

    // The edition is closed, and its record says what became of its numbers.
    let gone = json!({"how": "returned"});
    told.app
        .post(&format!("/v1/dies/{}/disposal", told.die), gone)
        .await
        .expect(201);
    told.app
        .post(&format!("/v1/series/{}/closing", told.series), json!({}))
        .await
        .expect(201);
    let closed = record(&told.app, 1).await["series"].clone();
    assert_eq!(closed["state"], "closed");
    let tally = json!([{"shape": "oval", "size": 10, "given": 3, "burned": [1, 3]}]);
    assert_eq!(
        (&closed["closed"]["shapes"], &closed["closed"]["dies"]),
        (&tally, &json!(1))
    );
    // A number that was burned at the close stays burned, also of a piece that turns up.
    told.of_piece(0, "finding", json!({})).await.expect(201);
    let shown = record(&told.app, 0).await;
    assert_eq!(
        (&shown["state"], &shown["number_burned"]),
        (&json!("dispatched"), &json!(true))
    );
    // One that is stolen after the close was counted as there: its number is not burned, and its page says nothing else.
    told.of_piece(1, "theft", json!({})).await.expect(201);
    let shown = record(&told.app, 1).await;
    assert_eq!(shown["number_burned"], false);
    told.app.released().await;
    for (place, burned) in [(0, true), (1, false)] {
        let serial = record(&told.app, place).await["serial"]
            .as_str()
            .unwrap()
            .to_owned();
        let page = told.app.get(&format!("/p/{serial}")).await.expect(200).text();
        assert_eq!(
            page.contains(&format!("Number {} of 10 is burned", place + 1)),
            burned,
            "{page}"
        );
    }
}

/// What stands in the book, to see that nothing of it moved.
async fn standing(told: &Edition) -> Vec<Value> {
    let mut all = vec![json!(told.app.app.views.position())];
    for list in ["pieces", "series", "dies", "consignments", "orders", "sales"] {
        let path = format!("/v1/{list}?limit=200");
        all.push(told.app.get_as(Role::Office, &path).await.expect(200).json());
    }
    all
}

/// A command that is refused: by which fact, in which words, and nothing moved.
async fn forbidden(told: &Edition, path: &str, body: Value, code: &str, says: &[&str]) {
    let before = standing(told).await;
    let reply = told.app.post(path, body).await.expect(409);
    assert_eq!(reply.problem(), code, "{}", reply.text());
    let detail = reply.json()["detail"].as_str().unwrap().to_owned();
    for word in says {
        assert!(detail.contains(word), "{word}: {detail}");
    }
    assert_eq!(standing(told).await, before, "{code}");
}

#[actix_web::test]
async fn each_fact_that_forbids_is_named_and_nothing_changes() {
    // 0 and 1 are for sale, 2 is a spare, 3 is struck, 4 mis-struck, 5 at the office.
    let mut told = Edition::poured(MASSES).await;
    told.strike(&[0, 1, 2, 3, 5], "good").await;
    told.strike(&[4], "off_centre").await;
    told.done("/v1/serials", &[0, 1, 2, 3, 5]).await;
    let first = told.send(&[0, 1, 2]).await;
    let short = told.marked(&[0, 1]);
    let back = format!("/v1/consignments/{first}/return");
    let missing = told.pieces[2].clone();
    forbidden(&told, &back, short, "return-short", &["2 lines for 3", &missing]).await;
    let twice = told.consignment(&[1, 3]);
    forbidden(
        &told,
        "/v1/consignments",
        twice,
        "in-consignment",
        &[&told.pieces[1], &first],
    )
    .await;
    told.app.post(&back, told.marked(&[0, 1, 2])).await.expect(201);
    told.send(&[5]).await;
    let items: Vec<Value> = (0..3)
        .map(|place| item(&told.app, &told.pieces[place], FINAL[place]))
        .collect();
    let tray = json!({"session": told.session, "stage": "final", "items": items});
    told.app.post("/v1/weighings", tray).await.expect(201);
    told.done("/v1/numbers", &[0, 1]).await;
    told.done("/v1/spares", &[2]).await;
    told.next_session().await;
    told.done("/v1/certificates", &[0, 1]).await;

    let number = |place: usize| json!({"pieces": [told.pieces[place]]});
    forbidden(
        &told,
        "/v1/numbers",
        number(3),
        "not-hallmarked",
        &["requires a hallmark"],
    )
    .await;
    forbidden(
        &told,
        "/v1/numbers",
        number(4),
        "wrong-state",
        &["mis_struck", "number"],
    )
    .await;

    let ten = |count: u32| json!({"series": told.series, "shapes": [{"shape": "oval", "count": count}]});
    let order = told.app.done("/v1/orders", ten(10)).await;
    forbidden(
        &told,
        "/v1/orders",
        ten(1),
        "over-promised",
        &["oval", "10 are promised", "10 can still"],
    )
    .await;
    told.app
        .post(&format!("/v1/orders/{order}/cancellation"), json!({}))
        .await
        .expect(201);
    forbidden(&told, "/v1/orders", ten(11), "over-promised", &["11 more"]).await;

    let sale = told.sell(&[0]).await;
    forbidden(
        &told,
        "/v1/sales",
        told.sale(&[0]),
        "live-sale",
        &["sale 1", "stands"],
    )
    .await;
    let early = json!({"pieces": [told.pieces[1]]});
    let dispatch = format!("/v1/sales/{sale}/dispatches");
    forbidden(&told, &dispatch, early, "not-in-sale", &[&told.pieces[1]]).await;
    told.of_piece(1, "theft", json!({"reference": "CR 42"}))
        .await
        .expect(201);
    forbidden(
        &told,
        "/v1/sales",
        told.sale(&[1]),
        "wrong-state",
        &["stolen", "sold"],
    )
    .await;

    // All but the spare is put in order.
    let how = json!({"how": "returned"});
    told.app
        .post(&format!("/v1/dies/{}/disposal", told.die), how)
        .await
        .expect(201);
    let consignments = told
        .app
        .get_as(Role::Office, "/v1/consignments?state=at_office")
        .await
        .json();
    let second = consignments["items"][0]["consignment"].as_str().unwrap();
    let kept = json!({"lines": [{"piece": told.pieces[5], "outcome": "kept"}]});
    told.app
        .post(&format!("/v1/consignments/{second}/return"), kept)
        .await
        .expect(201);
    told.of_piece(4, "archive", json!({})).await.expect(201);
    told.of_piece(3, "destruction", json!({"witness": "Fenwick of the forge"}))
        .await
        .expect(201);
    let closing = format!("/v1/series/{}/closing", told.series);
    forbidden(
        &told,
        &closing,
        json!({}),
        "pieces-loose",
        &[&told.pieces[2], "spare", "1 such"],
    )
    .await;
    told.of_piece(2, "destruction", json!({"witness": "Fenwick of the forge"}))
        .await
        .expect(201);
    told.app.post(&closing, json!({})).await.expect(201);
}
