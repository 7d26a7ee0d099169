//! Columns: how many pieces weigh how much, from light on the left to heavy on the right, with the zones of their grades.
//!
//! Columns are equally wide and stand without room between them, since their weights do too. What is far off either way
//! stands apart at its end. Zones are named above the columns, each name tied to its zone by a line, because a guard band is
//! seldom wide enough for a word.

use super::canvas::{Anchor, Milli, Size, block, both, leads, line, reach, units, words};
use maud::{Markup, html};

/// One column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// What it counts, for a reader and for a pointer.
    pub told: String,
    /// How many.
    pub count: u64,
    /// Where its pieces are listed.
    pub address: Option<String>,
}

/// A stretch of weights with one grade.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Zone {
    /// Its name.
    pub name: &'static str,
    /// Its bounds in words.
    pub bounds: String,
    /// Where it begins, in steps; none at the light end.
    pub from: Option<i64>,
    /// Where it ends, in steps; none at the heavy end.
    pub to: Option<i64>,
    /// Whether it is a guard band.
    pub guard: bool,
}

/// Columns with their zones.
#[derive(Clone, Debug)]
pub struct Columns {
    /// Its id on the page.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// The same in a sentence or two.
    pub description: String,
    /// Where the first column begins, in steps.
    pub start: i64,
    /// How many steps a column is wide.
    pub wide: i64,
    /// The columns, from light to heavy.
    pub inner: Vec<Column>,
    /// All that is lighter, if any is.
    pub lighter: Option<Column>,
    /// All that is heavier, if any is.
    pub heavier: Option<Column>,
    /// The zones, from light to heavy.
    pub zones: Vec<Zone>,
    /// Weights that are marked below: in steps, what they are, and their figure.
    pub levels: Vec<(i64, &'static str, String)>,
}

/// Where the columns begin, below the names of the zones.
const TOP: Milli = units(84);
/// How high the highest column is.
const HIGH: Milli = units(130);
/// Room above it for its count.
const HEAD: Milli = units(20);
const FLOOR: Milli = TOP + HEAD + HIGH;
/// How wide a column apart is, with the room beside it.
const APART: Milli = units(34);
/// Half of what a two-line word below the columns takes.
const HALF: Milli = units(34);

/// Keeps the middles of words apart and on the picture, in their order.
fn spread(middles: &[Milli], width: Milli) -> Vec<Milli> {
    let mut least = HALF;
    let mut placed: Vec<Milli> = middles
        .iter()
        .map(|middle| {
            let place = (*middle).max(least);
            least = place + 2 * HALF;
            place
        })
        .collect();
    let mut most = width - HALF;
    for place in placed.iter_mut().rev() {
        *place = (*place).min(most);
        most = *place - 2 * HALF;
    }
    placed
}

/// The places of one arrangement.
struct Plan<'a> {
    columns: &'a Columns,
    width: Milli,
    /// Where the first of the inner columns begins.
    from: Milli,
    /// Where the last one ends.
    to: Milli,
    most: u64,
}

