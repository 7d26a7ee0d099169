//! The photographs that the record names, each under the hash of its bytes.

use super::dates;
use super::told::Told;
use super::words;
use crate::check::AcceptedEntry;
use crate::domain::{Event, PiecePhotographed};
use maud::{Markup, html};

/// The section; nothing where the record names none.
pub fn section(told: &Told<'_>) -> Markup {
    let accepted = told.about.accepted;
    let taken = accepted.events().filter_map(|(index, event)| match event {
        Event::PiecePhotographed(e) if e.piece == accepted.piece => Some((accepted.entries.get(&index)?, e)),
        _ => None,
    });
    let taken: Vec<_> = taken.collect();
    html! {
        @if !taken.is_empty() {
            section #photographs aria-labelledby="photographs-heading" {
                h2 #photographs-heading { "Photographs" }
                div .photographs { @for (entry, photograph) in &taken { (figure(entry, photograph)) } }
                p .fine {
                    "Taken by the workshop, and never replaced: the record holds the hash of each file. Compare the surface with the \
                     piece in your hand; a hand-poured surface is hard to repeat."
                }
            }
        }
    }
}

fn figure(entry: &AcceptedEntry, photograph: &PiecePhotographed) -> Markup {
    let at = entry.recorded.payload.at.unwrap_or_else(|| entry.at());
    let (side, stage) = (
        words::side(photograph.side),
        words::photograph_stage(photograph.stage),
    );
    let says = format!("{side}, {stage}");
    html! {
        figure {
            a href=(format!("/photographs/{}", photograph.photograph)) {
                img src=(format!("/photographs/{}", photograph.thumbnail)) alt=(format!("Photograph: {says}"))
                    width=(photograph.width) height=(photograph.height) loading="lazy" decoding="async";
            }
            figcaption { (says) ", " (dates::day(at)) }
        }
    }
}
