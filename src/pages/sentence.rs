//! What the record says of a piece in one sentence, and the label beneath it.

use super::dates;
use super::told::Told;
use super::words;
use crate::domain::{CertificateIssued, Event, FinenessBasis, SeriesKind};
use crate::metal::{Fineness, Mass, OUNCE_DECIMALS, Reading, Rounding, troy_ounces};
use maud::{Markup, html};

/// Troy ounces of a reading: the nearest.
pub fn ounces(mass: Mass) -> String {
    troy_ounces(mass, OUNCE_DECIMALS, Rounding::HalfUp)
}

/// Troy ounces of what a reading supports: never up.
fn ounces_at_least(mass: Mass) -> String {
    troy_ounces(mass, OUNCE_DECIMALS, Rounding::Down)
}

/// The heading: series and number, and the serial under it.
pub fn heading(told: &Told<'_>) -> Markup {
    let title = told.title(told.series.series);
    html! {
        h1 {
            span .name { (title) }
            @if let Some((number, of)) = told.number() {
                " " span .number { "No. " span data-stated="number" { (number) " of " (of) } }
            }
        }
        p .serial { (told.about.report.facts.serial) }
    }
}

/// The sentence.
pub fn sentence(told: &Told<'_>) -> Markup {
    let facts = &told.about.report.facts;
    let kind = match told.series.kind_of {
        SeriesKind::Edition => "the edition",
        SeriesKind::Open => "the open series",
    };
    let title = told.title(told.series.series);
    let of = match told.number() {
        Some((number, of)) => format!("number {number} of {of} of {kind} {title}"),
        None => format!("a piece of {kind} {title}"),
    };
    html! {
        p .sentence {
            "The workshop’s record says: this is " strong { (of) } ", serial " span .nowrap data-stated="serial" { (facts.serial) }
            ", a poured " (words::shape(&told.poured.shape)) " of " span data-stated=[told.certificate().map(|_| "metal")] { (told.series.metal.word()) } " "
            @match told.certificate() {
                Some(issue) => {
                    "weighing " strong .nowrap { (weight(told, &issue.stated.mass)) " g" } " "
                    span .nowrap { "(" (ounces(issue.stated.mass.mass())) " troy ounces)" } ", "
                    "fineness " strong data-stated="fineness" { (issue.stated.fineness) } ", "
                    (words::basis_short(issue.stated.basis, issue.stated.marks.is_some()))
                }
                None => {
                    @if let Some((weight, ounces)) = last_weight(told) {
                        "last weighed at " strong .nowrap { span data-stated="weight_grams" { (weight) } " g" } " "
                        span .nowrap { "(" (ounces) " troy ounces)" } ", "
                    }
                    "poured of metal of fineness " strong { (poured_fineness(told)) } ", " (words::basis_short(poured_basis(told), false))
                    ", without a certificate so far"
                }
            }
            "; " strong { "it " (words::stands(told.state)) } "."
        }
    }
}

/// The label: each thing that the maker states, and on what it rests.
pub fn label(told: &Told<'_>) -> Markup {
    html! {
        dl .label {
            @match told.certificate() {
                Some(issue) => (stated(told, issue.stated)),
                None => (unstated(told))
            }
            div {
                dt { "Marks" }
                dd {
                    @match told.certificate().and_then(|issue| issue.stated.marks.as_ref()) {
                        Some(marks) => { "Hallmark " (words::marks(marks)) }
                        None => @match &told.about.report.facts.hallmark {
                            Some(marks) => { "Hallmark " (marks) }
                            None => "No hallmark of an assay office"
                        }
                    }
                }
            }
            @if let (Some(density), Some(uncertainty)) =
                (&told.about.report.facts.density, &told.about.report.facts.density_uncertainty)
            {
                div {
                    dt { "Density" }
                    dd {
                        (density) " g/cm³ ± " (uncertainty) ", weighed in water by the maker"
                        @if told.about.beside.density_suspect {
                            p .fine { "In doubt: this server says that a check of the scale failed after it." }
                        }
                    }
                }
            }
            (certificate_row(told))
            (series_row(told))
            div {
                dt { "Poured" }
                dd {
                    (dates::day(poured_at(told))) ", as pour " (told.poured.pour)
                    @if let Some((melt, number)) = told.poured.pour.split_once('-') {
                        span .fine { " (number " (number.trim_start_matches('0')) " of melt " (melt) ")" }
                    }
                }
            }
        }
    }
}

/// What the newest certificate states of weight and fineness.
fn stated(told: &Told<'_>, stated: &CertificateIssued) -> Markup {
    html! {
        div {
            dt { "Weight" }
            dd {
                strong { (weight(told, &stated.mass)) " g" } " ± "
                span data-stated="uncertainty_grams" { (stated.uncertainty) } " g, that is at least "
                span .nowrap { span data-stated="at_least_grams" { (stated.at_least) } " g" }
                p .fine {
                    (ounces(stated.mass.mass())) " troy ounces, at least " (ounces_at_least(stated.at_least))
                    ". The ± is what the maker’s scale allows (k = 2: about 95 in 100 such readings are within it)."
                }
                @if let Some(last) = later_weight(told) {
                    p .fine { "Weighed again since: " span data-stated="weight_grams" { (last) } " g. The certificate was not changed by it." }
                }
            }
        }
        div {
            dt { "Fineness" }
            dd {
                strong data-stated="fineness" { (stated.fineness) } " parts in 1000, " (words::basis(stated.basis, stated.marks.as_ref())) "."
                @if let Some(found) = assay_found(told) { p .fine { (found) } }
            }
        }
    }
}

