//! Photographs through HTTP: sent in, recorded, shown, refused, lost.

use super::{Reply, Served, TestApp, Workshop, bearer};
use actix_web::test::TestRequest;
use image::{ImageFormat, Rgb, RgbImage};
use pourbook::domain::{PHOTOGRAPHS_MAX, PhotographHash};
use pourbook::http::Role;
use pourbook::log::PhotographFiles;
use pourbook::photographs::SENT_BYTES_MAX;
use serde_json::json;
use std::io::Cursor;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;
use uuid::Uuid;

const FACE: &str = "?stage=from_mould&side=face";

/// A small picture, as a PNG.
pub fn picture() -> Vec<u8> {
    picture_of(1)
}

/// A small picture, another one for each number.
pub fn picture_of(number: u8) -> Vec<u8> {
    let pixels = RgbImage::from_fn(640, 400, |x, y| {
        Rgb([number.wrapping_mul(9), (x / 3) as u8, (y / 2) as u8])
    });
    let mut bytes = Cursor::new(Vec::new());
    pixels.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

impl TestApp {
    /// Sends a picture in, with a fresh key and the version that the piece has.
    pub async fn photograph(&self, role: Role, address: &str, picture: &[u8]) -> Reply {
        let piece = address
            .split('/')
            .find_map(|part| Uuid::try_parse(part).ok())
            .unwrap();
        let version = self.app.views.version(piece).unwrap();
        let request = TestRequest::post()
            .uri(address)
            .insert_header(bearer(self.token(role)))
            .insert_header(("idempotency-key", self.fresh_key()))
            .insert_header(("content-type", "image/png"))
            .insert_header(("if-match", format!("\"{version}\"")))
            .set_payload(picture.to_vec());
        self.send(request).await
    }
}

/// A piece from the mould, and the address of its photographs.
async fn poured(app: &TestApp) -> (String, String) {
    let workshop = Workshop::open(app).await;
    let (_, pieces) = workshop.pour(app, &["50.42"]).await;
    let piece = pieces[0].clone();
    let address = format!("/v1/pieces/{piece}/photographs");
    (piece, address)
}

fn file_of(hash: &str) -> PathBuf {
    PathBuf::from(format!("/photos/{}/{hash}", &hash[..2]))
}

#[actix_web::test]
async fn a_picture_becomes_a_photograph_that_everybody_can_hold_against_the_record() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (melt, pieces) = workshop.pour(&app, &["50.42"]).await;
    let address = format!("/v1/pieces/{}/photographs", pieces[0]);
    let reply = app
        .photograph(Role::Bench, &format!("{address}{FACE}"), &picture())
        .await
        .expect(201);
    let event = &reply.json()["events"][0];
    assert_eq!(event["kind"], "piece.photographed");
    assert_eq!((&event["width"], &event["height"]), (&json!(640), &json!(400)));
    assert_eq!(
        (&event["stage"], &event["side"]),
        (&json!("from_mould"), &json!("face"))
    );
    for (name, longer) in [("photograph", 640), ("thumbnail", 480)] {
        let hash = event[name].as_str().unwrap();
        let shown = app.get(&format!("/photographs/{hash}")).await.expect(200);
        assert_eq!(PhotographHash::of(&shown.body).to_string(), hash);
        assert_eq!(shown.header("content-type"), Some("image/jpeg"));
        assert_eq!(shown.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(shown.header("etag"), Some(format!("\"{hash}\"").as_str()));
        assert_eq!(
            shown.header("cache-control"),
            Some("public, max-age=31536000, immutable")
        );
        let pixels = image::load_from_memory_with_format(&shown.body, ImageFormat::Jpeg).unwrap();
        assert_eq!(pixels.width(), longer);
        let again = TestRequest::get()
            .uri(&format!("/photographs/{hash}"))
            .insert_header(("if-none-match", format!("\"{hash}\"")));
        assert!(app.send(again).await.expect(304).body.is_empty());
    }
    // The row, the history and the public record tell it.
    let row = app
        .get_as(Role::Bench, &format!("/v1/pieces/{}", pieces[0]))
        .await
        .json();
    assert_eq!(row["photographs"][0]["photograph"], event["photograph"]);
    assert_eq!(
        row["state"], "graded",
        "a photograph changes nothing of the piece"
    );
    let serial = workshop.certify(&app, &melt, &pieces[0], "50.42").await;
    let record = app.get(&format!("/v1/serials/{serial}")).await.json();
    assert_eq!(record["photographs"], row["photographs"]);
}

#[actix_web::test]
async fn the_same_upload_again_is_the_same_answer_and_no_second_entry() {
    let app = TestApp::start().await;
    let (piece, address) = poured(&app).await;
    let send = |key: String, picture: Vec<u8>| {
        let request = TestRequest::post()
            .uri(&format!("{address}{FACE}"))
            .insert_header(bearer(app.token(Role::Office)))
            .insert_header(("idempotency-key", key))
            .insert_header(("content-type", "image/jpeg"))
            .insert_header(("if-match", "\"2\""))
            .set_payload(picture);
        app.send(request)
    };
    let key = app.fresh_key();
    let first = send(key.clone(), picture_of(1)).await.expect(201);
    let again = send(key.clone(), picture_of(1)).await.expect(201);
    assert_eq!(first.json(), again.json());
    assert_eq!(app.version(&piece), 3);
    send(key, picture_of(2))
        .await
        .refused(422, "idempotency-key-reused", "");
    send(app.fresh_key(), picture_of(2))
        .await
        .refused(412, "stale", "");
    assert_eq!(app.version(&piece), 3);
}

#[actix_web::test]
async fn what_is_refused_names_the_fact_and_records_nothing() {
    let app = TestApp::start().await;
    let (piece, address) = poured(&app).await;
    let send = |query: &'static str, picture: Vec<u8>| {
        let (app, address) = (&app, format!("{address}{query}"));
        async move { app.photograph(Role::Bench, &address, &picture).await }
    };
    for (query, part) in [
        ("?side=face", "\"stage\" is needed"),
        ("?stage=from_mould", "\"side\" is needed"),
        ("?stage=melted&side=face", "must be one of from_mould"),
        ("?stage=from_mould&side=face&side=back", "given twice"),
        ("?stage=from_mould&side=face&note=x", "\"note\" is not known"),
        (
            "?stage=from_mould&side=face&at=2126-01-01T00:00:00Z",
            "still to come",
        ),
    ] {
        let reply = send(query, picture()).await.expect(400);
        let json = reply.json();
        let detail = json["detail"].as_str().unwrap();
        assert!(detail.contains(part), "{query}: {detail}");
    }
    send("?stage=hallmarked&side=marks", picture())
        .await
        .refused(409, "not-yet-so", "#/stage");
    for nothing in [
        b"".as_slice(),
        b"GIF89a-----------------",
        b"<svg xmlns=''/>",
        b"\xff\xd8\xff",
    ] {
        send(FACE, nothing.to_vec())
            .await
            .refused(422, "photograph-unusable", "");
    }
    let mut heavy = picture();
    heavy.resize(SENT_BYTES_MAX + 1, 0);
    send(FACE, heavy).await.refused(413, "photograph-too-large", "");
    // By its name alone, before a byte of it is read.
    let claimed = TestRequest::post()
        .uri(&format!("{address}{FACE}"))
        .insert_header(bearer(app.token(Role::Bench)))
        .insert_header(("idempotency-key", app.fresh_key()))
        .insert_header(("content-type", "image/png"))
        .insert_header(("if-match", "\"2\""))
        .insert_header(("content-length", (SENT_BYTES_MAX + 1).to_string()));
    app.send_slowly(claimed)
        .await
        .refused(413, "photograph-too-large", "");
    assert_eq!(app.version(&piece), 2);
    assert_eq!(
        app.photographs.contents().keys().count(),
        0,
        "what was refused leaves no file"
    );
    send(FACE, picture()).await.expect(201);
    send("?stage=from_mould&side=back", picture())
        .await
        .refused(409, "photographed-already", "#/photograph");
    for role in [Role::Auditor, Role::Admin] {
        app.photograph(role, &format!("{address}{FACE}"), &picture_of(9))
            .await
            .refused(403, "forbidden", "");
    }
}

