//! How often one address may ask: of the public side, and with tokens that are wrong.
//!
//! The address is that of the connection. `Forwarded` and its like are not read, since anybody can write them; behind a
//! proxy all callers therefore share one address, and there the proxy limits and these limits are set to 0. A token that
//! is right is never refused for the wrong ones that its neighbours sent: a token is 256 bits of chance, so guessing is
//! hopeless anyway, and what is limited is the noise.
//!
//! Deliberately absent: limits on what a caller with a right token may do; the writer's queue is bounded by itself.

use super::problem::Problem;
use actix_web::http::header;
use governor::clock::Clock;
use governor::middleware::NoOpMiddleware;
use governor::state::keyed::DashMapStateStore;
use governor::{Quota, RateLimiter};
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
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
}

impl Quotas {
    /// No limits at all.
    pub const OFF: Self = Self {
        public_per_minute: 0,
        public_burst: 0,
        wrong_tokens_per_minute: 0,
    };
}

/// Room for a mirror that fetches a whole log, none for a flood.
impl Default for Quotas {
    fn default() -> Self {
        Self {
            public_per_minute: 6_000,
            public_burst: 1_000,
            wrong_tokens_per_minute: 20,
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

type Limiter = RateLimiter<IpAddr, DashMapStateStore<IpAddr>, Forward, NoOpMiddleware<Duration>>;

/// The limits of a running server.
pub struct Limits {
    public: Option<Limiter>,
    wrong_tokens: Option<Limiter>,
    clock: Forward,
    asked: AtomicU64,
}

impl Limits {
    /// Limits by a clock that only goes forward.
    pub fn new(quotas: Quotas, elapsed: impl Fn() -> Duration + Send + Sync + 'static) -> Self {
        let clock = Forward(Arc::new(elapsed));
        let limiter = |per_minute: u32, burst: u32| {
            let quota = Quota::per_minute(NonZeroU32::new(per_minute)?);
            let burst = NonZeroU32::new(burst).unwrap_or(NonZeroU32::MIN);
            let quota = quota.allow_burst(burst);
            Some(RateLimiter::new(
                quota,
                DashMapStateStore::default(),
                clock.clone(),
            ))
        };
        Self {
            public: limiter(quotas.public_per_minute, quotas.public_burst),
            wrong_tokens: limiter(quotas.wrong_tokens_per_minute, quotas.wrong_tokens_per_minute),
            asked: AtomicU64::new(0),
            clock,
        }
    }

    /// Counts a request to the public side.
    ///
    /// # Errors
    /// 429 once the address has asked too often.
    pub fn public(&self, peer: Option<SocketAddr>) -> Result<(), Problem> {
        self.count(self.public.as_ref(), peer)
            .map_err(|wait| Problem::too_often("this address asks too often").with(header::RETRY_AFTER, wait))
    }

    /// Counts a token that was wrong.
    ///
    /// # Errors
    /// 429 once the address has sent too many.
    pub fn wrong_token(&self, peer: Option<SocketAddr>) -> Result<(), Problem> {
        self.count(self.wrong_tokens.as_ref(), peer).map_err(|wait| {
            Problem::wrong_tokens("this address has sent too many tokens that are not known")
                .with(header::RETRY_AFTER, wait)
        })
    }

    /// The seconds to wait, if the address has used its share up.
    fn count(&self, limiter: Option<&Limiter>, peer: Option<SocketAddr>) -> Result<(), String> {
        let Some(limiter) = limiter else {
            return Ok(());
        };
        if self
            .asked
            .fetch_add(1, Ordering::Relaxed)
            .is_multiple_of(FORGET_EVERY)
        {
            limiter.retain_recent();
        }
        limiter.check_key(&address(peer)).map_err(|early| {
            let wait = early.wait_time_from(self.clock.now());
            // Whole seconds (RFC 9110 section 10.2.3), rounded up so that coming then is not too early.
            wait.as_secs().saturating_add(1).to_string()
        })
    }
}

/// Whose share is counted: an IPv4 address, or the /64 network of an IPv6 one, since one host has all of it. Connections
/// without an address share one.
fn address(peer: Option<SocketAddr>) -> IpAddr {
    match peer.map(|peer| peer.ip().to_canonical()) {
        None => IpAddr::V4(Ipv4Addr::UNSPECIFIED),
        Some(IpAddr::V4(address)) => IpAddr::V4(address),
        Some(IpAddr::V6(address)) => {
            let [a, b, c, d, ..] = address.segments();
            IpAddr::V6(Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
    }
}
