//! A stream: what comes in at the top, what leaves at its side on the way down, and nothing that is left at its end.
//!
//! The stream is as wide as what is in it. Whatever comes in makes it wider by its own width, and whatever leaves takes its
//! own width along, so a stream that runs dry has accounted for everything. What it has not accounted for is a branch of
//! its own, loud and named, also when nobody asked for it: it is reckoned here from the branches themselves.
//!
//! What is thinner than a pen's stroke is drawn as a broken line of one stroke, and [`Stream::thin`] draws it again in a
//! stream of its own, so many times wider.

use super::canvas::{Anchor, Milli, Size, block, both, leads, line, milli, reach, units, words};
use maud::{Markup, html};

/// How many branches come in with their names; what is smaller comes in together.
const INLETS_MAX: usize = 7;
/// The radius of the inner side of a bend.
const BEND: Milli = units(7);
/// The least room between a ribbon and the next.
const GAP: Milli = units(6);
/// What is thinner is drawn as a stroke.
const STROKE: Milli = units(1);

/// What a branch is, for its colour; its words say it too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// It is here.
    Here,
    /// It is with others.
    Away,
    /// It is gone.
    Lost,
    /// It is a difference that nobody has accounted for.
    Unexplained,
}

impl Tone {
    const fn class(self) -> &'static str {
        match self {
            Self::Here => "here",
            Self::Away => "away",
            Self::Lost => "lost",
            Self::Unexplained => "unexplained",
        }
    }
}

/// One branch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Branch {
    /// What it is.
    pub name: String,
    /// Its exact figure with its unit.
    pub figure: String,
    /// How wide it is, in steps of what is told: never below zero.
    pub amount: i64,
    /// Its colour.
    pub tone: Tone,
    /// Where it leads.
    pub address: Option<String>,
}

/// What stands along the stream on its way down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Row {
    /// A word on what follows, and what is in the stream there.
    Mark(String, String),
    /// Something that leaves.
    Branch(Branch),
}

/// A stream.
#[derive(Clone, Debug)]
pub struct Stream {
    /// Its id on the page.
    pub id: String,
    /// What it shows.
    pub title: String,
    /// The same in a sentence or two, with the figures that matter.
    pub description: String,
    /// What comes in, in order.
    pub inlets: Vec<Branch>,
    /// What follows.
    pub rows: Vec<Row>,
    /// Writes a figure of so many steps.
    pub figure: fn(i64) -> String,
}

/// Sizes of one arrangement.
struct Plan {
    /// How wide the stream is when everything is in it.
    widest: Milli,
    /// Where ribbons end and words begin.
    end: Milli,
    /// The least height of a branch.
    row: Milli,
    size: Size,
}

const LEFT: Milli = units(2);