#[actix_web::test]
async fn a_piece_has_so_many_photographs_and_no_more() {
    let app = TestApp::start().await;
    let (_, address) = poured(&app).await;
    let small = |number: usize| {
        let pixels = RgbImage::from_pixel(8, 8, Rgb([number as u8 * 9, 0, 0]));
        let mut bytes = Cursor::new(Vec::new());
        pixels.write_to(&mut bytes, ImageFormat::WebP).unwrap();
        bytes.into_inner()
    };
    let address = format!("{address}{FACE}");
    for number in 0..PHOTOGRAPHS_MAX {
        app.photograph(Role::Bench, &address, &small(number))
            .await
            .expect(201);
    }
    app.photograph(Role::Bench, &address, &small(PHOTOGRAPHS_MAX))
        .await
        .refused(409, "photographs-enough", "#/piece");
}

/// Four bodies that never come hold their places; a fifth picture is sent away, and taken when they have given up.
#[actix_web::test]
async fn only_so_many_pictures_come_in_at_once() {
    let app = Rc::new(
        TestApp::serve(Served {
            body_timeout: Duration::from_millis(100),
            ..Served::default()
        })
        .await,
    );
    let (_, address) = poured(&app).await;
    let address = format!("{address}{FACE}");
    let slow: Vec<_> = (0..4)
        .map(|_| {
            let app = Rc::clone(&app);
            let request = TestRequest::post()
                .uri(&address)
                .insert_header(bearer(app.token(Role::Bench)))
                .insert_header(("idempotency-key", app.fresh_key()))
                .insert_header(("content-type", "image/png"))
                .insert_header(("if-match", "\"2\""));
            actix_web::rt::spawn(async move { app.send_slowly(request).await })
        })
        .collect();
    actix_web::rt::time::sleep(Duration::from_millis(20)).await;
    let fifth = app
        .photograph(Role::Bench, &address, &picture())
        .await
        .expect(503);
    assert_eq!(
        (fifth.problem().as_str(), fifth.header("retry-after")),
        ("busy", Some("1"))
    );
    for slow in slow {
        slow.await.unwrap().refused(408, "body-too-slow", "");
    }
    app.photograph(Role::Bench, &address, &picture())
        .await
        .expect(201);
}

