//! Corrections by forms: what was said stands in them, what holds stands on the entry's page, and what could then not be is named.

use super::Desk;
use crate::http::Workshop;
use pourbook::http::Role;
use serde_json::{Value, json};

/// The index of the last entry of a kind.
async fn entry_of(desk: &Desk, kind: &str) -> u64 {
    let told = desk
        .app
        .get_as(Role::Auditor, "/v1/events?limit=200")
        .await
        .expect(200)
        .json();
    let mut entries = told["entries"].as_array().unwrap().iter();
    let has = |entry: &&Value| {
        entry["events"]
            .as_array()
            .unwrap()
            .iter()
            .any(|event| event["kind"] == kind)
    };
    entries.rfind(has).unwrap()["index"].as_u64().unwrap()
}

async fn begun() -> (Desk, Workshop, Vec<String>) {
    let desk = Desk::open().await;
    let shop = Workshop::open(&desk.app).await;
    let (_, pieces) = shop.pour(&desk.app, &["50.40", "50.06"]).await;
    (desk, shop, pieces)
}

/// An attribute's value as a browser reads it.
fn unescaped(text: &str) -> String {
    text.replace("&quot;", "\"").replace("&amp;", "&")
}

/// What stands in a form's fields, as a browser would send it.
fn standing(page: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for tag in page.split('<').filter(|tag| tag.starts_with("input ")) {
        let value = |name: &str| {
            let start = format!(" {name}=\"");
            let at = tag.find(&start)? + start.len();
            Some(unescaped(tag[at..].split('"').next()?))
        };
        let kept = !tag.contains("type=\"checkbox\"") || tag.contains(" checked");
        if let (Some(name), Some(text), true) = (value("name"), value("value"), kept) {
            found.push((name, text));
        }
    }
    for select in page.split("<select ").skip(1) {
        let name = select.split("name=\"").nth(1).unwrap().split('"').next().unwrap();
        let options = select.split("</select>").next().unwrap();
        let chosen = options
            .split("<option value=\"")
            .find(|option| option.split('>').next().unwrap().contains(" selected"));
        found.extend(chosen.map(|option| (name.to_owned(), unescaped(option.split('"').next().unwrap()))));
    }
    found.retain(|(name, _)| !["form_token", "key", "version"].contains(&name.as_str()));
    found
}

/// Sends a correction as its form stands, which is refused; the fields.
async fn refused_unchanged(desk: &Desk, path: &str) -> Vec<(String, String)> {
    let page = desk.page(path).await;
    let mut fields = standing(&page);
    fields.push(("reason".to_owned(), "mistyped".to_owned()));
    let told = desk
        .browser
        .send(&desk.app, path, &page, &borrowed(&fields))
        .await;
    let text = told.text();
    assert_eq!(told.status, 409, "{path}: {text}");
    assert!(text.contains("makes no difference"), "{path}: {text}");
    fields
}

/// A form with what stands in it, and one field changed.
fn changed(page: &str, name: &str, value: &str) -> Vec<(String, String)> {
    let mut fields = standing(page);
    match fields.iter_mut().find(|(known, _)| known == name) {
        Some(field) => field.1 = value.to_owned(),
        None => fields.push((name.to_owned(), value.to_owned())),
    }
    fields.push(("reason".to_owned(), "mistyped".to_owned()));
    fields
}

fn borrowed(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect()
}

#[actix_web::test]
async fn a_mistyped_reading_is_corrected_from_its_entry() {
    let (desk, _, pieces) = begun().await;
    let index = entry_of(&desk, "piece.weighed").await;
    let path = format!("/entries/{index}/weighing");
    assert!(desk.page(&format!("/entries/{index}")).await.contains(&path));
    let page = desk.page(&path).await;
    assert!(
        page.contains("value=\"50.06\""),
        "what was said stands in the form: {page}"
    );
    let mass = format!("items/{}/mass", pieces[1]);
    // Sent as it stands it makes no difference, and is told so.
    let same = changed(&page, &mass, "50.06");
    let told = desk
        .browser
        .send(&desk.app, &path, &page, &borrowed(&same))
        .await
        .expect(409)
        .text();
    assert!(told.contains("makes no difference"), "{told}");
    let wrong = changed(&page, &mass, "50.600001");
    let told = desk
        .browser
        .send(&desk.app, &path, &page, &borrowed(&wrong))
        .await
        .expect(422)
        .text();
    assert!(told.contains("50.600001"));
    let wrong = changed(&page, &mass, "50.605");
    let told = desk
        .browser
        .send(&desk.app, &path, &page, &borrowed(&wrong))
        .await
        .expect(409)
        .text();
    assert!(
        told.contains(&format!("f-items-{}-mass-fault", pieces[1])),
        "beside its field: {told}"
    );

    let other = changed(&page, &mass, "50,60");
    assert_eq!(
        desk.once(&path, &borrowed(&other)).await,
        format!("/entries/{index}")
    );
    let piece = desk.json(&format!("/v1/pieces/{}", pieces[1])).await;
    assert_eq!(piece["readings"][0]["mass"], "50.60");
    let told = desk.page(&format!("/entries/{index}")).await;
    assert!(
        told.contains("What holds now") && told.contains("<s>50.06 g</s>") && told.contains("50.60 g"),
        "{told}"
    );
    assert!(
        desk.page(&path).await.contains("value=\"50.60\""),
        "a next correction begins from what holds"
    );
}

