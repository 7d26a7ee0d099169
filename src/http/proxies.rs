//! Whose address counts: that of the connection, or, from a proxy that the settings name, the one that it passes on.
//!
//! Anybody can write `Forwarded` or `X-Forwarded-For`, so they are read from trusted addresses only, and only the one that
//! the proxy is said to write: it adds to the end, so the last address there that is no trusted one is who called.

use super::App;
use actix_web::HttpRequest;
use actix_web::http::header::{self, HeaderName};
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, SocketAddr};

/// The header in which a proxy passes on who called.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PassedIn {
    /// `X-Forwarded-For`: addresses, one behind the other. Common practice.
    #[default]
    #[serde(rename = "x-forwarded-for")]
    XForwardedFor,
    /// `Forwarded` (RFC 7239).
    Forwarded,
}

/// The proxies before a server.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Proxies {
    /// Their addresses. What others pass on is not read.
    pub trusted: Vec<IpAddr>,
    /// Which header they write.
    pub header: PassedIn,
}

impl Proxies {
    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.trusted.is_empty()
    }

    /// Whether an address is one of theirs.
    #[must_use]
    pub fn trusts(&self, address: IpAddr) -> bool {
        let address = address.to_canonical();
        self.trusted
            .iter()
            .any(|trusted| trusted.to_canonical() == address)
    }

    /// Who called, when a connection from `peer` passes on these lines: from the last on, the first that is not trusted. A
    /// part that is no address (RFC 7239 allows `unknown` and invented names) ends the walk at the one who wrote it.
    #[must_use]
    pub fn caller<'a>(&self, peer: IpAddr, lines: impl DoubleEndedIterator<Item = &'a str>) -> IpAddr {
        let mut caller = peer;
        for part in lines.rev().flat_map(|line| line.rsplit(',')) {
            if !self.trusts(caller) {
                break;
            }
            let passed = match self.header {
                PassedIn::XForwardedFor => Some(part.trim()),
                PassedIn::Forwarded => forwarded_for(part),
            };
            match passed.and_then(address) {
                Some(address) => caller = address,
                None => break,
            }
        }
        caller
    }
}

/// The value of `for` in one element of `Forwarded`, without its quotes.
fn forwarded_for(element: &str) -> Option<&str> {
    let value = element.split(';').find_map(|pair| {
        let (name, value) = pair.trim().split_once('=')?;
        name.trim().eq_ignore_ascii_case("for").then_some(value.trim())
    })?;
    let unquoted = value.strip_prefix('"').and_then(|value| value.strip_suffix('"'));
    Some(unquoted.unwrap_or(value))
}

/// An address, with or without a port, an IPv6 one bare or in brackets.
fn address(text: &str) -> Option<IpAddr> {
    let bracketed = text.strip_prefix('[').and_then(|rest| rest.split_once(']'));
    text.parse::<IpAddr>()
        .or_else(|_| text.parse::<SocketAddr>().map(|address| address.ip()))
        .or_else(|error| bracketed.map_or(Err(error), |(within, _)| within.parse()))
        .ok()
}

/// The address that limits are counted for.
pub fn caller(request: &HttpRequest, app: &App) -> Option<IpAddr> {
    let peer = request.peer_addr()?.ip();
    let proxies = &app.settings.proxies;
    if !proxies.trusts(peer) {
        return Some(peer);
    }
    let name = match proxies.header {
        PassedIn::XForwardedFor => HeaderName::from_static("x-forwarded-for"),
        PassedIn::Forwarded => header::FORWARDED,
    };
    let lines: Vec<&str> = request
        .headers()
        .get_all(name)
        .map(|value| value.to_str().unwrap_or("unknown"))
        .collect();
    Some(proxies.caller(peer, lines.into_iter()))
}

#[cfg(test)]
mod tests {
    use super::{PassedIn, Proxies};
    use std::net::IpAddr;

    fn caller(header: PassedIn, peer: &str, lines: &[&str]) -> String {
        let trusted: Vec<IpAddr> = ["10.0.0.2", "10.0.0.3", "2001:db8::2"]
            .iter()
            .map(|address| address.parse().unwrap())
            .collect();
        let proxies = Proxies { trusted, header };
        proxies
            .caller(peer.parse().unwrap(), lines.iter().copied())
            .to_string()
    }

    #[test]
    fn the_last_address_that_is_no_proxy_of_ours_called() {
        let told = |peer, lines: &[&str]| caller(PassedIn::XForwardedFor, peer, lines);
        assert_eq!(told("10.0.0.2", &["192.0.2.9"]), "192.0.2.9");
        assert_eq!(told("10.0.0.2", &["192.0.2.9:51000"]), "192.0.2.9");
        assert_eq!(
            told("10.0.0.2", &["198.51.100.1, 192.0.2.9, 10.0.0.3"]),
            "192.0.2.9"
        );
        // What the caller wrote itself stands first, in the same line or one before.
        assert_eq!(told("10.0.0.2", &["203.0.113.7, 192.0.2.9"]), "192.0.2.9");
        assert_eq!(told("10.0.0.2", &["203.0.113.7", "192.0.2.9"]), "192.0.2.9");
        // Nobody else is believed, and a proxy that says nothing is the caller.
        assert_eq!(told("192.0.2.50", &["203.0.113.7"]), "192.0.2.50");
        assert_eq!(told("10.0.0.2", &[]), "10.0.0.2");
        assert_eq!(told("10.0.0.2", &["203.0.113.7, rubbish"]), "10.0.0.2");
        assert_eq!(told("::ffff:10.0.0.2", &["192.0.2.9"]), "192.0.2.9");
        assert_eq!(told("2001:db8::2", &["2001:db8::99"]), "2001:db8::99");
    }

    /// The examples of RFC 7239, section 4.
    #[test]
    fn forwarded_is_read_as_its_standard_writes_it() {
        let told = |lines: &[&str]| caller(PassedIn::Forwarded, "10.0.0.2", lines);
        assert_eq!(told(&["for=192.0.2.60;proto=http;by=203.0.113.43"]), "192.0.2.60");
        assert_eq!(told(&["for=192.0.2.43, for=198.51.100.17"]), "198.51.100.17");
        assert_eq!(told(&["For=\"[2001:db8:cafe::17]:4711\""]), "2001:db8:cafe::17");
        assert_eq!(told(&["for=192.0.2.43, for=\"_gazonk\""]), "10.0.0.2");
        assert_eq!(told(&["for=192.0.2.43, for=unknown"]), "10.0.0.2");
        assert_eq!(told(&["for=192.0.2.43, by=10.0.0.3"]), "10.0.0.2");
    }
}
