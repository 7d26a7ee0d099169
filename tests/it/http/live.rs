//! The live stream of entries, over real connections: whole, in order, resumed, ended.

use super::{Served, TestApp, Workshop, bearer};
use actix_web::dev::ServerHandle;
use actix_web::test::TestRequest;
use pourbook::http::Role;
use pourbook::proof::leaf_hash;
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::Duration;

const WAIT: Duration = Duration::from_secs(20);

/// The book behind a listener.
fn listen(app: &TestApp) -> (SocketAddr, ServerHandle) {
    let served = Arc::clone(&app.app);
    let factory =
        move || actix_web::App::new().configure(|config| pourbook::http::configure(config, &served));
    let server = actix_web::HttpServer::new(factory).workers(1).disable_signals();
    let server = server.bind(("127.0.0.1", 0)).unwrap();
    let address = server.addrs()[0];
    let server = server.run();
    let handle = server.handle();
    actix_web::rt::spawn(server);
    (address, handle)
}

/// One client that reads a stream.
struct Reader {
    stream: TcpStream,
    got: String,
}

impl Reader {
    fn open(address: SocketAddr, token: &str, query: &str, headers: &str) -> Self {
        let mut stream = TcpStream::connect(address).unwrap();
        stream.set_read_timeout(Some(WAIT)).unwrap();
        let asked = format!(
            "GET /v1/events{query} HTTP/1.1\r\nhost: book\r\nauthorization: Bearer {token}\r\naccept: \
             text/event-stream\r\n{headers}\r\n"
        );
        stream.write_all(asked.as_bytes()).unwrap();
        Self {
            stream,
            got: String::new(),
        }
    }

    /// Reads on until what was read has it; false when the server closed before.
    fn reads(&mut self, has: impl Fn(&str) -> bool) -> bool {
        let mut part = vec![0; 65_536];
        let until = std::time::Instant::now() + 2 * WAIT;
        while !has(&self.got) {
            // A stream that goes on with comments alone would never let a read run out of time.
            assert!(std::time::Instant::now() < until, "still going on: {}", self.got);
            let count = self.stream.read(&mut part).unwrap();
            if count == 0 {
                return false;
            }
            self.got.push_str(std::str::from_utf8(&part[..count]).unwrap());
        }
        true
    }

    /// Reads until so many events are whole.
    async fn events(mut self, count: usize) -> (Self, Vec<(u64, Value)>) {
        let read = move || {
            assert!(self.reads(|got| events(got).len() >= count), "{}", self.got);
            self
        };
        let reader = actix_web::web::block(read).await.unwrap();
        let all = events(&reader.got);
        (reader, all)
    }

    /// Reads until the server ends the body.
    async fn end(mut self) -> String {
        let read = move || {
            assert!(self.reads(|got| got.ends_with("\r\n0\r\n\r\n")));
            self.got
        };
        actix_web::web::block(read).await.unwrap()
    }
}

/// The whole events in what was read: the chunks of the transfer are put together first (RFC 9112 section 7.1), then the
/// stream is read by its lines (WHATWG HTML section 9.2.6).
fn events(got: &str) -> Vec<(u64, Value)> {
    let Some((head, mut rest)) = got.split_once("\r\n\r\n") else {
        return Vec::new();
    };
    assert!(
        head.to_lowercase().contains("content-type: text/event-stream"),
        "{head}"
    );
    let mut body = String::new();
    while let Some((size, after)) = rest.split_once("\r\n") {
        let size = usize::from_str_radix(size, 16).unwrap();
        let Some(chunk) = after.get(..size) else { break };
        body.push_str(chunk);
        rest = after.get(size + 2..).unwrap_or("");
    }
    let mut all = Vec::new();
    let (whole, _) = body.rsplit_once("\n\n").unwrap_or_default();
    for event in whole.split("\n\n") {
        let field = |name: &str| event.lines().find_map(|line| line.strip_prefix(name));
        if let (Some(id), Some(data)) = (field("id: "), field("data: ")) {
            all.push((id.parse().unwrap(), serde_json::from_str(data).unwrap()));
        }
    }
    all
}

#[track_caller]
fn in_order(events: &[(u64, Value)], from: u64) {
    for (place, (id, data)) in events.iter().enumerate() {
        assert_eq!(*id, from + place as u64);
        assert_eq!(data["index"], *id);
        let leaf = leaf_hash(data["entry"].as_str().unwrap().as_bytes());
        assert_eq!(data["leaf"], leaf.to_base64url());
    }
}