#[actix_web::test]
async fn who_corrects_what_somebody_corrected_meanwhile_is_told() {
    let (desk, _, pieces) = begun().await;
    let index = entry_of(&desk, "piece.weighed").await;
    let path = format!("/entries/{index}/weighing");
    let early = desk.page(&path).await;
    let mass = format!("items/{}/mass", pieces[1]);
    desk.once(&path, &borrowed(&changed(&early, &mass, "50.60")))
        .await;
    let size = desk.size();
    let late = changed(&early, &mass, "50.70");
    let told = desk
        .browser
        .send(&desk.app, &path, &early, &borrowed(&late))
        .await
        .expect(412)
        .text();
    assert!(
        told.contains("since you opened the form") && told.contains("value=\"50.70\""),
        "{told}"
    );
    assert_eq!(desk.size(), size);
}

#[actix_web::test]
async fn what_could_then_not_have_been_is_named_and_a_withdrawal_is_asked_once() {
    let (desk, shop, _) = begun().await;
    let lot = entry_of(&desk, "lot.received").await;
    let path = format!("/entries/{lot}/lot");
    let page = desk.page(&path).await;
    // 250 g were drawn of it.
    let little = changed(&page, "mass", "200.00");
    let told = desk
        .browser
        .send(&desk.app, &path, &page, &borrowed(&little))
        .await
        .expect(409)
        .text();
    assert!(
        told.contains("could not be") && told.contains("value=\"200.00\""),
        "{told}"
    );
    desk.once(&path, &borrowed(&changed(&page, "mass", "510.00")))
        .await;
    let row = desk.json(&format!("/v1/lots/{}", shop.lot)).await;
    assert_eq!(row["mass"], "510.00");

    desk.bench("/v1/lots", crate::http::lot(&shop.session)).await;
    let second = entry_of(&desk, "lot.received").await;
    let path = format!("/entries/{second}/withdrawal");
    let page = desk.page(&path).await;
    let fields = changed(&page, "reason", "recorded_twice");
    let fields: Vec<(String, String)> = fields.into_iter().take(fields_of(&page) + 1).collect();
    let asked = desk
        .browser
        .send(&desk.app, &path, &page, &borrowed(&fields))
        .await
        .expect(200)
        .text();
    assert!(asked.contains("will say nothing any more"), "{asked}");
    desk.once(&path, &borrowed(&fields)).await;
    assert!(
        desk.page(&format!("/entries/{second}"))
            .await
            .contains("It was withdrawn")
    );
    // It can be said again.
    desk.once(
        &format!("/entries/{second}/lot"),
        &borrowed(&changed(
            &desk.page(&format!("/entries/{second}/lot")).await,
            "mass",
            "400.00",
        )),
    )
    .await;
    let lots = desk.json("/v1/lots").await;
    assert_eq!(lots["items"].as_array().unwrap().len(), 2);
}

fn fields_of(page: &str) -> usize {
    standing(page).len()
}

