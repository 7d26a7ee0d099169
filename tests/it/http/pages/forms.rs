//! The two forms of a page and what stands behind them: what a buyer measured, and the code of a certificate.

use super::{read, says};
use crate::http::find::code;
use crate::http::{Reply, Served, TestApp, Workshop};
use actix_web::test::TestRequest;
use pourbook::http::{Quotas, Role};
use pourbook::proof::Hash;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::sync::atomic::Ordering;

/// A code of the right form that is no certificate's; its check character was computed apart, by ISO/IEC 7064 MOD 37,36.
const NOBODYS: &str = "7Q4XK2M9RBB";

async fn ask(app: &TestApp, path: &str, body: Value) -> Reply {
    app.send(posted(path, &body)).await
}

fn posted(path: &str, body: &Value) -> TestRequest {
    let request = TestRequest::post().uri(path);
    request
        .insert_header(("content-type", "application/json"))
        .set_payload(body.to_string())
}

async fn send_form(app: &TestApp, path: &str, body: &str) -> Reply {
    let request = TestRequest::post().uri(path);
    let request = request.insert_header(("content-type", "application/x-www-form-urlencoded"));
    app.send(request.set_payload(body.to_owned())).await
}

/// A certified piece of 50.42 g, silver 999: the app, its shop, its serial and its id.
async fn certified(quotas: Quotas) -> (TestApp, Workshop, String, String) {
    let app = TestApp::serve(Served {
        quotas,
        ..Served::default()
    })
    .await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.60"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    (app, shop, serial, pieces[0].clone())
}

/// `E_n = (x - y) / sqrt(U_x^2 + U_y^2)` (ISO 13528, from memory), from what the reply itself says.
fn normalised_error(held: &Value) -> f64 {
    let of = |name: &str| held[name].as_str().unwrap().parse::<f64>().unwrap();
    (of("reading") - of("recorded")) / of("uncertainty").hypot(of("recorded_uncertainty"))
}

#[actix_web::test]
async fn a_weight_agrees_or_does_not_and_the_figures_say_why() {
    let (app, _, serial, _) = certified(Quotas::OFF).await;
    let path = format!("/v1/serials/{serial}/comparisons");
    for (mass, step, verdict) in [
        ("50.40", "0.01", "agree"),
        ("50.4", "0.1", "agree"),
        ("50.50", "0.01", "repeat-on-another-scale"),
        ("50.72", "0.01", "do-not-agree"),
        ("49.72", "0.01", "do-not-agree"),
        ("50", "1", "agree"),
        ("50", "2", "cannot-tell"),
    ] {
        let reply = ask(&app, &path, json!({"weight": {"mass": mass, "step": step}})).await;
        let told = reply.expect(200).json();
        assert_eq!(told["verdict"], verdict, "{mass} at {step}: {told:#}");
        let held = &told["weight"];
        if held["answer"] == "compared" {
            let error: f64 = held["normalised_error"].as_str().unwrap().parse().unwrap();
            assert!((error - normalised_error(held)).abs() < 0.011, "{held:#}");
            assert_eq!(held["recorded"], "50.42");
        }
        assert_eq!(told["state"], "certified");
    }
    // A serial that is none is told as anywhere.
    for (serial, status) in [("TW-9999", 404), ("hello", 422)] {
        let path = format!("/v1/serials/{serial}/comparisons");
        ask(&app, &path, json!({"ring": "clear"})).await.expect(status);
    }
}

