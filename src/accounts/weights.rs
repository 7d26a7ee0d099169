//! How much the pieces of one shape weigh: each piece by its newest reading, counted in bands of whole scale steps.
//!
//! Every piece of the series that was ever weighed is counted, given up and melted ones too: without them nothing would ever
//! have been too light. A band begins where the good ones begin (the lower limit and its guard band), and holds both of its
//! ends, so that it can be asked for again as two weights; the step is the greatest that divides every scale's step and
//! every reading, so no piece falls between two bands. What is farther off the limits than they lie apart is counted
//! together. Deliberately absent: pieces that have left the series (only counted), and the readings before the newest.

use super::Reckoning;
use crate::domain::{Book, Limits, Piece, PieceState, SeriesId, Shape};
use crate::metal::Mass;

/// How many bands there are at most, beside the two ends.
const BANDS_MAX: i64 = 14;

/// One band of weights, both ends in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Band {
    /// The lightest; none where all that is lighter is in it.
    pub from: Option<Mass>,
    /// The heaviest; none where all that is heavier is in it.
    pub to: Option<Mass>,
    /// How many pieces.
    pub pieces: u64,
}

/// The weights of one shape.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShapeWeights {
    /// The shape.
    pub shape: Shape,
    /// The limits of the series.
    pub limits: Option<Limits>,
    /// The guard band by which a piece of the series was last graded.
    pub guard: Option<Mass>,
    /// The step of the scales that weighed them; none before the first reading.
    pub step: Option<Mass>,
    /// How wide a band is.
    pub wide: Mass,
    /// All that is lighter than the first band, if any is.
    pub lighter: Option<Band>,
    /// The bands, from light to heavy, without a gap.
    pub bands: Vec<Band>,
    /// All that is heavier than the last band, if any is.
    pub heavier: Option<Band>,
    /// How many were weighed.
    pub weighed: u64,
    /// How many are poured and not weighed yet.
    pub unweighed: u64,
    /// How many were poured for the series and have left it.
    pub moved: u64,
}

impl Reckoning {
    /// The weights of every shape of a series, in the order of the series; `None` if there is no such series.
    #[must_use]
    pub fn weights(&self, series: SeriesId) -> Option<Vec<ShapeWeights>> {
        let book = self.book();
        let row = book.series(series)?;
        let guard = guard(book, series);
        let shapes = self.shapes(series)?;
        let told = shapes.into_iter().map(|shape| {
            let of_shape = || book.pieces().filter(|piece| piece.shape == shape);
            let moved = of_shape().filter(|piece| piece.poured_for == Some(series) && piece.series != series);
            let moved = count(moved);
            let here: Vec<&Piece> = of_shape().filter(|piece| piece.series == series).collect();
            ShapeWeights {
                moved,
                ..weigh(book, shape.clone(), row.limits.clone(), guard, &here)
            }
        });
        Some(told.collect())
    }

    /// The shapes of a series: those it names, then others that were poured for it or joined it.
    #[must_use]
    pub fn shapes(&self, series: SeriesId) -> Option<Vec<Shape>> {
        let row = self.book().series(series)?;
        let mut shapes: Vec<Shape> = row.shapes.iter().map(|size| size.shape.clone()).collect();
        let is_of = |piece: &&Piece| piece.series == series || piece.poured_for == Some(series);
        let mut others: Vec<Shape> = self
            .book()
            .pieces()
            .filter(is_of)
            .map(|piece| piece.shape.clone())
            .collect();
        others.sort();
        others.dedup();
        others.retain(|shape| !shapes.contains(shape));
        shapes.append(&mut others);
        Some(shapes)
    }
}

fn count<'a>(pieces: impl Iterator<Item = &'a Piece>) -> u64 {
    pieces.fold(0, |count, _| count + 1)
}

/// The guard band of the newest grading in a series that had one.
fn guard(book: &Book, series: SeriesId) -> Option<Mass> {
    let gradings = book.pieces().filter(|piece| piece.series == series);
    let gradings = gradings
        .filter_map(|piece| piece.grading.as_ref())
        .filter(|grading| grading.guard.is_some());
    gradings.max_by_key(|grading| grading.index)?.guard
}

