//! Pages for people: what they say of each state, how they answer rubbish, and that they stay true while the book goes on.

mod demo;
mod forms;

use super::{Served, TestApp, Workshop, item};
use crate::http::photographs::{picture, picture_of};
use actix_web::test::TestRequest;
use image::GenericImageView as _;
use pourbook::domain::PhotographHash;
use pourbook::http::{Quotas, Role};
use serde_json::json;
use std::sync::atomic::Ordering;

/// The text of a page without its tags and with plain spaces, so that a test reads what a person reads.
pub fn read(html: &str) -> String {
    let mut text = String::new();
    let mut within = true;
    for letter in html.chars() {
        match letter {
            '<' => within = false,
            '>' => within = true,
            letter if within => text.push(letter),
            _ => {}
        }
    }
    let plain = [
        ("&quot;", "\""),
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&amp;", "&"),
        ("\u{a0}", " "),
    ];
    plain.iter().fold(text, |text, (from, to)| text.replace(from, to))
}

#[track_caller]
pub fn says(page: &str, text: &str) {
    assert!(page.contains(text), "{text:?} is not in:\n{page}");
}

#[actix_web::test]
async fn a_serial_that_is_none_or_has_a_slip_or_was_never_given_gets_a_page_that_says_so() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let slip = match serial.strip_suffix('1') {
        Some(front) => format!("{front}2"),
        None => format!("{}1", &serial[..serial.len() - 1]),
    };
    for (path, status, title) in [
        (format!("/p/{slip}"), 422, "There is a slip in this serial"),
        ("/p/TW-9999".to_owned(), 404, "This serial was never given"),
        ("/p/TW-9999-85".to_owned(), 422, "There is a slip in this serial"),
        ("/p/hello".to_owned(), 422, "This is not a serial"),
        // Cyrillic letters that look like Latin ones, a full-width digit, a combining mark, a null, a line break, an emoji.
        ("/p/%D0%A2W-0001-96".to_owned(), 422, "This is not a serial"),
        ("/p/TW-%EF%BC%90001-96".to_owned(), 422, "This is not a serial"),
        ("/p/T%CC%81W-0001-96".to_owned(), 422, "This is not a serial"),
        ("/p/TW-0001-96%00".to_owned(), 422, "This is not a serial"),
        (
            "/p/TW-0001%0D%0ASet-Cookie:%20a".to_owned(),
            422,
            "This is not a serial",
        ),
        ("/p/%F0%9F%A5%88".to_owned(), 422, "This is not a serial"),
        ("/p/%FF%FE".to_owned(), 422, "This is not a serial"),
        (format!("/p/{}", "A".repeat(10_000)), 422, "This is not a serial"),
        (
            "/p/..%2F..%2Fetc%2Fpasswd".to_owned(),
            422,
            "This is not a serial",
        ),
        (
            "/p/%3Cscript%3Ealert(1)%3C%2Fscript%3E".to_owned(),
            422,
            "This is not a serial",
        ),
        (
            "/p/TW-0001/proof".to_owned(),
            404,
            "There is nothing at this address",
        ),
        (
            "/p/../v1/pieces".to_owned(),
            404,
            "There is nothing at this address",
        ),
        (
            "/assets/..%2Fstyle.css".to_owned(),
            404,
            "There is nothing at this address",
        ),
        (
            "/check/nothing.mjs".to_owned(),
            404,
            "There is nothing at this address",
        ),
    ] {
        let reply = app.get(&path).await.expect(status);
        let html = reply.text();
        says(&read(&html), title);
        assert!(html.len() < 4_000, "{} bytes for {path}", html.len());
        assert!(!html.contains("<script"), "{path}");
        if !path.contains(&serial) {
            assert!(!html.contains(&serial), "{path} guesses");
        }
    }
    let page = app.get("/p/TW-9999").await.text();
    says(&read(&page), "it may also be a slip: nobody can tell");
    app.send(TestRequest::post().uri(&format!("/p/{serial}")))
        .await
        .expect(405);
    app.send(TestRequest::delete().uri("/check")).await.expect(405);
}

