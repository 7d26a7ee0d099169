//! What becomes of a picture: formats, orientation, metadata, and whatever somebody may send instead of one.
//!
//! The pictures of `tests/vectors/photographs` are written by Pillow. What is kept of them is walked here segment by
//! segment (ITU-T T.81, annex B); the oracle in Python has Pillow and `exifread` look at it as well.

use image::{ImageFormat, Rgb, RgbImage};
use pourbook::photographs::{Developed, Format, THUMBNAIL_SIDE, Unusable, develop};
use std::io::Cursor;
use std::path::{Path, PathBuf};

const RED: [u8; 3] = [220, 20, 20];
const GREEN: [u8; 3] = [20, 200, 20];
const BLUE: [u8; 3] = [20, 20, 220];
const WHITE: [u8; 3] = [255, 255, 255];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vectors/photographs")
}

fn vector(name: &str) -> Vec<u8> {
    std::fs::read(folder().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Every picture that moves nothing.
fn still() -> Vec<(String, Vec<u8>)> {
    let mut found: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder())
        .unwrap()
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.starts_with("animated") && !name.ends_with(".md"))
        .map(|name| (name.clone(), vector(&name)))
        .collect();
    found.sort();
    assert!(found.len() >= 16);
    found
}

fn pixels(kept: &[u8]) -> RgbImage {
    image::load_from_memory_with_format(kept, ImageFormat::Jpeg)
        .unwrap()
        .into_rgb8()
}

/// The middle of each quarter: above from the left, below from the left.
fn quarters(pixels: &RgbImage) -> [[u8; 3]; 4] {
    let (width, height) = pixels.dimensions();
    let at = |x: u32, y: u32| pixels.get_pixel(width * x / 4, height * y / 4).0;
    [at(1, 1), at(3, 1), at(1, 3), at(3, 3)]
}

#[track_caller]
fn near(name: &str, found: [[u8; 3]; 4], wanted: [[u8; 3]; 4], within: u8) {
    let off = found
        .iter()
        .flatten()
        .zip(wanted.iter().flatten())
        .map(|(a, b)| a.abs_diff(*b));
    assert!(off.max().unwrap() <= within, "{name}: {found:?}, not {wanted:?}");
}

/// The markers of a JPEG up to its end; nothing may stand behind it.
fn segments(name: &str, jpeg: &[u8]) -> Vec<u8> {
    let mut markers = vec![jpeg[1]];
    let mut at = 2;
    loop {
        assert_eq!(jpeg[at], 0xff, "{name}: byte {at}");
        let marker = jpeg[at + 1];
        markers.push(marker);
        if marker == 0xd9 {
            assert_eq!(at + 2, jpeg.len(), "{name}: something stands behind the picture");
            return markers;
        }
        at += 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        if marker == 0xda {
            while jpeg[at] != 0xff || jpeg[at + 1] == 0 {
                at += 1;
            }
        }
    }
}

/// Start, JFIF, one baseline frame, quantisation, code tables, one scan, end: no place for anything else.
#[track_caller]
fn nothing_but_pixels(name: &str, developed: &Developed) {
    for kept in [&developed.photograph, &developed.thumbnail] {
        let mut markers = segments(name, kept);
        markers.dedup();
        assert_eq!(markers, [0xd8, 0xe0, 0xc0, 0xdb, 0xc4, 0xda, 0xd9], "{name}");
        assert!(!kept.windows(11).any(|part| part == b"SECRETBENCH"), "{name}");
        assert_eq!(&kept[4..11], b"\0\x10JFIF\0", "{name}");
    }
}

