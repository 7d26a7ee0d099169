//! Materials: handbook densities, the density of a mixture, and what a measured density leaves possible.
//!
//! A reading excludes materials; it never proves one, since mixtures of cheap metals can be tuned to the density of a
//! precious one. Deliberately absent: conductivity, sound and magnets, which no reading of a scale gives.
#![expect(clippy::float_arithmetic, reason = "statistics: a density is a float")]

use std::fmt;
use std::str::FromStr;

use super::digits::{Unreadable, quote, serde_as_text};
use super::fineness::Fineness;
use super::gravity::Measured;

/// How much lower than its metal a sound casting with gas or pits may read: 1 % (0.1 to 1 %; common practice, no source).
const POROUS_MOST: f64 = 0.01;
/// From this many times its uncertainty on, a difference excludes; up to one it says nothing.
const EXCLUDED_FROM: f64 = 1.5;

/// The handbook density of a pure metal near 20 degrees Celsius.
#[derive(Clone, Copy, Debug)]
pub struct Pure {
    /// The metal's name.
    pub name: &'static str,
    /// g/cm3.
    pub density: f64,
}

/// Where the densities of [`PURE`] come from.
pub const PURE_SOURCE: &str =
    "densities of the elements near 20 C, as handbooks of chemistry and physics list them alike";

/// The pure metals of which an alloy can be composed.
pub const PURE: [Pure; 12] = [
    pure("silver", 10.49),
    pure("gold", 19.3),
    pure("copper", 8.96),
    pure("zinc", 7.13),
    pure("tin", 7.29),
    pure("lead", 11.35),
    pure("bismuth", 9.78),
    pure("iron", 7.87),
    pure("nickel", 8.90),
    pure("molybdenum", 10.22),
    pure("tungsten", 19.3),
    pure("palladium", 12.02),
];

const fn pure(name: &'static str, density: f64) -> Pure {
    Pure { name, density }
}

/// One part of an alloy: a metal of [`PURE`] and its parts per thousand by mass.
#[derive(Clone, Debug, PartialEq)]
struct Part {
    name: &'static str,
    density: f64,
    fineness: Fineness,
}

/// The composition of an alloy by mass, such as `silver 925, copper 75`; the parts make 1000.
#[derive(Clone, Debug, PartialEq)]
pub struct Alloy(Vec<Part>);

impl Alloy {
    /// The density by ideal mixing, `1/rho = sum of w/rho`, g/cm3: as if no volume changed. Good to about 0.3 % for silver
    /// with copper (from memory), and wrong by some 3 % for brass.
    #[must_use]
    pub fn density(&self) -> f64 {
        let volume = self.0.iter().map(|part| share(part) / part.density);
        1.0 / volume.sum::<f64>()
    }

    /// How far the density of the mixture can be trusted (k = 2), g/cm3: the spread of handbooks for a metal that is 990
    /// or more pure, else the 0.3 % of ideal mixing. Common practice, no source.
    #[must_use]
    pub fn uncertainty(&self) -> f64 {
        if self.0.iter().any(|part| part.fineness.units() >= 9_900_000) {
            0.01
        } else {
            0.003 * self.density()
        }
    }
}

fn share(part: &Part) -> f64 {
    f64::from(part.fineness.units()) / f64::from(Fineness::PURE.units())
}

impl fmt::Display for Alloy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = self
            .0
            .iter()
            .map(|part| format!("{} {}", part.name, part.fineness));
        f.write_str(&parts.collect::<Vec<_>>().join(", "))
    }
}

impl FromStr for Alloy {
    type Err = Unreadable;

    /// Reads `metal parts, metal parts …`, the parts per thousand by mass, 1000 in all.
    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let mut parts: Vec<Part> = Vec::new();
        for part in text.split(',') {
            let (name, fineness) = part.trim().split_once(' ').ok_or_else(|| not_an_alloy(text))?;
            let known = PURE.iter().find(|pure| pure.name == name);
            let known = known.ok_or_else(|| Unreadable::NotAMetal(quote(name)))?;
            if parts.iter().any(|part| part.name == known.name) {
                return Err(not_an_alloy(text));
            }
            parts.push(Part {
                name: known.name,
                density: known.density,
                fineness: Fineness::parse(fineness.trim())?,
            });
        }
        let sum: u64 = parts.iter().map(|part| u64::from(part.fineness.units())).sum();
        if sum != u64::from(Fineness::PURE.units()) {
            return Err(not_an_alloy(text));
        }
        Ok(Self(parts))
    }
}

