//! Who may be connected at once, and who makes room when all places are taken.
//!
//! A connection takes a place before anything is read from it. One address has some of them at most, a proxy of the settings
//! as many as it likes. Where all are taken, those that have been quiet longest are told to go, first the ones that never
//! asked anything: somebody who holds places open without a question keeps nobody else out. A connection that is being
//! answered is never told to go.
//!
//! Deliberately absent: how often an address may ask (`http::Limits`), and how long anything may take (`connection`).

use crate::http::{PerAddress, Proxies, share_of};
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::Waker;
use std::time::Duration;
use tokio::time::Instant;

/// How long somebody must have been quiet to be told to go: longer than a question takes to arrive after its connection.
const QUIET_LEAST: Duration = Duration::from_secs(1);
/// Which part of all is told to go at a time, so that not every newcomer costs a look at all of them; and how many at most.
const ROOM_PART: usize = 100;
const ROOM_MAX: usize = 32;
/// How many may be on their way out: they hold files open until they are gone.
const LEAVING_MAX: usize = 64;

/// Why there is no place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Full {
    /// The address has as many as one may have.
    Address,
    /// All are taken, and everybody is being answered or has just come.
    All,
}

/// What comes behind the head of a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Body {
    /// So many bytes.
    Bytes(u64),
    /// Chunks, until the last.
    Chunked,
}

/// How a body in chunks is written where bytes are counted.
const CHUNKED: u64 = u64::MAX;

/// The places.
pub struct Doors {
    places_max: usize,
    per_address_max: usize,
    proxies: Proxies,
    opened: Instant,
    inner: Mutex<Inner>,
}

#[derive(Default)]
struct Inner {
    places: HashMap<u64, Arc<Place>>,
    of_address: PerAddress,
    next: u64,
    leaving: usize,
}

/// One connection's place, and what it is doing.
pub struct Place {
    number: u64,
    /// Whose share it is; none for a proxy.
    address: Option<IpAddr>,
    asked: AtomicU64,
    answering: AtomicUsize,
    /// The body of the question that was begun last: its bytes, or [`CHUNKED`].
    body: AtomicU64,
    /// Whether the next question has come already and waits.
    holds: AtomicBool,
    /// When something last went over it, milliseconds after the doors were opened.
    moved: AtomicU64,
    leaves: AtomicBool,
    waker: Mutex<Option<Waker>>,
}

/// A place that is taken; given back when it is dropped.
pub struct Taken {
    doors: Arc<Doors>,
    place: Arc<Place>,
}

/// A question that is being answered; no longer, once it is dropped.
pub struct Answering(Arc<Place>);

impl Doors {
    /// So many places in all, and for one address (0 is no limit).
    #[must_use]
    pub fn new(places_max: usize, per_address_max: usize, proxies: Proxies) -> Arc<Self> {
        Arc::new(Self {
            places_max,
            per_address_max,
            proxies,
            opened: Instant::now(),
            inner: Mutex::default(),
        })
    }

    /// Takes a place for a connection from an address.
    ///
    /// # Errors
    /// [`Full`]; nothing is kept of it then.
    pub fn enter(self: &Arc<Self>, peer: IpAddr) -> Result<Taken, Full> {
        let address = (!self.proxies.trusts(peer)).then(|| share_of(peer));
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        let has = address.map_or(0, |address| inner.of_address.of(address));
        if self.per_address_max > 0 && has >= self.per_address_max {
            return Err(Full::Address);
        }
        if inner.places.len() >= self.places_max {
            inner.make_room(self.now(), (self.places_max / ROOM_PART).clamp(1, ROOM_MAX));
        }
        if inner.places.len() >= self.places_max {
            return Err(Full::All);
        }
        let number = inner.next;
        inner.next = number.saturating_add(1);
        let place = Arc::new(Place {
            number,
            address,
            asked: AtomicU64::new(0),
            answering: AtomicUsize::new(0),
            body: AtomicU64::new(0),
            holds: AtomicBool::new(false),
            moved: AtomicU64::new(self.now()),
            leaves: AtomicBool::new(false),
            waker: Mutex::default(),
        });
        if let Some(address) = address {
            inner.of_address.take(address, 1);
        }
        inner.places.insert(number, Arc::clone(&place));
        Ok(Taken {
            doors: Arc::clone(self),
            place,
        })
    }

    /// Milliseconds since the doors were opened.
    fn now(&self) -> u64 {
        u64::try_from(self.opened.elapsed().as_millis()).unwrap_or(u64::MAX)
    }
}

impl Inner {
    /// Tells so many of those that have been quiet longest to go. Their places are free at once.
    fn make_room(&mut self, now: u64, places: usize) {
        let least = u64::try_from(QUIET_LEAST.as_millis()).unwrap_or(u64::MAX);
        let mut quiet: Vec<(bool, u64, u64)> = Vec::new();
        for place in self.places.values() {
            let moved = place.moved.load(Ordering::Relaxed);
            if place.answering.load(Ordering::Acquire) == 0 && now.saturating_sub(moved) >= least {
                quiet.push((place.asked.load(Ordering::Relaxed) > 0, moved, place.number));
            }
        }
        let most = places.min(LEAVING_MAX.saturating_sub(self.leaving));
        if quiet.len() > most {
            quiet.select_nth_unstable(most);
            quiet.truncate(most);
        }
        for (.., number) in quiet {
            let Some(place) = self.remove(number) else {
                continue;
            };
            self.leaving = self.leaving.saturating_add(1);
            place.leaves.store(true, Ordering::Release);
            place.wake();
        }
    }

