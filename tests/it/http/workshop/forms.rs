//! Forms: recorded once, refused in place with all that was typed, and nothing lost when somebody must sign in again.

use super::{Browser, hidden, post_form};
use crate::http::{NOW, TestApp, scale};
use pourbook::domain::Lot;
use pourbook::http::Role;
use pourbook::http::routes::{ROUTES, at};
use serde_json::json;
use std::sync::atomic::Ordering;

const FORM: &str = "/lots/new";

/// A book with a scale in session.
async fn begun() -> (TestApp, Browser, String) {
    let app = TestApp::start().await;
    let scale = app.done("/v1/scales", scale()).await;
    let opening = json!({"scale": scale, "nominal": "50.00", "reading": "50.00"});
    let session = app.done("/v1/sessions", opening).await;
    let browser = Browser::of(&app, Role::Office).await;
    (app, browser, session)
}

fn lots(app: &TestApp) -> Vec<Lot> {
    app.app.views.list(&|_: &Lot| true, None, 50).unwrap().rows
}

fn fields(session: &str) -> Vec<(&str, &str)> {
    vec![
        ("metal", "silver"),
        ("fineness", "999,9 ‰"),
        ("basis", "declared"),
        ("session", session),
        ("mass", " 500,00 g"),
        ("invoiced", ""),
        ("seller", "Pellworth <Metals> Counter"),
        ("price", "431.20"),
        ("at", "2026-09-21T08:30"),
    ]
}

#[actix_web::test]
async fn a_form_gives_the_command_of_the_api_and_leads_on() {
    let (app, browser, session) = begun().await;
    let shown = browser.get(&app, FORM).await.expect(200).text();
    assert!(shown.contains(">bench scale by the window</option>"), "{shown}");
    let sent = browser
        .send(&app, FORM, &shown, &fields(&session))
        .await
        .expect(303);
    let index = app.app.views.position() - 1;
    assert_eq!(
        sent.header("location").unwrap(),
        format!("/home?recorded={index}")
    );
    let page = browser
        .get(&app, sent.header("location").unwrap())
        .await
        .expect(200)
        .text();
    assert!(page.contains(&format!("<a href=\"/entries/{index}\">entry {index}</a>.")));
    let rows = lots(&app);
    assert_eq!(rows.len(), 1);
    assert_eq!(
        (rows[0].mass.text(), rows[0].fineness.to_string().as_str()),
        ("500.00", "999.9")
    );
    let told = app
        .get_as(Role::Office, &format!("/v1/lots/{}", rows[0].lot))
        .await
        .json();
    assert_eq!(told["private"]["seller"], "Pellworth <Metals> Counter");
    assert_eq!(
        told["private"]["price"],
        json!({"amount": "431.20", "currency": "GBP"})
    );

    // A double tap, or the same page sent again: the same answer, nothing more in the book.
    let again = browser
        .send(&app, FORM, &shown, &fields(&session))
        .await
        .expect(303);
    assert_eq!(again.header("location"), sent.header("location"));
    assert_eq!(lots(&app).len(), 1);
    // Going back and changing something: said, and only a second sending makes it another entry.
    let mut other = fields(&session);
    other[4] = ("mass", "250.00");
    let told = browser.send(&app, FORM, &shown, &other).await.expect(422).text();
    assert!(told.contains("becomes a second entry"));
    assert_ne!(hidden(&told, "key"), hidden(&shown, "key"));
    assert_eq!(lots(&app).len(), 1);
    browser.send(&app, FORM, &told, &other).await.expect(303);
    assert_eq!(lots(&app).len(), 2);
}

#[actix_web::test]
async fn what_does_not_fit_is_said_beside_its_field_and_all_that_was_typed_is_kept() {
    let (app, browser, session) = begun().await;
    let shown = browser.get(&app, FORM).await.expect(200).text();
    let size = app.app.views.position();
    for (name, typed, status, says) in [
        ("mass", "5oo.00", 422, "f-mass-fault"),
        ("mass", "", 422, "Is needed here."),
        ("mass", "1,000.00", 422, "f-mass-fault"),
        ("mass", "500.005", 409, "finer than the scale shows"),
        ("fineness", "0", 422, "f-fineness-fault"),
        ("price", "cheap", 422, "f-price-fault"),
        ("at", "2036-01-01T00:00", 422, "still to come"),
        (
            "session",
            "5d0a2a0e-8f9c-4f6e-9a53-0b7a4c1d9e21",
            409,
            "there is no session",
        ),
    ] {
        let mut all = fields(&session);
        let at = all.iter().position(|(known, _)| *known == name).unwrap();
        all[at] = (name, typed);
        let reply = browser.send(&app, FORM, &shown, &all).await.expect(status);
        let page = reply.text();
        let says_it = page.contains(says) || page.to_lowercase().contains(&says.to_lowercase());
        assert!(says_it, "{name} {typed:?}: {page}");
        // Nothing is lost, and the key stays: nothing was recorded under it.
        assert!(
            page.contains("value=\"Pellworth &lt;Metals&gt; Counter\""),
            "{name}: {page}"
        );
        assert!(page.contains("value=\"431.20\"") || name == "price");
        assert!(page.contains("<option value=\"silver\" selected>"));
        assert_eq!(hidden(&page, "key"), hidden(&shown, "key"));
    }
    assert_eq!(app.app.views.position(), size);
    browser.fill(&app, FORM, &fields(&session)).await.expect(303);
}