fn not_an_alloy(text: &str) -> Unreadable {
    Unreadable::NotAnAlloy(quote(text))
}

serde_as_text!(Alloy);

/// A material that a piece might be of.
#[derive(Clone, Copy, Debug)]
pub struct LookAlike {
    /// What it is.
    pub name: &'static str,
    /// The least density of a sound piece of it, g/cm3.
    pub least: f64,
    /// The greatest.
    pub most: f64,
    /// Whether it is cast, so that pores may make it read lower.
    pub cast: bool,
    /// Where the figures come from.
    pub source: &'static str,
}

const MIXED: &str = "ideal mixing of handbook densities";
const TUNED: &str = "computed: mixtures that can be tuned to this density by ideal mixing";

/// The materials that a reading is held against.
pub const LOOK_ALIKES: [LookAlike; 16] = [
    alike("silver 999", 10.48, 10.50, true, PURE_SOURCE),
    alike("silver 990", 10.46, 10.48, true, MIXED),
    alike("silver 958 with copper", 10.40, 10.42, true, MIXED),
    alike("silver 925 with copper", 10.35, 10.36, true, MIXED),
    alike("silver 900 with copper", 10.30, 10.32, true, MIXED),
    alike("silver 800 with copper", 10.13, 10.15, true, MIXED),
    alike("copper, plated", 8.92, 8.96, true, PURE_SOURCE),
    alike(
        "brass, plated",
        8.40,
        8.73,
        true,
        "brasses by published tables, from memory",
    ),
    alike(
        "nickel silver, plated",
        8.60,
        8.80,
        true,
        "nickel silvers by published tables, from memory",
    ),
    alike("lead", 11.34, 11.35, true, PURE_SOURCE),
    alike("lead with tin, bismuth or molybdenum", 7.31, 11.33, true, TUNED),
    alike("molybdenum", 10.22, 10.28, false, PURE_SOURCE),
    alike(
        "copper with a core of tungsten or lead",
        8.96,
        19.10,
        false,
        TUNED,
    ),
    alike("gold 990 or finer", 19.10, 19.32, true, PURE_SOURCE),
    alike("tungsten, gilded", 19.25, 19.30, false, PURE_SOURCE),
    alike("gold with a core of tungsten", 19.25, 19.32, false, TUNED),
];

const fn alike(name: &'static str, least: f64, most: f64, cast: bool, source: &'static str) -> LookAlike {
    LookAlike {
        name,
        least,
        most,
        cast,
        source,
    }
}

/// What a reading says of one material.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fit {
    /// The reading fits it: it cannot be told from what the piece is said to be.
    Fits,
    /// The reading is lower, but not lower than pores make it.
    FitsIfPorous,
    /// Near the edge of what the reading can tell.
    CannotTell,
    /// Excluded.
    Excluded,
}

/// What a measured density says of a material.
///
/// Within its uncertainty of the material's densities it fits; beyond one and a half times that it excludes; in between,
/// and where it fits only with pores of up to 1 %, it says so.
#[must_use]
pub fn fit(measured: &Measured, material: &LookAlike) -> Fit {
    let Measured { density, uncertainty } = *measured;
    let outside = |least: f64, most: f64| (least - density).max(density - most).max(0.0);
    let distance = outside(material.least, material.most);
    if distance <= uncertainty {
        return Fit::Fits;
    }
    let porous = outside(material.least * (1.0 - POROUS_MOST), material.most);
    if material.cast && porous <= uncertainty {
        return Fit::FitsIfPorous;
    }
    let nearest = if material.cast { porous } else { distance };
    if nearest <= EXCLUDED_FROM * uncertainty {
        Fit::CannotTell
    } else {
        Fit::Excluded
    }
}

/// The names of the materials of [`LOOK_ALIKES`] of which a reading says this.
#[must_use]
pub fn look_alikes(measured: &Measured, wanted: Fit) -> Vec<&'static str> {
    let fitting = LOOK_ALIKES
        .iter()
        .filter(|material| fit(measured, material) == wanted);
    fitting.map(|material| material.name).collect()
}

/// Whether a reading is lower than a density as a porous piece may read, and not lower than that.
#[must_use]
pub fn low_as_if_porous(measured: &Measured, sound: f64) -> bool {
    measured.density < sound && measured.density + measured.uncertainty >= sound * (1.0 - POROUS_MOST)
}
