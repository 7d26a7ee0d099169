//! Pictures of invented pieces, drawn by arithmetic: a lump of metal under one lamp, with a stamp pressed into it.
//!
//! They stand for what a workshop would take with a telephone, and are sent in as such. A piece is a height over each
//! point; the light comes from the upper left, and how steep the metal is there says how bright it looks. Everything is
//! whole numbers, so that the demo is the same everywhere. They are drawn once in a process.

use crate::cli::Failure;
use crate::photographs::{Developed, develop};
use image::imageops::{FilterType, resize};
use image::{ImageFormat, Rgb, RgbImage};
use std::io::Cursor;
use std::sync::OnceLock;

/// What is drawn, before it is made larger.
const DRAWN: (u32, u32) = (300, 225);
/// What is sent in.
const SENT: (u32, u32) = (720, 540);
const MIDDLE: (i64, i64) = (150, 112);

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shown {
    /// An ingot from above, its stamp in the middle.
    Ingot,
    /// The marks on it.
    Marks,
    /// An oval from above.
    Oval,
    /// Its edge.
    Edge,
    /// A leaf of gold.
    Leaf,
}

/// What is taken of the demo's pieces, each with its own grain.
const TAKEN: [(Shown, i64); 6] = [
    (Shown::Ingot, 3),
    (Shown::Ingot, 8),
    (Shown::Marks, 8),
    (Shown::Oval, 12),
    (Shown::Edge, 12),
    (Shown::Leaf, 20),
];

/// What is kept of one of the pictures.
pub(super) fn kept(shown: Shown, grain: i64) -> Result<&'static Developed, Failure> {
    static KEPT: OnceLock<Result<Vec<Developed>, String>> = OnceLock::new();
    let drawn = || TAKEN.iter().map(|(shown, grain)| taken(*shown, *grain)).collect();
    let kept = KEPT.get_or_init(drawn).as_ref().map_err(Failure::unusable)?;
    let place = TAKEN.iter().position(|taken| *taken == (shown, grain));
    place
        .and_then(|place| kept.get(place))
        .ok_or_else(|| Failure::unusable("a picture that nobody took"))
}

fn taken(shown: Shown, grain: i64) -> Result<Developed, String> {
    let drawn = RgbImage::from_fn(DRAWN.0, DRAWN.1, |x, y| {
        colour(shown, grain, i64::from(x), i64::from(y))
    });
    let sent = resize(&drawn, SENT.0, SENT.1, FilterType::CatmullRom);
    let mut bytes = Cursor::new(Vec::new());
    sent.write_to(&mut bytes, ImageFormat::Png)
        .map_err(|error| error.to_string())?;
    develop(&bytes.into_inner()).map_err(|why| why.to_string())
}

/// A grain of chance between -100 and 100, the same for the same place.
fn speck(grain: i64, x: i64, y: i64) -> i64 {
    let mut mixed = x
        .wrapping_mul(374_761_393)
        .wrapping_add(y.wrapping_mul(668_265_263))
        .wrapping_add(grain.wrapping_mul(974_634_581));
    mixed = (mixed ^ (mixed >> 13)).wrapping_mul(1_274_126_177);
    ((mixed ^ (mixed >> 16)) & 0xffff) * 200 / 0xffff - 100
}

/// Specks of a size, gone over smoothly from one to the next.
fn cloud(grain: i64, size: i64, x: i64, y: i64) -> i64 {
    let (left, above) = (x.div_euclid(size), y.div_euclid(size));
    let (over, down) = (x.rem_euclid(size), y.rem_euclid(size));
    let row = |y| speck(grain, left, y) * (size - over) + speck(grain, left + 1, y) * over;
    (row(above) * (size - down) + row(above + 1) * down) / (size * size)
}