/// 50.42 g of silver displace 4.80 g of water at 21 degrees (density near 0.998 g/cm3): 10.48 g/cm3. As much lead would
/// displace 4.43 g, as much copper 5.62 g.
#[actix_web::test]
async fn a_weighing_in_water_excludes_what_it_can_and_says_what_it_cannot() {
    let (app, _, serial, _) = certified(Quotas::OFF).await;
    let path = format!("/v1/serials/{serial}/comparisons");
    let weighed = |in_water: &str| json!({"gravity": {"method": "cup", "in_air": "50.42", "in_water": in_water, "water": "21", "step": "0.01"}});
    let silver = ask(&app, &path, weighed("4.80")).await.expect(200).json();
    assert_eq!(silver["verdict"], "agree", "{silver:#}");
    assert_eq!(silver["gravity"]["against"]["against"], "alloy");
    let possible = &silver["gravity"]["possible"];
    let names = |list: &str| -> Vec<String> { serde_json::from_value(possible[list].clone()).unwrap() };
    assert!(names("fits").contains(&"silver 999".to_owned()), "{possible:#}");
    assert!(
        names("fits").contains(&"lead with tin, bismuth or molybdenum".to_owned()),
        "{possible:#}"
    );
    assert!(
        names("excluded").contains(&"copper, plated".to_owned()),
        "{possible:#}"
    );
    let copper = ask(&app, &path, weighed("5.62")).await.expect(200).json();
    assert_eq!(copper["verdict"], "do-not-agree", "{copper:#}");
    // A scale that is too coarse says so, and what it says says nothing against the record.
    let coarse = json!({"gravity": {"method": "hung", "in_air": "50.4", "in_water": "45.6", "water": "21", "step": "0.1"}});
    let coarse = ask(&app, &path, coarse).await.expect(200).json();
    assert_eq!(
        (
            coarse["verdict"].as_str(),
            coarse["gravity"]["against"]["answer"].as_str()
        ),
        (Some("cannot-tell"), Some("cannot_tell"))
    );
    assert_eq!(coarse["gravity"].get("possible"), None);
    // One thing that does not agree is not outvoted.
    let both = json!({"weight": {"mass": "50.42", "step": "0.01"}, "magnet": "pulled", "ring": "clear"});
    let both = ask(&app, &path, both).await.expect(200).json();
    assert_eq!(
        (both["verdict"].as_str(), both["weight"]["verdict"].as_str()),
        (Some("do-not-agree"), Some("agree"))
    );
}

#[actix_web::test]
async fn what_cannot_be_is_refused_by_its_name() {
    let (app, _, serial, _) = certified(Quotas::OFF).await;
    let path = format!("/v1/serials/{serial}/comparisons");
    let form = format!("/p/{serial}/comparison");
    let weight = |mass: &str, step: &str| json!({"weight": {"mass": mass, "step": step}});
    let water = |air: &str, water: &str, temperature: &str, step: &str| json!({"gravity": {"method": "hung", "in_air": air, "in_water": water, "water": temperature, "step": step}});
    for (body, pointer, typed, field) in [
        (json!({}), "#", "", ""),
        (
            weight("0.00", "0.01"),
            "#/weight/mass",
            "mass=0.00&step=0.01",
            "mass",
        ),
        (weight("50.42", "0"), "#/weight/step", "mass=50.42&step=0", "step"),
        (
            weight("50.425", "0.01"),
            "#/weight/mass",
            "mass=50.425&step=0.01",
            "mass",
        ),
        (weight("-1", "0.01"), "#/weight/mass", "mass=-1&step=0.01", "mass"),
        (
            weight("1e3", "0.01"),
            "#/weight/mass",
            "mass=1e3&step=0.01",
            "mass",
        ),
        (
            water("50.42", "50.42", "21", "0.01"),
            "#/gravity/in_water",
            "method=hung&in_air=50.42&in_water=50.42&water=21&water_step=0.01",
            "in_water",
        ),
        (
            water("50.42", "0", "21", "0.01"),
            "#/gravity/in_water",
            "method=hung&in_air=50.42&in_water=0&water=21&water_step=0.01",
            "in_water",
        ),
        (
            water("50.42", "45.62", "41", "0.01"),
            "#/gravity/water",
            "method=hung&in_air=50.42&in_water=45.62&water=41&water_step=0.01",
            "water",
        ),
        (
            water("50.42", "45.62", "21", "0"),
            "#/gravity/step",
            "method=hung&in_air=50.42&in_water=45.62&water=21&water_step=0",
            "water_step",
        ),
        (json!({"magnet": "strong"}), "#/magnet", "magnet=strong", "magnet"),
        (json!({"ring": "loud"}), "#/ring", "ring=loud", "ring"),
    ] {
        let reply = ask(&app, &path, body.clone()).await.expect(422);
        assert_eq!(
            (reply.problem().as_str(), reply.pointer().as_str()),
            ("invalid", pointer),
            "{body}"
        );
        let page = send_form(&app, &form, typed).await.expect(422).text();
        says(&read(&page), "Nothing was compared");
        let marked = page.matches("aria-invalid").count();
        assert_eq!(marked, usize::from(!field.is_empty()), "{typed}: {page}");
        if !field.is_empty() {
            assert!(
                page.contains(&format!("aria-describedby=\"{field}-fault\"")),
                "{typed}: {page}"
            );
        }
        assert!(!page.contains("<section id=\"answer\""), "{typed}");
    }
    // A step without a weight, readings in water without the way: asked for.
    for (typed, field) in [
        ("mass=50.42", "step"),
        ("in_air=50.42", "method"),
        ("method=cup&in_air=50.42", "in_water"),
    ] {
        let page = send_form(&app, &form, typed).await.expect(422).text();
        assert!(
            page.contains(&format!("aria-describedby=\"{field}-fault\"")),
            "{typed}: {page}"
        );
        // What is marked is not folded away.
        assert_eq!(
            page.contains("<details open>"),
            field != "step",
            "{typed}: {page}"
        );
    }
    send_form(&app, &form, "mass=1&mass=2").await.expect(400);
    send_form(&app, &form, &format!("mass={}", "9".repeat(5_000)))
        .await
        .expect(422);
    send_form(&app, &form, &"x".repeat(300_000)).await.expect(413);
    let other = TestRequest::post()
        .uri(&form)
        .insert_header(("content-type", "application/json"));
    app.send(other.set_payload("{}")).await.expect(415);
}