    fn remove(&mut self, number: u64) -> Option<Arc<Place>> {
        let place = self.places.remove(&number)?;
        if let Some(address) = place.address {
            self.of_address.give_back(address, 1);
        }
        Some(place)
    }
}

impl Taken {
    /// The place.
    #[must_use]
    pub fn place(&self) -> &Arc<Place> {
        &self.place
    }

    /// Notes that something went over the connection.
    pub fn moved(&self) {
        self.place.moved.store(self.doors.now(), Ordering::Relaxed);
    }
}

impl Drop for Taken {
    fn drop(&mut self) {
        let mut inner = self.doors.inner.lock().unwrap_or_else(PoisonError::into_inner);
        if inner.remove(self.place.number).is_none() {
            inner.leaving = inner.leaving.saturating_sub(1);
        }
    }
}

impl Place {
    /// How many questions were begun to be answered.
    #[must_use]
    pub fn asked(&self) -> u64 {
        self.asked.load(Ordering::Acquire)
    }

    /// Whether one is being answered now.
    #[must_use]
    pub fn is_answering(&self) -> bool {
        self.answering.load(Ordering::Acquire) > 0
    }

    /// Whether it was told to go.
    #[must_use]
    pub fn leaves(&self) -> bool {
        self.leaves.load(Ordering::Acquire)
    }

    /// Whom to wake when it is told to go.
    pub fn waits(&self, waker: &Waker) {
        let mut kept = self.waker.lock().unwrap_or_else(PoisonError::into_inner);
        match &mut *kept {
            Some(kept) => kept.clone_from(waker),
            none => *none = Some(waker.clone()),
        }
    }

    fn wake(&self) {
        let waker = self.waker.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(waker) = waker {
            waker.wake();
        }
    }

    /// Whom to wake when the answer is over: the next question is here.
    pub fn holds(&self, waker: &Waker) {
        self.waits(waker);
        self.holds.store(true, Ordering::Release);
        if !self.is_answering() {
            waker.wake_by_ref();
        }
    }

    /// The body of the question that was begun last.
    #[must_use]
    pub fn body(&self) -> Body {
        match self.body.load(Ordering::Acquire) {
            CHUNKED => Body::Chunked,
            bytes => Body::Bytes(bytes),
        }
    }

    /// Begins to answer a question.
    #[must_use]
    pub fn answer(self: &Arc<Self>, body: Body) -> Answering {
        let body = match body {
            Body::Bytes(bytes) => bytes.min(CHUNKED.saturating_sub(1)),
            Body::Chunked => CHUNKED,
        };
        self.body.store(body, Ordering::Release);
        self.answering.fetch_add(1, Ordering::AcqRel);
        self.asked.fetch_add(1, Ordering::AcqRel);
        Answering(Arc::clone(self))
    }
}

impl Drop for Answering {
    fn drop(&mut self) {
        self.0.answering.fetch_sub(1, Ordering::AcqRel);
        if self.0.holds.swap(false, Ordering::AcqRel) {
            self.0.wake();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Body, Doors, Full, Taken};
    use crate::http::Proxies;
    use std::net::IpAddr;
    use std::time::Duration;

    fn address(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn one_address_has_its_share_and_a_proxy_any() {
        let proxies = Proxies {
            trusted: vec![address(99)],
            ..Proxies::default()
        };
        let doors = Doors::new(100, 2, proxies);
        let held: Vec<Taken> = (0..2).map(|_| doors.enter(address(1)).unwrap()).collect();
        assert_eq!(doors.enter(address(1)).err(), Some(Full::Address));
        let others: Vec<Taken> = (0..5).map(|_| doors.enter(address(99)).unwrap()).collect();
        drop(held);
        assert!(doors.enter(address(1)).is_ok());
        drop(others);
        let inner = doors.inner.lock().unwrap();
        assert!(inner.of_address.is_empty());
        assert_eq!((inner.places.len(), inner.leaving), (0, 0));
    }

    /// Full doors: whoever has just come or is being answered stays; of the quiet those go first that never asked.
    #[tokio::test(start_paused = true)]
    async fn the_longest_quiet_makes_room() {
        let doors = Doors::new(3, 0, Proxies::default());
        let asked = doors.enter(address(1)).unwrap();
        drop(asked.place().answer(Body::Bytes(0)));
        let busy = doors.enter(address(2)).unwrap();
        let answering = busy.place().answer(Body::Bytes(0));
        tokio::time::advance(Duration::from_millis(10)).await;
        let silent = doors.enter(address(3)).unwrap();
        let full = doors.enter(address(4)).err();
        assert_eq!(full, Some(Full::All), "all have just come");
        tokio::time::advance(Duration::from_secs(2)).await;
        let first = doors.enter(address(4)).unwrap();
        assert!(silent.place().leaves() && !asked.place().leaves() && !busy.place().leaves());
        let second = doors.enter(address(5)).unwrap();
        assert!(asked.place().leaves() && !busy.place().leaves());
        assert_eq!(doors.enter(address(6)).err(), Some(Full::All));
        assert_eq!(doors.inner.lock().unwrap().leaving, 2);
        drop((asked, silent));
        assert_eq!(doors.inner.lock().unwrap().leaving, 0);
        drop((first, second, answering, busy));
        assert!(doors.inner.lock().unwrap().places.is_empty());
    }
}
