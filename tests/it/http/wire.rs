//! What a client can send only as bytes on a connection: header values that no library lets through.

use super::{ADDRESS, TestApp};
use pourbook::http::Role;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::Duration;

/// Sends bytes and reads until the server closes; status and body.
fn exchange(address: SocketAddr, sent: &[u8]) -> (u16, String) {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    stream.write_all(sent).unwrap();
    let mut got = Vec::new();
    stream.read_to_end(&mut got).unwrap();
    let text = String::from_utf8_lossy(&got).into_owned();
    let status = text.split(' ').nth(1).unwrap().parse().unwrap();
    let body = text.split_once("\r\n\r\n").unwrap().1.to_owned();
    (status, body)
}

#[actix_web::test]
async fn a_header_with_a_control_character_is_refused_with_a_problem_where_it_reaches_us() {
    let app = TestApp::start().await;
    let served = Arc::clone(&app.app);
    let factory =
        move || actix_web::App::new().configure(|config| pourbook::http::configure(config, &served));
    let server = actix_web::HttpServer::new(factory)
        .workers(1)
        .disable_signals()
        .bind(("127.0.0.1", 0))
        .unwrap();
    let address = server.addrs()[0];
    let server = server.run();
    let handle = server.handle();
    actix_web::rt::spawn(server);
    let before = app.app.views.position();
    let ask = |if_match: &[u8]| {
        let token = app.token(Role::Bench);
        let mut sent = format!(
            "POST /v1/pieces/11111111-1111-4111-8111-111111111111/fault HTTP/1.1\r\nhost: book\r\nconnection: close\r\n\
             authorization: Bearer {token}\r\nidempotency-key: 8e03978e-40d5-43e8-bc93-6894a57f9324\r\n\
             content-type: application/json\r\ncontent-length: 17\r\nif-match: "
        )
        .into_bytes();
        sent.extend_from_slice(if_match);
        sent.extend_from_slice(b"\r\n\r\n{\"fault\":\"crack\"}");
        actix_web::web::block(move || exchange(address, &sent))
    };
    // These pass the HTTP library and are refused by us, with a problem that says which header.
    for bad in [&b"\"\xff\""[..], b"\"\xc3\xa9\"", b"\"1\t\"", b"\"1\" \"2\""] {
        let (status, body) = ask(bad).await.unwrap();
        assert_eq!(status, 400, "{bad:?}: {body}");
        assert!(
            body.contains(&format!("{ADDRESS}/problems/unreadable")),
            "{bad:?}: {body}"
        );
        assert!(body.to_lowercase().contains("if-match"), "{bad:?}: {body}");
    }
    // Control characters never reach us: actix-web's parser answers 400 by itself, without a body (RFC 9110 section 5.5
    // lets a recipient reject them), and nothing of ours runs.
    for bad in [&b"\"\x01\""[..], b"\"\x00\"", b"\"\x7f\""] {
        let (status, body) = ask(bad).await.unwrap();
        assert_eq!((status, body.as_str()), (400, ""), "{bad:?}");
    }
    assert_eq!(app.app.views.position(), before);
    handle.stop(false).await;
}
