//! Value added tax, as far as a price needs it: dated rows of the worked jurisdiction, each with its source.
//!
//! Which row a supply falls under is a question of law. The workshop decides it with licensed advice, and what it decided is
//! stored with each price; this table only says what rate a decision carries on a day, and what must be asked first.
//! Deliberately absent: other jurisdictions, returns, the tax point, and the special accounting scheme for gold.

use serde::{Deserialize, Serialize};

use super::Metal;
use super::digits::{Unreadable, quote, serde_as_text};
use super::fineness::Fineness;
use super::percent::Percent;

/// What was decided about a supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Treatment {
    /// Standard-rated: silver, and gold that is no investment gold.
    Standard,
    /// Investment gold, exempt unless taxation is opted for.
    InvestmentGold,
    /// The workshop is not registered, so it charges none.
    NotRegistered,
}

impl std::str::FromStr for Treatment {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "standard" => Ok(Self::Standard),
            "investment_gold" => Ok(Self::InvestmentGold),
            "not_registered" => Ok(Self::NotRegistered),
            _ => Err("must be standard, investment_gold or not_registered"),
        }
    }
}

/// After every day that a row could hold from: the newest row.
pub const NEWEST: &str = "9999-12-31";

/// A day, ISO 8601, as far as rows of tables need one: whether the month has that day makes no difference to them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Day(String);

impl Day {
    /// As text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl std::str::FromStr for Day {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let digits = |from: usize, to: usize| -> Option<u32> {
            let part = text.get(from..to)?;
            let plain = part.bytes().all(|byte| byte.is_ascii_digit());
            plain.then(|| part.parse().ok()).flatten()
        };
        let marked = text.len() == 10 && text.get(4..5) == Some("-") && text.get(7..8) == Some("-");
        match (digits(0, 4), digits(5, 7), digits(8, 10)) {
            (Some(_), Some(1..=12), Some(1..=31)) if marked => Ok(Self(text.to_owned())),
            _ => Err(Unreadable::NotADay(quote(text))),
        }
    }
}

impl std::fmt::Display for Day {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

serde_as_text!(Day);

/// One row of the table of rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VatRow {
    /// What was decided.
    pub treatment: Treatment,
    /// The rate, in units of 0.0001 %.
    pub units: i32,
    /// From which day it holds, ISO 8601: such days compare as texts.
    pub from: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// The least fineness of what it is for, parts per thousand; any if there is none.
    pub least_fineness: Option<u16>,
    /// What must be so.
    pub conditions: &'static str,
}

impl VatRow {
    /// Whether metal of a fineness is fine enough for it.
    fn is_met_by(&self, fineness: Fineness) -> bool {
        let least = self.least_fineness.map_or(0, |parts| u32::from(parts) * 10_000);
        fineness.units() >= least
    }
}

const STANDARD_CONDITIONS: &str = "silver in any form, and gold that is not investment gold";
const INVESTMENT_CONDITIONS: &str = "a bar or wafer of gold of at least 995 parts per thousand and of a weight accepted by the bullion markets, or a \
     qualifying coin; exempt, with an option to tax";

/// The rates of the United Kingdom, oldest first of each treatment.
pub const VAT_ROWS: [VatRow; 4] = [
    VatRow {
        treatment: Treatment::Standard,
        units: 175_000,
        from: "2010-01-01",
        source: "Value Added Tax Act 1994 section 2; the day from memory",
        least_fineness: None,
        conditions: STANDARD_CONDITIONS,
    },
    VatRow {
        treatment: Treatment::Standard,
        units: 200_000,
        from: "2011-01-04",
        source: "Value Added Tax Act 1994 section 2, as amended by the Finance (No. 2) Act 2010; the day from memory",
        least_fineness: None,
        conditions: STANDARD_CONDITIONS,
    },
    VatRow {
        treatment: Treatment::InvestmentGold,
        units: 0,
        from: "2000-01-01",
        source: "VAT Notice 701/21; the day from memory",
        least_fineness: Some(995),
        conditions: INVESTMENT_CONDITIONS,
    },
    VatRow {
        treatment: Treatment::NotRegistered,
        units: 0,
        from: "1994-09-01",
        source: "Value Added Tax Act 1994 section 3; the day from memory",
        least_fineness: None,
        conditions: "the workshop's taxable turnover stays below the registration threshold, and it has not registered",
    },
];