#[actix_web::test]
async fn the_form_answers_as_the_api_does_and_never_says_what_an_object_is() {
    let (app, _, serial, piece) = certified(Quotas::OFF).await;
    let form = format!("/p/{serial}/comparison");
    // A decimal comma is one.
    let page = send_form(&app, &form, "mass=50%2C40&step=0.01&method=cup&in_air=50%2C42&in_water=4.80&water=21&water_step=0.01&magnet=no_pull&ring=dull").await;
    assert_eq!(page.header("cache-control"), Some("no-store"));
    let html = page.expect(200).text();
    let text = read(&html);
    says(
        &text,
        "What was measured agrees with the record, as far as it goes.",
    );
    says(&text, "50.40 g");
    says(&text, "10.4");
    says(&text, "copper, plated");
    assert!(
        html.contains("value=\"50,40\""),
        "what was typed stands in the form again"
    );
    let off = send_form(&app, &form, "mass=48.00&step=0.01")
        .await
        .expect(200)
        .text();
    says(&read(&off), "What was measured does not agree with the record.");
    for page in [text, read(&off)] {
        let page = page.to_lowercase();
        for never in ["fake", "counterfeit", "authentic", "forgery"] {
            assert!(!page.contains(never), "{never}");
        }
        assert_eq!(
            page.matches("genuine").count(),
            page.matches("cannot say that an object is genuine").count()
        );
    }
    app.post(&format!("/v1/pieces/{piece}/theft"), json!({}))
        .await
        .expect(201);
    let stolen = send_form(&app, &form, "mass=50.42&step=0.01")
        .await
        .expect(200)
        .text();
    says(&read(&stolen), "Read the record first");
}

