//! Points: one figure after another, with what is usual among them.
//!
//! Lines say between which figures the usual ones lie, each in words on the line. A point that stands out is another mark,
//! larger, and named; one that is so far off that the others would be squeezed flat stands at the edge, with its figure.

use super::canvas::{Anchor, Milli, Size, both, leads, line, milli, reach, units, words};
use maud::{Markup, html};

/// One figure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    /// What it is of, for a pointer and where it stands out.
    pub name: String,
    /// Its figure with its unit.
    pub figure: String,
    /// How high it stands, in steps.
    pub value: i64,
    /// Why it stands out, if it does.
    pub out: Option<&'static str>,
    /// Where it leads.
    pub address: Option<String>,
}

/// A line across.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Level {
    /// What stands on it.
    pub words: String,
    /// How high it stands, in steps.
    pub value: i64,
    /// Whether it is a limit.
    pub limit: bool,
}

/// Points in their order.
#[derive(Clone, Debug)]
pub struct Points {
    /// Its id on the page.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// The same in a sentence or two.
    pub description: String,
    /// The points.
    pub points: Vec<Point>,
    /// The lines.
    pub levels: Vec<Level>,
}

/// A line of names of points that stand out, and how many lines there are above the points.
const NAMES: Milli = units(17);
const NAME_LINES: i64 = 3;
const TOP: Milli = NAME_LINES * NAMES + units(16);
const HIGH: Milli = units(210);
const FLOOR: Milli = TOP + HIGH;
/// Room at either side of the first and the last point.
const SIDE: Milli = units(16);
/// About what a letter takes; names are kept apart by it.
const LETTER: Milli = units(6) + 500;

impl Points {
    /// Between which figures the picture lies: the limits with a third of their distance around them; without limits, all.
    fn range(&self) -> (i64, i64) {
        let limits = self
            .levels
            .iter()
            .filter(|level| level.limit)
            .map(|level| level.value);
        let (mut least, mut most) = (limits.clone().min(), limits.max());
        if least.is_none() {
            let all = self.points.iter().map(|point| point.value);
            let all = all.chain(self.levels.iter().map(|level| level.value));
            (least, most) = (all.clone().min(), all.max());
        }
        let (least, most) = (least.unwrap_or(0), most.unwrap_or(0));
        let around = (most.saturating_sub(least) / 3).max(1);
        (least.saturating_sub(around), most.saturating_add(around))
    }

    fn height(&self, value: i64) -> Milli {
        let (least, most) = self.range();
        let part = i128::from(value.clamp(least, most)) - i128::from(least);
        FLOOR - reach(HIGH, part, i128::from(most) - i128::from(least))
    }

    fn place(&self, number: usize, width: Milli) -> Milli {
        let last = i128::try_from(self.points.len().saturating_sub(1)).unwrap_or(0);
        match last {
            0 => width / 2,
            last => SIDE + reach(width - 2 * SIDE, i128::try_from(number).unwrap_or(0), last),
        }
    }

    fn marked(&self, point: &Point, x: Milli) -> Markup {
        let (least, most) = self.range();
        let y = self.height(point.value);
        let beyond = point.value > most || point.value < least;
        let arrow = if point.value > most { -units(7) } else { units(7) };
        let what = format!("{}: {}", point.name, point.figure);
        let drawn = html! {
            circle cx=(milli(x)) cy=(milli(y)) r="9" class="touch" {}
            @if beyond {
                path .out d=(format!("M{} {}l5.5 {}h-11Z", milli(x), milli(y + arrow), milli(-arrow - arrow))) {}
            } @else if point.out.is_some() {
                path .out d=(format!("M{} {}l6 6l-6 6l-6 -6Z", milli(x), milli(y - units(6)))) {}
            } @else {
                circle cx=(milli(x)) cy=(milli(y)) r="3.5" class="point" {}
            }
        };
        leads(point.address.as_deref(), &what, drawn)
    }

    /// The names of those that stand out, above them and tied to them. One that finds no room is named by the table only.
    fn named(&self, width: Milli) -> Markup {
        let mut taken: Vec<Milli> = (0..NAME_LINES).map(|_| Milli::MIN).collect();
        let mut named = Vec::new();
        for (number, point) in self.points.iter().enumerate() {
            let Some(why) = point.out else { continue };
            let text = format!("{}: {}, {why}", point.name, point.figure);
            let long = LETTER.saturating_mul(i64::try_from(text.chars().count()).unwrap_or(0));
            let x = self.place(number, width);
            let start = (x - long / 2).min(width - long).max(0);
            let lines = (0_i64..).zip(&mut taken);
            if let Some((line, end)) = lines.into_iter().find(|(_, end)| **end < start) {
                *end = start + long + units(8);
                named.push((x, start, NAMES * (line + 1), self.height(point.value), text));
            }
        }
        html! {
            @for (x, start, y, point, text) in named {
                (line((x, y + units(4)), (x, point - units(8)), "tie"))
                (words((start, y), Anchor::Start, "small upon", text))
            }
        }
    }

    /// The picture.
    #[must_use]
    pub fn picture(&self) -> Markup {
        both(&self.id, &self.title, &self.description, |size| {
            (FLOOR + units(28), self.drawn(size))
        })
    }

    fn drawn(&self, size: Size) -> Markup {
        let width = units(size.width());
        html! {
            @for level in &self.levels {
                @let y = self.height(level.value);
                (line((0, y), (width, y), if level.limit { "level" } else { "centre" }))
                // The limits are told on their inner side: what stands out stands on the other.
                @let below = level.limit && self.levels.iter().all(|other| other.value <= level.value);
                (words((width, if below { y + units(14) } else { y - units(5) }), Anchor::End, "small upon", &level.words))
            }
            @for (number, point) in self.points.iter().enumerate() { (self.marked(point, self.place(number, width))) }
            (self.named(width))
            @if let (Some(first), Some(last)) = (self.points.first(), self.points.last()) {
                (words((0, FLOOR + units(22)), Anchor::Start, "name", &first.name))
                @if self.points.len() > 1 { (words((width, FLOOR + units(22)), Anchor::End, "name", &last.name)) }
            }
        }
    }
}