impl Plan {
    const fn of(size: Size) -> Self {
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
    /// What comes in, named: many small ones come in as one.
    fn gathered(&self) -> Vec<Branch> {
        let mut named = self.inlets.clone();
        if named.len() <= INLETS_MAX {
            return named;
        }
        let mut sizes: Vec<i64> = named.iter().map(|inlet| inlet.amount).collect();
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        let least = sizes.get(INLETS_MAX - 2).copied().unwrap_or(0);
        let mut places = INLETS_MAX - 1;
        let (mut others, mut amount) = (0_usize, 0_i64);
        named.retain(|inlet| {
            let keeps = inlet.amount >= least && places > 0 || inlet.tone == Tone::Unexplained;
            if keeps {
                places = places.saturating_sub(1);
            } else {
                others += 1;
                amount = amount.saturating_add(inlet.amount);
            }
            keeps
        });
        named.push(Branch {
            name: format!("{others} others, each smaller"),
            figure: (self.figure)(amount),
            amount,
            tone: Tone::Here,
            address: None,
        });
        named
    }

    fn branches(&self) -> impl Iterator<Item = &Branch> {
        self.rows.iter().filter_map(|row| match row {
            Row::Branch(branch) => Some(branch),
            Row::Mark(..) => None,
        })
    }

    /// The same stream with what it does not account for, on the side where it is missing.
    fn whole(&self) -> Self {
        let sum = |branches: &mut dyn Iterator<Item = &Branch>| {
            branches.fold(0_i64, |sum, branch| sum.saturating_add(branch.amount))
        };
        let missing = sum(&mut self.inlets.iter()).saturating_sub(sum(&mut self.branches()));
        let mut whole = self.clone();
        let unexplained = |name: &str| Branch {
            name: name.to_owned(),
            figure: (self.figure)(missing.abs()),
            amount: missing.abs(),
            tone: Tone::Unexplained,
            address: None,
        };
        match missing {
            0 => {}
            1.. => whole.rows.push(Row::Branch(unexplained("NOT ACCOUNTED FOR"))),
            _ => whole.inlets.push(unexplained("CAME FROM NOWHERE")),
        }
        whole
    }

    /// The picture, followed by others of what is thin in it, each wider than the one before.
    #[must_use]
    pub fn picture(&self) -> Markup {
        let whole = self.whole();
        let mut closer: Vec<(i64, Self)> = Vec::new();
        let mut times = 1_i64;
        while let Some((more, stream)) = closer.last().map_or(&whole, |(_, stream)| stream).thin() {
            times = times.saturating_mul(more);
            closer.push((times, stream));
        }
        html! {
            (both(&self.id, &self.title, &self.description, |size| whole.drawn(size)))
            @for (times, stream) in &closer {
                p .fine.closer { "A broken line is thinner than it is drawn. The same again, " (times) " times as wide as at first:" }
                (both(&stream.id, &stream.title, &stream.description, |size| stream.drawn(size)))
            }
        }
    }

    /// Where every strip of what comes in lies, then of what leaves, both from left to right in the order in which they come;
    /// `None` for a stream with nothing in it. Each ends where the sum of what is to its left does.
    fn strips(amounts: &[i64], widest: Milli) -> Vec<(Milli, Milli)> {
        let whole: i128 = amounts.iter().map(|amount| i128::from(*amount)).sum();
        let mut sum = 0_i128;
        let place = amounts.iter().map(|amount| {
            let from = reach(widest, sum, whole);
            sum += i128::from(*amount);
            (from, reach(widest, sum, whole))
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
        for (from, to) in Self::strips(&amounts, plan.widest) {
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
        let mut strips = Self::strips(&amounts, plan.widest);
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

    fn drawn(&self, size: Size) -> (Milli, Markup) {
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

    /// What is thinner than a stroke on the narrow screen, in a stream of its own, and how many times as wide it is.
    #[must_use]
    pub fn thin(&self) -> Option<(i64, Self)> {
        let widest = Plan::of(Size::Narrow).widest;
        let sum = self.branches().map(|branch| i128::from(branch.amount)).sum();
        let is_thin =
            |branch: &&Branch| branch.amount > 0 && reach(widest, i128::from(branch.amount), sum) < STROKE;
        let thin: Vec<Branch> = self.branches().filter(is_thin).cloned().collect();
        let together: i64 = thin
            .iter()
            .fold(0, |sum, branch| sum.saturating_add(branch.amount));
        if together == 0 || thin.len() < 2 {
            return None;
        }
        let mut times = 10_i64;
        let wider = |times: i64| {
            i128::from(together)
                .saturating_mul(i128::from(times))
                .saturating_mul(10)
        };
        while wider(times) <= sum {
            times = times.saturating_mul(10);
        }
        let inlet = Branch {
            name: format!("The {} thinnest", thin.len()),
            figure: (self.figure)(together),
            amount: together,
            tone: Tone::Here,
            address: None,
        };
        let stream = Self {
            id: format!("{}-thin", self.id),
            title: format!("{}: the thinnest branches, drawn wider", self.title),
            description: "The branches that are thinner than a stroke in the picture before, drawn again."
                .to_owned(),
            inlets: vec![inlet],
            rows: thin.into_iter().map(Row::Branch).collect(),
            figure: self.figure,
        };
        Some((times, stream))
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
