//! What a scale's readings support, recomputed from the entries that describe the scale.

use crate::domain::{Grade, GradeRule, PieceGraded, ScaleRegistered};
use crate::metal::{
    GUARD_RULES, GuardRule, Mass, expanded_uncertainty, expanded_uncertainty_fine, grade_by_limits,
    mpe_in_service,
};

/// Guard band at a load by a version of the rule, grams; `None` for an unverified scale.
pub(super) fn guard(scale: &ScaleRegistered, rule: GradeRule, load: Mass) -> Option<Mass> {
    let rule = GuardRule::find(GUARD_RULES, rule.word())?;
    rule.guard_band(limit(scale, load)?, scale.repeatability, scale.d)
}

/// Expanded uncertainty (k = 2) at a load, grams, rounded up to the scale step; `None` for an unverified scale.
pub(super) fn uncertainty(scale: &ScaleRegistered, load: Mass) -> Option<Mass> {
    expanded_uncertainty(limit(scale, load)?, scale.repeatability, scale.d)
}

/// Expanded uncertainty (k = 2) at a load, grams, not rounded to the scale step; `None` for an unverified scale.
pub(super) fn uncertainty_fine(scale: &ScaleRegistered, load: Mass) -> Option<Mass> {
    expanded_uncertainty_fine(limit(scale, load)?, scale.repeatability, scale.d)
}

fn limit(scale: &ScaleRegistered, load: Mass) -> Option<Mass> {
    scale
        .verified
        .then(|| mpe_in_service(scale.class, scale.e, load))?
}

/// The square of a mass, in squares of 10 micrograms: independent uncertainties add up in squares (JCGM 100:2008, 5.1.2).
pub(super) fn square(mass: Mass) -> u128 {
    let units = u128::from(mass.units().unsigned_abs());
    units.saturating_mul(units)
}

/// The grade that a reading gets, by the rule that the grading names.
pub(super) fn grade(scale: &ScaleRegistered, mass: Mass, graded: &PieceGraded) -> Grade {
    match (guard(scale, graded.rule, mass), graded.lower) {
        (None, _) => Grade::Borderline,
        (Some(_), None) => Grade::Accepted,
        (Some(guard), Some(lower)) => grade_by_limits(mass, lower, graded.upper, guard).into(),
    }
}