/// A limit of money and when it matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Threshold {
    /// What happens at it.
    pub what: &'static str,
    /// The amount, pounds sterling.
    pub pounds: u32,
    /// From which day it holds, ISO 8601.
    pub from: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

/// Limits of the United Kingdom.
pub const THRESHOLDS: [Threshold; 3] = [
    Threshold {
        what: "registration: taxable turnover of twelve months",
        pounds: 90_000,
        from: "2024-04-01",
        source: "the registration threshold as published by the revenue",
    },
    Threshold {
        what: "investment gold: first exempt supply above this is notified within 28 days",
        pounds: 5_000,
        from: "2000-01-01",
        source: "VAT Notice 701/21; the day from memory",
    },
    Threshold {
        what: "investment gold: supplies to one customer in twelve months above this are notified within 28 days",
        pounds: 10_000,
        from: "2000-01-01",
        source: "VAT Notice 701/21; the day from memory",
    },
];

/// The rate that a price was made with: enough to reckon it again when the table has changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VatUsed {
    /// What was decided.
    pub treatment: Treatment,
    /// The rate, per cent.
    pub percent: Percent,
    /// From which day the row of the table holds.
    pub from: String,
    /// Where the row comes from.
    pub source: String,
}

/// Why a supply cannot be so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VatError {
    /// Only gold is investment gold.
    #[error("{0} is never investment gold: it is standard-rated")]
    NotGold(Metal),
    /// Gold that is not fine enough.
    #[error("investment gold in bars is at least {least} parts per thousand, this is {fineness}")]
    NotFine {
        /// What it must be at least.
        least: u16,
        /// What it is.
        fineness: Fineness,
    },
    /// Investment gold of which the fineness is not said.
    #[error("whether this is investment gold cannot be told without its fineness")]
    FinenessNotSaid,
    /// No row of the table holds on the day.
    #[error("no row of the table of rates holds on that day")]
    NoRow,
}

/// The row of a table that a decision carries on a day (ISO 8601).
#[must_use]
pub fn row<'a>(rows: &'a [VatRow], treatment: Treatment, day: &str) -> Option<&'a VatRow> {
    let holds = |row: &&VatRow| row.treatment == treatment && row.from <= day;
    rows.iter().filter(holds).max_by_key(|row| row.from)
}

/// The rate that a decision carries on a day (ISO 8601), by a table of rates.
///
/// # Errors
/// [`VatError`]: what could not be whatever anybody decides.
pub fn rate(
    rows: &[VatRow],
    treatment: Treatment,
    metal: Metal,
    fineness: Option<Fineness>,
    day: &str,
) -> Result<VatUsed, VatError> {
    if treatment == Treatment::InvestmentGold && metal != Metal::Gold {
        return Err(VatError::NotGold(metal));
    }
    let row = row(rows, treatment, day).ok_or(VatError::NoRow)?;
    if let Some(least) = row.least_fineness {
        let fineness = fineness.ok_or(VatError::FinenessNotSaid)?;
        if !row.is_met_by(fineness) {
            return Err(VatError::NotFine { least, fineness });
        }
    }
    Ok(VatUsed {
        treatment,
        percent: Percent::from_units(row.units).ok_or(VatError::NoRow)?,
        from: row.from.to_owned(),
        source: row.source.to_owned(),
    })
}

/// What the workshop should ask before it relies on a treatment. Every answer defers to licensed advice.
#[must_use]
pub fn questions(treatment: Treatment, metal: Metal, fineness: Option<Fineness>) -> Vec<&'static str> {
    let investment = row(&VAT_ROWS, Treatment::InvestmentGold, NEWEST);
    let fine_enough =
        fineness.is_none_or(|fineness| investment.is_some_and(|investment| investment.is_met_by(fineness)));
    match (treatment, metal) {
        (Treatment::InvestmentGold, _) => vec![
            "Is this a bar or wafer of a weight accepted by the bullion markets? A decorative pour of odd weight may not be. Ask \
             the revenue or a licensed adviser before relying on the exemption.",
            "Exempt supplies are notified within 28 days above a limit, and need special invoices and records of the customer: \
             see the table of limits, and ask.",
        ],
        (Treatment::Standard, Metal::Gold) if fine_enough => vec![
            "Gold this fine may be investment gold if it is a bar or wafer of a weight accepted by the \
             bullion markets. Ask the revenue or a licensed adviser.",
        ],
        (Treatment::NotRegistered, _) => {
            vec!["Taxable turnover near the registration threshold? Ask a licensed adviser in time."]
        }
        _ => Vec::new(),
    }
}