#[actix_web::test]
async fn only_what_the_record_names_is_shown() {
    let app = TestApp::start().await;
    let (_, address) = poured(&app).await;
    let reply = app
        .photograph(Role::Bench, &format!("{address}{FACE}"), &picture())
        .await
        .expect(201);
    let hash = reply.json()["events"][0]["photograph"]
        .as_str()
        .unwrap()
        .to_owned();
    // Files that stand beside it, as a crash between keeping and recording leaves them.
    let files = PhotographFiles::new(std::sync::Arc::new(app.photographs.clone()), "/photos".into());
    for beside in [b"one".as_slice(), b"another"] {
        files.keep(beside).unwrap();
    }
    let kept: Vec<String> = app
        .photographs
        .contents()
        .into_keys()
        .map(|path| path.file_name().unwrap().to_str().unwrap().to_owned())
        .collect();
    assert_eq!(kept.len(), 4);
    let mut shown = 0;
    for name in &kept {
        let reply = app.get(&format!("/photographs/{name}")).await;
        shown += usize::from(reply.status == 200);
        assert!([200, 404].contains(&reply.status));
    }
    assert_eq!(shown, 2);
    for no in [
        hash.to_uppercase(),
        hash[1..].to_owned(),
        format!("{hash}0"),
        format!("{}g", &hash[..63]),
        format!("..%2f{}%2f{hash}", &hash[..2]),
        "..%2fpin".into(),
        "%00".into(),
        "x".repeat(10_000),
        "0".repeat(64),
        format!("{}é", &hash[..62]),
    ] {
        let path = format!("/photographs/{no}").replace('é', "%C3%A9");
        app.get(&path).await.refused(404, "not-found", "");
    }
}

#[actix_web::test]
async fn a_file_that_is_missing_or_damaged_hides_no_record() {
    let app = TestApp::start().await;
    let (piece, address) = poured(&app).await;
    let address = format!("{address}{FACE}");
    let reply = app
        .photograph(Role::Bench, &address, &picture())
        .await
        .expect(201);
    let event = reply.json()["events"][0].clone();
    let (photograph, thumbnail) = (
        event["photograph"].as_str().unwrap(),
        event["thumbnail"].as_str().unwrap(),
    );
    assert!(app.get("/healthz").await.json().get("photographs").is_none());
    app.photographs
        .patch(&file_of(photograph), |bytes| bytes[300] ^= 1)
        .unwrap();
    let path = format!("/photographs/{photograph}");
    app.get(&path).await.refused(500, "photograph-lost", "");
    let files: std::sync::Arc<dyn pourbook::log::Files> = std::sync::Arc::new(app.photographs.clone());
    files.remove(&file_of(thumbnail)).unwrap();
    app.get(&format!("/photographs/{thumbnail}"))
        .await
        .refused(500, "photograph-lost", "");
    let health = app.get("/healthz").await.json();
    assert_eq!(health["photographs"], json!({"missing": 1, "damaged": 1}));
    // The record stands.
    let row = app
        .get_as(Role::Bench, &format!("/v1/pieces/{piece}"))
        .await
        .expect(200);
    assert_eq!(row.json()["photographs"][0]["photograph"], photograph);
    // The same picture again is refused as known, and its files are whole again.
    app.photograph(Role::Bench, &address, &picture())
        .await
        .expect(409);
    app.get(&path).await.expect(200);
    assert!(app.get("/healthz").await.json().get("photographs").is_none());
}

