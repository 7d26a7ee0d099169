//! Paths and contents of tiles (C2SP tlog-tiles).

use super::Unproven;
use std::fmt;

/// What a tile holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TileLevel {
    /// Entries.
    Entries,
    /// Hashes at a level, 0 to 63.
    Hashes(u8),
}

/// The path of a tile, below the log's prefix: `tile/<L>/<N>[.p/<W>]`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TilePath {
    /// What it holds.
    pub level: TileLevel,
    /// Which tile of its level, from 0.
    pub n: u64,
    /// How many entries or hashes: 1 to 255, or 256 for a full tile.
    pub width: u16,
}

/// A full tile.
pub const FULL: u16 = 256;

impl TilePath {
    /// Reads a path. One tile has one path: no leading zeros, no empty and no full partial tile.
    ///
    /// # Errors
    /// [`Unproven::Form`].
    pub fn parse(path: &str) -> Result<Self, Unproven> {
        let wrong = || Unproven::form("tile path", "want tile/<L>/<N> or tile/<L>/<N>.p/<W>");
        if path.len() > 100 {
            return Err(wrong());
        }
        let rest = path.strip_prefix("tile/").ok_or_else(wrong)?;
        let (level, rest) = rest.split_once('/').ok_or_else(wrong)?;
        let level = match level {
            "entries" => TileLevel::Entries,
            digits => TileLevel::Hashes(
                digits
                    .parse()
                    .ok()
                    .filter(|level| *level < 64)
                    .ok_or_else(wrong)?,
            ),
        };
        let (number, width) = match rest.split_once(".p/") {
            Some((number, width)) => (
                number,
                width
                    .parse()
                    .ok()
                    .filter(|w| (1..FULL).contains(w))
                    .ok_or_else(wrong)?,
            ),
            None => (rest, FULL),
        };
        let mut n: u64 = 0;
        for group in number.split('/') {
            let digits = group.strip_prefix('x').unwrap_or(group);
            if digits.len() != 3 || !digits.bytes().all(|b| b.is_ascii_digit()) {
                return Err(wrong());
            }
            let value: u64 = digits.parse().map_err(|_| wrong())?;
            n = n
                .checked_mul(1000)
                .and_then(|n| n.checked_add(value))
                .ok_or_else(wrong)?;
        }
        let tile = Self { level, n, width };
        if tile.to_string() == path {
            Ok(tile)
        } else {
            Err(wrong())
        }
    }
}

impl fmt::Display for TilePath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.level {
            TileLevel::Entries => f.write_str("tile/entries")?,
            TileLevel::Hashes(level) => write!(f, "tile/{level}")?,
        }
        let mut groups = Vec::new();
        let mut rest = self.n;
        loop {
            groups.push(rest % 1000);
            rest /= 1000;
            if rest == 0 {
                break;
            }
        }
        for (place, group) in groups.iter().enumerate().rev() {
            write!(f, "/{}{group:03}", if place == 0 { "" } else { "x" })?;
        }
        if self.width == FULL {
            Ok(())
        } else {
            write!(f, ".p/{}", self.width)
        }
    }
}

/// The tiles of hashes that a log of `size` shows, level by level: every full one, and the partial one at the edge.
pub fn tiles(size: u64) -> impl Iterator<Item = TilePath> {
    (0..8_u8).flat_map(move |level| {
        let hashes = size.checked_shr(u32::from(level).saturating_mul(8)).unwrap_or(0);
        let full = (0..hashes / 256).map(move |n| TilePath {
            level: TileLevel::Hashes(level),
            n,
            width: FULL,
        });
        let width = u16::try_from(hashes % 256).unwrap_or(0);
        let edge = TilePath {
            level: TileLevel::Hashes(level),
            n: hashes / 256,
            width,
        };
        full.chain((width > 0).then_some(edge))
    })
}

/// The full tiles, of hashes and of entries, that a log of `to` entries has and a log of `from` had not, level by level.
pub fn completed(from: u64, to: u64) -> impl Iterator<Item = TilePath> {
    let levels = std::iter::once((TileLevel::Entries, 0)).chain((0..8_u8).map(|l| (TileLevel::Hashes(l), l)));
    levels.flat_map(move |(level, height)| {
        // A tile of height h is full with 256^(h+1) entries.
        let shift = u32::from(height).saturating_add(1).saturating_mul(8);
        let full = |size: u64| size.checked_shr(shift).unwrap_or(0);
        (full(from)..full(to)).map(move |n| TilePath {
            level,
            n,
            width: FULL,
        })
    })
}

/// How wide tile `n` of a level is at `size`: 0 if it is not there yet.
#[must_use]
pub fn width_at(level: TileLevel, n: u64, size: u64) -> u16 {
    let shift = match level {
        TileLevel::Entries => 0,
        TileLevel::Hashes(level) => u32::from(level).saturating_mul(8),
    };
    let hashes = size.checked_shr(shift).unwrap_or(0);
    let left = n.checked_mul(256).map_or(0, |start| hashes.saturating_sub(start));
    u16::try_from(left.min(256)).unwrap_or(FULL)
}

/// An entry bundle: each entry behind its length in two bytes, greatest first. `None` if an entry is too long.
pub fn bundle<'a>(entries: impl IntoIterator<Item = &'a [u8]>) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    for entry in entries {
        bytes.extend(u16::try_from(entry.len()).ok()?.to_be_bytes());
        bytes.extend(entry);
    }
    Some(bytes)
}

/// Takes a bundle apart.
///
/// # Errors
/// [`Unproven::Form`] if it ends in the middle of an entry or holds more than 256.
pub fn unbundle(mut bytes: &[u8]) -> Result<Vec<Vec<u8>>, Unproven> {
    let wrong = |why| Unproven::form("entry bundle", why);
    let mut entries = Vec::new();
    while let Some((length, rest)) = bytes.split_first_chunk::<2>() {
        let length = usize::from(u16::from_be_bytes(*length));
        let (entry, rest) = rest
            .split_at_checked(length)
            .ok_or_else(|| wrong("it ends inside an entry"))?;
        if entries.len() == usize::from(FULL) {
            return Err(wrong("it holds more than 256 entries"));
        }
        entries.push(entry.to_vec());
        bytes = rest;
    }
    if bytes.is_empty() {
        Ok(entries)
    } else {
        Err(wrong("it ends inside a length"))
    }
}
