//! What the headers of a picture say, read before anything is decoded: its format, its size, whether it moves, whether it
//! is whole.
//!
//! Written from the published formats: ITU-T T.81 annex B (JPEG), W3C PNG (third edition) sections 5 and 11, RFC 9649
//! (WebP). It is apart from the library that decodes, so that what it reserves memory by was seen here first. Absent: the
//! contents of any part that is not a size.

use super::{Format, Unusable};

/// How many scans a JPEG may have. Each goes over the whole picture, and a camera writes about ten.
const SCANS_MAX: usize = 100;
const PNG_SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

/// What the headers say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Declared {
    pub format: Format,
    pub width: u32,
    pub height: u32,
}

/// Reads the headers.
pub fn read(bytes: &[u8]) -> Result<Declared, Unusable> {
    if bytes.starts_with(b"\xff\xd8\xff") {
        jpeg(bytes)
    } else if bytes.starts_with(PNG_SIGNATURE) {
        png(bytes)
    } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        webp(bytes)
    } else {
        Err(Unusable::NoPicture)
    }
}

/// The bytes that begin at an offset.
fn take<const N: usize>(bytes: &[u8], at: usize) -> Option<[u8; N]> {
    bytes.get(at..at.checked_add(N)?)?.try_into().ok()
}

/// The marker that ends a stretch of coded data, and where it stands. Stuffed bytes and restarts belong to the stretch.
fn after_scan(bytes: &[u8], mut at: usize) -> Option<usize> {
    loop {
        let rest = bytes.get(at..)?;
        at = at.checked_add(rest.iter().position(|byte| *byte == 0xff)?)?;
        match bytes.get(at.checked_add(1)?)? {
            0x00 | 0xd0..=0xd7 => at = at.checked_add(2)?,
            0xff => at = at.checked_add(1)?,
            _ => return Some(at),
        }
    }
}

/// Walks the segments to the end of the picture; what stands behind it is not looked at, and not kept.
fn jpeg(bytes: &[u8]) -> Result<Declared, Unusable> {
    let format = Format::Jpeg;
    let broken = |why| Unusable::Broken { format, why };
    let off = || broken("it breaks off");
    let (mut at, mut size, mut scans) = (2_usize, None, 0_usize);
    loop {
        let [mark, marker] = take(bytes, at).ok_or_else(off)?;
        if mark != 0xff {
            return Err(broken("a segment does not end where it says"));
        }
        match marker {
            // A fill byte, and markers that stand alone.
            0xff => at = at.saturating_add(1),
            0x01 | 0xd0..=0xd7 => at = at.saturating_add(2),
            0xd8 => return Err(broken("a second picture begins in it")),
            0xd9 => break,
            _ => {
                let length = take(bytes, at.saturating_add(2)).map(u16::from_be_bytes);
                let length = usize::from(length.ok_or_else(off)?);
                if matches!(marker, 0xc0..=0xcf) && !matches!(marker, 0xc4 | 0xc8 | 0xcc) {
                    let frame = take::<4>(bytes, at.saturating_add(5)).ok_or_else(off)?;
                    if size.replace(frame).is_some() {
                        return Err(broken("it says its size twice"));
                    }
                }
                at = at.saturating_add(2).saturating_add(length.max(2));
                if marker == 0xda {
                    scans = scans.saturating_add(1);
                    if scans > SCANS_MAX {
                        return Err(broken("it has more scans than a camera writes"));
                    }
                    at = after_scan(bytes, at).ok_or_else(off)?;
                }
            }
        }
    }
    if scans == 0 {
        return Err(broken("it has no pixels"));
    }
    let [top, low, left, right] = size.ok_or_else(|| broken("it does not say its size"))?;
    Ok(Declared {
        format,
        width: u32::from(u16::from_be_bytes([left, right])),
        height: u32::from(u16::from_be_bytes([top, low])),
    })
}

