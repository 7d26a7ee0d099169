//! The density of a piece, reckoned from its readings in water wherever it is shown, and a buyer's readings held against
//! the piece's record.
//!
//! A density has an uncertainty and decides nothing. A buyer's density is held against the piece's own record first, since
//! a pour has pores of its own, and against its alloy second; a weight against the last reading. What comes out is that
//! readings agree, are to be repeated on another scale, or do not agree - never what an object is.

use crate::domain::{Book, GravityReading, Immersion, Piece, SessionId};
use crate::metal::consistency::{ASSUMED, Agreement, Assumed, agreement, normalised_error, shown_from};
use crate::metal::floats::{fixed, fixed_up, grams};
use crate::metal::gravity::{FineEnough, Measured, Weighing};
use crate::metal::materials::{Alloy, Fit, look_alikes};
use crate::metal::water::WaterTemperature;
use crate::metal::{Fineness, Mass, Metal, Reading};
use serde::Serialize;

/// A weighing in water, with the density that follows from it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct GravityTold {
    /// Index of its entry.
    pub index: u64,
    /// The session.
    pub session: SessionId,
    /// How it was weighed in water.
    pub method: Immersion,
    /// In air, as typed, grams.
    pub in_air: Reading,
    /// With it in the water, as typed, grams.
    pub in_water: Reading,
    /// Of the water, degrees Celsius.
    pub water: WaterTemperature,
    /// What water carried of it, grams.
    pub displaced: Mass,
    /// g/cm3, three decimals.
    pub density: String,
    /// Expanded uncertainty (k = 2), g/cm3, three decimals, rounded up.
    pub uncertainty: String,
    /// Whether a check of the scale failed after it.
    pub suspect: bool,
}

impl GravityTold {
    /// What a piece's newest weighing in water says.
    #[must_use]
    pub fn newest(book: &Book, piece: &Piece) -> Option<Self> {
        Self::of(book, piece.gravities.last()?)
    }

    /// What a weighing in water says. `None` where the book does not know its scale.
    #[must_use]
    pub fn of(book: &Book, gravity: &GravityReading) -> Option<Self> {
        let session = book.session(gravity.session)?;
        let step = book.scale(session.scale)?.d;
        Self::on_scale(gravity, step, session.is_suspect(gravity.index))
    }

    /// What a weighing in water on a scale with a step says.
    #[must_use]
    pub fn on_scale(gravity: &GravityReading, step: Mass, suspect: bool) -> Option<Self> {
        let weighing = weighing(gravity, step)?;
        let measured = weighing.measured();
        Some(Self {
            index: gravity.index,
            session: gravity.session,
            method: gravity.method,
            in_air: gravity.in_air.clone(),
            in_water: gravity.in_water.clone(),
            water: gravity.water,
            displaced: weighing.displacement(),
            density: measured.density_text(),
            uncertainty: measured.uncertainty_text(),
            suspect,
        })
    }
}

fn weighing(gravity: &GravityReading, step: Mass) -> Option<Weighing> {
    let weighing = gravity
        .method
        .weighing(&gravity.in_air, &gravity.in_water, gravity.water, step);
    weighing.ok()
}

/// What a density leaves possible and what it excludes, of the table of look-alikes. It proves nothing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Possible {
    /// What it fits.
    pub fits: Vec<&'static str>,
    /// What it fits only with pores.
    pub fits_if_porous: Vec<&'static str>,
    /// What it cannot tell.
    pub cannot_tell: Vec<&'static str>,
    /// What it excludes.
    pub excluded: Vec<&'static str>,
}

impl Possible {
    /// Of a piece's newest weighing in water.
    #[must_use]
    pub fn of(book: &Book, piece: &Piece) -> Option<Self> {
        recorded(book, piece).as_ref().map(Self::by)
    }

    /// By a density.
    #[must_use]
    pub fn by(measured: &Measured) -> Self {
        let of = |wanted: Fit| look_alikes(measured, wanted);
        Self {
            fits: of(Fit::Fits),
            fits_if_porous: of(Fit::FitsIfPorous),
            cannot_tell: of(Fit::CannotTell),
            excluded: of(Fit::Excluded),
        }
    }
}

/// The recorded density of a piece: its newest weighing in water, unless a check failed after it.
fn recorded(book: &Book, piece: &Piece) -> Option<Measured> {
    let gravity = piece.gravities.last()?;
    let session = book.session(gravity.session)?;
    if session.is_suspect(gravity.index) {
        return None;
    }
    Some(weighing(gravity, book.scale(session.scale)?.d)?.measured())
}

/// A reading held against something recorded.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HeldAgainst {
    /// What it is held against: `record`, or `alloy` where the piece was never weighed in water.
    pub against: &'static str,
    /// What is recorded, with its unit's decimals.
    pub recorded: String,
    /// Its expanded uncertainty (k = 2).
    pub recorded_uncertainty: String,
    /// The reading.
    pub reading: String,
    /// Its expanded uncertainty (k = 2).
    pub uncertainty: String,
    /// From which difference on two such readings would not agree, rounded up.
    pub shown_from: String,
    /// The normalised error E_n, two decimals.
    pub normalised_error: String,
    /// `agree`, `repeat-on-another-scale` or `do-not-agree`.
    pub verdict: &'static str,
    /// The same in words.
    pub words: &'static str,
}

