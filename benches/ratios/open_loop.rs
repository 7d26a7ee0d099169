//! An open loop: requests are sent when they are due, whether or not those before were answered, and what a reply took counts from
//! when its request was due. So a server that stands still for a while is charged with all who waited.
//!
//! Each connection has a thread and a schedule of its own; together they send evenly. A connection that is late sends at once.

use super::client::Connection;
use std::net::SocketAddr;
use std::time::{Duration, Instant};

/// Sends the requests, so many a second over all; seconds from when each was due to its whole reply, shortest first.
pub fn open_loop(
    address: SocketAddr,
    connections: usize,
    requests: &[Vec<u8>],
    rate: f64,
    status: u16,
) -> Vec<f64> {
    let start = Instant::now() + Duration::from_millis(100);
    let mut took: Vec<f64> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..connections)
            .map(|first| {
                scope.spawn(move || {
                    let mut connection = Connection::open(address);
                    let mut took = Vec::new();
                    for (number, request) in requests.iter().enumerate().skip(first).step_by(connections) {
                        let due = start + Duration::from_secs_f64(number as f64 / rate);
                        std::thread::sleep(due.saturating_duration_since(Instant::now()));
                        connection.send(request);
                        let (seen, _) = connection.reply();
                        assert_eq!(seen, status);
                        took.push(due.elapsed().as_secs_f64());
                    }
                    took
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap())
            .collect()
    });
    took.sort_by(f64::total_cmp);
    took
}

/// What 99 of 100 did not exceed.
pub fn p99(sorted: &[f64]) -> f64 {
    sorted[(sorted.len() * 99 / 100).min(sorted.len() - 1)]
}
