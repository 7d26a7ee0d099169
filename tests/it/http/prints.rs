//! Printing certificates: recorded, made again byte for byte, and never once what it was made from is gone. What stands on
//! the paper is read with a library (`rqrr`) and programs (poppler's) that others wrote, where they are installed.

use super::{Reply, TestApp, Workshop};
use crate::print::{attached, qr_codes, text_of};
use pourbook::check::{Trust, check_piece};
use pourbook::http::Role;
use pourbook::record;
use serde_json::{Value, json};

struct Shop {
    app: TestApp,
    shop: Workshop,
    serial: String,
    piece: String,
    certificate: String,
}

async fn certified() -> Shop {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42", "50.50"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let piece = pieces[0].clone();
    let certificate = newest(&app, &piece).await;
    Shop {
        app,
        shop,
        serial,
        piece,
        certificate,
    }
}

async fn newest(app: &TestApp, piece: &str) -> String {
    let row = app.get_as(Role::Office, &format!("/v1/pieces/{piece}")).await;
    row.expect(200).json()["certificate"].as_str().unwrap().to_owned()
}

impl Shop {
    async fn print(&self, body: Value) -> Reply {
        self.app.post_as(Role::Office, "/v1/prints", body).await
    }

    async fn printed(&self) -> Reply {
        let body = json!({"certificates": [self.certificate], "paper": "a6"});
        self.print(body).await.expect(201)
    }

    async fn pdf(&self, printed: &Reply) -> Reply {
        let at = printed.header("location").unwrap().to_owned();
        self.app.get_as(Role::Office, &at).await
    }

    async fn erase(&self, (index, place): (u64, usize), member: &str) {
        let body = json!({"index": index, "event": place, "member": member, "reason": "mistake"});
        self.app
            .post_as(Role::Admin, "/v1/erasures", body)
            .await
            .expect(201);
    }

    /// Where an event of a kind stands first.
    fn place(&self, kind: &str) -> (u64, usize) {
        let size = self.app.app.views.position();
        let found = (0..size).find_map(|index| {
            let entry = record::read(&self.app.app.store.read(index).unwrap().unwrap()).unwrap();
            let place = entry.events().position(|event| event.kind() == kind)?;
            Some((index, place))
        });
        found.unwrap()
    }
}

#[actix_web::test]
async fn a_print_is_recorded_and_its_bytes_are_made_again_whatever_comes_later() {
    let told = certified().await;
    let printed = told.printed().await;
    let event = &printed.json()["events"][0];
    assert_eq!(event["kind"], "certificate.printed");
    assert_eq!(event["piece"], json!(told.piece));
    // Neither the digest nor what it was made from is told to anybody.
    assert!(event.get("digest").is_none() && event.get("inputs").is_none());
    let first = told.pdf(&printed).await.expect(200);
    assert_eq!(first.header("content-type"), Some("application/pdf"));
    assert_eq!(first.header("cache-control"), Some("no-store"));
    let row = format!("/v1/certificates/{}", told.certificate);
    let row = told.app.get_as(Role::Office, &row).await.expect(200).json();
    assert_eq!(row["prints"], json!([printed.json()["index"]]));
    assert!(row["private"].get("digest").is_none() && row["private"].get("inputs").is_none());
    // Later entries about the piece and its series leave the bytes as they were.
    let theft = format!("/v1/pieces/{}/theft", told.piece);
    told.app.post(&theft, json!({})).await.expect(201);
    told.app.released().await;
    let again = told.pdf(&printed).await.expect(200);
    assert!(first.body == again.body, "the bytes differ");
    // Printed anew it is another PDF, since the record goes on.
    let anew = told.printed().await;
    assert!(told.pdf(&anew).await.expect(200).body != first.body);
}

#[actix_web::test]
async fn a_pdf_carries_the_proof_of_its_piece_and_says_what_the_certificate_states() {
    let told = certified().await;
    let body = json!({"series": told.shop.series, "paper": "a5"});
    let printed = told.print(body).await.expect(201);
    let size = printed.json()["events"][0]["size"].as_u64().unwrap();
    let pdf = told.pdf(&printed).await.expect(200).body;
    let name = format!("{}.proof.json", told.serial);
    let Some(proof) = attached(&pdf, &name) else {
        println!("skipped: pdfdetach is not installed");
        return;
    };
    let trust = Trust {
        root: told.app.root.clone(),
        policy: None,
    };
    let report = check_piece(&proof, &trust);
    assert!(report.holds(), "{report}");
    assert!(
        report.to_string().contains(&format!("as of size {size}.")),
        "{report}"
    );
    let text = text_of(&pdf).unwrap();
    let row = format!("/v1/serials/{}", told.serial);
    let stated = told.app.get(&row).await.expect(200).json();
    let weight = &stated["certificate"]["weight"];
    for member in [
        "grams",
        "troy_ounces",
        "uncertainty_grams",
        "at_least_grams",
        "at_least_troy_ounces",
    ] {
        let said = weight[member].as_str().unwrap();
        assert!(text.contains(said), "{member} {said} does not stand in:\n{text}");
    }
    for said in [
        "Brackenfold Pourhouse",
        told.serial.as_str(),
        "Tidewheel",
        "№ 1 of",
    ] {
        let said = said.to_lowercase();
        assert!(
            text.to_lowercase().contains(&said),
            "{said} does not stand in:\n{text}"
        );
    }
    let thumbprint: String = text.split_whitespace().collect();
    assert!(thumbprint.contains(&told.app.root), "{text}");
    let address = format!(
        "HTTPS://BOOK.BRACKENFOLD.EXAMPLE/P/{}#k={}",
        told.serial, told.app.root
    );
    assert_eq!(qr_codes(&pdf), vec![address]);
}