#[test]
fn every_orientation_is_turned_upright_and_all_metadata_is_gone() {
    for name in (1..=8).map(|orientation| format!("orientation-{orientation}.jpg")) {
        let sent = vector(&name);
        assert!(
            sent.windows(11).any(|part| part == b"SECRETBENCH"),
            "{name} tells nothing"
        );
        let developed = develop(&sent).unwrap();
        assert_eq!((developed.width, developed.height), (48, 32), "{name}");
        near(
            &name,
            quarters(&pixels(&developed.photograph)),
            [RED, GREEN, BLUE, WHITE],
            8,
        );
        nothing_but_pixels(&name, &developed);
    }
    for name in ["orientation-6.png", "orientation-6.webp"] {
        let developed = develop(&vector(name)).unwrap();
        assert_eq!((developed.width, developed.height), (48, 32), "{name}");
        near(
            name,
            quarters(&pixels(&developed.photograph)),
            [RED, GREEN, BLUE, WHITE],
            8,
        );
        nothing_but_pixels(name, &developed);
    }
}

#[test]
fn other_forms_of_a_picture_are_taken_as_well() {
    let grey = [[80; 3], [126; 3], [43; 3], [255; 3]];
    let half = [RED, GREEN, BLUE, WHITE].map(|colour| colour.map(|one| 127 + one / 2));
    for (name, wanted, within) in [
        ("progressive.jpg", [RED, GREEN, BLUE, WHITE], 8),
        ("lossy.webp", [RED, GREEN, BLUE, WHITE], 24),
        ("palette.png", [RED, GREEN, BLUE, WHITE], 8),
        // Without a profile of its inks a picture of four inks is only roughly a picture of three lights.
        ("cmyk.jpg", [RED, GREEN, BLUE, WHITE], 60),
        ("grey.jpg", grey, 8),
        ("half-clear.png", half, 8),
        ("two-pictures.jpg", [RED, GREEN, BLUE, WHITE], 24),
    ] {
        let developed = develop(&vector(name)).unwrap_or_else(|why| panic!("{name}: {why}"));
        near(name, quarters(&pixels(&developed.photograph)), wanted, within);
        nothing_but_pixels(name, &developed);
    }
}

#[test]
fn sixteen_bits_are_taken_and_a_small_picture_is_its_own_thumbnail() {
    let deep = image::ImageBuffer::from_fn(48, 32, |x, _| Rgb([u16::try_from(x).unwrap() * 1300, 30_000, 0]));
    let mut sent = Cursor::new(Vec::new());
    deep.write_to(&mut sent, ImageFormat::Png).unwrap();
    let developed = develop(&sent.into_inner()).unwrap();
    let kept = pixels(&developed.photograph);
    assert!(kept.get_pixel(40, 16).0[0].abs_diff(202) < 8 && kept.get_pixel(40, 16).0[1].abs_diff(117) < 8);
    assert_eq!(pixels(&developed.thumbnail).dimensions(), (48, 32));
}

#[test]
fn a_thumbnail_has_its_longer_side_and_at_least_one_pixel() {
    for (size, small) in [
        ((1000, 500), (480, 240)),
        ((300, 900), (160, 480)),
        ((9000, 3), (480, 1)),
    ] {
        let mut sent = Cursor::new(Vec::new());
        RgbImage::from_pixel(size.0, size.1, Rgb(GREEN))
            .write_to(&mut sent, ImageFormat::Png)
            .unwrap();
        let developed = develop(&sent.into_inner()).unwrap();
        assert_eq!((developed.width, developed.height), size);
        let thumbnail = pixels(&developed.thumbnail);
        assert_eq!(thumbnail.dimensions(), small);
        assert!(thumbnail.width().max(thumbnail.height()) <= THUMBNAIL_SIDE);
        assert!(thumbnail.get_pixel(0, 0).0[1].abs_diff(200) < 8);
    }
}

