//! What somebody who holds the piece, or its paper, must know before anything else.

use super::certificate::older_issue;
use super::dates;
use super::told::Told;
use super::words;
use crate::domain::PieceState as S;
use maud::{Markup, html};

/// One notice.
struct Notice {
    /// Something is wrong; else it is to be read with care.
    grave: bool,
    title: String,
    text: String,
}

fn grave(title: &str, text: &str) -> Notice {
    Notice {
        grave: true,
        title: title.to_owned(),
        text: text.to_owned(),
    }
}

fn careful(title: &str, text: &str) -> Notice {
    Notice {
        grave: false,
        ..grave(title, text)
    }
}

/// The notices of a piece, the gravest first.
pub fn notices(told: &Told<'_>) -> Markup {
    let mut all: Vec<Notice> = of_state(told).into_iter().collect();
    all.extend(of_issue(told));
    all.extend(of_record(told));
    if !told.about.slip_checked {
        all.push(careful(
            "The last two digits were not typed",
            &format!(
                "A serial ends in two check digits, which catch a slip. Without them nobody can tell whether this is the \
                 piece that you mean: compare the whole serial, {}, with what stands on the piece or its certificate.",
                told.about.report.facts.serial
            ),
        ));
    }
    html! {
        @for notice in &all {
            section .notice .grave[notice.grave] {
                h2 { (notice.title) }
                p { (notice.text) }
            }
        }
    }
}

/// Whether a piece in this state is gone, or is none to buy, whatever it weighs.
pub const fn is_grave(state: S) -> bool {
    matches!(
        state,
        S::Stolen
            | S::Lost
            | S::Missing
            | S::Destroyed
            | S::Remelted
            | S::Refined
            | S::Kept
            | S::Condemned
            | S::MisStruck
            | S::Archived
    )
}

fn of_state(told: &Told<'_>) -> Option<Notice> {
    let before = told.before.map_or_else(String::new, |before| {
        format!(" Until then the record said: it {}.", words::stands(before))
    });
    let (title, text) = match told.state {
        S::Stolen => (
            "Reported stolen",
            format!(
                "The workshop recorded this piece as stolen, and it is not back. If you hold it or are offered it, keep the \
                 seller’s details and ask the workshop or the police.{before}"
            ),
        ),
        S::Destroyed => (
            "Destroyed",
            format!(
                "The workshop recorded that this piece was destroyed before a witness.{before} A piece that carries its \
                 serial now is not this piece."
            ),
        ),
        other => {
            let (title, text) = of_plain_state(other)?;
            (title, text.to_owned())
        }
    };
    let grave = is_grave(told.state);
    Some(Notice {
        grave,
        title: title.to_owned(),
        text,
    })
}

const fn of_plain_state(state: S) -> Option<(&'static str, &'static str)> {
    Some(match state {
        S::Lost => (
            "Lost on its way",
            "This piece was lost in transit and has not turned up. If you hold it or are offered it, ask the workshop.",
        ),
        S::Missing => (
            "Missing",
            "This piece was sent to an assay office and was not among what came back. If you hold it, ask the workshop.",
        ),
        S::Remelted | S::Refined => (
            "Melted",
            "This piece was melted, and no longer exists. A piece that carries its serial now is not this piece.",
        ),
        S::Kept => (
            "Kept by the assay office",
            "The assay office kept this piece or cut it for the assay. It was not sent back to the workshop.",
        ),
        S::Condemned => (
            "Withdrawn by the workshop",
            "The workshop gave this piece up and means to melt it. It should not be on sale.",
        ),
        S::MisStruck | S::Archived => (
            "Not for sale",
            "A strike on this piece did not come out well. The workshop never sells such a piece.",
        ),
        S::Unmarked => (
            "Without a hallmark",
            "The assay office sent this piece back without a hallmark. It is not certified.",
        ),
        _ => return None,
    })
}

/// What is to be said of the paper that the reader holds.
fn of_issue(told: &Told<'_>) -> Option<Notice> {
    let older = older_issue(told)?;
    let newest = told.certificate()?;
    let (at, why) = older.superseded.map_or((newest.at, String::new()), |(at, over)| {
        (at, format!(": {}", words::superseded(over.reason)))
    });
    Some(grave(
        "This certificate is superseded",
        &format!(
            "You look at issue {}. On {} issue {} took the place of the issue before it{why}. What changed is shown below.",
            older.stated.issue,
            dates::day(at),
            newest.stated.issue
        ),
    ))
}

fn of_record(told: &Told<'_>) -> Vec<Notice> {
    let facts = &told.about.report.facts;
    let mut found = Vec::new();
    if let Some(number) = &facts.number {
        // What is stolen after the close was counted as there, and burns nothing.
        let text = match (facts.number_burned, told.state.burns_number(false)) {
            (true, _) => Some("When the edition was closed, it was counted as gone"),
            (false, true) => Some("The piece is gone"),
            (false, false) => None,
        };
        found.extend(text.map(|text| {
            let title = format!("Number {number} is burned");
            careful(
                &title,
                &format!("{text}, so this number is given to no other piece, ever."),
            )
        }));
    }
    if facts.weight_suspect {
        found.push(grave(
            "Its weight is in doubt",
            "A check of the scale failed after its last weighing, so that reading is suspect until it is weighed again.",
        ));
    }
    if told.about.beside.weight_suspect && !facts.weight_suspect {
        found.push(grave(
            "Its weight is in doubt",
            "This server says that a check of the scale failed after its last weighing, so that reading is suspect until it is \
             weighed again. The proof file does not hold that check.",
        ));
    }
    if !facts.suspect_keys.is_empty() {
        found.push(grave(
            "A signature is in doubt",
            "A key that signed part of this record was later said to be in doubt. What it signed then may be a forgery.",
        ));
    }
    found
}