#[actix_web::test]
async fn a_photograph_of_the_wrong_piece_is_corrected_and_none_put_in_its_place() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (_, pieces) = workshop.pour(&app, &["50.42", "50.61"]).await;
    let address = format!("/v1/pieces/{}/photographs{FACE}", pieces[0]);
    let reply = app
        .photograph(Role::Bench, &address, &picture())
        .await
        .expect(201);
    let (index, event) = (reply.json()["index"].clone(), reply.json()["events"][0].clone());
    let other = app
        .photograph(Role::Bench, &address, &picture_of(2))
        .await
        .expect(201)
        .json()["events"][0]
        .clone();
    let command = |piece: &str, of: &serde_json::Value| {
        json!({"command": "photograph_piece", "piece": piece, "photograph": of["photograph"],
            "thumbnail": of["thumbnail"], "width": of["width"], "height": of["height"],
            "stage": "from_mould", "side": "edge"})
    };
    let correct = |instead: Option<serde_json::Value>| {
        let mut correction = json!({"index": index});
        if let Some(instead) = instead {
            correction["instead"] = instead;
        }
        app.post(
            "/v1/corrections",
            json!({"corrections": [correction], "reason": "wrong_thing"}),
        )
    };
    correct(Some(command(&pieces[1], &other))).await.refused(
        409,
        "other-photograph",
        "#/corrections/0/instead/photograph",
    );
    correct(Some(command(&pieces[1], &event))).await.expect(201);
    let of = |piece: String| {
        let app = &app;
        async move {
            app.get_as(Role::Bench, &format!("/v1/pieces/{piece}"))
                .await
                .json()["photographs"]
                .clone()
        }
    };
    let (first, second) = (of(pieces[0].clone()).await, of(pieces[1].clone()).await);
    assert_eq!(first.as_array().unwrap().len(), 1);
    assert_eq!(first[0]["photograph"], other["photograph"]);
    assert_eq!(
        (&second[0]["photograph"], &second[0]["side"]),
        (&event["photograph"], &json!("edge"))
    );
    let path = format!("/photographs/{}", event["photograph"].as_str().unwrap());
    app.get(&path).await.expect(200);
    // Withdrawn, it is named by nothing any more and no longer shown.
    correct(None).await.expect(201);
    assert_eq!(of(pieces[1].clone()).await, json!([]));
    app.get(&path).await.refused(404, "not-found", "");
}

/// A refused upload takes its own files away and nobody else's: not those that another piece's entry names, not those of a
/// photograph that was withdrawn.
#[actix_web::test]
async fn a_refused_upload_takes_away_only_its_own_files() {
    let app = TestApp::start().await;
    let workshop = Workshop::open(&app).await;
    let (_, pieces) = workshop.pour(&app, &["50.42", "50.61"]).await;
    let address = |piece: usize, query: &str| format!("/v1/pieces/{}/photographs{query}", pieces[piece]);
    let too_early = "?stage=hallmarked&side=marks";
    let reply = app
        .photograph(Role::Bench, &address(0, FACE), &picture())
        .await
        .expect(201);
    let count = || app.photographs.contents().len();
    assert_eq!(count(), 2);
    app.photograph(Role::Bench, &address(1, too_early), &picture())
        .await
        .expect(409);
    assert_eq!(count(), 2);
    let hash = reply.json()["events"][0]["photograph"]
        .as_str()
        .unwrap()
        .to_owned();
    app.get(&format!("/photographs/{hash}")).await.expect(200);
    app.photograph(Role::Bench, &address(1, too_early), &picture_of(2))
        .await
        .expect(409);
    assert_eq!(count(), 2);
    let withdrawn = json!({"corrections": [{"index": reply.json()["index"]}], "reason": "wrong_thing"});
    app.post("/v1/corrections", withdrawn).await.expect(201);
    app.get(&format!("/photographs/{hash}")).await.expect(404);
    app.photograph(Role::Bench, &address(1, too_early), &picture())
        .await
        .expect(409);
    assert_eq!(count(), 2, "what was recorded once stays");
}

/// Whoever sent a picture and went away finds it recorded: what was begun ends, so that its place is not given to another
/// while it is still being decoded.
#[actix_web::test]
async fn a_sender_who_goes_away_stops_nothing() {
    let app = TestApp::start().await;
    let (piece, address) = poured(&app).await;
    let (address, picture) = (format!("{address}{FACE}"), picture());
    let sent = app.photograph(Role::Bench, &address, &picture);
    // It is looked at once, which reads the body, and is then dropped.
    let gone = actix_web::rt::time::timeout(Duration::ZERO, sent).await;
    assert!(gone.is_err(), "it was answered at once");
    for _ in 0..500 {
        if app.version(&piece) == 3 {
            return;
        }
        actix_web::rt::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("the picture was never recorded");
}