/// What is kept is known by its hash, so the same picture must give the same bytes. These were made by version 0.25.10
/// of the library: when another version gives others, the record of old photographs still holds, and a repeated upload of
/// before is answered as another one.
#[test]
fn the_same_picture_gives_the_same_bytes() {
    let sent = vector("orientation-6.jpg");
    let (first, again) = (develop(&sent).unwrap(), develop(&sent).unwrap());
    assert_eq!(first, again);
    let upright = develop(&vector("orientation-6.png")).unwrap();
    assert_eq!(
        upright,
        develop(&vector("orientation-6.webp")).unwrap(),
        "by its pixels alone"
    );
}

#[test]
fn an_animation_is_no_photograph() {
    assert_eq!(
        develop(&vector("animated.png")),
        Err(Unusable::Animated(Format::Png))
    );
    assert_eq!(
        develop(&vector("animated.webp")),
        Err(Unusable::Animated(Format::Webp))
    );
    assert_eq!(develop(&vector("animated.gif")), Err(Unusable::NoPicture));
}

/// A PNG that says a size, with its chunks as they should be (W3C PNG, section 5) and a stretch of zeros for pixels.
fn png_of(width: u32, height: u32, depth: u8, colour: u8) -> Vec<u8> {
    let chunk = |kind: &[u8; 4], body: &[u8]| {
        let mut bytes = u32::try_from(body.len()).unwrap().to_be_bytes().to_vec();
        let mut told = kind.to_vec();
        told.extend(body);
        bytes.extend(&told);
        bytes.extend(crc32(&told).to_be_bytes());
        bytes
    };
    let mut header = width.to_be_bytes().to_vec();
    header.extend(height.to_be_bytes());
    header.extend([depth, colour, 0, 0, 0]);
    // A stored block of nothing (RFC 1951): what it holds is never reached.
    let nothing = [0x78, 0x01, 0x01, 0x00, 0x00, 0xff, 0xff, 0x00, 0x00, 0x00, 0x01];
    [
        b"\x89PNG\r\n\x1a\n".to_vec(),
        chunk(b"IHDR", &header),
        chunk(b"IDAT", &nothing),
        chunk(b"IEND", b""),
    ]
    .concat()
}

/// CRC-32 as W3C PNG, annex D has it, bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                0xedb8_8320 ^ (crc >> 1)
            } else {
                crc >> 1
            };
        }
    }
    !crc
}

#[test]
fn what_says_it_is_too_large_is_refused_before_anything_is_decoded() {
    let large = |width, height| Err(Unusable::TooLarge { width, height });
    for (width, height) in [
        (50_001, 50_001),
        (u32::MAX, u32::MAX),
        (1, 65_536),
        (65_536, 1),
        (10_000, 5_001),
        (0, 10),
    ] {
        assert_eq!(develop(&png_of(width, height, 8, 2)), large(width, height));
    }
    // 50 megapixels of 16 bits and four channels would fill 400 MB.
    let deep = develop(&png_of(10_000, 5_000, 16, 6));
    assert_eq!(deep, Err(Unusable::TooDeep { bytes: 400_000_000 }));
    // As large as may be, it is looked into, and there is nothing in it.
    let empty = develop(&png_of(10_000, 5_000, 8, 6));
    assert!(matches!(&empty, Err(Unusable::Undecodable { .. })), "{empty:?}");
    let mut wide = vector("orientation-1.jpg");
    let frame = wide.windows(2).rposition(|part| part == [0xff, 0xc0]).unwrap();
    wide[frame + 5..frame + 9].copy_from_slice(&[0xff, 0xff, 0xff, 0xff]);
    assert_eq!(develop(&wide), large(65_535, 65_535));
    let mut canvas = vector("orientation-6.webp");
    assert_eq!(&canvas[12..16], b"VP8X");
    canvas[24..30].copy_from_slice(&[0xff; 6]);
    let said = develop(&canvas);
    assert!(
        matches!(&said, Err(Unusable::Broken { why, .. }) if *why == "it says two sizes"),
        "{said:?}"
    );
}