/// What can be said of the fineness of a piece without a certificate.
fn unstated(told: &Told<'_>) -> Markup {
    html! {
        div {
            dt { "Fineness" }
            dd {
                "None is stated of this piece before its certificate. Its series is stated at " (told.series.fineness)
                "; its melt was " (poured_fineness(told)) " " (words::basis_short(poured_basis(told), false)) "."
                @if let Some(found) = assay_found(told) { p .fine { (found) } }
            }
        }
    }
}

fn certificate_row(told: &Told<'_>) -> Markup {
    html! {
        div {
            dt { "Certificate" }
            dd {
                @match told.certificate() {
                    Some(issue) => {
                        "Issue " span data-stated="certificate_issue" { (issue.stated.issue) } " of " (dates::day(issue.at))
                        @if issue.stated.issue > 1 { "; the issues before it are superseded" }
                    }
                    None => "None has been issued"
                }
            }
        }
    }
}

fn series_row(told: &Told<'_>) -> Markup {
    let series = told.series;
    let size = series.shapes.iter().find(|size| size.shape == told.poured.shape);
    html! {
        div {
            dt { "Series" }
            dd {
                (told.title(series.series)) " (" span data-stated="series" { (series.code) } "), "
                @match series.kind_of {
                    SeriesKind::Edition => {
                        "an edition"
                        @if let Some(size) = size { " of " (size.size) " in this shape" }
                        @if told.about.report.facts.edition_closed { ", closed" }
                    }
                    SeriesKind::Open => "numbered without end"
                }
                @if told.poured.series != series.series {
                    p .fine { "It was poured for " (told.title(told.poured.series)) " and moved here." }
                }
            }
        }
    }
}

fn poured_at(told: &Told<'_>) -> crate::domain::Timestamp {
    let accepted = told.about.accepted;
    let first = accepted.lineage.own.first();
    let entry = first.and_then(|index| accepted.entries.get(index));
    entry.map_or(told.about.at, |entry| {
        entry.recorded.payload.at.unwrap_or_else(|| entry.at())
    })
}

/// The last reading in grams and troy ounces.
fn last_weight(told: &Told<'_>) -> Option<(String, String)> {
    let weight = told.about.report.facts.weight_grams.clone()?;
    let mass = Mass::parse(&weight).ok()?;
    Some((weight, ounces(mass)))
}

/// What the metal of its melt was, by what its lots were declared to be; of its series where the melt is not weighed out.
fn poured_fineness(told: &Told<'_>) -> Fineness {
    let melts = told.about.accepted.events().filter_map(|(_, event)| match event {
        Event::MeltClosed(closed) if closed.melt == told.poured.melt => Some(closed.fineness),
        _ => None,
    });
    melts.last().unwrap_or(told.series.fineness)
}

/// The weakest ground among the lots of its metal.
fn poured_basis(told: &Told<'_>) -> FinenessBasis {
    let lots = &told.about.accepted.lineage.lots;
    let grounds = told.about.accepted.events().filter_map(|(_, event)| match event {
        Event::LotReceived(lot) if lots.contains_key(&lot.lot) && lot.metal == told.series.metal => {
            Some(lot.basis)
        }
        Event::LotFound(lot) if lots.contains_key(&lot.lot) && lot.metal == told.series.metal => {
            Some(FinenessBasis::Declared)
        }
        Event::LotOutturned(lot) if lots.contains_key(&lot.lot) && lot.metal == told.series.metal => {
            Some(FinenessBasis::Assayed)
        }
        _ => None,
    });
    grounds.min().unwrap_or(FinenessBasis::Declared)
}

/// The reading that the certificate states, marked for the browser's check where it is the last one.
fn weight(told: &Told<'_>, stated: &Reading) -> Markup {
    let stated = stated.to_string();
    let is_last = told.about.report.facts.weight_grams.as_deref() == Some(stated.as_str());
    html! { span data-stated=[is_last.then_some("weight_grams")] { (stated) } }
}

/// The last reading, if it is not the one that the certificate states.
fn later_weight<'a>(told: &'a Told<'_>) -> Option<&'a str> {
    let stated = told.certificate()?.stated.mass.to_string();
    let last = told.about.report.facts.weight_grams.as_deref()?;
    (last != stated).then_some(last)
}

/// What an assay office found in the piece, if it said so.
fn assay_found(told: &Told<'_>) -> Option<String> {
    let piece = told.about.accepted.piece;
    let found = told.about.accepted.events().filter_map(|(_, event)| match event {
        Event::PieceUnmarked(e) if e.piece == piece => e.assay,
        Event::PieceKept(e) if e.piece == piece => e.assay,
        _ => None,
    });
    let lowest = found.min()?;
    Some(format!("An assay office that did not mark it found {lowest}."))
}