#[actix_web::test]
async fn a_page_is_found_as_people_type_its_serial_and_as_a_code_spells_it() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let page = app.get(&format!("/p/{serial}")).await.expect(200);
    for path in [
        format!("/P/{serial}"),
        format!("/p/{}", serial.to_lowercase()),
        format!("/p/{}", serial.replace('-', "%20")),
        format!("/p/{serial}?utm_source=fair"),
    ] {
        assert_eq!(app.get(&path).await.expect(200).body, page.body, "{path}");
    }
    let caution = "The last two digits were not typed";
    assert!(!page.text().contains(caution));
    let bare = serial.rsplit_once('-').unwrap().0;
    let reply = app.get(&format!("/p/{bare}")).await.expect(200).text();
    says(&read(&reply), caution);
    says(&read(&reply), &format!("compare the whole serial, {serial}"));
    // The form on which a serial is typed leads there, whatever is typed.
    app.get("/p").await.expect(200);
    let lead = app.get("/p?serial=+tw-0001++").await.expect(303);
    assert_eq!(lead.header("location"), Some("/p/tw-0001"));
    let lead = app
        .get("/p?serial=%2F%2Fevil.example%0D%0Aa%3Ab")
        .await
        .expect(303);
    assert_eq!(
        lead.header("location"),
        Some("/p/%2F%2Fevil%2Eexample%0D%0Aa%3Ab")
    );
    app.get("/p?serial=").await.expect(200);
}

#[actix_web::test]
async fn a_page_that_a_reader_has_is_not_sent_again() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let path = format!("/p/{serial}");
    let page = app.get(&path).await.expect(200);
    assert_eq!(page.header("cache-control"), Some("public, no-cache"));
    let tag = page.header("etag").unwrap().to_owned();
    let again = TestRequest::get()
        .uri(&path)
        .insert_header(("if-none-match", tag.clone()));
    app.send(again).await.expect(304);
    let head = app
        .send(TestRequest::default().method(super::method("HEAD")).uri(&path))
        .await
        .expect(200);
    assert_eq!(head.header("etag"), Some(tag.as_str()));
    // What the page loads has its hash in its name, so it is kept for ever.
    let html = page.text();
    let style = html
        .split("href=\"")
        .find(|part| part.starts_with("/assets/page-"))
        .unwrap();
    let style = style.split('"').next().unwrap();
    let reply = app.get(style).await.expect(200);
    assert_eq!(reply.header("content-type"), Some("text/css; charset=utf-8"));
    assert_eq!(
        reply.header("cache-control"),
        Some("public, max-age=31536000, immutable")
    );
    app.get("/assets/page-AAAAAAAAAAAA.css").await.expect(404);
}

/// A kept page must not outlive what it says: not a new entry, not the ten minutes, not a title that was erased.
#[actix_web::test]
async fn a_kept_page_stays_true() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let path = format!("/p/{serial}");
    let stock = app.get(&path).await.expect(200);
    says(&read(&stock.text()), "it is in the workshop’s stock");
    says(&read(&stock.text()), "Tidewheel");
    // Another piece moves on: this page is as of its own checkpoint, and says so.
    app.done(
        "/v1/jars",
        json!({"metal": "gold", "fineness": "750", "residue": "sweeps"}),
    )
    .await;
    app.released().await;
    assert_eq!(app.get(&path).await.expect(200).body, stock.body);
    app.clock.fetch_add(601, Ordering::SeqCst);
    let later = app.get(&path).await.expect(200);
    assert_ne!(later.body, stock.body);
    app.post(&format!("/v1/pieces/{}/theft", pieces[0]), json!({}))
        .await
        .expect(201);
    let stolen = app.get(&path).await.expect(200);
    says(&read(&stolen.text()), "it was stolen, and is not back");
    says(&read(&stolen.text()), "Reported stolen");
    let opened = app
        .app
        .views
        .history(uuid::Uuid::try_parse(&shop.series).unwrap())
        .unwrap()[0];
    let erasure = json!({"index": opened, "event": 0, "member": "title", "reason": "request"});
    app.post_as(Role::Admin, "/v1/erasures", erasure)
        .await
        .expect(201);
    app.released().await;
    let erased = read(&app.get(&path).await.expect(200).text());
    assert!(!erased.contains("Tidewheel"), "{erased}");
    says(&erased, "series TW");
}

