//! What a scale's readings support, recomputed from the entries that describe the scale.

use crate::domain::{Grade, PieceGraded, PieceWeighed, ScaleRegistered};
use crate::metal::{Mass, expanded_uncertainty, grade_by_limits, guard_band, mpe_in_service};

/// Guard band at a load, grams; `None` for an unverified scale.
pub(super) fn guard(scale: &ScaleRegistered, load: Mass) -> Option<Mass> {
    let limit = scale
        .verified
        .then(|| mpe_in_service(scale.class, scale.e, load))??;
    guard_band(limit, scale.repeatability, scale.d)
}

/// Expanded uncertainty (k = 2) at a load, grams, rounded up to the scale step; `None` for an unverified scale.
pub(super) fn uncertainty(scale: &ScaleRegistered, load: Mass) -> Option<Mass> {
    let limit = scale
        .verified
        .then(|| mpe_in_service(scale.class, scale.e, load))??;
    expanded_uncertainty(limit, scale.repeatability, scale.d)
}

/// The grade that a reading gets, by the rule that the grading names.
pub(super) fn grade(scale: &ScaleRegistered, reading: &PieceWeighed, graded: &PieceGraded) -> Grade {
    let mass = reading.mass.mass();
    match (guard(scale, mass), graded.lower) {
        (None, _) => Grade::Borderline,
        (Some(_), None) => Grade::Accepted,
        (Some(guard), Some(lower)) => grade_by_limits(mass, lower, graded.upper, guard).into(),
    }
}
