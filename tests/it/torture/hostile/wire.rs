//! Requests as bytes on a connection, from an address of one's own, and what comes back until the other side closes.

use rustls::pki_types::ServerName;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpSocket, TcpStream};
use tokio::time::timeout;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;

/// How long an answer may take at all.
pub const PATIENCE: Duration = Duration::from_secs(120);

/// One answer, or several behind each other, as they came.
#[derive(Clone, Debug, Default)]
pub struct Reply(pub Vec<u8>);

impl Reply {
    /// The status of the first answer; none where the connection was closed without one.
    pub fn status(&self) -> Option<u16> {
        let text = self.0.get(..12)?;
        let text = std::str::from_utf8(text).ok()?;
        text.strip_prefix("HTTP/1.1 ")?.get(..3)?.parse().ok()
    }

    /// Every status line, by what stands at the beginning of a line.
    pub fn statuses(&self) -> Vec<u16> {
        let text = String::from_utf8_lossy(&self.0).into_owned();
        let answers = text.split("HTTP/1.1 ").skip(1);
        answers
            .filter_map(|answer| answer.get(..3)?.parse().ok())
            .collect()
    }

    /// How it is counted: its status, or that it was closed.
    pub fn told(&self) -> String {
        self.status()
            .map_or_else(|| "closed".to_owned(), |status| status.to_string())
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.0).into_owned()
    }

    /// A header of the first answer.
    pub fn header(&self, name: &str) -> Option<String> {
        let text = self.text();
        let head = text.split("\r\n\r\n").next()?;
        let mut lines = head.split("\r\n").skip(1).filter_map(|line| line.split_once(':'));
        let found = lines.find(|(known, _)| known.eq_ignore_ascii_case(name));
        found.map(|(_, value)| value.trim().to_owned())
    }

    /// What stands behind the head of the first answer.
    pub fn body(&self) -> Vec<u8> {
        let at = self.0.windows(4).position(|four| four == b"\r\n\r\n");
        at.map_or_else(Vec::new, |at| self.0[at + 4..].to_vec())
    }

    /// Held to what every refusal owes: who is told to come again is told when.
    #[track_caller]
    pub fn owes(self) -> Self {
        if self.status() == Some(503) || self.status() == Some(429) {
            let wait = self.header("retry-after").unwrap_or_default();
            assert!(wait.parse::<u32>().is_ok_and(|wait| wait > 0), "{}", self.text());
        }
        self
    }
}

/// An address that an attacker has: the first 250 are `127.66.0.1` and so on.
pub fn attacker(number: usize) -> Ipv4Addr {
    Ipv4Addr::new(127, 66, (number / 250) as u8, (number % 250 + 1) as u8)
}

/// A connection from an address to the server.
pub async fn connect(from: Ipv4Addr, to: SocketAddr) -> io::Result<TcpStream> {
    let socket = TcpSocket::new_v4()?;
    socket.bind((from, 0).into())?;
    socket.connect(to).await
}

/// A connection over TLS, once the handshake is made.
pub async fn connect_tls(
    tls: &TlsConnector,
    from: Ipv4Addr,
    to: SocketAddr,
) -> io::Result<TlsStream<TcpStream>> {
    let stream = connect(from, to).await?;
    let name = ServerName::try_from("localhost").map_err(io::Error::other)?;
    tls.connect(name, stream).await
}

/// All that comes until the other side closes, or nothing more does. A connection that is reset has said what it said.
pub async fn heard<S: AsyncRead + Unpin>(stream: &mut S) -> Reply {
    heard_within(stream, PATIENCE).await
}

pub async fn heard_within<S: AsyncRead + Unpin>(stream: &mut S, patience: Duration) -> Reply {
    let mut all = Vec::new();
    let reading = async {
        let mut part = vec![0; 16 * 1024];
        while let Ok(count) = stream.read(&mut part).await {
            if count == 0 {
                break;
            }
            all.extend_from_slice(&part[..count]);
        }
    };
    let ended = timeout(patience, reading).await;
    assert!(ended.is_ok(), "the connection was not ended within {patience:?}");
    Reply(all)
}

/// Sends bytes on a connection of its own and hears all that comes. Whoever is closed while still sending hears what was said.
pub async fn exchange(from: Ipv4Addr, to: SocketAddr, sent: &[u8]) -> Reply {
    match connect(from, to).await {
        Ok(stream) => exchanged(stream, sent).await,
        Err(_) => Reply::default(),
    }
}

/// The same over TLS; nothing is heard where no handshake was made.
pub async fn exchange_tls(tls: &TlsConnector, from: Ipv4Addr, to: SocketAddr, sent: &[u8]) -> Reply {
    match connect_tls(tls, from, to).await {
        Ok(stream) => exchanged(stream, sent).await,
        Err(_) => Reply::default(),
    }
}

async fn exchanged<S: AsyncRead + AsyncWrite>(stream: S, sent: &[u8]) -> Reply {
    let (mut reads, mut writes) = tokio::io::split(stream);
    let mut all = Vec::new();
    let sending = async {
        // The server may have heard enough.
        let _ = writes.write_all(sent).await;
        let _ = writes.flush().await;
    };
    let hearing = async {
        let mut part = vec![0; 16 * 1024];
        while let Ok(count) = reads.read(&mut part).await {
            if count == 0 {
                break;
            }
            all.extend_from_slice(&part[..count]);
        }
    };
    let both = async {
        tokio::join!(sending, hearing);
    };
    timeout(PATIENCE, both)
        .await
        .expect("the connection was not ended");
    Reply(all)
}

/// A request that ends its connection.
pub fn request(method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Vec<u8> {
    let mut head = format!("{method} {path} HTTP/1.1\r\nhost: book\r\nconnection: close\r\n");
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    if method == "POST" {
        head.push_str(&format!("content-length: {}\r\n", body.len()));
    }
    head.push_str("\r\n");
    [head.as_bytes(), body].concat()
}