/// What comes of holding a buyer's reading against the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "answer", rename_all = "snake_case")]
pub enum Against {
    /// The two were compared.
    Compared(HeldAgainst),
    /// There is nothing recorded that could be compared, and why.
    NothingRecorded {
        /// The fact.
        why: &'static str,
    },
    /// The buyer's scale cannot tell; a scale with these steps could, if any could.
    CannotTell {
        /// Grams.
        #[serde(skip_serializing_if = "Option::is_none")]
        step_needed: Option<Mass>,
    },
}

impl Against {
    /// A buyer's weight on a scale with steps of `step` grams, held against the piece's last reading. Of the buyer's scale
    /// only the step is known, so its error is assumed.
    #[must_use]
    pub fn weight(book: &Book, piece: &Piece, mass: Mass, step: Mass) -> Self {
        let Some(last) = piece.reading() else {
            return Self::NothingRecorded {
                why: "the piece was never weighed",
            };
        };
        if book.is_suspect(last) {
            return Self::NothingRecorded {
                why: "a check of the scale failed after its last reading",
            };
        }
        let scale = book
            .session(last.session)
            .and_then(|session| book.scale(session.scale))
            .filter(|scale| scale.verified);
        let Some(own) = scale.and_then(|scale| scale.wobble(last.mass.mass())) else {
            return Self::NothingRecorded {
                why: "its last reading is of an unverified scale",
            };
        };
        // A step between two rows is taken for the coarser one.
        let coarser = |row: &Assumed| row.step() >= step;
        let Some(theirs) = ASSUMED.into_iter().rev().find(coarser) else {
            return Self::CannotTell {
                step_needed: ASSUMED.first().map(Assumed::step),
            };
        };
        let (x, y) = (grams(mass), grams(last.mass.mass()));
        let error = normalised_error(x, grams(theirs.uncertainty()), y, grams(own));
        let Some(error) = error else {
            return Self::CannotTell { step_needed: None };
        };
        let texts = [
            last.mass.to_string(),
            own.to_string(),
            mass.to_string(),
            theirs.uncertainty().to_string(),
            fixed_up(shown_from(grams(theirs.uncertainty()), grams(own)), 2),
        ];
        Self::compared("record", texts, error)
    }

    /// A buyer's weighing in water held against the piece's own record or, where there is none, against its alloy.
    #[must_use]
    pub fn gravity(book: &Book, piece: &Piece, theirs: &Weighing) -> Self {
        match theirs.fine_enough() {
            FineEnough::Yes => {}
            FineEnough::WithStep(step) => {
                return Self::CannotTell {
                    step_needed: Some(step),
                };
            }
            FineEnough::No => return Self::CannotTell { step_needed: None },
        }
        let own = recorded(book, piece).map(|own| ("record", own));
        let alloy = || {
            let alloy = alloy_of(book, piece)?;
            let (density, uncertainty) = (alloy.density(), alloy.uncertainty());
            Some(("alloy", Measured { density, uncertainty }))
        };
        let Some((against, recorded)) = own.or_else(alloy) else {
            return Self::NothingRecorded {
                why: "it was never weighed in water, and the density of its alloy is not known",
            };
        };
        let measured = theirs.measured();
        let error = normalised_error(
            measured.density,
            measured.uncertainty,
            recorded.density,
            recorded.uncertainty,
        );
        let Some(error) = error else {
            return Self::CannotTell { step_needed: None };
        };
        let texts = [
            recorded.density_text(),
            recorded.uncertainty_text(),
            measured.density_text(),
            measured.uncertainty_text(),
            fixed_up(shown_from(measured.uncertainty, recorded.uncertainty), 3),
        ];
        Self::compared(against, texts, error)
    }

    fn compared(against: &'static str, texts: [String; 5], error: f64) -> Self {
        let verdict: Agreement = agreement(error);
        let [recorded, recorded_uncertainty, reading, uncertainty, shown_from] = texts;
        Self::Compared(HeldAgainst {
            against,
            recorded,
            recorded_uncertainty,
            reading,
            uncertainty,
            shown_from,
            normalised_error: fixed(error, 2),
            verdict: verdict.word(),
            words: verdict.words(),
        })
    }
}

/// What a piece of its series is an alloy of: its metal at the stated fineness, and copper. Of other alloys nothing is known.
fn alloy_of(book: &Book, piece: &Piece) -> Option<Alloy> {
    let series = book.series(piece.series)?;
    if series.metal != Metal::Silver && series.fineness < Fineness::parse("990").ok()? {
        return None;
    }
    let rest = Fineness::PURE.units().checked_sub(series.fineness.units())?;
    let rest = Fineness::from_units(rest).filter(|rest| *rest > Fineness::ZERO);
    let text = match rest {
        Some(rest) => format!("{} {}, copper {rest}", series.metal, series.fineness),
        None => format!("{} {}", series.metal, series.fineness),
    };
    text.parse().ok()
}