#[actix_web::test]
async fn a_code_belongs_to_its_record_and_to_no_other() {
    let (app, shop, serial, _) = certified(Quotas::OFF).await;
    let index = app.app.views.position() - 1;
    let code = code(&app, index);
    let path = format!("/v1/serials/{serial}/code");
    let told = ask(&app, &path, json!({"code": code})).await.expect(200).json();
    assert_eq!(
        (told["belongs"].as_bool(), told["issue"].as_u64()),
        (Some(true), Some(1)),
        "{told:#}"
    );
    assert_eq!(told.get("superseded_by"), None);
    let spaced = format!("{}-{} {}", &code[..4], &code[4..8], &code[8..]).to_lowercase();
    let told = ask(&app, &path, json!({"code": spaced})).await.expect(200).json();
    assert_eq!(told["belongs"], true);
    let other = ask(&app, &path, json!({"code": NOBODYS}))
        .await
        .expect(200)
        .json();
    assert_eq!(
        (
            other["belongs"].as_bool(),
            other.get("issue"),
            other.get("holder")
        ),
        (Some(false), None, None)
    );
    // The same code at another piece of the same workshop.
    let (shop, melt, piece) = shop_again(&app, &shop).await;
    let neighbour = shop.certify(&app, &melt, &piece, "50.50").await;
    let told = ask(
        &app,
        &format!("/v1/serials/{neighbour}/code"),
        json!({"code": code}),
    )
    .await;
    assert_eq!(told.expect(200).json()["belongs"], false);
    // One wrong character is told as a slip, whichever it is.
    for place in 0..code.len() {
        let mut slipped = code.clone().into_bytes();
        slipped[place] = if slipped[place] == b'7' { b'8' } else { b'7' };
        let slipped = String::from_utf8(slipped).unwrap();
        let reply = ask(&app, &path, json!({"code": slipped})).await;
        reply.refused(422, "code-slip", "#/code");
    }
    for no_code in ["", "123", &"A".repeat(5_000), "7Q4XK2M9RBI", "7Q4XK2M9R\u{412}B"] {
        let reply = ask(&app, &path, json!({"code": no_code})).await;
        reply.refused(422, "code-form", "#/code");
    }
    // And typed into the page.
    let form = format!("/p/{serial}/code");
    let page = send_form(&app, &form, &format!("code={code}"))
        .await
        .expect(200)
        .text();
    says(&read(&page), "It belongs to this record");
    let page = send_form(&app, &form, &format!("code={NOBODYS}"))
        .await
        .expect(200)
        .text();
    says(&read(&page), "It does not belong");
    let page = send_form(&app, &form, "code=123").await.expect(422).text();
    says(&read(&page), "This cannot be read as a code");
    assert!(!page.contains(&code));
}

/// A new session in the same shop, and a melt with one piece.
async fn shop_again(app: &TestApp, shop: &Workshop) -> (Workshop, String, String) {
    let first = format!("/v1/sessions/{}", shop.session);
    let first = app.get_as(Role::Office, &first).await.expect(200).json();
    let opening = json!({"scale": first["scale"], "nominal": "50.00", "reading": "50.00"});
    let session = app.done("/v1/sessions", opening).await;
    let shop = Workshop {
        session,
        lot: shop.lot.clone(),
        series: shop.series.clone(),
        jar: shop.jar.clone(),
    };
    let (melt, pieces) = shop.pour(app, &["50.50"]).await;
    (shop, melt, pieces[0].clone())
}

/// The commissioner of a series is for holders; it comes with the disclosure by which it is held against the entry.
#[actix_web::test]
async fn the_holder_of_a_code_is_shown_what_is_meant_for_holders_and_an_erased_code_fits_nothing() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let mut series = crate::http::series("CM");
    series["commissioner"] = json!("The Guild of Saltfen Lanterns");
    let series = app.done("/v1/series", series).await;
    let shop = Workshop { series, ..shop };
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let index = app.app.views.position() - 1;
    let code = code(&app, index);
    let path = format!("/v1/serials/{serial}/code");
    let told = ask(&app, &path, json!({"code": code})).await.expect(200).json();
    assert_eq!(told["holder"].as_array().map(Vec::len), Some(1), "{told:#}");
    let held = &told["holder"][0];
    assert_eq!(
        (held["member"].as_str(), held["value"].as_str()),
        (Some("commissioner"), Some("The Guild of Saltfen Lanterns")),
        "{told:#}"
    );
    // SHA-256 of the disclosure, base64url, stands among the digests of the event (RFC 9901 section 4.2.3).
    let digest: [u8; 32] = Sha256::digest(held["disclosure"].as_str().unwrap()).into();
    let entry = app.app.entry(held["index"].as_u64().unwrap()).unwrap();
    let event = &entry.payload.events[held["event"].as_u64().unwrap() as usize];
    assert!(event.digests().contains(&Hash(digest)));
    let other = ask(&app, &path, json!({"code": NOBODYS}))
        .await
        .expect(200)
        .text();
    assert!(!other.contains("Guild"));
    let page = send_form(&app, &format!("/p/{serial}/code"), &format!("code={code}"))
        .await
        .expect(200)
        .text();
    says(&read(&page), "The Guild of Saltfen Lanterns");

    let events = app.app.entry(index).unwrap();
    let event = events
        .events()
        .position(|event| event.kind() == "certificate.issued")
        .unwrap();
    let erasure = json!({"index": index, "event": event, "member": "code", "reason": "request"});
    app.post_as(Role::Admin, "/v1/erasures", erasure)
        .await
        .expect(201);
    let told = ask(&app, &path, json!({"code": code})).await.expect(200).json();
    assert_eq!(
        (told["belongs"].as_bool(), &told["erased"], told.get("holder")),
        (Some(false), &json!([1]), None),
        "{told:#}"
    );
}

