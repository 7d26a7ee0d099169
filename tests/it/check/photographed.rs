//! A photographed piece, as its proof file tells it: photographs that can be hold, those that cannot do not.

use super::lives::{Tale, tale};
use pourbook::domain::*;

/// Photographed from the mould, certified, photographed again, sold, delivered.
const PHOTOGRAPHED: &[&str] = &[
    "melt M in D silver lot A 120.00",
    "pour M DW bar P1",
    "photograph P1 a from_mould face",
    "weigh from_mould in D P1 50.42",
    "balance M in D heel 69.30",
    "serials P1",
    "weigh final in D P1 50.42",
    "close D 100.00 shows 100.00",
    "certify P1",
    "sell V P1",
    "photograph P1 b as_sold back",
    "dispatch V P1",
    "deliver V P1",
    "photograph P1 c finished edge",
];

fn photographed() -> Tale {
    tale(&[PHOTOGRAPHED], "P1")
}

fn any(event: &mut Event) -> Option<&mut PiecePhotographed> {
    match event {
        Event::PiecePhotographed(e) => Some(e),
        _ => None,
    }
}

fn last(event: &mut Event) -> Option<&mut PiecePhotographed> {
    any(event).filter(|e| e.side == PhotographSide::Edge)
}

fn first(event: &mut Event) -> Option<&mut PiecePhotographed> {
    any(event).filter(|e| e.side == PhotographSide::Face)
}

#[test]
fn photographs_hold_and_change_nothing_of_the_life() {
    let report = photographed().report();
    assert!(report.holds(), "{report}");
    assert_eq!(report.facts.state, Some("delivered"));
    assert_eq!(report.facts.last_event, "piece.photographed");
}

#[test]
fn a_photograph_of_what_had_not_come_about_does_not_hold() {
    let told = photographed();
    for (stage, says) in [
        (
            PhotographStage::Hallmarked,
            "piece.photographed: it bore no hallmark",
        ),
        (
            PhotographStage::Returned,
            "piece.photographed: it had not come back from a buyer",
        ),
    ] {
        told.changed(last, |e| e.stage = stage, "life", says);
    }
    for (stage, says) in [
        (
            PhotographStage::Finished,
            "piece.photographed: it was not weighed",
        ),
        (
            PhotographStage::AsSold,
            "piece.photographed: it had no certificate",
        ),
    ] {
        told.changed(first, |e| e.stage = stage, "life", says);
    }
    told.changed(
        any,
        |e| e.photograph = PhotographHash::of(b"one for all"),
        "life",
        "piece.photographed: the record has that photograph of it before",
    );
}

#[test]
fn a_piece_that_nobody_has_was_not_photographed() {
    for (gone, state) in [("steal P1", "stolen"), ("destroy P1 neighbour", "destroyed")] {
        let told = tale(
            &[
                &PHOTOGRAPHED[..PHOTOGRAPHED.len() - 1],
                &["photograph P1 d as_sold face", gone],
            ],
            "P1",
        );
        let kind = if state == "stolen" {
            "piece.stolen"
        } else {
            "piece.destroyed"
        };
        let (photograph, gone) = (told.at("piece.photographed"), told.at(kind));
        told.falsified(
            |entries| {
                let moved = entries.remove(photograph);
                entries.insert(gone, moved);
            },
            "life",
            &format!("piece.photographed: the piece was {state}"),
        );
    }
}

#[test]
fn more_photographs_than_a_piece_may_have_do_not_hold() {
    let many: Vec<String> = (0..PHOTOGRAPHS_MAX - 3)
        .map(|number| format!("photograph P1 more-{number} as_sold detail"))
        .collect();
    let many: Vec<&str> = many.iter().map(String::as_str).collect();
    let told = tale(&[PHOTOGRAPHED, &many], "P1");
    assert!(told.report().holds());
    let at = told.at("piece.photographed");
    told.falsified(
        |entries| {
            let mut more = entries[at].clone();
            for draft in &mut more.drafts {
                if let Some(e) = any(&mut draft.event) {
                    e.photograph = PhotographHash::of(b"one too many");
                }
            }
            entries.push(more);
        },
        "life",
        "it has as many photographs as a piece may have",
    );
}
