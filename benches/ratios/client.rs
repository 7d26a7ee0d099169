//! A load generator: plain HTTP/1.1 over connections that stay open, a few threads with many connections each.
//!
//! A connection sends its next request when the last one was answered; a thread goes through its connections in turn,
//! so that it costs little beside the server on the same cores.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

/// Threads of the load generator.
const THREADS: usize = 2;

pub struct Connection {
    stream: TcpStream,
    buffer: Vec<u8>,
    sent: Instant,
}

/// What a load came to.
#[derive(Clone, Copy)]
pub struct Load {
    /// Requests a second.
    pub rate: f64,
    /// What 99 of 100 replies did not take longer than, seconds from sending to the whole reply.
    pub p99: f64,
}

impl Connection {
    pub fn open(address: SocketAddr) -> Self {
        let stream = TcpStream::connect(address).unwrap();
        stream.set_nodelay(true).unwrap();
        Self {
            stream,
            buffer: Vec::with_capacity(64 * 1024),
            sent: Instant::now(),
        }
    }

    pub fn send(&mut self, request: &[u8]) {
        self.sent = Instant::now();
        self.stream.write_all(request).unwrap();
    }

    /// Reads one reply: its status, and where its body begins in the buffer.
    pub fn reply(&mut self) -> (u16, usize) {
        self.buffer.clear();
        let mut chunk = [0; 64 * 1024];
        let mut ends: Option<(usize, usize)> = None;
        loop {
            if let Some((body, length)) = ends
                && self.buffer.len() >= body + length
            {
                let status = std::str::from_utf8(&self.buffer[9..12]).unwrap().parse().unwrap();
                return (status, body);
            }
            let read = self.stream.read(&mut chunk).unwrap();
            assert!(read > 0, "the server closed the connection");
            self.buffer.extend_from_slice(&chunk[..read]);
            if ends.is_none()
                && let Some(head) = self.buffer.windows(4).position(|four| four == b"\r\n\r\n")
            {
                let text = String::from_utf8_lossy(&self.buffer[..head]).to_ascii_lowercase();
                let length = text
                    .split("content-length: ")
                    .nth(1)
                    .unwrap_or_else(|| panic!("no length: {text}"));
                let length = length.split("\r\n").next().unwrap().parse().unwrap();
                ends = Some((head + 4, length));
            }
        }
    }
}

/// Sends the requests of one thread, over its connections; how long each reply took.
fn drive(address: SocketAddr, connections: usize, requests: &[Vec<u8>], status: u16) -> Vec<f64> {
    let mut open: Vec<Connection> = (0..connections).map(|_| Connection::open(address)).collect();
    let mut waiting = std::collections::VecDeque::new();
    let mut took = Vec::with_capacity(requests.len());
    let mut requests = requests.iter();
    for (number, request) in (0..connections).zip(requests.by_ref()) {
        open[number].send(request);
        waiting.push_back(number);
    }
    while let Some(number) = waiting.pop_front() {
        let connection = &mut open[number];
        let (seen, body) = connection.reply();
        took.push(connection.sent.elapsed().as_secs_f64());
        let text = || String::from_utf8_lossy(&connection.buffer[body..]).into_owned();
        assert_eq!(seen, status, "{}", text());
        if let Some(request) = requests.next() {
            connection.send(request);
            waiting.push_back(number);
        }
    }
    took
}

/// Sends requests over so many connections; every reply must have this status.
pub fn load(address: SocketAddr, connections: usize, requests: &[Vec<u8>], status: u16) -> Load {
    let start = Instant::now();
    let mut took: Vec<f64> = std::thread::scope(|scope| {
        let parts = requests.chunks(requests.len().div_ceil(THREADS));
        let threads: Vec<_> = parts
            .map(|part| scope.spawn(move || drive(address, connections / THREADS, part, status)))
            .collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap())
            .collect()
    });
    let rate = requests.len() as f64 / start.elapsed().as_secs_f64();
    took.sort_by(f64::total_cmp);
    Load {
        rate,
        p99: took[(took.len() * 99 / 100).min(took.len() - 1)],
    }
}

/// One connection, on which one request is sent after another.
pub struct Reader(Connection);

impl Reader {
    pub fn open(address: SocketAddr) -> Self {
        Self(Connection::open(address))
    }

    /// The body of a reply. The views may still be following the log, so it is asked for again.
    pub fn body(&mut self, request: &[u8]) -> Vec<u8> {
        for _ in 0..600 {
            self.0.stream.write_all(request).unwrap();
            let (status, body) = self.0.reply();
            if status == 200 {
                return self.0.buffer[body..].to_vec();
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("no body comes");
    }
}
