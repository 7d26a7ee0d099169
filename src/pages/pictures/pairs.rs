//! Pairs: two amounts of one thing beside each other, each with its words. What is not known has no bar, and says so; of what
//! is known in part, the part is drawn and its end is open.

use super::canvas::{Anchor, Milli, Size, block, both, reach, units, words};
use maud::{Markup, html};

/// An amount as it is drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Amount {
    /// Which of the two it is.
    pub name: &'static str,
    /// Its figure in words, or that it is not known.
    pub figure: String,
    /// How long its bar is, in steps; never below zero.
    pub value: i128,
    /// Whether there is more of it than is known.
    pub open: bool,
}

/// Two amounts of one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
    /// What it is.
    pub name: String,
    /// The two.
    pub amounts: [Amount; 2],
}

/// Pairs on one scale.
#[derive(Clone, Debug)]
pub struct Pairs {
    /// Its id on the page.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// The same in a sentence or two.
    pub description: String,
    /// The pairs.
    pub pairs: Vec<Pair>,
}

/// What one amount takes: its words above its bar.
const AMOUNT: Milli = units(33);
/// What the name of a pair takes.
const NAME: Milli = units(26);

impl Pairs {
    /// The picture.
    #[must_use]
    pub fn picture(&self) -> Markup {
        both(&self.id, &self.title, &self.description, |size| self.drawn(size))
    }

    fn drawn(&self, size: Size) -> (Milli, Markup) {
        let width = units(size.width());
        let values = self
            .pairs
            .iter()
            .flat_map(|pair| &pair.amounts)
            .map(|amount| amount.value);
        let most = values.max().unwrap_or(0).max(1);
        let places = self.pairs.iter().scan(0, |place, pair| {
            let at = *place;
            *place += NAME + 2 * AMOUNT + units(12);
            Some((at, pair))
        });
        let drawn = html! {
            @for (at, pair) in places {
                (words((0, at + units(18)), Anchor::Start, "marked", &pair.name))
                @for (number, amount) in (0_i64..).zip(&pair.amounts) {
                    @let top = at + NAME + number * AMOUNT;
                    @let long = reach(width - units(16), amount.value, most);
                    (words((0, top + units(13)), Anchor::Start, "name", amount.name))
                    (words((width, top + units(13)), Anchor::End, "figure", &amount.figure))
                    @if long > 0 { (block((0, top + units(18)), (long, units(9)), if number == 0 { "first" } else { "second" })) }
                    @if amount.open { (block((long, top + units(18)), (units(16), units(9)), "open")) }
                }
            }
        };
        let count = i64::try_from(self.pairs.len()).unwrap_or(0);
        (count * (NAME + 2 * AMOUNT + units(12)), drawn)
    }
}
