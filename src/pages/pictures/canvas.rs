//! What all pictures are drawn on: two sizes, places in thousandths, words.

use maud::{Markup, Render, html};

/// A thousandth of a unit: the grain in which places are reckoned.
pub type Milli = i64;
/// So many of them are a unit.
pub const UNIT: Milli = 1_000;

/// For which screen a picture is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// A telephone: one unit is about a pixel there.
    Narrow,
    /// A desk, a tablet, a sheet of paper.
    Wide,
}

impl Size {
    /// Both, in the order in which they stand on the page.
    pub const BOTH: [Self; 2] = [Self::Narrow, Self::Wide];

    /// How wide it is, units.
    #[must_use]
    pub const fn width(self) -> i64 {
        match self {
            Self::Narrow => 350,
            Self::Wide => 700,
        }
    }

    /// The word by which the stylesheet shows it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Narrow => "narrow",
            Self::Wide => "wide",
        }
    }
}

/// A place in units, as SVG takes it: `12.345`.
#[must_use]
pub fn milli(place: Milli) -> String {
    let (sign, size) = (if place < 0 { "-" } else { "" }, place.unsigned_abs());
    let (whole, rest) = (size / 1_000, size % 1_000);
    if rest == 0 {
        return format!("{sign}{whole}");
    }
    format!("{sign}{whole}.{rest:03}")
        .trim_end_matches('0')
        .to_owned()
}

/// How far a part reaches into a length when the whole fills it: `length * part / whole`, rounded down. Of nothing, nothing.
pub fn reach(length: Milli, part: i128, whole: i128) -> Milli {
    if whole <= 0 {
        return 0;
    }
    let place = i128::from(length).saturating_mul(part).div_euclid(whole);
    i64::try_from(place).unwrap_or(length)
}

/// Whole units as thousandths.
pub const fn units(count: i64) -> Milli {
    count.saturating_mul(UNIT)
}

/// A picture in both sizes.
pub fn both(id: &str, title: &str, description: &str, draw: impl Fn(Size) -> (Milli, Markup)) -> Markup {
    html! {
        div .pictures {
            @for size in Size::BOTH {
                @let (height, drawn) = draw(size);
                @let (title_id, description_id) = (format!("{id}-{}-title", size.word()), format!("{id}-{}-told", size.word()));
                // What is an image has no links within for whoever does not see it: one with links is a group.
                svg .picture.(size.word()) role=(if drawn.0.contains("<a ") { "group" } else { "img" }) preserveAspectRatio="xMinYMin" viewBox=(format!("0 0 {} {}", size.width(), milli(height)))
                    aria-labelledby=(format!("{title_id} {description_id}")) {
                    title id=(title_id) { (title) }
                    desc id=(description_id) { (description) }
                    (drawn)
                }
            }
        }
    }
}

/// Where words stand beside their place.
#[derive(Clone, Copy)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// Words at a place.
pub fn words(place: (Milli, Milli), anchor: Anchor, class: &str, text: impl Render) -> Markup {
    let anchor = match anchor {
        Anchor::Start => None,
        Anchor::Middle => Some("middle"),
        Anchor::End => Some("end"),
    };
    html! {
        text x=(milli(place.0)) y=(milli(place.1)) text-anchor=[anchor] class=(class) { (text) }
    }
}

/// A straight line.
pub fn line(from: (Milli, Milli), to: (Milli, Milli), class: &str) -> Markup {
    html! {
        line x1=(milli(from.0)) y1=(milli(from.1)) x2=(milli(to.0)) y2=(milli(to.1)) class=(class) {}
    }
}

/// A rectangle: its upper left corner, its width and height.
pub fn block(corner: (Milli, Milli), size: (Milli, Milli), class: &str) -> Markup {
    html! {
        rect x=(milli(corner.0)) y=(milli(corner.1)) width=(milli(size.0)) height=(milli(size.1)) class=(class) {}
    }
}

/// What leads somewhere when it is tapped. Keys and readers find the same link in the table, so it is no stop of its own.
pub fn leads(address: Option<&str>, what: &str, drawn: Markup) -> Markup {
    match address {
        Some(address) => html! {
            a href=(address) tabindex="-1" aria-label=(what) { (drawn) }
        },
        None => drawn,
    }
}