#[actix_web::test]
async fn the_holder_of_an_older_certificate_is_told_what_changed() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let path = format!("/p/{serial}");
    let newest = read(&app.get(&format!("{path}?issue=1")).await.expect(200).text());
    assert!(!newest.contains("superseded"), "{newest}");
    let first = format!("/v1/sessions/{}", shop.session);
    let first = app.get_as(Role::Office, &first).await.expect(200).json();
    let opening = json!({"scale": first["scale"], "nominal": "50.00", "reading": "50.00"});
    let session = app.done("/v1/sessions", opening).await;
    let items = vec![item(&app, &pieces[0], "50.40")];
    let again = json!({"session": session, "stage": "final", "items": items});
    app.post("/v1/weighings", again).await.expect(201);
    let holds = json!({"nominal": "50.00", "reading": "50.00"});
    app.post(&format!("/v1/sessions/{session}/closing"), holds)
        .await
        .expect(201);
    let reweighed = json!({"reason": "reweighed"});
    app.post(&format!("/v1/pieces/{}/supersession", pieces[0]), reweighed)
        .await
        .expect(201);
    app.released().await;
    let newest = read(&app.get(&format!("{path}?issue=2")).await.expect(200).text());
    assert!(!newest.contains("This certificate is superseded"), "{newest}");
    says(&newest, "weighing 50.40 g");
    says(
        &newest,
        "It takes the place of issue 1: the piece was weighed again.",
    );
    let html = app.get(&format!("{path}?issue=1")).await.expect(200).text();
    // What differs is struck through beside what holds now; what does not is said to be the same.
    assert!(html.contains("<td><s>50.42 g ± 0.03 g"), "{html}");
    assert_eq!(
        html.matches("<td class=\"same\">the same</td>").count(),
        5,
        "{html}"
    );
    let older = read(&html);
    says(&older, "This certificate is superseded");
    says(&older, "What changed since issue 1");
    says(&older, "50.42 g ± 0.03 g");
    says(&older, "50.40 g ± 0.03 g");
    for never in ["3", "0", "two", "-1", "99999999999"] {
        let reply = app.get(&format!("{path}?issue={never}")).await.expect(404);
        says(&read(&reply.text()), "This issue was never made");
    }
}

/// The modules that a page loads are those that are published, byte for byte; the one for the command line is for no browser.
#[actix_web::test]
async fn the_modules_are_served_as_they_are_published() {
    let app = TestApp::start().await;
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/api/check");
    let mut served = 0;
    for file in std::fs::read_dir(folder).unwrap() {
        let file = file.unwrap();
        let name = file.file_name().into_string().unwrap();
        let path = format!("/check/{name}");
        if name == "cli.mjs" || !name.ends_with(".mjs") {
            app.get(&path).await.expect(404);
            continue;
        }
        let reply = app.get(&path).await.expect(200);
        assert_eq!(reply.body, std::fs::read(file.path()).unwrap(), "{name}");
        assert_eq!(
            reply.header("content-type"),
            Some("text/javascript; charset=utf-8")
        );
        served += 1;
    }
    assert!(served > 20, "{served}");
    let html = app.get("/check").await.expect(200).text();
    assert!(
        html.contains("<script type=\"module\" src=\"/check/drop.mjs\">"),
        "{html}"
    );
}

/// The server holds its own proof file against the root that it states, before it shows anything of it.
#[actix_web::test]
async fn a_record_that_does_not_hold_is_not_shown() {
    let app = TestApp::serve(Served {
        other_root: true,
        ..Served::default()
    })
    .await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let page = app.get(&format!("/p/{serial}")).await.expect(500);
    let text = read(&page.text());
    says(&text, "The record does not hold");
    says(&text, "a step failed: keys: the log begins with root");
    assert!(!text.contains("50.42"), "{text}");
    assert_eq!(page.header("cache-control"), Some("no-store"));
}