fn weigh(
    book: &Book,
    shape: Shape,
    limits: Option<Limits>,
    guard: Option<Mass>,
    pieces: &[&Piece],
) -> ShapeWeights {
    let mut masses: Vec<i64> = pieces
        .iter()
        .filter_map(|piece| Some(piece.mass()?.units()))
        .collect();
    masses.sort_unstable();
    let step = step(book, pieces);
    let unit = step.map_or(1, Mass::units).max(1);
    let edges = edges(limits.as_ref(), guard, &masses, unit);
    let band = |from: Option<i64>, to: Option<i64>| {
        let within = |mass: &&i64| from.is_none_or(|from| **mass >= from) && to.is_none_or(|to| **mass <= to);
        Band {
            from: from.and_then(Mass::from_units),
            to: to.and_then(Mass::from_units),
            pieces: masses.iter().filter(within).fold(0, |count, _| count + 1),
        }
    };
    let any = |band: Band| Some(band).filter(|band| band.pieces > 0);
    let (mut bands, mut lighter, mut heavier) = (Vec::new(), None, None);
    if let Some(edges) = &edges {
        let mut from = edges.from;
        for _ in 0..edges.count {
            bands.push(band(Some(from), Some(from + edges.wide - unit)));
            from += edges.wide;
        }
        lighter = any(band(None, Some(edges.from - unit)));
        heavier = any(band(Some(from), None));
    }
    ShapeWeights {
        shape,
        limits,
        guard,
        step,
        wide: edges
            .and_then(|edges| Mass::from_units(edges.wide))
            .unwrap_or_default(),
        lighter,
        bands,
        heavier,
        weighed: u64::try_from(masses.len()).unwrap_or(u64::MAX),
        unweighed: count(
            pieces
                .iter()
                .copied()
                .filter(|piece| piece.state == PieceState::Poured),
        ),
        moved: 0,
    }
}

/// The greatest step that divides the step of every scale that weighed them, and every reading.
fn step(book: &Book, pieces: &[&Piece]) -> Option<Mass> {
    let mut step = 0_i64;
    for reading in pieces.iter().filter_map(|piece| piece.reading()) {
        let scale = book
            .session(reading.session)
            .and_then(|session| book.scale(session.scale));
        step = divisor(step, scale.map_or(0, |scale| scale.d.units()));
        step = divisor(step, reading.mass.mass().units());
    }
    (step > 0).then(|| Mass::from_units(step))?
}

/// The greatest common divisor; of nothing and a number, the number.
fn divisor(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a.checked_rem(b).unwrap_or(0));
    }
    a
}

/// Where bands lie: the first begins at `from`, each is so `wide`, and there are so many.
struct Edges {
    from: i64,
    wide: i64,
    count: i64,
}

/// None where nothing was weighed and nothing limits.
fn edges(limits: Option<&Limits>, guard: Option<Mass>, masses: &[i64], unit: i64) -> Option<Edges> {
    let (first, last) = (masses.first().copied(), masses.last().copied());
    let (least, most, anchor) = match limits {
        Some(limits) => {
            let (lower, upper) = (limits.lower.units(), limits.upper.units());
            let (guard, apart) = (guard.map_or(0, Mass::units), (upper - lower).max(unit));
            let (light, heavy) = (lower - guard - apart, upper + guard + apart);
            // At least a little beyond the limits is shown, at most as much again as lies between them.
            let (near, far) = (lower - guard - apart / 4, upper + guard + apart / 4);
            let least = first.unwrap_or(near).clamp(light.max(0), near.max(0));
            let most = last.unwrap_or(far).clamp(far, heavy);
            // The first good reading there can be: a limit need not be a whole number of steps.
            (least, most, (lower + guard + unit - 1).div_euclid(unit) * unit)
        }
        None => (first?, last?, first?),
    };
    let mut wide = unit;
    let mut factors = [2_i64, 5, 10].into_iter().cycle();
    let mut decade = unit;
    loop {
        // Bands are counted from the anchor, so that one begins there; none begins below nothing.
        let before = (anchor - least + wide - 1)
            .div_euclid(wide)
            .min(anchor.div_euclid(wide));
        let from = anchor - before * wide;
        let count = (most - from).div_euclid(wide) + 1;
        if count <= BANDS_MAX {
            return Some(Edges { from, wide, count });
        }
        let factor = factors.next()?;
        wide = decade.checked_mul(factor)?;
        if factor == 10 {
            decade = wide;
        }
    }
}