/// An answer tells of every issue, also of those behind the one that fits: none is left uncompared, so that how long an answer
/// takes does not tell which it was.
#[actix_web::test]
async fn every_issue_is_compared_to_the_last() {
    let (app, _, serial, piece) = certified(Quotas::OFF).await;
    let first = app.app.views.position() - 1;
    let older = code(&app, first);
    let damaged = json!({"reason": "damaged"});
    app.post(&format!("/v1/pieces/{piece}/supersession"), damaged)
        .await
        .expect(201);
    let second = app.app.views.position() - 1;
    let newer = code(&app, second);
    let path = format!("/v1/serials/{serial}/code");
    let told = ask(&app, &path, json!({"code": newer})).await.expect(200).json();
    assert_eq!(
        (&told["issue"], told.get("superseded_by")),
        (&json!(2), None),
        "{told:#}"
    );
    let entry = app.app.entry(second).unwrap();
    let event = entry
        .events()
        .position(|event| event.kind() == "certificate.issued")
        .unwrap();
    let erasure = json!({"index": second, "event": event, "member": "code", "reason": "request"});
    app.post_as(Role::Admin, "/v1/erasures", erasure)
        .await
        .expect(201);
    let told = ask(&app, &path, json!({"code": older})).await.expect(200).json();
    assert_eq!(
        (
            &told["belongs"],
            &told["issue"],
            &told["superseded_by"],
            &told["erased"]
        ),
        (&json!(true), &json!(1), &json!(2), &json!([2])),
        "{told:#}"
    );
    let page = send_form(&app, &format!("/p/{serial}/code"), &format!("code={older}"))
        .await
        .expect(200)
        .text();
    says(&read(&page), "It belongs, and is superseded");
}

#[actix_web::test]
async fn codes_are_tried_only_so_often() {
    let (app, _, serial, _) = certified(Quotas {
        codes_per_minute: 3,
        serial_codes_per_hour: 5,
        ..Quotas::OFF
    })
    .await;
    let right = code(&app, app.app.views.position() - 1);
    let path = format!("/v1/serials/{serial}/code");
    let tries = async |from: &str, code: &str| {
        let request = posted(&path, &json!({"code": code})).peer_addr(from.parse().unwrap());
        app.send(request).await
    };
    // What has a slip costs nothing.
    for _ in 0..20 {
        tries("192.0.2.7:1", "7Q4XK2M9RBA").await.expect(422);
    }
    for _ in 0..3 {
        tries("192.0.2.7:1", NOBODYS).await.expect(200);
    }
    let reply = tries("192.0.2.7:2", NOBODYS).await.expect(429);
    assert_eq!(reply.problem(), "too-many-codes");
    // Three in a minute are one in twenty seconds.
    let wait: u64 = reply.header("retry-after").unwrap().parse().unwrap();
    assert!((20..=21).contains(&wait), "{wait}");
    // The right one is not answered either, or a guesser would know it.
    tries("192.0.2.7:1", &right).await.expect(429);
    // What that address may not try takes nothing from the others: of five for the serial two are left.
    for _ in 0..2 {
        tries("192.0.2.8:1", NOBODYS).await.expect(200);
    }
    let reply = tries("192.0.2.9:1", &right).await.expect(429);
    let wait: u64 = reply.header("retry-after").unwrap().parse().unwrap();
    assert!(
        (700..=721).contains(&wait),
        "{wait}: five in an hour are one in twelve minutes"
    );
    let form = TestRequest::post().uri(&format!("/p/{serial}/code"));
    let form = form.insert_header(("content-type", "application/x-www-form-urlencoded"));
    let page = app
        .send(form.set_payload(format!("code={right}")))
        .await
        .expect(429)
        .text();
    says(&read(&page), "Too many questions at once");
    app.ticks.fetch_add(721_000, Ordering::SeqCst);
    tries("192.0.2.9:1", &right).await.expect(200);
}
