//! Metal: the exact arithmetic of the trade, and the words it is written in.
//!
//! Text comes in and text goes out. In between stand whole numbers: a mass counts steps of 10 micrograms, a fineness
//! counts steps of 0.0001 parts per thousand, a fine mass counts their exact product, money is a decimal with its
//! currency. Each value is rounded once, where it is printed or where a claim is made of it, by a rule that is named.
//!
//! Binary floats stand in the statistics files only (`probability`, `consistency`, `water`, `gravity`, `materials`,
//! `plan`, `spread`, `control`, with `floats` as their one door): what they make is printed, and never becomes a mass, a fineness or a price.
//!
//! Deliberately absent: a clock, any file, anything about pieces or entries, and the avoirdupois ounce.

pub mod alloying;
pub mod bullion;
pub mod check_digits;
pub mod consistency;
pub mod control;
mod digits;
mod fine_mass;
mod fineness;
pub mod floats;
pub mod gravity;
pub mod likely;
mod mass;
pub mod materials;
mod money;
mod percent;
pub mod plan;
pub mod price;
pub mod probability;
mod ratio;
mod reading;
mod rounding;
mod scale;
pub mod spread;
pub mod standards;
mod tolerance;
mod troy;
pub mod typed;
pub mod units;
pub mod vat;
pub mod water;

use serde::{Deserialize, Serialize};

pub use digits::{MassError, Unreadable};
pub use fine_mass::{FineMass, blend, blend_fineness, fine_mass};
pub use fineness::Fineness;
pub use mass::{Mass, MassDifference};
pub use money::{Amount, Currency, Money};
pub use percent::Percent;
pub use ratio::Ratio;
pub use reading::Reading;
pub use rounding::Rounding;
pub use scale::{MPE_TABLE, MpeBands, MpeTable, ScaleClass, mpe, mpe_in_service};
pub use standards::assay_uncertainty;
pub use tolerance::{
    GUARD_RULES, GuardRule, LimitGrade, at_least, expanded_uncertainty, expanded_uncertainty_fine,
    grade_by_limits, guard_band,
};
pub use troy::{OUNCE_DECIMALS, OUNCE_PICOGRAMS, TROY_OUNCE_GRAMS, troy_ounces};

/// A metal that a lot is declared to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Metal {
    /// Silver, Ag.
    Silver,
    /// Gold, Au.
    Gold,
    /// Platinum, Pt.
    Platinum,
    /// Palladium, Pd.
    Palladium,
    /// Copper, Cu: an alloy metal, accounted for but not precious.
    Copper,
}

impl Metal {
    /// Every metal, in the order in which statements list them.
    pub const ALL: [Self; 5] = [
        Self::Silver,
        Self::Gold,
        Self::Platinum,
        Self::Palladium,
        Self::Copper,
    ];

    /// Whether the metal carries a fineness and may be stated in troy ounces.
    #[must_use]
    pub const fn is_precious(self) -> bool {
        !matches!(self, Self::Copper)
    }

    /// The lower-case word used in events and in the API.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Silver => "silver",
            Self::Gold => "gold",
            Self::Platinum => "platinum",
            Self::Palladium => "palladium",
            Self::Copper => "copper",
        }
    }
}

impl std::str::FromStr for Metal {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let found = Self::ALL.into_iter().find(|metal| metal.word() == text);
        found.ok_or("must be silver, gold, platinum, palladium or copper")
    }
}

impl std::fmt::Display for Metal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}
