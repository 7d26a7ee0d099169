//! From a picture that somebody sends to the photograph that is kept of it.
//!
//! A picture is looked at twice. First its headers: what it is by its bytes (never by its name), how large it says it is,
//! whether it is whole. Only what fits the bounds is then decoded, turned as its orientation says, laid on white where it
//! lets light through, and written anew as JPEG: nothing but pixels goes over, so no position, no device, no name and no
//! picture inside the picture. The same bytes give the same photograph as long as the library that decodes stays the same.
//!
//! Deliberately absent: files and the record (`log`, `domain`), colour profiles (colours are taken as sRGB), animations,
//! and any judgement of what is to be seen.

mod declared;

use crate::domain::{PHOTOGRAPH_PIXELS_MAX, PHOTOGRAPH_SIDE_MAX};
use declared::Declared;
use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::codecs::png::PngDecoder;
use image::codecs::webp::WebPDecoder;
use image::{DynamicImage, ImageDecoder, ImageError, Limits, RgbImage, imageops};
use std::io::Cursor;

/// How many bytes a picture may have that is sent.
pub const SENT_BYTES_MAX: usize = 20 * 1024 * 1024;
/// How many pixels a thumbnail has on its longer side, at most.
pub const THUMBNAIL_SIDE: u32 = 480;
/// Quality of the photographs that are kept, of 100 (the scale of the Independent JPEG Group).
const QUALITY: u8 = 90;
/// Quality of thumbnails.
const THUMBNAIL_QUALITY: u8 = 82;
/// How many bytes the decoded pixels may have: the most pixels, 8 bits deep, with transparency. Deeper ones are fewer.
const DECODED_BYTES_MAX: u64 = PHOTOGRAPH_PIXELS_MAX * 4;
/// How many bytes a PNG decoder may use beside the pixels.
const DECODER_BYTES_MAX: u64 = 64 * 1024 * 1024;
const WHITE: u32 = 255;

/// The media types that are taken.
pub const MEDIA: [&str; 3] = ["image/jpeg", "image/png", "image/webp"];
/// The media type of what is kept.
pub const KEPT_MEDIA: &str = "image/jpeg";

/// What is kept of a picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Developed {
    /// The photograph, a JPEG.
    pub photograph: Vec<u8>,
    /// A small one of it, a JPEG.
    pub thumbnail: Vec<u8>,
    /// Of the photograph, pixels.
    pub width: u32,
    /// Of the photograph, pixels.
    pub height: u32,
}

/// The formats that are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// ITU-T T.81.
    Jpeg,
    /// W3C PNG.
    Png,
    /// RFC 9649.
    Webp,
}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Webp => "WebP",
        })
    }
}

/// Why a picture is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unusable {
    /// It begins as none of the formats does.
    #[error("its bytes are those of no JPEG, PNG or WebP")]
    NoPicture,
    /// It breaks off, or its parts contradict each other.
    #[error("the {format} is not whole: {why}")]
    Broken {
        /// The format that it begins as.
        format: Format,
        /// What is wrong.
        why: &'static str,
    },
    /// It moves.
    #[error("the {0} is an animation, and a photograph stands still")]
    Animated(Format),
    /// It says that it is larger than what is taken. It was not decoded.
    #[error(
        "it says it is {width} x {height} pixels; at most {PHOTOGRAPH_PIXELS_MAX} are taken, none of them beyond \
         {PHOTOGRAPH_SIDE_MAX} in a row"
    )]
    TooLarge {
        /// As declared, pixels.
        width: u32,
        /// As declared, pixels.
        height: u32,
    },
    /// It would fill more memory than what is given. It was not decoded.
    #[error(
        "decoded it would have {bytes} bytes, {DECODED_BYTES_MAX} are given: send it with 8 bits a channel"
    )]
    TooDeep {
        /// How many it would have.
        bytes: u64,
    },
    /// The library cannot read it.
    #[error("the {format} cannot be decoded: {why}")]
    Undecodable {
        /// The format.
        format: Format,
        /// What the library says.
        why: String,
    },
}

