//! Where a head ends, and where a body in chunks does, however the bytes are cut on their way.

/// The lines of a head (RFC 9112 section 2): empty ones before it are passed over, an empty one ends it. A line may end
/// without its carriage return, since the library lets it.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
pub enum Lines {
    #[default]
    Before,
    Within,
    /// Behind the end of a line, and behind a carriage return that follows it.
    Ended,
    Returned,
}

impl Lines {
    /// Behind which of these bytes the head ends; the next head begins there.
    pub fn end(&mut self, bytes: &[u8]) -> Option<usize> {
        for (at, byte) in bytes.iter().enumerate() {
            *self = match (*self, byte) {
                (Self::Before, b'\r' | b'\n') => Self::Before,
                (Self::Within, b'\n') => Self::Ended,
                (Self::Ended, b'\r') => Self::Returned,
                (Self::Ended | Self::Returned, b'\n') => {
                    *self = Self::Before;
                    return Some(at.saturating_add(1));
                }
                _ => Self::Within,
            };
        }
        None
    }
}

/// A body in chunks (RFC 9112 section 7.1).
#[derive(Clone, Copy)]
pub enum Chunks {
    /// In the line that says how long the next chunk is, bytes.
    Size(u64),
    /// Behind the number in that line.
    Behind(u64),
    Data(u64),
    /// Behind the last byte of a chunk, where its line ends.
    DataEnd,
    /// In the lines behind the last chunk; whether something stands in this one.
    Trailer(bool),
    Ended,
}

impl Default for Chunks {
    fn default() -> Self {
        Self::Size(0)
    }
}

impl Chunks {
    /// Whether all of it has passed.
    pub const fn ended(self) -> bool {
        matches!(self, Self::Ended)
    }

    /// Behind which of these bytes it ends.
    pub fn end(&mut self, bytes: &[u8]) -> Option<usize> {
        let mut rest = bytes;
        while let [byte, behind @ ..] = rest {
            rest = behind;
            *self = match *self {
                Self::Size(size) => match char::from(*byte).to_digit(16) {
                    Some(digit) => Self::Size(size.saturating_mul(16).saturating_add(digit.into())),
                    None => Self::Behind(size).behind(*byte),
                },
                Self::Behind(_) | Self::DataEnd | Self::Trailer(_) => self.behind(*byte),
                Self::Data(left) => {
                    // This byte, and what else of the chunk is here.
                    let skips = usize::try_from(left.saturating_sub(1)).unwrap_or(usize::MAX);
                    let (data, behind) = rest.split_at(skips.min(rest.len()));
                    rest = behind;
                    let passed = u64::try_from(data.len()).unwrap_or(u64::MAX).saturating_add(1);
                    match left.saturating_sub(passed) {
                        0 => Self::DataEnd,
                        left => Self::Data(left),
                    }
                }
                Self::Ended => Self::Ended,
            };
            if self.ended() {
                return Some(bytes.len().saturating_sub(rest.len()));
            }
        }
        None
    }

    /// Behind a byte that belongs to no number and to no chunk.
    const fn behind(self, byte: u8) -> Self {
        match (self, byte) {
            (Self::Behind(0), b'\n') => Self::Trailer(false),
            (Self::Behind(size), b'\n') => Self::Data(size),
            (Self::DataEnd, b'\n') => Self::Size(0),
            (Self::Trailer(false), b'\n') => Self::Ended,
            (Self::Trailer(true), b'\n') => Self::Trailer(false),
            (Self::Trailer(_), byte) if byte != b'\r' => Self::Trailer(true),
            (same, _) => same,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Chunks, Lines};

    /// Where something ends, given to it in pieces of so many bytes.
    fn end(bytes: &[u8], piece: usize, mut ends: impl FnMut(&[u8]) -> Option<usize>) -> Option<usize> {
        let mut pieces = bytes.chunks(piece).enumerate();
        pieces.find_map(|(number, part)| ends(part).map(|end| number * piece + end))
    }

    #[test]
    fn a_head_ends_at_its_empty_line() {
        let cases: [(&[u8], Option<usize>); 7] = [
            (b"GET / HTTP/1.1\r\nhost: book\r\n\r\nGET", Some(30)),
            (b"GET / HTTP/1.1\nhost: book\n\nGET", Some(27)),
            (b"GET / HTTP/1.1\nhost: book\n\r\nGET", Some(28)),
            (b"\r\n\n\r\nGET / HTTP/1.0\r\n\r\n\r\n", Some(23)),
            (b"\r\n\r\n\r\n", None),
            (b"GET / HTTP/1.1\r\nhost: book\r\n", None),
            (b"GET / HTTP/1.1\r\n\rhost: book\r\n", None),
        ];
        for (bytes, expected) in cases {
            for piece in 1..=bytes.len() {
                let mut lines = Lines::default();
                assert_eq!(end(bytes, piece, |part| lines.end(part)), expected, "{piece}");
            }
        }
    }

    /// Made from the grammar of RFC 9112 section 7.1: chunk extensions, trailers, leading zeros, digits of either case.
    #[test]
    fn a_body_in_chunks_ends_behind_its_trailer() {
        let cases: [(&[u8], Option<usize>); 6] = [
            (b"4\r\nbars\r\n0\r\n\r\nGET", Some(14)),
            (b"00a;of=silver\r\n0\r\n\r\n0\r\n\r\n\r\n0;\r\n\r\n\r\n", Some(33)),
            (b"1\r\nb\r\n0\r\nweighed: yes\r\n\r\n0", Some(25)),
            (b"0\r\n\r\n", Some(5)),
            (b"1F\r\n0\r\n\r\n", None),
            (b"ffffffffffffffffffff\r\n0\r\n\r\n", None),
        ];
        for (bytes, expected) in cases {
            for piece in 1..=bytes.len() {
                let mut chunks = Chunks::default();
                assert_eq!(end(bytes, piece, |part| chunks.end(part)), expected, "{piece}");
                assert_eq!(chunks.ended(), expected.is_some());
            }
        }
    }
}