impl Plan<'_> {
    fn inner(&self) -> i128 {
        i128::try_from(self.columns.inner.len()).unwrap_or(1)
    }

    /// Where a weight stands; never off the columns.
    fn place(&self, steps: i64) -> Milli {
        let whole = self.inner().saturating_mul(i128::from(self.columns.wide));
        let part = i128::from(steps) - i128::from(self.columns.start);
        self.from + reach(self.to - self.from, part.clamp(0, whole), whole)
    }

    /// Where the inner column with a number begins, and its width.
    fn column(&self, number: usize) -> (Milli, Milli) {
        let at = |number: usize| {
            let number = i128::try_from(number).unwrap_or(0);
            self.from + reach(self.to - self.from, number, self.inner())
        };
        (at(number), at(number.saturating_add(1)) - at(number))
    }

    fn drawn(&self, column: &Column, from: Milli, wide: Milli) -> Markup {
        let high = reach(HIGH, i128::from(column.count), i128::from(self.most));
        let middle = from + wide / 2;
        if column.count == 0 {
            return html! {};
        }
        let drawn = html! {
            // Wherever in its column a finger falls, the column opens.
            (block((from, TOP), (wide, FLOOR - TOP), "touch"))
            (block((from + units(1), FLOOR - high), (wide - units(2), high), "column"))
            (words((middle, FLOOR - high - units(5)), Anchor::Middle, "figure", column.count))
        };
        leads(column.address.as_deref(), &column.told, drawn)
    }

    /// The zones with their names, each tied to the middle of what is seen of it.
    fn zones(&self) -> Markup {
        let zones = &self.columns.zones;
        let last = zones.len().saturating_sub(1);
        html! {
            @for (number, zone) in zones.iter().enumerate() {
                @let from = zone.from.map_or(self.from, |steps| self.place(steps));
                @let to = zone.to.map_or(self.to, |steps| self.place(steps));
                @let middle = from + (to - from) / 2;
                (block((from, TOP), (to - from, FLOOR - TOP), if zone.guard { "zone guard" } else if zone.from.is_some() && zone.to.is_some() { "zone good" } else { "zone" }))
                @if zone.guard {
                    @let place = if number < zones.len() / 2 { self.width * 29 / 100 } else { self.width * 71 / 100 };
                    (words((place, units(52)), Anchor::Middle, "name", zone.name))
                    (words((place, units(68)), Anchor::Middle, "figure small", &zone.bounds))
                    (line((place, units(73)), (middle, TOP), "tie"))
                } @else {
                    @let (place, anchor, tied) = match number {
                        0 if last > 0 => (0, Anchor::Start, units(16)),
                        number if number == last && last > 0 => (self.width, Anchor::End, self.width - units(16)),
                        _ => (self.width / 2, Anchor::Middle, self.width / 2),
                    };
                    (words((place, units(14)), anchor, "name", zone.name))
                    (words((place, units(30)), anchor, "figure small", &zone.bounds))
                    (line((tied, units(35)), (middle, TOP), "tie"))
                }
            }
        }
    }

    fn below(&self) -> Markup {
        let mut marks: Vec<(Milli, &str, &str)> = Vec::new();
        if self.columns.lighter.is_some() {
            marks.push((APART / 2, "all that", "is lighter"));
        }
        for (steps, name, figure) in &self.columns.levels {
            marks.push((self.place(*steps), name, figure));
        }
        if self.columns.heavier.is_some() {
            marks.push((self.width - APART / 2, "all that", "is heavier"));
        }
        let middles: Vec<Milli> = marks.iter().map(|(middle, ..)| *middle).collect();
        let places = spread(&middles, self.width);
        html! {
            @for ((middle, name, figure), place) in marks.iter().zip(places) {
                (line((*middle, FLOOR), (place, FLOOR + units(10)), "tie"))
                (words((place, FLOOR + units(23)), Anchor::Middle, "name", name))
                (words((place, FLOOR + units(39)), Anchor::Middle, "figure", figure))
            }
        }
    }
}

impl Columns {
    fn plan(&self, size: Size) -> Plan<'_> {
        let width = units(size.width());
        let all = self.inner.iter().chain(&self.lighter).chain(&self.heavier);
        Plan {
            columns: self,
            width,
            from: if self.lighter.is_some() { APART } else { 0 },
            to: if self.heavier.is_some() {
                width - APART
            } else {
                width
            },
            most: all.map(|column| column.count).max().unwrap_or(0).max(1),
        }
    }

    /// The picture.
    #[must_use]
    pub fn picture(&self) -> Markup {
        both(&self.id, &self.title, &self.description, |size| {
            let plan = self.plan(size);
            let drawn = html! {
                (plan.zones())
                @for (steps, ..) in &self.levels {
                    (line((plan.place(*steps), TOP), (plan.place(*steps), FLOOR), "level"))
                }
                @if let Some(lighter) = &self.lighter { (plan.drawn(lighter, 0, APART - units(8))) }
                @for (number, column) in self.inner.iter().enumerate() {
                    @let (from, wide) = plan.column(number);
                    (plan.drawn(column, from, wide))
                }
                @if let Some(heavier) = &self.heavier { (plan.drawn(heavier, plan.to + units(8), APART - units(8))) }
                (line((0, FLOOR), (plan.width, FLOOR), "floor"))
                (plan.below())
            };
            (FLOOR + units(46), drawn)
        })
    }
}