/// Makes what is kept of a picture.
///
/// # Errors
/// [`Unusable`]: what is no picture, moves, breaks off, or is too large; the last before anything is decoded.
pub fn develop(sent: &[u8]) -> Result<Developed, Unusable> {
    let declared = declared::read(sent)?;
    let (width, height) = (declared.width, declared.height);
    let side = |pixels: u32| (1..=PHOTOGRAPH_SIDE_MAX).contains(&pixels);
    let pixels = u64::from(width).saturating_mul(u64::from(height));
    if !side(width) || !side(height) || pixels > PHOTOGRAPH_PIXELS_MAX {
        return Err(Unusable::TooLarge { width, height });
    }
    let pixels = decode(sent, &declared)?;
    let unkept = |error: ImageError| undecodable(declared.format)(error);
    let thumbnail = small(&pixels).map_or_else(
        || jpeg(&pixels, THUMBNAIL_QUALITY),
        |small| jpeg(&small, THUMBNAIL_QUALITY),
    );
    Ok(Developed {
        thumbnail: thumbnail.map_err(unkept)?,
        photograph: jpeg(&pixels, QUALITY).map_err(unkept)?,
        width: pixels.width(),
        height: pixels.height(),
    })
}

fn undecodable(format: Format) -> impl Fn(ImageError) -> Unusable {
    move |error| Unusable::Undecodable {
        format,
        why: error.to_string(),
    }
}

/// The pixels, upright and without transparency.
fn decode(sent: &[u8], declared: &Declared) -> Result<RgbImage, Unusable> {
    let failed = undecodable(declared.format);
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(DECODER_BYTES_MAX);
    let bytes = Cursor::new(sent);
    let mut decoder: Box<dyn ImageDecoder + '_> = match declared.format {
        Format::Jpeg => Box::new(JpegDecoder::new(bytes).map_err(&failed)?),
        Format::Png => Box::new(PngDecoder::with_limits(bytes, limits).map_err(&failed)?),
        Format::Webp => Box::new(WebPDecoder::new(bytes).map_err(&failed)?),
    };
    if decoder.dimensions() != (declared.width, declared.height) {
        return Err(Unusable::Broken {
            format: declared.format,
            why: "it says two sizes",
        });
    }
    let bytes = decoder.total_bytes();
    if bytes > DECODED_BYTES_MAX {
        return Err(Unusable::TooDeep { bytes });
    }
    let orientation = decoder.orientation().map_err(&failed)?;
    let picture = DynamicImage::from_decoder(decoder).map_err(&failed)?;
    let mut upright = DynamicImage::ImageRgb8(on_white(picture));
    upright.apply_orientation(orientation);
    Ok(upright.into_rgb8())
}

/// Lays a picture on white where it lets light through.
fn on_white(picture: DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.into_rgb8();
    }
    let clear = picture.into_rgba8();
    let mut solid = RgbImage::new(clear.width(), clear.height());
    for (to, from) in solid.pixels_mut().zip(clear.pixels()) {
        let [red, green, blue, alpha] = from.0.map(u32::from);
        let over = |colour: u32| {
            let lit = colour
                .saturating_mul(alpha)
                .saturating_add(WHITE.saturating_mul(WHITE.saturating_sub(alpha)));
            let rounded = lit.saturating_add(WHITE / 2) / WHITE;
            u8::try_from(rounded).unwrap_or(u8::MAX)
        };
        to.0 = [over(red), over(green), over(blue)];
    }
    solid
}

/// A small picture of a large one; none where it is small already.
fn small(pixels: &RgbImage) -> Option<RgbImage> {
    let (width, height) = pixels.dimensions();
    let longer = width.max(height);
    if longer <= THUMBNAIL_SIDE {
        return None;
    }
    let scaled = |side: u32| {
        let exact = u64::from(side).saturating_mul(u64::from(THUMBNAIL_SIDE));
        let rounded = exact
            .saturating_add(u64::from(longer) / 2)
            .checked_div(u64::from(longer));
        u32::try_from(rounded.unwrap_or(1)).unwrap_or(1).max(1)
    };
    Some(imageops::thumbnail(pixels, scaled(width), scaled(height)))
}

/// A JPEG of nothing but pixels.
fn jpeg(pixels: &RgbImage, quality: u8) -> Result<Vec<u8>, ImageError> {
    let mut bytes = Vec::new();
    pixels.write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, quality))?;
    Ok(bytes)
}
