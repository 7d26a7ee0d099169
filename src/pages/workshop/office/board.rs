//! The board of the series: of each shape, how many are promised, where its pieces are, and how many more to pour.

use super::super::{Leaf, html};
use super::{Way, pages, ways};

/// How many pieces are at one point of their way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// The point.
    pub word: &'static str,
    /// How many.
    pub count: usize,
    /// Where they are listed.
    pub path: String,
}

/// One shape of a series.
#[derive(Clone, Debug)]
pub struct ShapeSeen {
    /// Its name.
    pub shape: String,
    /// How many the edition has; none of an open series.
    pub size: Option<u32>,
    /// The points of the way.
    pub steps: Vec<Step>,
    /// What is left to pour, in words; none where nothing is wanted.
    pub to_pour: Option<String>,
    /// More is promised than can be had.
    pub over_promised: bool,
}

/// One series.
#[derive(Clone, Debug)]
pub struct SeriesSeen {
    /// Its code.
    pub code: String,
    /// Its name, if it has one.
    pub title: Option<String>,
    /// What it is, in a few words.
    pub says: String,
    /// Its shapes.
    pub shapes: Vec<ShapeSeen>,
    /// What may be done about it.
    pub ways: Vec<Way>,
}

/// The board.
#[derive(Clone, Debug, Default)]
pub struct Board {
    /// What may be begun.
    pub ways: Vec<Way>,
    /// Series that go on.
    pub running: Vec<SeriesSeen>,
    /// Series that are closed.
    pub closed: Vec<SeriesSeen>,
}

/// The page.
#[must_use]
pub fn board(board: &Board) -> Leaf {
    let main = html! {
        (pages("/office"))
        header .plate {
            h1 { span .name { "Series" } }
            p .sentence { "Where the pieces of each series are now. Each figure opens its pieces." }
        }
        (ways(&board.ways))
        @if board.running.is_empty() { p .none { "No series goes on." } }
        @for series in &board.running { (drawn(series)) }
        @if !board.closed.is_empty() {
            section aria-labelledby="closed" {
                h2 #closed { "Closed" }
                @for series in &board.closed { details { summary { (series.code) } (inner(series)) } }
            }
        }
    };
    Leaf::new("Series", main)
}

fn drawn(series: &SeriesSeen) -> maud::Markup {
    let id = format!("series-{}", series.code);
    html! {
        section .series aria-labelledby=(id) {
            h2 id=(id) { (series.code) @if let Some(title) = &series.title { " " em { (title) } } }
            (inner(series))
        }
    }
}

fn inner(series: &SeriesSeen) -> maud::Markup {
    html! {
        p .help { (series.says) }
        @for shape in &series.shapes {
            div .shape {
                p .shape-name {
                    strong { (shape.shape) } @if let Some(size) = shape.size { " " span .more { "edition of " (size) } }
                }
                dl .way {
                    @for step in &shape.steps {
                        div {
                            dt { (step.word) }
                            dd {
                                @if step.count == 0 { "0" }
                                @else { a href=(step.path) { (step.count) } }
                            }
                        }
                    }
                }
                @if let Some(to_pour) = &shape.to_pour { p .to-pour { (to_pour) } }
                @if shape.over_promised {
                    p .fault { "More is promised of this shape than can be had." }
                }
            }
        }
        @if series.shapes.is_empty() { p .none { "Nothing is poured for it yet." } }
        p .doing { @for way in &series.ways { a href=(way.path) { (way.words) } " " } }
    }
}