/// How far out a point lies: 0 in the middle of the piece, 1,000 on its rim.
fn out(shown: Shown, x: i64, y: i64) -> i64 {
    let (across, along) = (x - MIDDLE.0, y - MIDDLE.1);
    let part = |distance: i64, whole: i64| distance.abs() * 1_000 / whole;
    let square = |part: i64| part * part / 1_000;
    match shown {
        Shown::Ingot => square(square(part(across, 108))) + square(square(part(along, 64))),
        Shown::Oval => square(part(across, 104)) + square(part(along, 76)),
        Shown::Edge => square(square(part(across, 118))) + square(square(part(along, 19))),
        Shown::Marks => 300,
        Shown::Leaf => {
            // Half its width there, in thousandths.
            let wide = 56 * (1_000 - square(part(across, 116)));
            if wide < 1_000 {
                2_000
            } else {
                square(along.abs() * 1_000_000 / wide)
            }
        }
    }
}

/// How high the metal stands at a point; none beside it.
fn height(shown: Shown, grain: i64, x: i64, y: i64) -> Option<i64> {
    let out = out(shown, x, y);
    let rim = u64::try_from(1_000 - out).ok()?.checked_mul(1_000)?.isqrt();
    let dome = i64::try_from(rim).ok()?.min(780);
    let ripple = (out * 3 + cloud(grain, 40, x, y) * 4).rem_euclid(300) - 150;
    let rough = cloud(grain, 6, x, y) / 7 + cloud(grain + 1, 19, x, y) / 3;
    Some(dome + ripple.abs() / 9 + rough - pressed(shown, x - MIDDLE.0, y - MIDDLE.1))
}

/// How deep a stamp is pressed in there.
fn pressed(shown: Shown, across: i64, along: i64) -> i64 {
    let far = across * across + along * along;
    match shown {
        // A wheel: a rim, a hub, and six spokes.
        Shown::Ingot | Shown::Oval => {
            let spoke =
                along.abs() < 2 || (across * 7 - along * 4).abs() < 15 || (across * 7 + along * 4).abs() < 15;
            let wheel = (484..=676).contains(&far) || far < 30 || (spoke && far < 600);
            if wheel { 70 } else { 0 }
        }
        // Four lozenges in a row, each with a bar of another height.
        Shown::Marks => {
            let place = (across + 112).div_euclid(56);
            let within = (across + 112).rem_euclid(56) - 28;
            let lozenge = (0..4).contains(&place) && within.abs() + along.abs() < 24;
            let bar = within.abs() < 3 && along.abs() < 4 + place * 3;
            match (lozenge, bar) {
                (true, false) => 120,
                _ => 0,
            }
        }
        // The vein.
        Shown::Leaf if along.abs() < 2 && across.abs() < 96 => 60,
        Shown::Leaf | Shown::Edge => 0,
    }
}

fn colour(shown: Shown, grain: i64, x: i64, y: i64) -> Rgb<u8> {
    let Some(here) = height(shown, grain, x, y) else {
        return bench(shown, grain, x, y);
    };
    let slope = |x, y| here - height(shown, grain, x, y).unwrap_or(0);
    let steep = slope(x - 1, y) + slope(x, y - 1);
    let light = 142 + (steep * 3 / 4).clamp(-110, 96);
    // Where the metal faces the lamp it glares.
    let glare = (26 - (steep - 30).abs()).max(0);
    let bright = light + glare;
    match shown {
        Shown::Leaf => lit(bright * 112 / 100, bright * 88 / 100, bright * 42 / 100),
        _ => lit(bright * 97 / 100, bright * 98 / 100, bright),
    }
}

/// The cloth that the piece lies on, darker where its shadow falls.
fn bench(shown: Shown, grain: i64, x: i64, y: i64) -> Rgb<u8> {
    let shade = match out(shown, x - 6, y - 8) {
        ..1_000 => 46,
        1_000..1_300 => 26,
        _ => 0,
    };
    let light = 104 - (x + y) / 12 + speck(grain, x, y) / 24 - shade;
    lit(light, light * 95 / 100, light * 86 / 100)
}

fn lit(red: i64, green: i64, blue: i64) -> Rgb<u8> {
    Rgb([red, green, blue].map(|light| u8::try_from(light.clamp(0, 255)).unwrap_or(u8::MAX)))
}
