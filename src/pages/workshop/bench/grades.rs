//! A grade with its reason, as somebody at the bench reads it. `words.mjs` says the same of what the book answers.

use super::super::{Markup, html};
use crate::domain::{Grade, Grading, Piece};

/// The words.
pub fn reason(grading: &Grading) -> String {
    let limits = match (grading.lower, grading.upper) {
        (Some(lower), Some(upper)) => Some(format!("{lower} g to {upper} g")),
        (Some(lower), None) => Some(format!("at least {lower} g")),
        _ => None,
    };
    let (lower, upper) = (
        grading.lower.unwrap_or_default(),
        grading.upper.unwrap_or_default(),
    );
    match (grading.grade, limits, grading.guard) {
        (Grade::Faulty, ..) => "faulty: unfit by eye, whatever it weighs".to_owned(),
        (Grade::Accepted, None, _) => "accepted: this series has no limits".to_owned(),
        (Grade::Borderline, _, None) => {
            "borderline: this scale is not verified, so nothing can be claimed from it".to_owned()
        }
        (Grade::Accepted, Some(limits), Some(guard)) => {
            format!("accepted: within {limits}, clear of them by the guard band of {guard} g")
        }
        (Grade::Under, _, Some(guard)) => {
            format!("under: below {lower} g by the guard band of {guard} g or more")
        }
        (Grade::Over, _, Some(guard)) => {
            format!("over: above {upper} g by the guard band of {guard} g or more; it may be filed down")
        }
        (Grade::Borderline, Some(limits), Some(guard)) => {
            format!("borderline: nearer than {guard} g to a limit ({limits}); this scale cannot tell")
        }
        (grade, ..) => grade.word().to_owned(),
    }
}

/// The sign of a grade, for who sees no colour.
pub const fn sign(grade: Grade) -> &'static str {
    match grade {
        Grade::Accepted => "✓",
        Grade::Under => "↓",
        Grade::Over => "↑",
        Grade::Borderline => "≈",
        Grade::Faulty => "✗",
    }
}

/// The pieces of a tray that were weighed, each with what the book made of it, the newest first.
#[must_use]
pub fn graded(pieces: &[Piece]) -> Markup {
    let mut weighed: Vec<_> = pieces.iter().filter(|piece| !piece.readings.is_empty()).collect();
    weighed.sort_by_key(|piece| std::cmp::Reverse(piece.reading().map(|reading| reading.index)));
    html! {
        ol .pieces {
            @for piece in weighed {
                li {
                    b { (piece.pour) } " "
                    @if let Some(reading) = piece.reading() { (reading.mass) " g, " }
                    @if let Some(grading) = &piece.grading {
                        span aria-hidden="true" { (sign(grading.grade)) " " } (reason(grading))
                    }
                }
            }
        }
    }
}