/// Walks the chunks from the first, which has the size, to the last.
fn png(bytes: &[u8]) -> Result<Declared, Unusable> {
    let format = Format::Png;
    let broken = |why| Unusable::Broken { format, why };
    let off = || broken("it breaks off");
    let (mut at, mut size) = (PNG_SIGNATURE.len(), None);
    loop {
        let length = take(bytes, at).map(u32::from_be_bytes).ok_or_else(off)?;
        let length = usize::try_from(length).map_err(|_| off())?;
        let kind: [u8; 4] = take(bytes, at.saturating_add(4)).ok_or_else(off)?;
        let body = at.saturating_add(8);
        let end = body.saturating_add(length).saturating_add(4);
        if end > bytes.len() {
            return Err(off());
        }
        match (&kind, size) {
            (b"IHDR", None) => {
                let width = take(bytes, body).map(u32::from_be_bytes).ok_or_else(off)?;
                let height = take(bytes, body.saturating_add(4)).map(u32::from_be_bytes);
                size = Some((width, height.ok_or_else(off)?));
            }
            (b"IHDR", Some(_)) => return Err(broken("it says its size twice")),
            (_, None) => return Err(broken("it does not begin with its size")),
            (b"acTL", _) => return Err(Unusable::Animated(format)),
            (b"IEND", Some((width, height))) => {
                return Ok(Declared {
                    format,
                    width,
                    height,
                });
            }
            _ => {}
        }
        at = end;
    }
}

/// Walks the chunks: every one that says a size must say the same, since memory is reserved by each.
fn webp(bytes: &[u8]) -> Result<Declared, Unusable> {
    let format = Format::Webp;
    let broken = |why| Unusable::Broken { format, why };
    let off = || broken("it breaks off");
    let length = take(bytes, 4).map(u32::from_le_bytes).ok_or_else(off)?;
    let end = usize::try_from(length).map_err(|_| off())?.saturating_add(8);
    if end > bytes.len() {
        return Err(off());
    }
    let (mut at, mut size, mut pixels) = (12_usize, None, false);
    while at.saturating_add(8) <= end {
        let kind: [u8; 4] = take(bytes, at).ok_or_else(off)?;
        let length = take(bytes, at.saturating_add(4)).map(u32::from_le_bytes);
        let length = usize::try_from(length.ok_or_else(off)?).map_err(|_| off())?;
        let body = at.saturating_add(8);
        if body.saturating_add(length) > end {
            return Err(off());
        }
        let said = match &kind {
            b"VP8 " => Some(lossy_size(bytes, body)),
            b"VP8L" => Some(lossless_size(bytes, body)),
            b"VP8X" => Some(canvas_size(bytes, body)),
            b"ANIM" | b"ANMF" => return Err(Unusable::Animated(format)),
            _ => None,
        };
        if let Some(said) = said {
            let said = said.ok_or_else(off)?;
            if size.is_some_and(|size| size != said) {
                return Err(broken("it says two sizes"));
            }
            size = Some(said);
        }
        pixels |= matches!(&kind, b"VP8 " | b"VP8L");
        // A chunk of odd length is padded.
        at = body.saturating_add(length).saturating_add(length & 1);
    }
    match size {
        Some((width, height)) if pixels => Ok(Declared {
            format,
            width,
            height,
        }),
        _ => Err(broken("it has no pixels")),
    }
}

/// 14 bits each behind the frame tag and the start code (RFC 6386, section 9.1).
fn lossy_size(bytes: &[u8], body: usize) -> Option<(u32, u32)> {
    let width = u16::from_le_bytes(take(bytes, body.checked_add(6)?)?) & 0x3fff;
    let height = u16::from_le_bytes(take(bytes, body.checked_add(8)?)?) & 0x3fff;
    Some((u32::from(width), u32::from(height)))
}

/// 14 bits each behind the signature, less one (RFC 9649, section 3.4).
fn lossless_size(bytes: &[u8], body: usize) -> Option<(u32, u32)> {
    let packed = u32::from_le_bytes(take(bytes, body.checked_add(1)?)?);
    Some((
        (packed & 0x3fff).checked_add(1)?,
        (packed >> 14 & 0x3fff).checked_add(1)?,
    ))
}

/// 24 bits each behind the flags, less one (RFC 9649, section 2.7.1).
fn canvas_size(bytes: &[u8], body: usize) -> Option<(u32, u32)> {
    let [a, b, c, d, e, f] = take(bytes, body.checked_add(4)?)?;
    let whole = |low, middle, high| u32::from_le_bytes([low, middle, high, 0]).checked_add(1);
    Some((whole(a, b, c)?, whole(d, e, f)?))
}