#[test]
fn a_jpeg_of_very_many_scans_is_refused() {
    let sent = vector("progressive.jpg");
    let scan = sent.windows(2).rposition(|part| part == [0xff, 0xda]).unwrap();
    let (head, last) = sent.split_at(scan);
    let (last, end) = last.split_at(last.len() - 2);
    let many = [head.to_vec(), last.repeat(200), end.to_vec()].concat();
    let refused = develop(&many);
    assert!(matches!(&refused, Err(Unusable::Broken { .. })), "{refused:?}");
}

#[test]
fn what_breaks_off_anywhere_is_refused() {
    let mut tried = 0;
    for (name, sent) in still() {
        // A WebP whose length is odd is padded, and a second picture may be cut off behind the first.
        let whole = match name.as_str() {
            "two-pictures.jpg" => sent.windows(2).position(|part| part == [0xff, 0xd9]).unwrap(),
            _ => sent.len() - 1,
        };
        for length in 0..whole {
            assert!(
                develop(&sent[..length]).is_err(),
                "{name}, the first {length} bytes"
            );
            tried += 1;
        }
    }
    assert!(tried > 10_000, "only {tried}");
}

/// One byte is another: the picture is refused or gives something that holds pixels only. Nothing panics.
#[test]
fn a_damaged_picture_gives_pixels_or_nothing() {
    let (mut kept, mut refused) = (0, 0);
    for (name, sent) in still() {
        for at in 0..sent.len() {
            let mut bent = sent.clone();
            bent[at] ^= [0x01, 0x80, 0xff][at % 3];
            match develop(&bent) {
                Ok(developed) => {
                    kept += 1;
                    nothing_but_pixels(&name, &developed);
                }
                Err(_) => refused += 1,
            }
        }
    }
    assert!(kept > 1_000 && refused > 1_000, "{kept} kept, {refused} refused");
}

/// A file that is a picture to one reader and something else to another is a picture only.
#[test]
fn what_hides_in_or_behind_a_picture_is_gone() {
    let hidden = b"<script>SECRETBENCH</script>PK\x05\x06".as_slice();
    for name in ["orientation-1.jpg", "orientation-6.png", "orientation-6.webp"] {
        let plain = develop(&vector(name)).unwrap();
        let behind = develop(&[vector(name), hidden.to_vec()].concat()).unwrap();
        assert_eq!(plain, behind, "{name}");
        nothing_but_pixels(name, &behind);
    }
    let mut within = vector("orientation-1.jpg");
    let mut comment = vec![0xff, 0xfe];
    comment.extend(u16::try_from(hidden.len() + 2).unwrap().to_be_bytes());
    comment.extend(hidden);
    within.splice(2..2, comment);
    assert_eq!(
        develop(&within).unwrap(),
        develop(&vector("orientation-1.jpg")).unwrap()
    );
    for other in [
        b"%PDF-1.7\n".as_slice(),
        b"<!doctype html>",
        b"BM",
        b"II*\0",
        b"\0\0\0 ftypavif",
    ] {
        assert_eq!(
            develop(&[other, &vector("orientation-1.jpg")].concat()),
            Err(Unusable::NoPicture)
        );
    }
}

/// For `tests/oracle/photographs.py`: what is kept of every `*.sent` in the folder that `PICTURES` names.
#[test]
#[ignore = "the oracle asks for it"]
fn develops_a_folder() {
    let folder = PathBuf::from(std::env::var_os("PICTURES").expect("PICTURES names a folder"));
    for file in std::fs::read_dir(&folder).unwrap() {
        let path = file.unwrap().path();
        if path.extension().is_some_and(|end| end == "sent") {
            let developed =
                develop(&std::fs::read(&path).unwrap()).unwrap_or_else(|why| panic!("{path:?}: {why}"));
            std::fs::write(path.with_extension("kept"), developed.photograph).unwrap();
            std::fs::write(path.with_extension("small"), developed.thumbnail).unwrap();
        }
    }
}
