//! The office's pages: what is where, what waits for a hand, and what may be done about it.

mod board;

pub use board::{Board, SeriesSeen, ShapeSeen, Step, board};

use super::{Leaf, Markup, html};

/// A link to something that may be done or seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// What it does.
    pub words: String,
    /// Where it leads.
    pub path: String,
}

impl Way {
    /// A link.
    pub fn new(words: impl Into<String>, path: impl Into<String>) -> Self {
        Self {
            words: words.into(),
            path: path.into(),
        }
    }
}

/// One thing of a section.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What it is called.
    pub words: String,
    /// Its page, if it has one.
    pub path: Option<String>,
    /// What is to be known of it.
    pub more: String,
    /// What may be done with it.
    pub ways: Vec<Way>,
}

/// A part of a page: things of one kind.
#[derive(Clone, Debug, Default)]
pub struct Section {
    /// Its heading.
    pub title: String,
    /// What it is about, small.
    pub help: &'static str,
    /// The things.
    pub lines: Vec<Line>,
    /// How many more there are that are not shown.
    pub unshown: usize,
    /// Whether a line is a group of things, so that the lines are not counted.
    pub grouped: bool,
    /// What stands there if there are none; a section without it is then left out.
    pub none: &'static str,
    /// What may be done with all of them.
    pub ways: Vec<Way>,
}

/// What is known of one thing, each with a word for it.
pub type Facts = Vec<(&'static str, Markup)>;

/// A page of the office.
#[derive(Default)]
pub struct Office {
    /// Its heading.
    pub title: String,
    /// A sentence or two below it.
    pub lead: String,
    /// Cautions of the trade.
    pub cautions: Vec<&'static str>,
    /// What is known of the one thing that it is about.
    pub facts: Facts,
    /// What may be done about it.
    pub ways: Vec<Way>,
    /// Its parts.
    pub sections: Vec<Section>,
}

/// The pages of the office, in the order of their navigation.
const PAGES: &[(&str, &str)] = &[
    ("Series", "/office"),
    ("Assay office", "/office/assay"),
    ("Numbers and certificates", "/office/numbers"),
    ("Stock", "/office/stock"),
    ("Orders and sales", "/office/orders"),
    ("Set up", "/office/setup"),
];

/// Where one can go in the office.
#[must_use]
pub fn pages(here: &str) -> Markup {
    html! {
        nav .second aria-label="Office" {
            @for (word, path) in PAGES {
                a href=(path) aria-current=[(*path == here).then_some("page")] { (word) }
            }
        }
    }
}

/// A page of the office; `here` is its address.
#[must_use]
pub fn page(office: &Office, here: &str) -> Leaf {
    let shown = |section: &&Section| !(section.lines.is_empty() && section.none.is_empty());
    let main = html! {
        (pages(here))
        header .plate {
            h1 { span .name { (office.title) } }
            @if !office.lead.is_empty() { p .sentence { (office.lead) } }
        }
        @for caution in &office.cautions {
            p .notice { (caution) " Defer to local codes and licensed practice." }
        }
        @if !office.facts.is_empty() {
            dl .label {
                @for (word, fact) in &office.facts { div { dt { (word) } dd { (fact) } } }
            }
        }
        (ways(&office.ways))
        @for (at, section) in office.sections.iter().enumerate().filter(|(_, section)| shown(section)) {
            (drawn(section, at))
        }
    };
    Leaf::new(office.title.clone(), main)
}

fn ways(ways: &[Way]) -> Markup {
    html! {
        @if !ways.is_empty() {
            p .ways { @for way in ways { a .button href=(way.path) { (way.words) } " " } }
        }
    }
}

fn drawn(section: &Section, at: usize) -> Markup {
    let id = format!("part-{at}");
    let count = section.lines.len().saturating_add(section.unshown);
    html! {
        section .part aria-labelledby=(id) {
            h2 id=(id) { (section.title) @if count > 0 && !section.grouped { " " span .count { (count) } } }
            @if !section.help.is_empty() { p .help { (section.help) } }
            @if section.lines.is_empty() { p .none { (section.none) } }
            @else {
                ul .things {
                    @for line in &section.lines {
                        li {
                            span .thing {
                                @match &line.path {
                                    Some(path) => a href=(path) { (line.words) },
                                    None => strong { (line.words) },
                                }
                                @if !line.more.is_empty() { " " span .more { (line.more) } }
                            }
                            @if !line.ways.is_empty() {
                                span .doing { @for way in &line.ways { a href=(way.path) { (way.words) } " " } }
                            }
                        }
                    }
                }
                @if section.unshown > 0 { p .fine { "and " (section.unshown) " more" } }
            }
            (ways(&section.ways))
        }
    }
}

/// A count with its thing: `1 piece`, `9 pieces`.
#[must_use]
pub fn counted<N: std::fmt::Display + PartialEq + From<u8>>(count: N, thing: &str) -> String {
    match count == N::from(1) {
        true => format!("1 {thing}"),
        false => format!("{count} {thing}s"),
    }
}

/// How a form's pieces can be narrowed before any is ticked.
pub struct Narrowed<'a> {
    /// The address of the form.
    pub path: &'a str,
    /// The series of what is offered: id, code, and how many.
    pub parts: &'a [(String, String, usize)],
    /// The series that is shown alone.
    pub part: Option<String>,
    /// How many are shown.
    pub count: usize,
    /// How many one entry takes.
    pub most: usize,
    /// How many are shown at most.
    pub shown_most: usize,
}

/// Links that narrow what a form offers, and tick all of it.
#[must_use]
pub fn narrowed(narrowed: &Narrowed<'_>) -> Markup {
    let query = narrowed
        .part
        .as_ref()
        .map(|part| format!("series={part}&"))
        .unwrap_or_default();
    html! {
        @if narrowed.parts.len() > 1 {
            p .narrow {
                "Only of "
                @for (id, code, count) in narrowed.parts {
                    a href=(format!("{}?series={id}", narrowed.path)) aria-current=[(narrowed.part.as_ref() == Some(id)).then_some("true")] {
                        (code) " (" (count) ")"
                    }
                    " "
                }
                @if narrowed.part.is_some() { a href=(narrowed.path) { "all" } }
            }
        }
        @if narrowed.count > 1 {
            p .narrow {
                a href=(format!("{}?{query}tick=all", narrowed.path)) {
                    @if narrowed.count > narrowed.most { "Tick the first " (narrowed.most) } @else { "Tick all " (narrowed.count) }
                }
                @if narrowed.count > narrowed.most { " - one entry takes no more than " (narrowed.most) }
            }
        }
        @if narrowed.count >= narrowed.shown_most {
            p .fine { "Only the first " (narrowed.shown_most) " are shown." }
        }
    }
}
