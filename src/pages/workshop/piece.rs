//! A piece's page: all that is known of it, by whom and since when, and what may be done next.

use super::{Leaf, Markup, html};
use crate::pages::words;

/// Something that may be done next, or not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Next {
    /// What it is.
    pub words: &'static str,
    /// The form that does it, where a page has one.
    pub link: Option<String>,
    /// Why it may not be done now; nothing for what may.
    pub why: Option<String>,
}

/// One reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingSeen {
    /// When it was taken, with the zone.
    pub when: String,
    /// Who recorded it.
    pub who: String,
    /// At which point of its life.
    pub stage: String,
    /// As the scale showed it, grams.
    pub mass: String,
    /// The scale.
    pub scale: String,
    /// Whether a check of the scale failed after it, and none held between.
    pub suspect: bool,
    /// Index of its entry.
    pub index: u64,
}

/// Metal of one lot in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShareSeen {
    /// The lot.
    pub lot: String,
    /// Its page.
    pub link: Option<String>,
    /// As declared, parts per thousand.
    pub fineness: String,
    /// How much of it, grams.
    pub grams: String,
}

/// One issue of its certificate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IssueSeen {
    /// Its number, from 1.
    pub issue: u32,
    /// When it was issued, with the zone.
    pub when: String,
    /// Whether another one took its place.
    pub superseded: bool,
    /// Where it was printed: what the link says, and the address.
    pub prints: Vec<(String, String)>,
}

/// A photograph.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureSeen {
    /// What it shows.
    pub words: String,
    /// The address of the whole.
    pub whole: String,
    /// The address of the small one.
    pub small: String,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

/// One entry about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepSeen {
    /// When, with the zone.
    pub when: String,
    /// Who recorded it.
    pub who: String,
    /// Index of the entry.
    pub index: u64,
    /// What it says.
    pub lines: Vec<String>,
    /// What it said first, where that was something else.
    pub was: Option<Vec<String>>,
}

/// What was recorded about it, oldest first.
#[derive(Clone, Debug, Default)]
pub struct StorySeen {
    /// From its beginning on.
    pub begin: Vec<StepSeen>,
    /// How many entries are left out behind them.
    pub left_out: usize,
    /// The rest.
    pub end: Vec<StepSeen>,
}