async fn jar(app: &TestApp) {
    app.done(
        "/v1/jars",
        json!({"metal": "silver", "fineness": "999", "residue": "lemel"}),
    )
    .await;
}

#[actix_web::test]
async fn entries_come_as_they_are_recorded_and_a_reader_who_was_cut_off_misses_none() {
    let app = TestApp::start().await;
    Workshop::open(&app).await;
    let (address, handle) = listen(&app);
    let token = app.token(Role::Auditor).to_owned();
    let before = app.app.views.position();
    let reader = Reader::open(address, &token, "", "");
    let (reader, first) = reader.events(before as usize).await;
    in_order(&first, 0);
    assert_eq!(first.len() as u64, before);
    assert!(!reader.got.contains("Pellworth"), "no disclosures");
    jar(&app).await;
    let (reader, all) = reader.events(before as usize + 1).await;
    in_order(&all, 0);
    assert_eq!(all.last().unwrap().1["events"][0]["kind"], "jar.opened");
    drop(reader);
    for _ in 0..3 {
        jar(&app).await;
    }
    // The header says where to go on, whatever the address says: a browser asks the same address again.
    let last = format!("last-event-id: {before}\r\n");
    let (_, rest) = Reader::open(address, &token, "?from=0", &last).events(3).await;
    assert_eq!(rest.len(), 3);
    in_order(&rest, before + 1);
    let (_, rest) = Reader::open(address, &token, &format!("?from={before}"), "")
        .events(4)
        .await;
    in_order(&rest, before);
    handle.stop(false).await;
}

#[actix_web::test]
async fn a_slow_reader_loses_nothing_and_holds_nobody() {
    let app = TestApp::start().await;
    let (address, handle) = listen(&app);
    let reader = Reader::open(address, app.token(Role::Auditor), "", "");
    for _ in 0..600 {
        jar(&app).await;
    }
    let end = app.app.views.position();
    let (_, all) = reader.events(end as usize).await;
    assert_eq!(all.len() as u64, end);
    in_order(&all, 0);
    handle.stop(false).await;
}

#[actix_web::test]
async fn a_silent_stream_sends_comments_and_ends_with_its_token_or_its_server() {
    let app = TestApp::serve(Served {
        beat: Duration::from_millis(100),
        ..Served::default()
    })
    .await;
    let (address, handle) = listen(&app);
    let mut reader = Reader::open(address, &app.passing, "?from=3", "");
    let reader = actix_web::web::block(move || {
        assert!(reader.reads(|got| got.matches("\n: \n\n").count() >= 2));
        reader
    });
    let reader = reader.await.unwrap();
    assert!(reader.got.contains("retry: 2000\n\n"));
    assert_eq!(events(&reader.got).len(), 0);
    // The token ends, and with it the stream.
    app.clock.fetch_add(3_600, std::sync::atomic::Ordering::SeqCst);
    reader.end().await;
    // The server stops, and with it a stream that waits and one that was never read.
    let reader = Reader::open(address, app.token(Role::Auditor), "", "");
    let never = Reader::open(address, app.token(Role::Auditor), "", "");
    let (reader, _) = reader.events(3).await;
    app.app.streams.end();
    reader.end().await;
    never.end().await;
    handle.stop(true).await;
}

