//! How many bytes of bodies may be coming in at once, so that slow and large ones do not fill the memory.
//!
//! Room is taken for all that a body says it will have before the first byte is read, and given back when the request is
//! answered. Callers with a token have room of their own, which strangers cannot use up; among strangers one address has
//! an eighth at most. Deliberately absent: pictures, of which so many may come in at once (`photographs`).

use super::commands::{self, busy};
use super::per_address::{PerAddress, share_of};
use super::problem::Problem;
use super::{App, apart, conditions, json, proxies};
use actix_web::HttpRequest;
use actix_web::http::header;
use actix_web::web::{Bytes, Payload};
use serde_json::Value;
use std::net::IpAddr;
use std::ops::Deref;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Semaphore;

/// Which part of the strangers' room one address may have.
const SHARES: usize = 8;
/// How long a body may be that is read while others wait, bytes.
const READ_AT_ONCE: usize = 16 * 1024;
/// How many long bodies are read at a time.
const READ_MAX: usize = 2;
/// What is reckoned for a body beside its own bytes.
const OVERHEAD: usize = 1_024;

/// Who sends a body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sender {
    /// Somebody with a token or a session.
    Caller,
    /// Anybody.
    Stranger,
}

/// The room for bodies.
pub struct Bodies {
    bytes_max: usize,
    callers: Arc<Mutex<Taken>>,
    strangers: Arc<Mutex<Taken>>,
    reading: Arc<Semaphore>,
}

#[derive(Default)]
struct Taken {
    bytes: usize,
    of: PerAddress,
}

/// Room that is taken; given back when it is dropped.
struct Room {
    taken: Arc<Mutex<Taken>>,
    address: Option<IpAddr>,
    bytes: usize,
}

impl Bodies {
    /// So many bytes for callers, and as many for strangers.
    #[must_use]
    pub fn new(bytes_max: usize) -> Self {
        Self {
            bytes_max,
            callers: Arc::default(),
            strangers: Arc::default(),
            reading: Arc::new(Semaphore::new(READ_MAX)),
        }
    }

    /// Takes room for a body.
    ///
    /// # Errors
    /// 503 when there is none.
    fn take(&self, sender: Sender, peer: Option<IpAddr>, bytes: usize) -> Result<Room, Problem> {
        let bytes = bytes.saturating_add(OVERHEAD);
        let (side, address) = match sender {
            Sender::Caller => (&self.callers, None),
            Sender::Stranger => (&self.strangers, peer.map(share_of)),
        };
        let mut taken = side.lock().unwrap_or_else(PoisonError::into_inner);
        if taken.bytes.saturating_add(bytes) > self.bytes_max {
            return Err(busy("too many bodies are coming in: send this one again"));
        }
        if let Some(address) = address {
            if taken.of.of(address).saturating_add(bytes) > (self.bytes_max / SHARES).max(bytes) {
                return Err(busy(
                    "too many bodies are coming in from this address: send this one again",
                ));
            }
            taken.of.take(address, bytes);
        }
        taken.bytes = taken.bytes.saturating_add(bytes);
        Ok(Room {
            taken: Arc::clone(side),
            address,
            bytes,
        })
    }
}

impl Drop for Room {
    fn drop(&mut self) {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        taken.bytes = taken.bytes.saturating_sub(self.bytes);
        if let Some(address) = self.address {
            taken.of.give_back(address, self.bytes);
        }
    }
}

/// A body with the room that it takes: keep it until the request is answered.
pub struct Body {
    bytes: Bytes,
    reading: Arc<Semaphore>,
    _room: Room,
}

impl Body {
    /// Reads it; a long one on a thread of its own, so that others are not kept waiting.
    ///
    /// # Errors
    /// What reading it comes to.
    pub async fn read<T: Send + 'static>(&self, read: fn(&[u8]) -> Result<T, Problem>) -> Result<T, Problem> {
        if self.bytes.len() <= READ_AT_ONCE {
            return read(&self.bytes);
        }
        // As values it has many times its own size.
        let turn = self.reading.acquire().await;
        let _turn = turn.map_err(|_| busy("no more bodies are read"))?;
        let bytes = self.bytes.clone();
        apart(move || read(&bytes)).await
    }

    /// Reads it as JSON.
    ///
    /// # Errors
    /// 400 for what is not the JSON that we read.
    pub async fn json(&self) -> Result<Value, Problem> {
        self.read(|bytes| json::read(bytes).map_err(commands::unreadable))
            .await
    }
}

impl Deref for Body {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.bytes
    }
}

/// Reads the body of a request, once there is room for it.
///
/// # Errors
/// 503 when there is no room; else as [`conditions::body`].
pub async fn body(
    app: &App,
    request: &HttpRequest,
    payload: Payload,
    media: &str,
    sender: Sender,
) -> Result<Body, Problem> {
    let says = conditions::single(request.headers(), header::CONTENT_LENGTH)?;
    let says = says.and_then(|length| length.parse::<usize>().ok());
    let bytes = says
        .unwrap_or(conditions::BODY_BYTES_MAX)
        .min(conditions::BODY_BYTES_MAX);
    let room = app.bodies.take(sender, proxies::caller(request, app), bytes)?;
    let bytes = conditions::body(request, payload, media, app.settings.body_timeout).await?;
    Ok(Body {
        bytes,
        reading: Arc::clone(&app.bodies.reading),
        _room: room,
    })
}

#[cfg(test)]
mod tests {
    use super::{Bodies, OVERHEAD, Sender};
    use std::net::IpAddr;

    /// One address has an eighth, strangers have all of theirs and nothing of the callers', and what is given back is there.
    #[test]
    fn room_is_shared_out_and_given_back() {
        let bodies = Bodies::new(16_000);
        let one = |sender, last: u8| {
            let peer = IpAddr::from([192, 0, 2, last]);
            bodies.take(sender, Some(peer), 2_000 - OVERHEAD).ok()
        };
        // Each takes 2,000 with what is reckoned beside it.
        let first = one(Sender::Stranger, 1).unwrap();
        assert!(one(Sender::Stranger, 1).is_none(), "an eighth is 2,000");
        let held: Vec<_> = (2..=8).map(|last| one(Sender::Stranger, last).unwrap()).collect();
        assert!(one(Sender::Stranger, 9).is_none(), "all 16,000 are taken");
        let callers: Vec<_> = (0..8).map(|_| one(Sender::Caller, 1).unwrap()).collect();
        assert!(one(Sender::Caller, 1).is_none());
        drop(first);
        let again = one(Sender::Stranger, 1);
        assert!(again.is_some());
        drop((again, held, callers));
        for side in [&bodies.callers, &bodies.strangers] {
            let taken = side.lock().unwrap();
            assert!(taken.bytes == 0 && taken.of.is_empty());
        }
    }
}
