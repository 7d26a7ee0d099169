//! The page of a series: how its pieces weigh, and what became of them, shape by shape.

use super::{Leaf, Standing, weights, yields};
use crate::accounts::{AsOf, ShapeWeights, ShapeYield};
use crate::pages::words;
use maud::html;

/// What the page is made of.
pub struct SeriesSeen<'a> {
    /// The code of the series.
    pub code: &'a str,
    /// Its title, if it is known.
    pub title: Option<&'a str>,
    /// The weights of each shape.
    pub weights: &'a [ShapeWeights],
    /// The yield of each shape, in the same order.
    pub yields: &'a [ShapeYield],
    /// As of when.
    pub standing: Standing,
}

/// The page.
#[must_use]
pub fn series(seen: &SeriesSeen<'_>) -> Leaf {
    let title = match seen.title {
        Some(name) => format!("{name} ({}): weights and yield", seen.code),
        None => format!("{}: weights and yield", seen.code),
    };
    let main = html! {
        header .plate { h1 { span .name { (title) } }
            (seen.standing.told(&format!("/metal/series/{}", seen.code)))
        }
        @if seen.weights.is_empty() { p { "Nothing was poured for it yet." } }
        @for (weights, told) in seen.weights.iter().zip(seen.yields) {
            @let shape = super::capital(&words::shape(&weights.shape));
            section aria-labelledby=(format!("how-{}", weights.shape)) {
                h2 id=(format!("how-{}", weights.shape)) { (shape) ": how much they weigh" }
                (weights::section(seen.code, weights, seen.standing.asked == AsOf::Newest))
            }
            section aria-labelledby=(format!("became-{}", weights.shape)) {
                h2 id=(format!("became-{}", weights.shape)) { (shape) ": from poured to sold" }
                (yields::section(seen.code, told))
            }
        }
    };
    Leaf::new(title, main)
}
