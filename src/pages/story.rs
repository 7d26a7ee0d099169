//! The story of a piece, from the metal that came in to today, in words a buyer uses.
//!
//! It is told from the entries of the checked file: each with the day on which it was recorded and a letter for whoever
//! recorded it, since names are private. An entry that was corrected is told as it is said now, and as it was said first.

pub(in crate::pages) mod events;

use super::told::Told;
use super::words;
use super::{beside, dates};
use crate::check::AcceptedEntry;
use crate::domain::{Event, LotId};
use maud::{Markup, html};

/// How many steps are told; of a longer story the middle is left out, and said so.
const STEPS_MAX: usize = 80;
/// How many of them from its beginning.
const FROM_BEGINNING: usize = 12;
/// How many lots are told one by one, the largest first.
const LOTS_MAX: usize = 12;

/// One step of the story.
struct Step<'a> {
    index: u64,
    entry: &'a AcceptedEntry,
    lines: Vec<String>,
    /// What it said first, where that was something else.
    was: Option<Vec<String>>,
}

/// The section.
pub fn story(told: &Told<'_>) -> Markup {
    let steps = steps(told);
    let left_out = steps.len().saturating_sub(STEPS_MAX);
    let (begin, end) = steps.split_at(FROM_BEGINNING.min(steps.len()));
    let end = end.get(left_out..).unwrap_or(end);
    html! {
        section #story aria-labelledby="story-heading" {
            h2 #story-heading { "Its story" }
            (metal(told))
            ol .steps {
                @for step in begin { (told_step(told, step)) }
                @if left_out > 0 {
                    li .gap { (left_out) " further entries are left out here; the proof file holds all of them." }
                }
                @for step in end { (told_step(told, step)) }
            }
            (beside::printed(told.about.beside))
            (people(told))
        }
    }
}

fn steps<'a>(told: &Told<'a>) -> Vec<Step<'a>> {
    let mut steps = Vec::new();
    for (index, entry) in &told.about.accepted.entries {
        let lines = events::lines(told, *index, &entry.said);
        let first = entry
            .is_corrected()
            .then(|| events::lines(told, *index, &entry.recorded));
        let was = first.filter(|first| *first != lines);
        if !lines.is_empty() || was.is_some() {
            steps.push(Step {
                index: *index,
                entry,
                lines,
                was,
            });
        }
    }
    steps
}

fn told_step(told: &Told<'_>, step: &Step<'_>) -> Markup {
    let entry = step.entry;
    let done = entry.recorded.payload.at;
    html! {
        li .corrected[step.was.is_some()] {
            p .when {
                time datetime=(dates::machine(done.unwrap_or_else(|| entry.at()))) {
                    (dates::day(done.unwrap_or_else(|| entry.at())))
                }
                span .by { " · recorded by " (told.person(entry)) }
                @if let Some(done) = done
                    && dates::day(done) != dates::day(entry.at())
                {
                    span .by { " on " (dates::day(entry.at())) }
                }
            }
            @for line in &step.lines { p { (words::unparted(line)) } }
            @if step.lines.is_empty() { p { "This entry was withdrawn." } }
            @if let Some(was) = &step.was {
                p .was {
                    "First recorded as: "
                    @if was.is_empty() { "nothing about this piece" } @else { s { (words::unparted(&was.join(" "))) } }
                    (by_correction(told, step.index))
                }
            }
        }
    }
}

/// When an entry was corrected, and why.
fn by_correction(told: &Told<'_>, index: u64) -> Markup {
    let entries = told.about.accepted.entries.values();
    let mut corrections = entries.rev().filter_map(|entry| {
        let reason = entry.recorded.events().find_map(|event| match event {
            Event::EntryCorrected(e) if e.entries.iter().any(|restated| restated.index == index) => {
                Some(e.reason)
            }
            _ => None,
        });
        Some((entry, reason?))
    });
    html! {
        @if let Some((entry, reason)) = corrections.next() {
            ". Corrected on " (dates::day(entry.at())) " by " (told.person(entry)) ": " (words::corrected(reason)) "."
        }
    }
}