/// Each kind of work that is corrected: what stands in its form says the same again.
#[actix_web::test]
async fn every_form_of_a_correction_holds_what_was_said() {
    let (desk, shop, pieces) = begun().await;
    let melt = desk.json("/v1/melts").await["items"][0]["melt"]
        .as_str()
        .unwrap()
        .to_owned();
    shop.close(&desk.app, &melt).await;
    let item =
        |mass: &str| json!([{"piece": pieces[0], "mass": mass, "version": desk.app.version(&pieces[0])}]);
    let filed = json!({"session": shop.session, "jar": shop.jar, "items": item("50.30")});
    desk.app.post("/v1/finishings", filed).await.expect(201);
    let check = json!({"nominal": "50.00", "reading": "50.00"});
    desk.app
        .post(&format!("/v1/sessions/{}/checks", shop.session), check.clone())
        .await
        .expect(201);
    desk.app
        .post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201);
    let die = desk.bench("/v1/dies", json!({"owner": "workshop"})).await;
    let strike = json!([{"piece": pieces[0], "outcome": "good", "version": desk.app.version(&pieces[0])}]);
    desk.app
        .post("/v1/strikes", json!({"die": die, "items": strike}))
        .await
        .expect(201);
    desk.app
        .post(&format!("/v1/sessions/{}/closing", shop.session), check)
        .await
        .expect(201);
    for (kind, place) in [
        ("scale.registered", "scale"),
        ("session.opened", "opening"),
        ("session.checked", "check"),
        ("session.closed", "closing"),
        ("lot.received", "lot"),
        ("melt.charged", "charge"),
        ("piece.poured", "pours"),
        ("melt.closed", "melt"),
        ("piece.finished", "finishing"),
        ("piece.struck", "strikes"),
    ] {
        let index = entry_of(&desk, kind).await;
        let path = format!("/entries/{index}/{place}");
        refused_unchanged(&desk, &path).await;
    }
}

#[actix_web::test]
async fn the_form_of_a_return_holds_what_was_said_of_each_piece() {
    let desk = Desk::open().await;
    let (consignment, pieces, _) = super::told::out(&desk).await;
    let outcomes: Vec<String> = pieces
        .iter()
        .map(|piece| format!("lines/{piece}/outcome"))
        .collect();
    let mut lines: Vec<(&str, &str)> = pieces.iter().map(|piece| ("lines", piece.as_str())).collect();
    lines.extend([(outcomes[0].as_str(), "missing"), (outcomes[1].as_str(), "kept")]);
    desk.once(&format!("/consignments/{consignment}/return"), &lines)
        .await;
    let path = format!(
        "/entries/{}/return",
        entry_of(&desk, "consignment.returned").await
    );
    let fields = refused_unchanged(&desk, &path).await;
    for (name, said) in outcomes.iter().zip(["missing", "kept"]) {
        assert!(
            fields.contains(&(name.clone(), said.to_owned())),
            "{name}: {fields:?}"
        );
    }
}

/// Pieces that were struck differently keep each its own marks, whatever else of the return is corrected.
#[actix_web::test]
async fn the_form_of_a_return_flattens_no_hallmarks() {
    let desk = Desk::open().await;
    let (consignment, pieces, _) = super::told::out(&desk).await;
    let marks = |sponsor: bool, office: bool| {
        json!({"fineness": "999.0", "marks": [
            {"mark": "sponsor", "legible": sponsor},
            {"mark": "fineness", "legible": true},
            {"mark": "office", "legible": office},
        ]})
    };
    let (first, second) = (marks(true, true), marks(true, false));
    let line =
        |piece: &str, hallmark: &Value| json!({"piece": piece, "outcome": "marked", "hallmark": hallmark});
    let lines = json!({"lines": [line(&pieces[0], &first), line(&pieces[1], &second)]});
    desk.app
        .post(&format!("/v1/consignments/{consignment}/return"), lines)
        .await
        .expect(201);
    let index = entry_of(&desk, "consignment.returned").await;
    let path = format!("/entries/{index}/return");
    let mut fields = refused_unchanged(&desk, &path).await;

    // The sponsor's mark of the first cannot be read either: only of the first.
    fields.retain(|(name, _)| name != "hallmark/marks/sponsor/legible");
    desk.once(&path, &borrowed(&fields)).await;
    let hallmark_of = async |piece: &str| {
        let row = desk
            .app
            .get_as(Role::Office, &format!("/v1/pieces/{piece}"))
            .await
            .expect(200)
            .json();
        row["hallmark"].clone()
    };
    assert_eq!(hallmark_of(&pieces[0]).await, marks(false, true));
    assert_eq!(hallmark_of(&pieces[1]).await, second);

    // The second one never came back: its own marks go with it.
    let page = desk.page(&path).await;
    let mut fields = standing(&page);
    let outcome = format!("lines/{}/outcome", pieces[1]);
    fields.retain(|(name, _)| *name != outcome);
    fields.push((outcome, "missing".to_owned()));
    fields.push(("reason".to_owned(), "mistyped".to_owned()));
    desk.once(&path, &borrowed(&fields)).await;
    assert_eq!(hallmark_of(&pieces[1]).await, Value::Null);
    assert_eq!(hallmark_of(&pieces[0]).await, marks(false, true));
}
