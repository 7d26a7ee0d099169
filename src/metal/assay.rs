//! What an assay may be off by: a dated table of the expanded uncertainties (k = 2) that are usual for a method.
//!
//! An assay office's own statement goes before the table. The figures are from memory, the upper end of what is usual;
//! the standards named describe the methods, and this table does not quote them.

use super::{Fineness, Metal};

/// One row: what an assay of a metal may be off by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AssayUncertainty {
    /// The metal.
    pub metal: Metal,
    /// The method that is usual for it.
    pub method: &'static str,
    /// Expanded uncertainty (k = 2), in steps of 0.0001 parts per thousand.
    pub expanded_units: u32,
    /// The year from which the row is used.
    pub from_year: u16,
    /// Where the figure is from.
    pub source: &'static str,
}

/// The rows in force.
pub const ASSAY_TABLE: [AssayUncertainty; 4] = [
    AssayUncertainty {
        metal: Metal::Silver,
        method: "titration (ISO 11427)",
        expanded_units: 10_000,
        from_year: 2014,
        source: "from memory: 0.5 to 1 part per thousand is usual",
    },
    AssayUncertainty {
        metal: Metal::Gold,
        method: "cupellation (ISO 11426)",
        expanded_units: 5_000,
        from_year: 2014,
        source: "from memory: 0.2 to 0.5 parts per thousand is usual",
    },
    AssayUncertainty {
        metal: Metal::Platinum,
        method: "ICP-OES (ISO 11494)",
        expanded_units: 10_000,
        from_year: 2014,
        source: "from memory: up to 1 part per thousand is usual",
    },
    AssayUncertainty {
        metal: Metal::Palladium,
        method: "ICP-OES (ISO 11495)",
        expanded_units: 10_000,
        from_year: 2014,
        source: "from memory: up to 1 part per thousand is usual",
    },
];

/// The usual expanded uncertainty (k = 2) of an assay of a metal; none for an alloy metal.
#[must_use]
pub fn assay_uncertainty(metal: Metal) -> Option<Fineness> {
    let row = ASSAY_TABLE.iter().find(|row| row.metal == metal)?;
    Fineness::from_units(row.expanded_units)
}
