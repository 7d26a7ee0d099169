//! How often one address may ask: of the public side, with tokens that are wrong, and with codes of certificates.
//!
//! The address is that of the connection, or what a proxy passes on that the settings name (`proxies`). A token that
//! is right is never refused for the wrong ones that its neighbours sent: a token is 256 bits of chance, so guessing is
//! hopeless anyway, and what is limited is the noise.
//!
//! A code is counted before it is compared, the right one too: an answer that still came would tell a guesser which it is. Its
//! share is so that one address alone cannot use up that of a serial.
//!
//! Deliberately absent: limits on what a caller with a right token may do; the writer's queue is bounded by itself.

use super::per_address::share_of;
use super::problem::Problem;
use crate::domain::PieceId;
use actix_web::http::header;
use governor::clock::Clock;
use governor::middleware::NoOpMiddleware;
use governor::state::keyed::DashMapStateStore;
use governor::{Quota, RateLimiter};
use serde::{Deserialize, Serialize};
use std::hash::Hash;
use std::net::{IpAddr, Ipv4Addr};
use std::num::NonZeroU32;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// After how many questions the addresses that have been quiet are forgotten.
const FORGET_EVERY: u64 = 4_096;

/// How often one address may ask; 0 switches a limit off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Quotas {
    /// Requests to the public side in a minute, once the burst is used up.
    pub public_per_minute: u32,
    /// Requests to the public side that may come at once.
    pub public_burst: u32,
    /// Requests with a wrong token in a minute.
    pub wrong_tokens_per_minute: u32,
    /// Certificate codes that one address may try in a minute.
    pub codes_per_minute: u32,
    /// Certificate codes that may be tried for one serial in an hour, by all addresses together.
    pub serial_codes_per_hour: u32,
}

impl Quotas {
    /// No limits at all.
    pub const OFF: Self = Self {
        public_per_minute: 0,
        public_burst: 0,
        wrong_tokens_per_minute: 0,
        codes_per_minute: 0,
        serial_codes_per_hour: 0,
    };
}

/// Room for a mirror that fetches a whole log, none for a flood.
impl Default for Quotas {
    fn default() -> Self {
        Self {
            public_per_minute: 6_000,
            public_burst: 1_000,
            wrong_tokens_per_minute: 20,
            codes_per_minute: 5,
            serial_codes_per_hour: 600,
        }
    }
}

/// A clock that only goes forward, as the limits read it.
type Elapsed = Arc<dyn Fn() -> Duration + Send + Sync>;

#[derive(Clone)]
struct Forward(Elapsed);

impl Clock for Forward {
    type Instant = Duration;

    fn now(&self) -> Duration {
        (self.0)()
    }
}

type Limiter<K> = RateLimiter<K, DashMapStateStore<K>, Forward, NoOpMiddleware<Duration>>;

/// The limits of a running server.
pub struct Limits {
    public: Option<Limiter<IpAddr>>,
    wrong_tokens: Option<Limiter<IpAddr>>,
    codes: Option<Limiter<IpAddr>>,
    serial_codes: Option<Limiter<PieceId>>,
    clock: Forward,
    asked: AtomicU64,
}

impl Limits {
    /// Limits by a clock that only goes forward.
    pub fn new(quotas: Quotas, elapsed: impl Fn() -> Duration + Send + Sync + 'static) -> Self {
        let clock = Forward(Arc::new(elapsed));
        let per_minute = |count| Some(Quota::per_minute(NonZeroU32::new(count)?));
        let public = per_minute(quotas.public_per_minute)
            .map(|quota| quota.allow_burst(NonZeroU32::new(quotas.public_burst).unwrap_or(NonZeroU32::MIN)));
        let of_serial = NonZeroU32::new(quotas.serial_codes_per_hour).map(Quota::per_hour);
        Self {
            public: limiter(public, &clock),
            wrong_tokens: limiter(per_minute(quotas.wrong_tokens_per_minute), &clock),
            codes: limiter(per_minute(quotas.codes_per_minute), &clock),
            serial_codes: limiter(of_serial, &clock),
            asked: AtomicU64::new(0),
            clock,
        }
    }

    /// Counts a request to the public side.
    ///
    /// # Errors
    /// 429 once the address has asked too often.
    pub fn public(&self, peer: Option<IpAddr>) -> Result<(), Problem> {
        self.count(self.public.as_ref(), &address(peer))
            .map_err(|wait| Problem::too_often("this address asks too often").with(header::RETRY_AFTER, wait))
    }

    /// Counts a token that was wrong.
    ///
    /// # Errors
    /// 429 once the address has sent too many.
    pub fn wrong_token(&self, peer: Option<IpAddr>) -> Result<(), Problem> {
        self.count(self.wrong_tokens.as_ref(), &address(peer))
            .map_err(|wait| {
                Problem::wrong_tokens("this address has sent too many tokens that are not known")
                    .with(header::RETRY_AFTER, wait)
            })
    }

    /// Counts a certificate code, before it is compared. What an address may not try takes nothing of the serial's share.
    ///
    /// # Errors
    /// 429 once the address, or all of them for this piece, have tried too many.
    pub fn code(&self, peer: Option<IpAddr>, piece: PieceId) -> Result<(), Problem> {
        let too_many = |who: &str, wait: String| {
            Problem::too_many_codes(format!("{who} too many certificate codes were tried"))
                .with(header::RETRY_AFTER, wait)
        };
        self.count(self.codes.as_ref(), &address(peer))
            .map_err(|wait| too_many("from this address", wait))?;
        self.count(self.serial_codes.as_ref(), &piece)
            .map_err(|wait| too_many("for this serial", wait))
    }

    /// The seconds to wait, if a share is used up.
    fn count<K: Hash + Eq + Clone>(&self, limiter: Option<&Limiter<K>>, key: &K) -> Result<(), String> {
        let Some(limiter) = limiter else {
            return Ok(());
        };
        if self
            .asked
            .fetch_add(1, Ordering::Relaxed)
            .is_multiple_of(FORGET_EVERY)
        {
            self.forget();
        }
        limiter.check_key(key).map_err(|early| {
            let wait = early.wait_time_from(self.clock.now());
            // Whole seconds (RFC 9110 section 10.2.3), rounded up so that coming then is not too early.
            wait.as_secs().saturating_add(1).to_string()
        })
    }

    /// Those who have been quiet are forgotten.
    fn forget(&self) {
        for limiter in [&self.public, &self.wrong_tokens, &self.codes]
            .into_iter()
            .flatten()
        {
            limiter.retain_recent();
        }
        if let Some(limiter) = &self.serial_codes {
            limiter.retain_recent();
        }
    }
}

fn limiter<K: Hash + Eq + Clone>(quota: Option<Quota>, clock: &Forward) -> Option<Limiter<K>> {
    let store = DashMapStateStore::default();
    quota.map(|quota| RateLimiter::new(quota, store, clock.clone()))
}

/// Whose share is counted: an IPv4 address, or the /64 network of an IPv6 one, since one host has all of it. Connections
/// without an address share one.
fn address(peer: Option<IpAddr>) -> IpAddr {
    peer.map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), share_of)
}
