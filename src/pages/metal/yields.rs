//! From poured to sold, as a stream of pieces and a table: what left it at each step, and where to.

use crate::accounts::{Fate, Reached, ShapeYield, Stay, Step};
use crate::domain::{CondemnReason, PieceState as S};
use crate::pages::pictures::{Branch, Row, Stream, Tone};
use crate::pages::words;
use maud::{Markup, html};

/// How many pieces are named in a line of the table; the list has all.
const NAMED_MAX: usize = 12;

const fn step(step: Step) -> &'static str {
    match step {
        Step::Poured => "Poured",
        Step::Weighed => "Weighed",
        Step::Accepted => "Within limits",
        Step::Struck => "Struck",
        Step::Hallmarked => "Hallmarked",
        Step::Certified => "Certified",
        Step::Sold => "Sold",
        Step::Delivered => "With buyers",
    }
}

const fn reason(reason: CondemnReason) -> &'static str {
    match reason {
        CondemnReason::Under => "too light",
        CondemnReason::Over => "too heavy",
        CondemnReason::Faulty => "faulty",
        CondemnReason::Borderline => "too near a limit",
        CondemnReason::MisStruck => "mis-struck",
        CondemnReason::Unmarked => "not marked",
        CondemnReason::Damaged => "damaged",
        CondemnReason::Unwanted => "not wanted",
    }
}

/// What became of pieces, short.
fn fate(fate: Fate) -> String {
    match fate {
        Fate::Moved => "to another series".to_owned(),
        Fate::GivenUp(why, S::Remelted) => format!("{}, melted", reason(why)),
        Fate::GivenUp(why, S::Refined) => format!("{}, to the refiner", reason(why)),
        Fate::GivenUp(why, _) => format!("{}, to be melted", reason(why)),
        Fate::Gone(state) => gone(state).to_owned(),
        Fate::Waits(state) => format!("here: {}", waits(state)),
    }
}

const fn gone(state: S) -> &'static str {
    match state {
        S::Archived => "mis-struck, kept",
        S::Kept => "kept by the office",
        S::Missing => "missing at the office",
        S::Lost => "lost on the way",
        S::Stolen => "stolen",
        S::Destroyed => "destroyed",
        S::Refined => "to the refiner",
        _ => "melted",
    }
}

const fn waits(state: S) -> &'static str {
    match state {
        S::Poured => "not weighed yet",
        S::Graded => "graded",
        S::Serialled => "with a serial",
        S::Struck => "struck",
        S::MisStruck => "mis-struck",
        S::AtOffice => "at the office",
        S::Hallmarked => "hallmarked",
        S::Unmarked => "back unmarked",
        S::Spare => "spare",
        S::Numbered => "numbered",
        S::Certified => "in stock",
        S::Reserved => "kept for somebody",
        S::Sold => "to be sent",
        S::Dispatched => "on the way",
        S::Returned => "given back",
        S::BoughtBack => "bought back",
        _ => "elsewhere",
    }
}

const fn tone(fate: Fate) -> Tone {
    match fate {
        Fate::Waits(_) => Tone::Here,
        Fate::Moved => Tone::Away,
        Fate::GivenUp(..) | Fate::Gone(_) => Tone::Lost,
    }
}

fn count(pieces: usize) -> i64 {
    i64::try_from(pieces).unwrap_or(i64::MAX)
}

/// The stream of one shape; `code` is that of its series.
#[must_use]
pub fn picture(code: &str, told: &ShapeYield) -> Stream {
    let shape = words::shape(&told.shape);
    let poured = told.steps.first().map_or(0, |first| count(first.pieces));
    let branch = |name: String, amount: i64, tone: Tone| Branch {
        figure: super::pieces(amount),
        name,
        amount,
        tone,
        address: None,
    };
    let mut rows = Vec::new();
    for (number, reached) in told.steps.iter().enumerate() {
        let is_last = number + 1 == told.steps.len();
        if number > 0 && !is_last {
            rows.push(Row::Mark(
                step(reached.step).to_owned(),
                count(reached.pieces).to_string(),
            ));
        }
        for stay in &reached.stay {
            rows.push(Row::Branch(branch(
                fate(stay.fate),
                count(stay.pieces.len()),
                tone(stay.fate),
            )));
        }
        if is_last && reached.pieces > 0 {
            rows.push(Row::Branch(branch(
                step(reached.step).to_owned(),
                count(reached.pieces),
                Tone::Away,
            )));
        }
    }
    Stream {
        id: format!("yield-{}", told.shape),
        title: format!("From poured to sold: the {shape} pieces of {code}"),
        description: format!(
            "A stream that is as wide as there are pieces in it. {}. The table below has every figure.",
            sentence(told)
        ),
        inlets: vec![branch("Poured".to_owned(), poured, Tone::Here)],
        rows,
        figure: super::pieces,
        again: None,
    }
}

fn sentence(told: &ShapeYield) -> String {
    let steps = told
        .steps
        .iter()
        .map(|reached| format!("{} {}", reached.pieces, step(reached.step).to_lowercase()));
    steps.collect::<Vec<_>>().join(", ")
}

/// The picture, and the table with the same figures.
pub fn section(code: &str, told: &ShapeYield) -> Markup {
    html! {
        p { (sentence(told)) "." }
        (picture(code, told).picture())
        div .wide tabindex="0" role="region" aria-label=(format!("Steps, {}", words::shape(&told.shape))) {
            table .figures {
                thead { tr { th scope="col" { "Step" } th scope="col" .number { "Pieces" } th scope="col" { "Which" } } }
                @for reached in &told.steps { (rows(reached)) }
            }
        }
    }
}

fn rows(reached: &Reached) -> Markup {
    html! {
        tbody {
            tr .part { th scope="rowgroup" { (step(reached.step)) } td .number { (reached.pieces) } td {} }
            @for stay in &reached.stay {
                tr { th scope="row" { (super::capital(&fate(stay.fate))) } td .number { (stay.pieces.len()) } td { (named(stay)) } }
            }
        }
    }
}

fn named(stay: &Stay) -> Markup {
    html! {
        @for (number, (piece, pour)) in stay.pieces.iter().take(NAMED_MAX).enumerate() {
            @if number > 0 { ", " }
            a href=(format!("/pieces/{}", piece.0)) { (pour) }
        }
        @if stay.pieces.len() > NAMED_MAX { " and " (stay.pieces.len().saturating_sub(NAMED_MAX)) " more" }
    }
}
