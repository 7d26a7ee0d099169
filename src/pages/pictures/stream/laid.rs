//! Where the parts of a stream lie, and how they are drawn.

use super::{Branch, Row, Stream, Tone};
use crate::pages::pictures::canvas::{Anchor, Milli, Size, block, leads, line, milli, reach, units, words};
use maud::{Markup, html};

/// The radius of the inner side of a bend.
const BEND: Milli = units(7);
/// The least room between a ribbon and the next.
const GAP: Milli = units(6);
/// What is thinner is drawn as a stroke.
pub(super) const STROKE: Milli = units(1);

/// Sizes of one arrangement.
pub(super) struct Plan {
    /// How wide the stream is when everything is in it.
    pub(super) widest: Milli,
    /// Where ribbons end and words begin.
    end: Milli,
    /// The least height of a branch.
    row: Milli,
    size: Size,
}

const LEFT: Milli = units(2);

impl Plan {
    pub(super) const fn of(size: Size) -> Self {
        match size {
            Size::Narrow => Self {
                widest: units(104),
                end: units(140),
                row: units(42),
                size,
            },
            Size::Wide => Self {
                widest: units(200),
                end: units(260),
                row: units(27),
                size,
            },
        }
    }

    /// The name of a branch and its figure, beside the middle of its ribbon.
    fn told(&self, branch: &Branch, middle: Milli) -> Markup {
        let start = self.end + units(7);
        let loud = if branch.tone == Tone::Unexplained {
            "name loud"
        } else {
            "name"
        };
        html! {
            @match self.size {
                Size::Narrow => {
                    (words((start, middle - units(3)), Anchor::Start, loud, &branch.name))
                    (words((start, middle + units(14)), Anchor::Start, "figure", &branch.figure))
                }
                Size::Wide => {
                    (words((start, middle + units(5)), Anchor::Start, loud, &branch.name))
                    (words((units(self.size.width()), middle + units(5)), Anchor::End, "figure", &branch.figure))
                }
            }
        }
    }
}

/// A ribbon between the stream and the words: its strip in the stream and its height at the words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ribbon {
    /// Where its strip begins, from the left bank.
    pub from: Milli,
    /// Where its strip ends.
    pub to: Milli,
    /// Its upper edge at the words.
    pub top: Milli,
}

impl Ribbon {
    const fn width(self) -> Milli {
        self.to - self.from
    }
}

impl Stream {
    /// Where every strip of what comes in lies, then of what leaves, both from left to right in the order in which they come;
    /// `None` for a stream with nothing in it. Each ends where the sum of what is to its left does.
    fn strips(&self, amounts: &[i64], widest: Milli) -> Vec<(Milli, Milli)> {
        let (times, whole) = self.scale();
        let mut sum = 0_i128;
        let place = amounts.iter().map(|amount| {
            let from = reach(widest, sum, i128::from(whole));
            sum += i128::from(*amount) * i128::from(times);
            (from, reach(widest, sum, i128::from(whole)))
        });
        place.collect()
    }

    /// The ribbons of what comes in and of what leaves, and where the stream is whole; see [`Stream::picture`].
    #[must_use]
    pub fn ribbons(&self, size: Size) -> (Vec<Ribbon>, Vec<Ribbon>) {
        let laid = self.whole().laid(size);
        (laid.inlets, laid.outlets)
    }

    fn laid(&self, size: Size) -> Laid {
        let plan = Plan::of(size);
        let gathered = self.gathered();
        let amounts: Vec<i64> = gathered.iter().map(|inlet| inlet.amount).collect();
        let mut place = units(20);
        let mut inlets = Vec::new();
        for (from, to) in self.strips(&amounts, plan.widest) {
            // One alone fills the stream from bank to bank: it need not turn into it.
            let wide = if amounts.len() == 1 { 0 } else { to - from };
            let height = plan.row.max(wide + GAP);
            let top = place + (height - wide) / 2;
            inlets.push(Ribbon { from, to, top });
            place += height;
        }
        let joined = place + units(12);
        // What leaves first lies on the right, where it can leave; strips are counted from there.
        let mut amounts: Vec<i64> = self.branches().map(|branch| branch.amount).collect();
        amounts.reverse();
        let mut strips = self.strips(&amounts, plan.widest);
        strips.reverse();
        let mut strips = strips.into_iter();
        place = joined + units(6);
        let (mut outlets, mut marks) = (Vec::new(), Vec::new());
        let mut left = strips.as_slice().first().map_or(0, |(_, to)| *to);
        for row in &self.rows {
            match row {
                Row::Mark(..) => {
                    marks.push((place + units(24), left));
                    place += units(34);
                }
                Row::Branch(_) => {
                    let (from, to) = strips.next().unwrap_or_default();
                    left = from;
                    let height = plan.row.max(to - from + GAP);
                    let top = place + (height - (to - from)) / 2;
                    outlets.push(Ribbon { from, to, top });
                    place += height;
                }
            }
        }
        Laid {
            gathered,
            inlets,
            outlets,
            marks,
            joined,
            height: place + units(8),
        }
    }

