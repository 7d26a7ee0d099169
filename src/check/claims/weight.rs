//! The weighings of the piece: every grading follows from reading, scale and limits, for every scale that the file describes.

use super::Claims;
use crate::check::measures;
use crate::domain::{Event, Grade, PieceBoughtBack, PieceGraded, PieceGravity, SeriesId, SessionId};
use crate::metal::gravity::{FineEnough, Measured};
use crate::metal::{Mass, Reading};

/// A reading, the session that names its scale, and the index of its entry.
type Weighed<'a> = (SessionId, &'a Reading, u64);

/// Gradings follow from reading, scale and limits; a weighing at buying back names the reading before it.
pub(in crate::check) fn weight(claims: &Claims<'_>) -> Result<String, String> {
    let mut reading: Option<Weighed<'_>> = None;
    let mut series = claims.poured()?.series;
    let mut faulty = false;
    let mut gravity: Option<&PieceGravity> = None;
    let mut regraded: usize = 0;
    for (index, event) in claims.own() {
        let at = |why: String| format!("entry {index}: {why}");
        match event {
            Event::PieceFaulted(_) => faulty = true,
            Event::PieceMoved(moved) => series = moved.to,
            Event::PieceWeighed(weighed) => reading = Some((weighed.session, &weighed.mass, index)),
            Event::PieceGravity(weighed) => {
                let before = reading.ok_or_else(|| at("was never weighed before".to_owned()))?;
                immersed(claims, before, weighed).map_err(at)?;
                gravity = Some(weighed);
            }
            Event::PieceBoughtBack(back) => {
                let before = reading.ok_or_else(|| at("was never weighed before".to_owned()))?;
                bought_back(claims, before, back).map_err(at)?;
                reading = Some((back.session, &back.mass, index));
            }
            Event::PieceGraded(graded) if faulty && graded.grade == Grade::Faulty => {}
            Event::PieceGraded(graded) if faulty => {
                return Err(at(format!("a faulty piece is graded {}", graded.grade)));
            }
            Event::PieceGraded(graded) => {
                let weighed = reading.ok_or_else(|| at("grades before any weighing".to_owned()))?;
                limits_of(claims, series, graded).map_err(at)?;
                regraded =
                    regraded.saturating_add(usize::from(regrade(claims, weighed, graded).map_err(at)?));
            }
            _ => {}
        }
    }
    let (session, mass, index) = reading.ok_or("the piece was never weighed")?;
    let density = match gravity.and_then(|gravity| claims.measured(gravity)) {
        Some(measured) => format!(
            "; in water {} g/cm3, +-{} at k = 2",
            measured.density_text(),
            measured.uncertainty_text()
        ),
        None => String::new(),
    };
    let word = if claims.is_suspect(session, index) {
        "; SUSPECT: a check of the scale failed after it"
    } else {
        ""
    };
    Ok(format!("{mass} g; {regraded} gradings recomputed{density}{word}"))
}

/// A grading is made by the limits of the series that the piece was then in.
fn limits_of(claims: &Claims<'_>, series: SeriesId, graded: &PieceGraded) -> Result<(), String> {
    let series = claims.series(series)?;
    let lower = series.limits.as_ref().map(|limits| limits.lower);
    let upper = series.limits.as_ref().map(|limits| limits.upper);
    if graded.lower == lower && graded.upper == upper {
        Ok(())
    } else {
        Err(format!(
            "the limits are not those of series {}",
            series.code.as_str()
        ))
    }
}

fn regrade(
    claims: &Claims<'_>,
    (session, reading, _): Weighed<'_>,
    graded: &PieceGraded,
) -> Result<bool, String> {
    let Some(scale) = claims.scale_of(session) else {
        return Ok(false);
    };
    let mass = reading.mass();
    if !mass.is_multiple_of(scale.d) {
        return Err(format!("{reading} g is finer than the scale shows"));
    }
    let grade = measures::grade(scale, mass, graded);
    if grade != graded.grade {
        return Err(format!(
            "{reading} g makes it {grade}, it is graded {}",
            graded.grade
        ));
    }
    let guard = graded
        .lower
        .and_then(|_| measures::guard(scale, graded.rule, mass));
    if graded.lower.is_some() && guard != graded.guard {
        return Err("the guard band is not the scale's".to_owned());
    }
    Ok(true)
}

/// Whether two readings' uncertainty (k = 2) explains their difference; `None` where the file does not describe both
/// scales, or one is not verified.
fn explained(
    claims: &Claims<'_>,
    (session, before): (SessionId, Mass),
    (other, after): (SessionId, Mass),
) -> Option<bool> {
    let squared = |session, mass| {
        let uncertainty = measures::uncertainty_fine(claims.scale_of(session)?, mass)?;
        Some(measures::square(uncertainty))
    };
    let both = squared(session, before)?.saturating_add(squared(other, after)?);
    Some(measures::square(before.minus(after).magnitude()) <= both)
}

/// A weighing in water is of what sinks and of what weighs as the piece did; where the file describes the scale, its steps
/// could tell.
fn immersed(
    claims: &Claims<'_>,
    (session, before, _): Weighed<'_>,
    gravity: &PieceGravity,
) -> Result<(), String> {
    let in_air = gravity.in_air.mass();
    let scale = claims.scale_of(gravity.session);
    // Where the file does not describe the scale, any step shows what cannot be of a piece that sinks.
    let step = scale.map_or(Mass::MAX, |scale| scale.d);
    let weighing = gravity
        .method
        .weighing(&gravity.in_air, &gravity.in_water, gravity.water, step);
    let weighing =
        weighing.map_err(|why| format!("{in_air} g in air and {} g in water: {why}", gravity.in_water))?;
    if explained(claims, (session, before.mass()), (gravity.session, in_air)) == Some(false) {
        return Err(format!(
            "in air it weighed {in_air} g, its last reading is {before} g"
        ));
    }
    if scale.is_none() {
        return Ok(());
    }
    for reading in [&gravity.in_air, &gravity.in_water] {
        if !reading.mass().is_multiple_of(step) {
            return Err(format!("{reading} g is finer than the scale shows"));
        }
    }
    match weighing.fine_enough() {
        FineEnough::Yes => Ok(()),
        _ => Err(format!(
            "the scale cannot tell {} g of water well enough",
            weighing.displacement()
        )),
    }
}

impl Claims<'_> {
    /// The density by a weighing in water whose scale the file describes.
    pub(in crate::check) fn measured(&self, gravity: &PieceGravity) -> Option<Measured> {
        let step = self.scale_of(gravity.session)?.d;
        let weighing = gravity
            .method
            .weighing(&gravity.in_air, &gravity.in_water, gravity.water, step);
        Some(weighing.ok()?.measured())
    }
}

/// A piece bought back is held against its last reading before; whether both readings' uncertainty (k = 2) explains the
/// difference is recomputed where the file describes both scales and both are verified.
fn bought_back(
    claims: &Claims<'_>,
    (session, before, _): Weighed<'_>,
    back: &PieceBoughtBack,
) -> Result<(), String> {
    if back.before != before.mass() {
        return Err(format!(
            "it says the piece weighed {} g before, its last reading is {before} g",
            back.before
        ));
    }
    let difference = back.before.minus(back.mass.mass());
    if difference != back.difference {
        return Err(format!(
            "{} g less {} g is stated as {} g",
            back.before, back.mass, back.difference
        ));
    }
    match explained(claims, (session, back.before), (back.session, back.mass.mass())) {
        Some(explained) if explained != back.explained => {
            Err("whether the scales explain the difference is stated wrongly".to_owned())
        }
        _ => Ok(()),
    }
}