#[actix_web::test]
async fn a_page_whose_proof_is_not_released_yet_says_so() {
    let app = TestApp::start().await;
    app.released().await;
    app.held.store(true, Ordering::SeqCst);
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let page = app.get(&format!("/p/{serial}")).await.expect(503);
    says(&read(&page.text()), "Its proof is not ready yet");
    app.held.store(false, Ordering::SeqCst);
    app.released().await;
    app.get(&format!("/p/{serial}")).await.expect(200);
}

#[actix_web::test]
async fn whoever_asks_too_often_gets_a_page_that_says_so() {
    let app = TestApp::serve(Served {
        quotas: Quotas {
            public_per_minute: 1,
            public_burst: 1,
            ..Quotas::OFF
        },
        ..Served::default()
    })
    .await;
    app.get("/p").await.expect(200);
    let page = app.get("/p").await.expect(429);
    says(&read(&page.text()), "Too many questions at once");
}

/// What was corrected is told as it is said now, and as it was said first, with who said otherwise, when and why.
#[actix_web::test]
async fn a_correction_is_told_as_one() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let path = format!("/p/{serial}");
    assert!(
        !app.get(&path)
            .await
            .expect(200)
            .text()
            .contains("First recorded as")
    );
    let history = app
        .app
        .views
        .history(uuid::Uuid::try_parse(&pieces[0]).unwrap())
        .unwrap();
    let weighed = history.into_iter().rfind(|index| {
        let entry = app.app.entry(*index).unwrap();
        entry.events().any(|event| event.kind() == "piece.weighed")
    });
    let instead = json!({"command": "weigh_pieces", "session": shop.session, "stage": "final",
                         "items": [{"piece": pieces[0], "mass": "50.24"}]});
    let corrections = json!([{"index": weighed.unwrap(), "instead": instead}]);
    let body = json!({"corrections": corrections, "reason": "mistyped", "note": "the apprentice read it upside down"});
    app.post("/v1/corrections", body).await.expect(201);
    app.released().await;
    let html = app.get(&path).await.expect(200).text();
    let page = read(&html);
    says(&page, "weighing 50.24 g");
    says(&page, "Weighed for its certificate: 50.24 g.");
    says(&page, "First recorded as: Weighed for its certificate: 50.42 g.");
    says(&page, "a figure or a word was typed wrong");
    assert!(
        html.contains("<s>Weighed for its certificate: 50.42\u{a0}g."),
        "{html}"
    );
    assert!(!page.contains("upside down"), "the note is private");
    // The paper that was handed out before says something else now.
    let older = read(&app.get(&format!("{path}?issue=1")).await.expect(200).text());
    says(&older, "an entry that the older one rests on was corrected");
}

/// The pictures of a page as a browser takes them out of it: for each the link around it, its address, its words, and the
/// caption below.
fn figures(html: &str) -> Vec<[String; 4]> {
    let of = |figure: &str, before: &str, after: &str| {
        let (_, rest) = figure.split_once(before).unwrap();
        rest.split(after).next().unwrap().to_owned()
    };
    let figures = html.split("<figure>").skip(1);
    figures
        .map(|figure| {
            [
                of(figure, "<a href=\"", "\""),
                of(figure, "<img src=\"", "\""),
                of(figure, " alt=\"", "\""),
                read(&of(figure, "<figcaption>", "</figcaption>")),
            ]
        })
        .collect()
}