    pub(super) fn drawn(&self, size: Size) -> (Milli, Markup) {
        let plan = Plan::of(size);
        let laid = self.laid(size);
        let mut outlets = laid.outlets.iter();
        let mut marks = laid.marks.iter();
        let drawn = html! {
            @if let ([only], [ribbon]) = (laid.gathered.as_slice(), laid.inlets.as_slice()) {
                (alone(&plan, only, *ribbon, laid.joined))
            } @else {
                @for (inlet, ribbon) in laid.gathered.iter().zip(&laid.inlets) {
                    (branch(&plan, inlet, &inward(*ribbon, plan.end, laid.joined), *ribbon))
                }
            }
            @if laid.outlets.iter().any(|ribbon| ribbon.to > 0) { path .stream d=(body(&laid)) {} }
            @for row in &self.rows {
                @match row {
                    Row::Mark(name, figure) => {
                        @let (place, left) = marks.next().copied().unwrap_or_default();
                        (line((LEFT, place + units(6)), (LEFT + left.max(units(2)), place + units(6)), "mark"))
                        (mark(&plan, name, figure, place))
                    }
                    Row::Branch(outlet) => {
                        @let ribbon = outlets.next().copied().unwrap_or(Ribbon { from: 0, to: 0, top: 0 });
                        (branch(&plan, outlet, &outward(ribbon, plan.end), ribbon))
                    }
                }
            }
        };
        (laid.height, drawn)
    }
}

/// A stream with its places.
struct Laid {
    gathered: Vec<Branch>,
    inlets: Vec<Ribbon>,
    outlets: Vec<Ribbon>,
    /// Where the words of each mark stand, and how wide the stream is there.
    marks: Vec<(Milli, Milli)>,
    joined: Milli,
    height: Milli,
}

fn branch(plan: &Plan, branch: &Branch, path: &str, ribbon: Ribbon) -> Markup {
    let middle = ribbon.top + ribbon.width() / 2;
    let what = format!("{}: {}", branch.name, branch.figure);
    let drawn = html! {
        @if ribbon.width() < STROKE { path .thin.(branch.tone.class()) d=(path) {} }
        @else { path .ribbon.(branch.tone.class()) d=(path) {} }
        (plan.told(branch, middle))
    };
    leads(branch.address.as_deref(), &what, drawn)
}

/// What comes in alone: the stream begins with it.
fn alone(plan: &Plan, inlet: &Branch, ribbon: Ribbon, joined: Milli) -> Markup {
    let top = ribbon.top - units(12);
    let what = format!("{}: {}", inlet.name, inlet.figure);
    let drawn = html! {
        (block((LEFT, top), (ribbon.width(), joined - top), &format!("ribbon {}", inlet.tone.class())))
        (plan.told(inlet, ribbon.top))
    };
    leads(inlet.address.as_deref(), &what, drawn)
}

fn mark(plan: &Plan, name: &str, figure: &str, place: Milli) -> Markup {
    let start = plan.end + units(7);
    html! {
        (words((start, place), Anchor::Start, "marked", name))
        (words((units(plan.size.width()), place), Anchor::End, "marked", figure))
    }
}

/// An arc of a quarter turn to a place.
fn arc(radius: Milli, sweep: u8, to: (Milli, Milli)) -> String {
    let (radius, x, y) = (milli(radius), milli(to.0), milli(to.1));
    format!("A{radius} {radius} 0 0 {sweep} {x} {y}")
}

/// From the words to the left, and down into the stream; a thin one as a line in its middle.
fn inward(ribbon: Ribbon, end: Milli, joined: Milli) -> String {
    let (from, to, wide) = (LEFT + ribbon.from, LEFT + ribbon.to, ribbon.width());
    let (top, turn) = (ribbon.top, ribbon.top + wide + BEND);
    if wide < STROKE {
        return format!(
            "M{} {}H{}{}V{}",
            milli(end),
            milli(top),
            milli(to + BEND),
            arc(BEND, 0, (to, turn)),
            milli(joined)
        );
    }
    let outer = arc(wide + BEND, 0, (from, turn));
    let inner = arc(BEND, 1, (to + BEND, top + wide));
    format!(
        "M{end} {top}H{bend}{outer}V{joined}H{to}V{turn}{inner}H{end}Z",
        end = milli(end),
        top = milli(top),
        bend = milli(to + BEND),
        joined = milli(joined),
        to = milli(to),
        turn = milli(turn),
    )
}

/// Out of the stream and to the right.
fn outward(ribbon: Ribbon, end: Milli) -> String {
    let (from, to, wide) = (LEFT + ribbon.from, LEFT + ribbon.to, ribbon.width());
    let (top, turn) = (ribbon.top, ribbon.top - BEND);
    if wide < STROKE {
        return format!(
            "M{} {}{}H{}",
            milli(to),
            milli(turn),
            arc(BEND, 0, (to + BEND, top)),
            milli(end)
        );
    }
    let inner = arc(BEND, 0, (to + BEND, top));
    let outer = arc(wide + BEND, 1, (from, turn));
    format!(
        "M{from} {turn}H{to}{inner}H{end}V{bottom}H{bend}{outer}Z",
        from = milli(from),
        turn = milli(turn),
        to = milli(to),
        end = milli(end),
        bottom = milli(top + wide),
        bend = milli(to + BEND),
    )
}

/// The stream itself: its left bank, and on the right a step for everything that left.
fn body(laid: &Laid) -> String {
    let widest = laid.outlets.iter().map(|ribbon| ribbon.to).max().unwrap_or(0);
    let mut path = format!("M{} {}H{}", milli(LEFT), milli(laid.joined), milli(LEFT + widest));
    for ribbon in &laid.outlets {
        path.push_str(&format!(
            "V{}H{}",
            milli(ribbon.top - BEND),
            milli(LEFT + ribbon.from)
        ));
    }
    path.push('Z');
    path
}