/// Where its metal came from, lot by lot; nobody is named.
fn metal(told: &Told<'_>) -> Markup {
    let facts = &told.about.report.facts;
    let mut lots: Vec<_> = facts.lots.iter().collect();
    lots.sort_by_key(|lot| std::cmp::Reverse(lot.share_ppm));
    let rest: u64 = lots.iter().skip(LOTS_MAX).map(|lot| lot.share_ppm).sum();
    let (melts, traced) = (
        told.about.accepted.lineage.melts.len(),
        &told.about.accepted.lineage.traced,
    );
    html! {
        @if !lots.is_empty() {
            div .metal {
                h3 { "Where its metal came from" }
                (bar(lots.iter().map(|lot| lot.share_ppm)))
                ul .lots {
                    @for lot in lots.iter().take(LOTS_MAX) {
                        li {
                            span .share { (percent(lot.share_ppm)) }
                            " " (lot.metal) ", lot " (lot.number) (lot_words(told, lot.number))
                        }
                    }
                    @if rest > 0 {
                        li { span .share { (percent(rest)) } " from " (lots.len().saturating_sub(LOTS_MAX)) " further lots" }
                    }
                }
                p .fine {
                    "Shares by weight, if every melt was well mixed, followed back through "
                    (melts) @if melts == 1 { " melt" } @else { " melts" }
                    @if traced != "1" { "; " (traced) " of the metal is followed so far back" }
                    ". Who sold the metal is not published."
                }
            }
        }
    }
}

/// What is known of a lot, to follow its number.
fn lot_words(told: &Told<'_>, number: u32) -> String {
    let read: Vec<LotId> = told.about.accepted.lineage.lots.keys().copied().collect();
    for (index, event) in told.about.accepted.events() {
        let day = || {
            let entry = told.about.accepted.entries.get(&index);
            entry.map_or_else(String::new, |entry| dates::day(entry.at()))
        };
        match event {
            Event::LotReceived(e) if e.number == number && read.contains(&e.lot) => {
                return format!(
                    ", fineness {} {}, received {}",
                    e.fineness,
                    words::lot_basis(e.basis),
                    day()
                );
            }
            Event::LotOutturned(e) if e.number == number && read.contains(&e.lot) => {
                return format!(
                    ", fineness {} by the refiner’s assay, back from a refiner {}",
                    e.fineness,
                    day()
                );
            }
            Event::LotFound(e) if e.number == number && read.contains(&e.lot) => {
                return format!(
                    ", fineness {} as declared, found in a stock-take {}",
                    e.fineness,
                    day()
                );
            }
            _ => {}
        }
    }
    String::new()
}

/// A bar of the shares; the list beside it says the same.
fn bar(shares: impl Iterator<Item = u64>) -> Markup {
    let mut from = 0_u64;
    let mut parts = Vec::new();
    for (place, share) in shares.enumerate() {
        parts.push((place % 4, from, share));
        from = from.saturating_add(share);
    }
    html! {
        svg .bar viewBox="0 0 1000000 26000" preserveAspectRatio="none" aria-hidden="true" focusable="false" {
            @for (tone, from, share) in parts {
                rect class=(format!("tone{tone}")) x=(from) y="0" width=(share) height="26000" {}
            }
        }
    }
}

/// Parts per million as a percentage with two decimals, rounded down.
fn percent(ppm: u64) -> String {
    let hundredths = ppm / 100;
    format!("{}.{:02} %", hundredths / 100, hundredths % 100)
}

/// Who the letters stand for.
fn people(told: &Told<'_>) -> Markup {
    html! {
        details .people {
            summary { "Who recorded it" }
            p .fine {
                "Each letter stands for one person or device of the workshop, in the order in which they first appear here. \
                 Their names are not published; the log knows them by these random numbers, on the word of the workshop’s server:"
            }
            ul .fine {
                @for (letter, by) in told.people() { li { (letter) " is " code { (by) } } }
            }
        }
    }
}