/// A page shows each photograph that the record names as a thumbnail with words for who cannot see it, and the large one behind
/// it; every address on it gives the bytes that its name says. What was withdrawn is on no page.
#[actix_web::test]
async fn photographs_stand_on_the_page_under_the_hashes_that_the_record_names() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let address = format!("/v1/pieces/{}/photographs", pieces[0]);
    let mut indexes = Vec::new();
    for (side, picture) in [("face", picture()), ("edge", picture_of(2))] {
        let query = format!("{address}?stage=from_mould&side={side}");
        let reply = app.photograph(Role::Bench, &query, &picture).await.expect(201);
        indexes.push((reply.json()["index"].clone(), reply.json()["events"][0].clone()));
    }
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let html = app.get(&format!("/p/{serial}")).await.expect(200).text();
    let shown = figures(&html);
    assert_eq!(shown.len(), 2, "{html}");
    for ([link, thumbnail, words, caption], ((_, event), side)) in
        shown.iter().zip(indexes.iter().zip(["Face", "Edge"]))
    {
        assert_eq!(*words, format!("Photograph: {side}, as it came from the mould"));
        assert!(
            caption.starts_with(&format!("{side}, as it came from the mould, ")),
            "{caption}"
        );
        for (address, member, longer) in [(link, "photograph", 640), (thumbnail, "thumbnail", 480)] {
            let hash = event[member].as_str().unwrap();
            assert_eq!(*address, format!("/photographs/{hash}"));
            let reply = app.get(address).await.expect(200);
            assert_eq!(PhotographHash::of(&reply.body).to_string(), hash);
            let pixels = image::load_from_memory(&reply.body).unwrap();
            assert_eq!(pixels.dimensions().0, longer);
        }
    }
    says(&read(&html), "Photographed: face, as it came from the mould.");
    let withdrawn = json!({"corrections": [{"index": indexes[0].0}], "reason": "wrong_thing"});
    app.post("/v1/corrections", withdrawn).await.expect(201);
    app.released().await;
    let html = app.get(&format!("/p/{serial}")).await.expect(200).text();
    assert_eq!(figures(&html), shown[1..], "{html}");
    assert!(
        !html.contains(indexes[0].1["photograph"].as_str().unwrap()),
        "{html}"
    );
}

/// A piece without a certificate whose last reading is suspect: its file does not hold the check that failed, so the page says
/// it as the server's word, also where it was kept before the check.
#[actix_web::test]
async fn a_suspect_reading_that_the_file_does_not_tell_of_is_told_as_the_servers_word() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let in_water = json!({"session": shop.session, "method": "cup", "in_air": "50.42", "in_water": "4.81", "water": "21"});
    app.post(&format!("/v1/pieces/{}/gravity", pieces[0]), in_water)
        .await
        .expect(201);
    shop.close(&app, &melt).await;
    let serials = app
        .post("/v1/serials", json!({"pieces": [pieces[0]]}))
        .await
        .expect(201)
        .json();
    let path = format!("/p/{}", serials["events"][0]["serial"].as_str().unwrap());
    let before = read(&app.get(&path).await.expect(200).text());
    says(&before, "weighed in water by the maker");
    assert!(
        !before.contains("in doubt") && !before.contains("In doubt"),
        "{before}"
    );
    let fails = json!({"nominal": "50.00", "reading": "50.20"});
    app.post(&format!("/v1/sessions/{}/closing", shop.session), fails)
        .await
        .expect(201);
    app.released().await;
    let html = app.get(&path).await.expect(200).text();
    assert!(
        html.contains("<section class=\"notice grave\"><h2>Its weight is in doubt</h2>"),
        "{html}"
    );
    let after = read(&html);
    says(
        &after,
        "This server says that a check of the scale failed after its last weighing",
    );
    says(
        &after,
        "In doubt: this server says that a check of the scale failed after it.",
    );
}

#[actix_web::test]
async fn what_was_printed_is_told_below_the_story_as_the_servers_word() {
    let app = TestApp::start().await;
    let shop = Workshop::open(&app).await;
    let (melt, pieces) = shop.pour(&app, &["50.42"]).await;
    let serial = shop.certify(&app, &melt, &pieces[0], "50.42").await;
    let path = format!("/p/{serial}");
    let page = read(&app.get(&path).await.expect(200).text());
    assert!(!page.contains("was printed"), "{page}");
    // The page is kept, and the print moves no chain of the piece: it is told all the same.
    let once = "Issue 1 of the certificate was printed on 21 September 2026. ";
    let twice = "Issue 1 of the certificate was printed 2 times, last on 21 September 2026. ";
    for said in [once, twice] {
        let print = json!({"series": shop.series, "paper": "a6"});
        app.post("/v1/prints", print).await.expect(201);
        let page = read(&app.get(&path).await.expect(200).text());
        says(&page, said);
        says(&page, "That is this server’s word");
    }
}