#[actix_web::test]
async fn what_was_erased_is_not_printed_again() {
    for (kind, member) in [
        ("certificate.issued", "code"),
        ("certificate.printed", "digest"),
        ("certificate.printed", "inputs"),
        ("series.opened", "title"),
    ] {
        let told = certified().await;
        let printed = told.printed().await;
        told.pdf(&printed).await.expect(200);
        told.erase(told.place(kind), member).await;
        let gone = told.pdf(&printed).await;
        assert_eq!(
            (gone.status, gone.problem().as_str()),
            (410, "print-gone"),
            "{member}"
        );
        // Without its code no certificate is printed; without a title its series is named by its code.
        let body = json!({"certificates": [told.certificate], "paper": "a6"});
        let anew = told.print(body).await;
        if member == "code" {
            anew.refused(409, "unprintable", "");
        } else {
            told.pdf(&anew.expect(201)).await.expect(200);
        }
    }
}

#[actix_web::test]
async fn a_certificate_that_gave_way_is_not_printed_and_what_was_printed_of_it_stays() {
    let told = certified().await;
    let printed = told.printed().await;
    let first = told.pdf(&printed).await.expect(200).body;
    let supersession = format!("/v1/pieces/{}/supersession", told.piece);
    told.app
        .post(&supersession, json!({"reason": "damaged"}))
        .await
        .expect(201);
    let body = json!({"certificates": [told.certificate], "paper": "a6"});
    told.print(body)
        .await
        .refused(409, "certificate-gave-way", "#/certificates/0");
    assert!(told.pdf(&printed).await.expect(200).body == first);
    let newer = newest(&told.app, &told.piece).await;
    let body = json!({"certificates": [newer], "paper": "a6"});
    let printed = told.print(body).await.expect(201);
    let pdf = told.pdf(&printed).await.expect(200).body;
    if let Some(text) = text_of(&pdf) {
        let text: Vec<&str> = text.split_whitespace().collect();
        let text = text.join(" ");
        assert!(text.contains("Certificate issue 2, "), "{text}");
        assert!(text.contains(", in place of issue 1"), "{text}");
    }
}

#[actix_web::test]
async fn the_same_request_prints_once_and_is_answered_again_when_nothing_can_be_made() {
    let told = certified().await;
    let key = told.app.fresh_key();
    let send = || {
        let body = json!({"certificates": [told.certificate], "paper": "a6"});
        let request = actix_web::test::TestRequest::post()
            .uri("/v1/prints")
            .insert_header(super::bearer(told.app.token(Role::Office)))
            .insert_header(("idempotency-key", key.clone()))
            .insert_header(("content-type", "application/json"))
            .set_payload(body.to_string());
        told.app.send(request)
    };
    let first = send().await.expect(201);
    // The log has grown since, so the PDF would be another one.
    told.app.released().await;
    let again = send().await.expect(201);
    assert_eq!(first.json()["index"], again.json()["index"]);
    told.erase(told.place("certificate.issued"), "code").await;
    let after = send().await.expect(201);
    assert_eq!(first.json()["index"], after.json()["index"]);
    assert_eq!(
        told.app.app.views.position(),
        first.json()["index"].as_u64().unwrap() + 2
    );
}

#[actix_web::test]
async fn what_cannot_be_printed_is_refused_by_name() {
    let told = certified().await;
    let paper = json!({"paper": "a6"});
    told.print(paper)
        .await
        .refused(422, "nothing-named", "#/certificates");
    let nobody = "11111111-1111-4111-8111-111111111111";
    let body = json!({"certificates": [told.certificate, nobody], "paper": "a6"});
    told.print(body)
        .await
        .refused(409, "unknown-certificate", "#/certificates/1");
    let body = json!({"series": nobody, "paper": "a6"});
    told.print(body).await.refused(409, "unknown-series", "#/series");
    let body = json!({"series": told.shop.series, "certificates": [told.certificate], "paper": "a6"});
    told.print(body).await.refused(422, "invalid", "#/series");
    let body = json!({"certificates": [told.certificate, told.certificate], "paper": "a6"});
    // Two files of one name in one PDF are refused before the book is asked.
    assert_eq!(told.print(body).await.status, 422);
    let body = json!({"certificates": [told.certificate], "paper": "a4"});
    told.print(body).await.refused(422, "invalid", "#/paper");
    let body = json!({"certificates": [told.certificate], "paper": "a6", "made": {}});
    told.print(body).await.refused(422, "invalid", "#/made");
    for path in [
        "/v1/prints/0",
        "/v1/prints/99999",
        "/v1/prints/x",
        "/v1/prints/-1",
    ] {
        assert_eq!(told.app.get_as(Role::Office, path).await.status, 404, "{path}");
    }
}
