//! The page of what melts lost, one after another, and of what jars were short of when they were emptied.
//!
//! A loss is told in grams for each kilogram that was charged: it is the parts per million of the chart, with the point moved
//! three places, and no figure is rounded for it.

use super::{Leaf, Standing, capital};
use crate::accounts::{Emptied, Losses, MeltLoss};
use crate::metal::control::{Figure, Judged};
use crate::pages::pictures::{Level, Point, Points};
use maud::{Markup, html};

/// How many melts the picture shows: the newest.
const SHOWN_MAX: usize = 40;

/// Tenths of a part per million, from the one decimal that a figure is told with.
fn tenths(figure: Figure) -> i64 {
    let digits: String = figure
        .to_string()
        .chars()
        .filter(|letter| *letter != '.')
        .collect();
    digits.parse().unwrap_or(0)
}

/// A figure of parts per million as grams a kilogram.
fn per_kilogram(figure: Figure) -> String {
    let tenths = tenths(figure);
    let sign = if tenths < 0 { "−" } else { "" };
    let size = tenths.unsigned_abs();
    format!("{sign}{}.{:04} g/kg", size / 10_000, size % 10_000)
}

/// Why a melt stands out, if it does.
pub(super) fn stands_out(loss: &MeltLoss) -> Option<&'static str> {
    match (loss.flagged, loss.judged) {
        (true, _) => Some("more came out than went in"),
        (false, Judged::Above) => Some("unusually much lost"),
        (false, Judged::Below) => Some("unusually little lost"),
        (false, Judged::Within | Judged::Early) => None,
    }
}

fn address(loss: &MeltLoss) -> String {
    format!("/metal/melts/{}", loss.number)
}

/// How a melt stands, in words.
pub(super) fn stands(loss: &MeltLoss) -> &'static str {
    stands_out(loss).unwrap_or(match loss.judged {
        Judged::Early => "too early to tell",
        _ => "as usual",
    })
}

/// The chart of a metal's newest melts.
#[must_use]
pub fn picture(losses: &Losses) -> Points {
    let skipped = losses.items.len().saturating_sub(SHOWN_MAX);
    let points = losses.items.iter().skip(skipped).map(|loss| Point {
        name: format!("melt {}", loss.number),
        figure: per_kilogram(loss.parts_per_million),
        value: tenths(loss.parts_per_million),
        out: stands_out(loss),
        address: Some(address(loss)),
    });
    let level = |words: &str, figure: Figure, limit: bool| Level {
        words: format!("{words} {}", per_kilogram(figure)),
        value: tenths(figure),
        limit,
    };
    let levels = match (losses.usual, losses.mean) {
        (Some(usual), _) => vec![
            level("usually at most", usual.upper, true),
            level("usual", usual.centre, false),
            level("usually at least", usual.lower, true),
        ],
        (None, Some(mean)) => vec![level("mean so far", mean, false)],
        (None, None) => Vec::new(),
    };
    let out = losses
        .items
        .iter()
        .filter(|loss| stands_out(loss).is_some())
        .count();
    Points {
        id: format!("losses-{}", losses.metal),
        title: format!("What each melt of {} lost", losses.metal),
        description: format!(
            "One point for each melt, in the order in which they were weighed out; the higher, the more was lost of each kilogram. {out} \
             of {} stand out. The table below has every figure.",
            losses.melts
        ),
        points: points.collect(),
        levels,
    }
}

/// The page. `jars` are the emptied jars of the metal, each with its name.
#[must_use]
pub fn losses(losses: &Losses, jars: &[(Emptied, String)], standing: Standing) -> Leaf {
    let metal = losses.metal;
    let title = format!("{}: what melting lost", capital(metal.word()));
    let main = html! {
        header .plate { h1 { span .name { (title) } }
            (standing.told(&format!("/metal/{metal}/losses")))
            p { a href=(standing.to(&format!("/metal/{metal}"))) { "Where every gram of " (metal) " is" } }
        }
        section aria-labelledby="melts" {
            h2 #melts { "Melt by melt" }
            p { (summary(losses)) }
            @if !losses.items.is_empty() {
                (picture(losses).picture())
                @if losses.items.len() > SHOWN_MAX { p .fine { "The picture shows the newest " (SHOWN_MAX) " melts; the table has all." } }
                (table(losses, &standing))
            }
        }
        section aria-labelledby="jars" {
            h2 #jars { "Jars, when they were emptied" }
            (emptied(jars, &standing))
        }
    };
    Leaf::new(title, main)
}

fn summary(losses: &Losses) -> String {
    let together = format!(
        "{} melts are weighed out; together they lost {} g.",
        losses.melts, losses.loss
    );
    match losses.usual {
        Some(usual) => format!(
            "{together} Usual is {}, between {} and {}. Why a melt lost more or less the book cannot know.",
            per_kilogram(usual.centre),
            per_kilogram(usual.lower),
            per_kilogram(usual.upper)
        ),
        None => format!(
            "{together} What is usual is not known before {} melts.",
            losses.usual_after
        ),
    }
}

fn table(losses: &Losses, standing: &Standing) -> Markup {
    html! {
        div .wide tabindex="0" role="region" aria-label="Melts" {
            table .figures {
                thead { tr {
                    th scope="col" { "Melt" } th scope="col" .number { "Lost g" } th scope="col" .number { "Of each kg" } th scope="col" { "How it stands" }
                    th scope="col" .number { "± g (k = 2)" } th scope="col" .number { "Charge g" } th scope="col" .number { "Sum g" } th scope="col" { "Weighed out" }
                } }
                tbody {
                    @for loss in losses.items.iter().rev() {
                        tr .out[stands_out(loss).is_some()] {
                            th scope="row" { a href=(address(loss)) { "melt " (loss.number) } }
                            td .number { (loss.loss) }
                            td .number { (per_kilogram(loss.parts_per_million)) }
                            td { (stands(loss)) }
                            td .number { (loss.uncertainty) }
                            td .number { (loss.charge) }
                            td .number { (loss.total) }
                            td { (standing.moment(loss.recorded)) }
                        }
                    }
                }
            }
        }
    }
}

fn emptied(jars: &[(Emptied, String)], standing: &Standing) -> Markup {
    if jars.is_empty() {
        return html! { p { "None was emptied yet. A jar is weighed when it is emptied, and only then it shows what is missing." } };
    }
    html! {
        div .wide tabindex="0" role="region" aria-label="Jars" {
            table .figures {
                thead { tr {
                    th scope="col" { "Jar" } th scope="col" .number { "Short g" } th scope="col" .number { "± g (k = 2)" } th scope="col" { "How it stands" }
                    th scope="col" .number { "By the book g" } th scope="col" .number { "Weighed g" } th scope="col" { "Emptied" }
                } }
                tbody {
                    @for (emptied, name) in jars.iter().rev() {
                        tr .out[!emptied.explained] {
                            th scope="row" { (capital(name)) }
                            td .number { (emptied.short) }
                            td .number { (emptied.uncertainty) }
                            td { (jar_stands(emptied)) }
                            td .number { (emptied.booked) }
                            td .number { (emptied.weighed) }
                            td { (standing.moment(emptied.recorded)) }
                        }
                    }
                }
            }
        }
    }
}

/// How an emptied jar stands to what its readings can explain.
const fn jar_stands(emptied: &Emptied) -> &'static str {
    match (emptied.explained, emptied.flagged) {
        (true, _) => "the readings explain it",
        (false, true) => "more than was booked, and more than the readings explain",
        (false, false) => "short by more than the readings explain",
    }
}
