//! A stream: what comes in at the top, what leaves at its side on the way down, and nothing that is left at its end.
//!
//! The stream is as wide as what is in it. Whatever comes in makes it wider by its own width, and whatever leaves takes its
//! own width along, so a stream that runs dry has accounted for everything. What it has not accounted for is a branch of
//! its own, loud and named, also when nobody asked for it: it is reckoned here from the branches themselves.
//!
//! What is thinner than a pen's stroke is drawn as a broken line of one stroke, and [`Stream::thin`] draws it again in a
//! stream of its own, so many times wider.

mod laid;

pub use laid::Ribbon;

use super::canvas::{Size, both, reach};
use laid::{Plan, STROKE};
use maud::{Markup, html};

/// How many branches of what is here come in with their names; what is smaller comes in together.
const INLETS_MAX: usize = 7;

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
    /// Of a stream that is drawn again: how many times as wide, and what was in the first one.
    pub again: Option<(i64, i64)>,
}

impl Stream {
    /// What comes in, named: many small ones come in as one.
    fn gathered(&self) -> Vec<Branch> {
        let mut named = self.inlets.clone();
        let here = named.iter().filter(|inlet| inlet.tone == Tone::Here);
        let mut sizes: Vec<i64> = here.map(|inlet| inlet.amount).collect();
        if sizes.len() <= INLETS_MAX {
            return named;
        }
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        let least = sizes.get(INLETS_MAX - 2).copied().unwrap_or(0);
        let mut places = INLETS_MAX - 1;
        let (mut others, mut amount) = (0_usize, 0_i64);
        named.retain(|inlet| {
            let keeps = inlet.amount >= least && places > 0 || inlet.tone != Tone::Here;
            if keeps && inlet.tone == Tone::Here {
                places = places.saturating_sub(1);
            }
            if !keeps {
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

    /// How many times as wide it is drawn, and what fills the whole width when that is one.
    pub(super) fn scale(&self) -> (i64, i64) {
        let sum = || {
            self.branches()
                .fold(0_i64, |sum, branch| sum.saturating_add(branch.amount))
        };
        self.again.unwrap_or_else(|| (1, sum()))
    }

    /// The picture, followed by others of what is thin in it, each wider than the one before.
    #[must_use]
    pub fn picture(&self) -> Markup {
        let whole = self.whole();
        let mut closer: Vec<Self> = Vec::new();
        while let Some(stream) = closer.last().unwrap_or(&whole).thin() {
            closer.push(stream);
        }
        html! {
            (both(&self.id, &self.title, &self.description, |size| whole.drawn(size)))
            @for stream in &closer {
                p .fine.closer { "A broken line is thinner than it is drawn. The same again, " (stream.scale().0) " times as wide as at first:" }
                (both(&stream.id, &stream.title, &stream.description, |size| stream.drawn(size)))
            }
        }
    }

    /// What is thinner than a stroke on the narrow screen, in a stream of its own, and how many times as wide it is.
    #[must_use]
    pub fn thin(&self) -> Option<Self> {
        let widest = Plan::of(Size::Narrow).widest;
        let (mut times, whole) = self.scale();
        let wide = |amount: i64, times: i64| i128::from(amount).saturating_mul(i128::from(times));
        let is_thin = |branch: &&Branch| {
            branch.amount > 0 && reach(widest, wide(branch.amount, times), i128::from(whole)) < STROKE
        };
        let thin: Vec<Branch> = self.branches().filter(is_thin).cloned().collect();
        let together: i64 = thin
            .iter()
            .fold(0, |sum, branch| sum.saturating_add(branch.amount));
        let still_fits = |times: i64| wide(together, times.saturating_mul(10)) <= i128::from(whole);
        // Many that are thin and together wide have no room to be drawn wider.
        if together == 0 || thin.len() < 2 || !still_fits(times) {
            return None;
        }
        while still_fits(times) {
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
            again: Some((times, whole)),
        };
        Some(stream)
    }
}
