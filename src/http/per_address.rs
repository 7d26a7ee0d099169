//! What each address has of something that is bounded: so many connections, so many bytes that are coming in.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};

/// Whose share the connections and requests of an address are: its own, or that of its /64 network, since one host has all of it.
#[must_use]
pub fn share_of(peer: IpAddr) -> IpAddr {
    match peer.to_canonical() {
        IpAddr::V4(address) => IpAddr::V4(address),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            IpAddr::V6(Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
    }
}

/// What is taken, by whose share it is of. Whoever has nothing is not remembered.
#[derive(Default)]
pub struct PerAddress(HashMap<IpAddr, usize>);

impl PerAddress {
    /// How much of it somebody has.
    #[must_use]
    pub fn of(&self, whose: IpAddr) -> usize {
        self.0.get(&whose).copied().unwrap_or(0)
    }

    /// Takes some more.
    pub fn take(&mut self, whose: IpAddr, much: usize) {
        let has = self.0.entry(whose).or_insert(0);
        *has = has.saturating_add(much);
    }

    /// Gives some of it back.
    pub fn give_back(&mut self, whose: IpAddr, much: usize) {
        match self.of(whose).saturating_sub(much) {
            0 => drop(self.0.remove(&whose)),
            left => drop(self.0.insert(whose, left)),
        }
    }

    /// Whether nobody has any.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