#[actix_web::test]
async fn a_session_that_ended_in_the_middle_of_a_form_loses_nothing() {
    let (app, browser, session) = begun().await;
    let shown = browser.get(&app, FORM).await.expect(200).text();
    app.clock.store(NOW + 13 * 3_600, Ordering::SeqCst);
    let away = browser
        .send(&app, FORM, &shown, &fields(&session))
        .await
        .expect(401)
        .text();
    assert!(away.contains("not yet in the book"));
    assert!(lots(&app).is_empty());
    // Signed in, with all that the page carries: the form stands there again, filled in, under the same key.
    let mut sent: Vec<(String, String)> = away
        .split("type=\"hidden\" name=\"")
        .skip(1)
        .map(|part| {
            let (name, rest) = part.split_once("\" value=\"").unwrap();
            let value = rest.split('"').next().unwrap();
            (name.to_owned(), value.replace("&lt;", "<").replace("&gt;", ">"))
        })
        .collect();
    assert!(!sent.iter().any(|(name, _)| name == "kept.form_token"));
    // A wrong token first: it is all still there.
    sent.push(("token".into(), "pb_wrong".into()));
    let pairs = |sent: &'_ [(String, String)]| -> Vec<(String, String)> { sent.to_vec() };
    let wrong = pairs(&sent);
    let wrong: Vec<(&str, &str)> = wrong
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let still = post_form(&app, None, "/sign-in", &wrong).await.expect(401).text();
    assert_eq!(hidden(&still, "kept.mass"), " 500,00 g");
    sent.last_mut().unwrap().1 = app.token(Role::Office).to_owned();
    let right: Vec<(&str, &str)> = sent
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let back = post_form(&app, None, "/sign-in", &right).await.expect(200);
    let cookie = back
        .header("set-cookie")
        .unwrap()
        .split(';')
        .next()
        .unwrap()
        .to_owned();
    let page = back.text();
    assert!(page.contains("action=\"/lots/new\""));
    assert!(page.contains("value=\"Pellworth &lt;Metals&gt; Counter\""));
    assert_eq!(hidden(&page, "key"), hidden(&shown, "key"));
    assert!(
        lots(&app).is_empty(),
        "nothing is recorded before somebody sends it"
    );
    let again = Browser {
        form_token: hidden(&page, "form_token"),
        cookie,
    };
    again.send(&app, FORM, &page, &fields(&session)).await.expect(303);
    assert_eq!(lots(&app).len(), 1);
}

#[actix_web::test]
async fn who_is_late_is_told_and_may_send_again() {
    let (app, browser, session) = begun().await;
    let path = format!("/bench/sessions/{session}/checks");
    let shown = browser.get(&app, &path).await.expect(200).text();
    let check = json!({"nominal": "50.00", "reading": "50.00"});
    app.post(&format!("/v1/sessions/{session}/checks"), check)
        .await
        .expect(201);
    let typed = [("nominal", "50.00"), ("reading", "50,01")];
    let size = app.app.views.position();
    let told = browser.send(&app, &path, &shown, &typed).await.expect(412).text();
    assert!(
        told.contains("Somebody has recorded something about this since you opened the form"),
        "{told}"
    );
    assert!(told.contains("value=\"50,01\""));
    assert_eq!(app.app.views.position(), size);
    // The same form again is late again; the one that was shown anew carries what stands now.
    browser.send(&app, &path, &shown, &typed).await.expect(412);
    browser.send(&app, &path, &told, &typed).await.expect(303);
}

#[actix_web::test]
async fn a_form_of_more_fields_than_any_of_ours_is_not_looked_through() {
    let (app, browser, _) = begun().await;
    let many = vec![("a", ""); 8_193];
    let reply = post_form(&app, Some(&browser), FORM, &many).await.expect(413);
    assert!(reply.text().contains("at most 8192 fields"));
}

/// Where somebody is led by an address, and what they are offered by it, is what the server has there.
#[test]
fn an_address_without_gaps_is_its_own_route() {
    for route in ROUTES.iter().filter(|route| !route.path.contains('{')) {
        let (found, members) = at(route.method, route.path).unwrap();
        assert_eq!((found.path, members.len()), (route.path, 0), "{}", route.method);
    }
}