/// All that the page tells.
#[derive(Clone, Debug, Default)]
pub struct PieceSeen {
    /// What it is called.
    pub name: String,
    /// Where it is, in a sentence.
    pub stands: String,
    /// Facts: what, which, and the page that tells more.
    pub facts: Vec<(&'static str, String, Option<String>)>,
    /// Its readings, oldest first.
    pub readings: Vec<ReadingSeen>,
    /// Its grade with the reason, where it has one.
    pub grade: Option<String>,
    /// Its density, reading by reading.
    pub gravities: Vec<String>,
    /// Metal by lot.
    pub shares: Vec<ShareSeen>,
    /// Photographs, oldest first.
    pub pictures: Vec<PictureSeen>,
    /// Issues of its certificate, oldest first.
    pub issues: Vec<IssueSeen>,
    /// Its serial, once it has one.
    pub serial: Option<String>,
    /// What may be done.
    pub next: Vec<Next>,
    /// Its story.
    pub story: StorySeen,
}

/// The page.
#[must_use]
pub fn piece(seen: &PieceSeen) -> Leaf {
    let main = html! {
        header .plate {
            h1 { span .name { "Piece " (seen.name) } }
            p .sentence { "It " (seen.stands) "." @if let Some(grade) = &seen.grade { " " (grade) } }
        }
        (next(seen))
        (facts(seen))
        (readings(seen))
        (shares(seen))
        (pictures(seen))
        (papers(seen))
        (story(seen))
    };
    Leaf::new(format!("Piece {}", seen.name), main).live()
}

fn next(seen: &PieceSeen) -> Markup {
    let (may, not): (Vec<&Next>, Vec<&Next>) = seen.next.iter().partition(|next| next.why.is_none());
    html! {
        @if !seen.next.is_empty() {
            section aria-labelledby="next" {
                h2 #next { "What may be done next" }
                @if may.is_empty() { p .none { "Nothing that your role does." } }
                ul .deeds {
                    @for next in may {
                        li {
                            @match &next.link {
                                Some(link) => a .button href=(link) { (next.words) },
                                None => span .deed { (next.words) },
                            }
                        }
                    }
                }
                @if !not.is_empty() {
                    details {
                        summary { "What may not, and why" }
                        ul .reasons {
                            @for next in not {
                                li { strong { (next.words) } ": " (next.why.as_deref().unwrap_or_default()) "." }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn facts(seen: &PieceSeen) -> Markup {
    html! {
        section aria-labelledby="facts" {
            h2 #facts { "What it is" }
            dl .label {
                @for (name, value, link) in &seen.facts {
                    div {
                        dt { (name) }
                        dd { @match link { Some(link) => a href=(link) { (value) }, None => (value) } }
                    }
                }
            }
        }
    }
}

fn readings(seen: &PieceSeen) -> Markup {
    let last = seen.readings.len().saturating_sub(1);
    html! {
        section aria-labelledby="readings" {
            h2 #readings { "Weighings" }
            @if seen.readings.is_empty() { p .none { "It was never weighed." } }
            @else {
                div .wide.wraps tabindex="0" role="group" aria-labelledby="readings" {
                    table {
                        thead { tr {
                            th .figure scope="col" { "The scale showed" } th scope="col" { "When" } th scope="col" { "At which point" }
                            th scope="col" { "On which scale" } th scope="col" { "By whom" }
                        } }
                        tbody { @for (place, reading) in seen.readings.iter().enumerate() { (row(reading, place < last)) } }
                    }
                }
            }
            @for gravity in &seen.gravities { p { (gravity) } }
        }
    }
}

/// A reading that a later one took the place of stays, struck through.
fn row(reading: &ReadingSeen, superseded: bool) -> Markup {
    html! {
        tr {
            td .figure {
                @if superseded { s { (reading.mass) " g" } span .apart { " superseded" } } @else { strong { (reading.mass) " g" } }
                @if reading.suspect { span .flag { "suspect: a check of the scale failed after it" } }
            }
            td { (reading.when) ", " a href=(format!("/entries/{}", reading.index)) { "entry " (reading.index) } }
            td { (reading.stage) }
            td { (reading.scale) }
            td { (reading.who) }
        }
    }
}

fn shares(seen: &PieceSeen) -> Markup {
    html! {
        @if !seen.shares.is_empty() {
            section aria-labelledby="shares" {
                h2 #shares { "Whose metal is in it" }
                div .wide tabindex="0" role="group" aria-labelledby="shares" {
                    table {
                        thead { tr {
                            th scope="col" { "Lot" } th .figure scope="col" { "Grams" } th .figure scope="col" { "Declared, ‰" }
                        } }
                        tbody { @for share in &seen.shares {
                            tr {
                                th scope="row" { @match &share.link { Some(link) => a href=(link) { (share.lot) }, None => (share.lot) } }
                                td .figure { (share.grams) " g" }
                                td .figure { (share.fineness) }
                            }
                        } }
                    }
                }
                p .fine { "All that comes out of a melt is taken to have the shares of what went in." }
            }
        }
    }
}

fn pictures(seen: &PieceSeen) -> Markup {
    html! {
        @if !seen.pictures.is_empty() {
            section aria-labelledby="pictures" {
                h2 #pictures { "Photographs" }
                div .photographs {
                    @for picture in &seen.pictures {
                        figure {
                            a href=(picture.whole) {
                                img src=(picture.small) alt=(format!("Photograph: {}", picture.words)) width=(picture.width)
                                    height=(picture.height) loading="lazy";
                            }
                            figcaption { (picture.words) }
                        }
                    }
                }
            }
        }
    }
}

fn papers(seen: &PieceSeen) -> Markup {
    html! {
        section aria-labelledby="papers" {
            h2 #papers { "Certificates and proof" }
            @if seen.issues.is_empty() { p .none { "No certificate was issued." } }
            ul .plain {
                @for issue in &seen.issues {
                    li {
                        @if issue.superseded { s { "Issue " (issue.issue) } " (superseded)" } @else { strong { "Issue " (issue.issue) } }
                        ", " (issue.when)
                        @for (words, address) in &issue.prints { " · " a href=(address) { (words) } }
                        @if issue.prints.is_empty() && !issue.superseded { " · not printed" }
                    }
                }
            }
            @match &seen.serial {
                Some(serial) => p {
                    a href=(format!("/p/{serial}")) { "The page that a buyer sees" } " · "
                    a href=(format!("/v1/serials/{serial}/proof")) { "The proof file" }
                },
                None => p .fine { "It has no serial yet, so there is no page for buyers and no proof." },
            }
        }
    }
}

fn story(seen: &PieceSeen) -> Markup {
    html! {
        section aria-labelledby="story" {
            h2 #story { "Its story" }
            ol .steps {
                @for step in &seen.story.begin { (told_step(step)) }
                @if seen.story.left_out > 0 {
                    li .gap { (seen.story.left_out) " further entries are left out here; the log holds all of them." }
                }
                @for step in &seen.story.end { (told_step(step)) }
            }
        }
    }
}

fn told_step(step: &StepSeen) -> Markup {
    html! {
        li {
            p .when { (step.when) " · " (step.who) " · " a href=(format!("/entries/{}", step.index)) { "entry " (step.index) } }
            @for line in &step.lines { p { (words::unparted(line)) } }
            @if step.lines.is_empty() { p { "This entry was withdrawn." } }
            @if let Some(was) = &step.was {
                p .was { "First recorded as: " @if was.is_empty() { "nothing about this piece" } @else { s { (words::unparted(&was.join(" "))) } } }
            }
        }
    }
}