#[actix_web::test]
async fn a_stream_is_for_auditors_and_begins_where_there_is_a_position() {
    let app = TestApp::start().await;
    let ask = async |role: Role, query: &str, last: Option<&str>, method: &str| {
        let request = TestRequest::default()
            .method(super::method(method))
            .uri(&format!("/v1/events{query}"));
        let request = request.insert_header(bearer(app.token(role)));
        let request = request.insert_header(("accept", "text/event-stream"));
        let request = match last {
            Some(last) => request.insert_header(("last-event-id", last)),
            None => request,
        };
        app.send(request).await
    };
    for role in [Role::Bench, Role::Office, Role::Admin] {
        ask(role, "", None, "GET").await.expect(403);
    }
    for last in ["-1", "x", "1 ", "18446744073709551615", "99999999999999999999"] {
        ask(Role::Auditor, "", Some(last), "GET").await.expect(400);
    }
    for query in ["?from=x", "?limit=5", "?q=1"] {
        ask(Role::Auditor, query, None, "GET").await.expect(400);
    }
    let head = ask(Role::Auditor, "", None, "HEAD").await.expect(200);
    assert_eq!(head.header("content-type"), Some("text/event-stream"));
    assert_eq!(
        head.header("vary"),
        Some("authorization, cookie, pourbook-form, accept")
    );
    // A stream ends with its token, so it wants one: a session that opens the pages opens none.
    let browser = super::workshop::Browser::of(&app, Role::Auditor).await;
    let by_session = || {
        TestRequest::get()
            .uri("/v1/events")
            .insert_header(("cookie", browser.cookie.clone()))
            .insert_header(("pourbook-form", browser.form_token.clone()))
    };
    app.send(by_session()).await.expect(200);
    let streamed = by_session().insert_header(("accept", "text/event-stream"));
    app.send(streamed).await.refused(401, "unauthorized", "");
    // Who takes JSON as well is sent a page.
    let both = TestRequest::get()
        .uri("/v1/events?limit=1")
        .insert_header(bearer(app.token(Role::Auditor)));
    let both = both.insert_header(("accept", "application/json, text/event-stream"));
    assert_eq!(app.send(both).await.expect(200).json()["position"], 1);
}

/// The program itself: a stream that is open does not hold it up when it is told to stop.
#[test]
fn the_program_stops_while_somebody_reads() {
    use crate::log::served::{FOUNDED, found_book};
    let folder = tempfile::tempdir().unwrap();
    found_book(folder.path(), 31, FOUNDED);
    let mut tokens = pourbook::http::Tokens::default();
    let token = tokens.add(
        &mut pourbook::domain::Draw::new([32; 32]),
        Role::Auditor,
        None,
        None,
    );
    let book = pourbook::node::BookFolder::at(folder.path());
    tokens.write(&book.tokens()).unwrap();
    let served = crate::log::served::Served::start(folder.path());
    let address = served.address.strip_prefix("http://").unwrap().parse().unwrap();
    let mut reader = Reader::open(address, &token, "", "");
    assert!(reader.reads(|got| events(got).len() >= 3));
    let asked = std::time::Instant::now();
    served.stop();
    // It waits at most 10 s for requests that do not end by themselves.
    assert!(asked.elapsed() < Duration::from_secs(8), "{:?}", asked.elapsed());
    assert!(
        reader.reads(|got| got.ends_with("\r\n0\r\n\r\n")),
        "the body was ended"
    );
}

/// One stream more than the settings allow is told to come again, and has its place once another ended.
#[actix_web::test]
async fn only_so_many_streams_are_open() {
    let app = TestApp::serve(Served {
        streams: 2,
        ..Served::default()
    })
    .await;
    let (address, server) = listen(&app);
    let token = app.token(Role::Auditor).to_owned();
    let mut open = Vec::new();
    for _ in 0..2 {
        let (reader, _) = Reader::open(address, &token, "", "").events(1).await;
        open.push(reader);
    }
    let ask = || {
        TestRequest::get()
            .uri("/v1/events")
            .insert_header(bearer(&token))
            .insert_header(("accept", "text/event-stream"))
    };
    let refused = app.send(ask()).await.expect(503);
    assert_eq!(refused.problem(), "busy");
    assert_eq!(refused.header("retry-after"), Some("30"));
    // A page of entries is no stream.
    app.get_as(Role::Auditor, "/v1/events").await.expect(200);
    drop(open.pop());
    // The server sees that a reader is gone when it has something to say to him.
    let last = loop {
        let mut reader = Reader::open(address, &token, "", "");
        let asked = move || {
            reader.reads(|got| got.contains("\r\n\r\n"));
            reader
        };
        let reader = actix_web::web::block(asked).await.unwrap();
        if reader.got.starts_with("HTTP/1.1 200") {
            break reader;
        }
        assert!(reader.got.starts_with("HTTP/1.1 503"), "{}", reader.got);
        app.post(
            "/v1/jars",
            json!({"metal": "silver", "fineness": "999", "residue": "lemel"}),
        )
        .await
        .expect(201);
        actix_web::rt::time::sleep(Duration::from_millis(50)).await;
    };
    drop((open, last));
    app.app.streams.end();
    server.stop(false).await;
}
