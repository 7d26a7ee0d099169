//! One box to look things up by; and codes, which stand in no address.

use super::{Reply, TestApp, Workshop};
use base64::Engine as _;
use pourbook::http::Role;
use pourbook::log::VaultKind;
use serde_json::{Value, json};

async fn ask(app: &TestApp, role: Role, text: &str) -> Reply {
    let text = text.replace(' ', "%20").replace('#', "%23");
    app.get_as(role, &format!("/v1/find?q={text}")).await
}

async fn found(app: &TestApp, text: &str) -> Vec<(String, String)> {
    let body = ask(app, Role::Bench, text).await.expect(200).json();
    let items = body["items"].as_array().unwrap().iter();
    let items: Vec<(String, String)> = items
        .map(|item| {
            let word = |name: &str| item[name].as_str().unwrap().to_owned();
            assert!(word("link").ends_with(&word("id")));
            (word("kind"), word("id"))
        })
        .collect();
    for (_, id) in &items {
        let link = body["items"]
            .as_array()
            .unwrap()
            .iter()
            .find(|item| item["id"] == **id)
            .unwrap();
        app.get_as(Role::Bench, link["link"].as_str().unwrap())
            .await
            .expect(200);
    }
    items
}

/// The code of a certificate, as only its holder and the vault know it.
pub fn code(app: &TestApp, index: u64) -> String {
    let kept = app.app.store.private(index).unwrap();
    let kept = kept
        .into_iter()
        .find(|kept| matches!(&kept.kind, VaultKind::Disclosure { member, .. } if member == "code"))
        .unwrap();
    let json = base64::engine::general_purpose::URL_SAFE_NO_PAD
        .decode(kept.body)
        .unwrap();
    let told: Value = serde_json::from_slice(&json).unwrap();
    told[2].as_str().unwrap().to_owned()
}

#[actix_web::test]
async fn everything_with_a_name_is_found_as_people_type_it() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.50"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let order = json!({"series": shop.series, "shapes": [{"shape": "oval", "count": 1}]});
    let order = app.done("/v1/orders", order).await;
    let one = |kind: &str, id: &str| vec![(kind.to_owned(), id.to_owned())];
    for text in [
        serial.clone(),
        serial.to_lowercase(),
        serial.replace('-', " "),
        serial.replace('-', ""),
        format!(" {serial} "),
        "1-01".into(),
        "1-1".into(),
        pieces[0].clone(),
    ] {
        assert_eq!(found(&app, &text).await, one("piece", &pieces[0]), "{text}");
    }
    assert_eq!(found(&app, "1-2").await, one("piece", &pieces[1]));
    assert_eq!(found(&app, "tw").await, one("series", &shop.series));
    for text in ["order 1", "Order #1", "orders 1"] {
        assert_eq!(found(&app, text).await, one("order", &order), "{text}");
    }
    assert_eq!(found(&app, "lot 1").await, one("lot", &shop.lot));
    assert_eq!(found(&app, "melt 1").await, one("melt", &melt));
    let kinds: Vec<String> = found(&app, "1").await.into_iter().map(|(kind, _)| kind).collect();
    assert_eq!(kinds, ["lot", "melt", "order"]);
    for nothing in [
        "order 2",
        "9-01",
        "DW",
        "sale 1",
        "hello",
        "11111111-1111-4111-8111-111111111111",
        "",
        "TW-0999",
    ] {
        assert_eq!(found(&app, nothing).await, [], "{nothing}");
    }
    let slip = ask(&app, Role::Bench, "TW-0001-99").await.expect(200).json();
    assert!(slip["hint"].as_str().unwrap().contains("check digits do not fit"));
    ask(&app, Role::Bench, &"7".repeat(65)).await.expect(400);
    app.get_as(Role::Bench, "/v1/find").await.expect(400);
    let said = ask(&app, Role::Office, &serial).await.json();
    let says = format!("piece 1-01, {serial}, number 1, certified");
    assert_eq!(said["items"][0]["what"], says);
}

#[actix_web::test]
async fn a_code_is_found_by_the_office_in_a_body_only_and_not_once_it_is_erased() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let index = app.app.views.position() - 1;
    let code = code(&app, index);
    let post = async |role: Role, text: &str| {
        let request = actix_web::test::TestRequest::post().uri("/v1/find");
        let request = request.insert_header(super::bearer(app.token(role)));
        let request = request.insert_header(("content-type", "application/json"));
        app.send(request.set_payload(json!({"q": text}).to_string()))
            .await
    };
    let spaced = format!("{}-{} {}", &code[..4], &code[4..8], &code[8..]);
    for text in [code.clone(), code.to_lowercase(), spaced.clone()] {
        let reply = post(Role::Office, &text).await.expect(200);
        assert_eq!(reply.header("cache-control"), Some("no-store"));
        assert!(!reply.text().contains(&code));
        let items = reply.json()["items"].clone();
        assert_eq!(
            (&items[0]["kind"], &items[1]["id"]),
            (&json!("certificate"), &json!(pieces[0])),
            "{text}"
        );
        // In an address it is refused, whoever asks, without being told back.
        for role in Role::ALL {
            let reply = ask(&app, role, &text).await.expect(400);
            assert_eq!(reply.problem(), "code-in-address");
            assert!(
                !reply.text().to_uppercase().contains(&code[..4]),
                "{}",
                reply.text()
            );
        }
    }
    // A slip finds nothing; neither does a posted name that is none. What has another name is found by POST as well.
    let mut wrong = code.clone().into_bytes();
    wrong[0] = if wrong[0] == b'7' { b'8' } else { b'7' };
    let wrong = String::from_utf8(wrong).unwrap();
    assert_eq!(
        post(Role::Office, &wrong).await.expect(200).json()["items"],
        json!([])
    );
    assert_eq!(
        ask(&app, Role::Office, &wrong).await.expect(400).problem(),
        "code-in-address"
    );
    assert_eq!(
        post(Role::Office, "1-01").await.json()["items"][0]["id"],
        pieces[0]
    );
    for role in [Role::Bench, Role::Auditor, Role::Admin] {
        post(role, &code).await.expect(403);
    }
    post(Role::Office, &"7".repeat(65))
        .await
        .refused(422, "invalid", "#/q");

    let events = app
        .get_as(Role::Auditor, &format!("/v1/events?from={index}"))
        .await
        .json();
    let events = events["entries"][0]["events"].as_array().unwrap().clone();
    let event = events
        .iter()
        .position(|event| event["kind"] == "certificate.issued")
        .unwrap();
    let erasure = json!({"index": index, "event": event, "member": "code", "reason": "request"});
    app.post_as(Role::Admin, "/v1/erasures", erasure)
        .await
        .expect(201);
    assert_eq!(
        post(Role::Office, &code).await.expect(200).json()["items"],
        json!([])
    );
}
