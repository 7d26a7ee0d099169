//! Standards of fineness, exemption weights and methods of assay: dated tables, each row with its source.
//!
//! Nothing here decides whether a piece may be sold: that is asked of an assay office. Deliberately absent: jurisdictions
//! other than the worked one, and the ISO numbers of methods that nobody of this trade orders.

use super::Metal;
use super::fineness::Fineness;
use super::mass::Mass;

/// A standard of fineness that a metal may be marked with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standard {
    /// The metal.
    pub metal: Metal,
    /// Parts per thousand.
    pub parts: u16,
}

const fn standard(metal: Metal, parts: u16) -> Standard {
    Standard { metal, parts }
}

/// Where [`STANDARDS`] come from.
pub const STANDARDS_SOURCE: &str =
    "United Kingdom profile of the Convention on the Control and Marking of Articles of Precious Metals";

/// The standards of the United Kingdom. There is no tolerance below: the lowest credible fineness must reach the mark.
pub const STANDARDS: [Standard; 10] = [
    standard(Metal::Silver, 800),
    standard(Metal::Silver, 925),
    standard(Metal::Silver, 958),
    standard(Metal::Silver, 999),
    standard(Metal::Gold, 375),
    standard(Metal::Gold, 585),
    standard(Metal::Gold, 750),
    standard(Metal::Gold, 916),
    standard(Metal::Gold, 990),
    standard(Metal::Gold, 999),
];

/// Below which weight an article need not be marked; its fineness must be right all the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ExemptWeight {
    /// The metal.
    pub metal: Metal,
    /// In hundredths of a gram.
    pub hundredths: i64,
    /// From which day the row holds, ISO 8601.
    pub from: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

const PROFILE: &str = "United Kingdom profile of the Convention on the Control and Marking of Articles of Precious Metals; \
                       the day is from memory";
const ACT: &str = "Hallmarking Act 1973, schedule 1, as enacted; the day is from memory";

/// The exemption weights of the United Kingdom, oldest first. Convention marks have none.
pub const EXEMPT_WEIGHTS: [ExemptWeight; 5] = [
    exempt(Metal::Silver, 500, "1975-01-01", ACT),
    exempt(Metal::Silver, 778, "1999-01-01", PROFILE),
    exempt(Metal::Gold, 100, "1975-01-01", PROFILE),
    exempt(Metal::Platinum, 50, "1975-01-01", PROFILE),
    exempt(Metal::Palladium, 100, "2010-01-01", PROFILE),
];

const fn exempt(metal: Metal, hundredths: i64, from: &'static str, source: &'static str) -> ExemptWeight {
    ExemptWeight {
        metal,
        hundredths,
        from,
        source,
    }
}

/// The exemption weight of a metal on a day (ISO 8601); `None` where no row holds.
#[must_use]
pub fn exempt_below(metal: Metal, day: &str) -> Option<Mass> {
    let row = EXEMPT_WEIGHTS
        .iter()
        .rfind(|row| row.metal == metal && row.from <= day)?;
    Mass::from_units(row.hundredths.checked_mul(1_000)?)
}

/// A method of assay and how well it tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Method {
    /// Its name in the trade, with the number of its standard.
    pub name: &'static str,
    /// The metals that it is for; none if any.
    pub metal: Option<Metal>,
    /// From and to which fineness it holds, in tenths of a part per thousand.
    pub range: (u16, u16),
    /// Its expanded uncertainty (k = 2) at best and at worst, in hundredths of a part per thousand.
    pub uncertainty: (u16, u16),
    /// The year from which the row is used.
    pub from_year: u16,
    /// Where the row comes from.
    pub source: &'static str,
}

/// Steps of fineness in a hundredth of a part per thousand.
const UNITS_OF_A_HUNDREDTH: u32 = 100;
const ISO_SCOPES: &str = "scope of the ISO standard; typical uncertainty from memory";

/// Methods of assay, of each metal the usual one first. An assay office's own statement goes before the table.
pub const METHODS: [Method; 8] = [
    Method {
        name: "titration with potassium bromide, ISO 11427",
        metal: Some(Metal::Silver),
        range: (1_000, 9_990),
        uncertainty: (50, 100),
        from_year: 2014,
        source: ISO_SCOPES,
    },
    Method {
        name: "titration with sodium or potassium chloride, ISO 13756",
        metal: Some(Metal::Silver),
        range: (1_000, 9_990),
        uncertainty: (50, 100),
        from_year: 2014,
        source: "scope of the ISO standard; range and typical uncertainty from memory",
    },
    Method {
        name: "difference by ICP-OES, ISO 15096",
        metal: Some(Metal::Silver),
        range: (9_990, 10_000),
        uncertainty: (5, 20),
        from_year: 2014,
        source: ISO_SCOPES,
    },
    Method {
        name: "cupellation, ISO 11426",
        metal: Some(Metal::Gold),
        range: (1_000, 9_995),
        uncertainty: (20, 50),
        from_year: 2014,
        source: ISO_SCOPES,
    },
    Method {
        name: "difference by ICP-OES, ISO 15093",
        metal: Some(Metal::Gold),
        range: (9_990, 10_000),
        uncertainty: (5, 20),
        from_year: 2014,
        source: ISO_SCOPES,
    },
    Method {
        name: "ICP-OES, ISO 11494",
        metal: Some(Metal::Platinum),
        range: (8_500, 9_990),
        uncertainty: (50, 100),
        from_year: 2014,
        source: "range and typical uncertainty from memory",
    },
    Method {
        name: "ICP-OES, ISO 11495",
        metal: Some(Metal::Palladium),
        range: (5_000, 9_990),
        uncertainty: (50, 100),
        from_year: 2014,
        source: "range and typical uncertainty from memory",
    },
    Method {
        name: "hand-held X-ray fluorescence",
        metal: None,
        range: (0, 10_000),
        uncertainty: (200, 1_000),
        from_year: 2014,
        source: "sees the outer 10 to 50 micrometres only; typical uncertainty from memory",
    },
];

impl Method {
    /// Whether a result at its best uncertainty can support a claim at a standard in pure metal: the lowest credible
    /// fineness must reach the mark, and no metal is finer than 1000.
    #[must_use]
    pub fn can_support(&self, standard: Fineness) -> bool {
        let (best, _) = self.uncertainty;
        let (_, to) = self.range;
        let margin = u32::from(best) * UNITS_OF_A_HUNDREDTH;
        let highest = u32::from(to) * 1_000;
        standard
            .units()
            .checked_add(margin)
            .is_some_and(|needed| needed <= highest.min(Fineness::PURE.units()))
    }
}

/// The usual expanded uncertainty (k = 2) of an assay of a metal, at worst; none for an alloy metal.
#[must_use]
pub fn assay_uncertainty(metal: Metal) -> Option<Fineness> {
    let usual = METHODS.iter().find(|row| row.metal == Some(metal))?;
    let (_, worst) = usual.uncertainty;
    Fineness::from_units(u32::from(worst).checked_mul(UNITS_OF_A_HUNDREDTH)?)
}
