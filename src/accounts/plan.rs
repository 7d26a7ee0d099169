//! How many of each shape of a series are still to be poured, by this workshop's own record.
//!
//! A pour counts as good when its piece has a number or certificate, or is accepted and on its way to one; as bad when it
//! was given up, failed on the way, or left the series. What nobody has graded yet, or may still be filed or weighed on a
//! better scale, is undecided and counts as neither, so a plan is best asked for when the tray is weighed. Deliberately
//! absent: the record of other series, and any belief beyond the prior that is stated.

use super::Reckoning;
use crate::calculators::{Answer, Calculator, Impossible, Plan, Wanted};
use crate::domain::{
    Book, Grade, MeltState, Mould, Piece, PieceState as S, Series, SeriesId, SeriesState, Shape, Stage,
};
use crate::metal::floats::fixed_up;
use crate::metal::plan::{Prior, Window};
use crate::metal::probability::Probability;
use crate::metal::spread::Spread;
use crate::metal::{Mass, MassDifference};
use serde::Serialize;
use std::collections::BTreeMap;

/// What is asked beside the series.
#[derive(Clone, Copy, Debug, Default)]
pub struct PlanAsked {
    /// How sure it should be; 0.95 if not said.
    pub confidence: Option<Probability>,
    /// What is believed of a yield beforehand; uniform if not said.
    pub prior: Option<Prior>,
    /// How many cavities one melt pours; as many as any melt of the series gave it, if not said.
    pub cavities: Option<u32>,
    /// Within how many melts.
    pub melts: Option<u32>,
}

/// The masses of pours as they came from the mould.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct MouldSpread {
    /// The mould; none where none was said.
    pub mould: Option<Mould>,
    /// How many were weighed.
    pub weighed: u32,
    /// Their mean, grams.
    pub mean: Mass,
    /// Their standard deviation, grams, rounded up; none of a single one.
    pub deviation: Option<String>,
}

/// What the record says of one shape.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShapeRecord {
    /// The shape.
    pub shape: Shape,
    /// How many the edition has; none of an open series.
    pub size: Option<u32>,
    /// Numbers given, or places taken.
    pub numbered: u32,
    /// Promised and not yet sold.
    pub promised: u32,
    /// Accepted and on their way to a number, spares too.
    pub under_way: u32,
    /// Poured for the series.
    pub poured: u32,
    /// Of these, good.
    pub good: u32,
    /// Of these, bad.
    pub bad: u32,
    /// Of these, neither yet.
    pub undecided: u32,
    /// How many good ones are still wanted.
    pub wanted: u32,
    /// The spread of all moulds together.
    pub spread: Option<MouldSpread>,
    /// The spread of each mould.
    pub moulds: Vec<MouldSpread>,
    /// The weight to aim at, grams, where there are limits.
    pub aim: Option<Mass>,
    /// The share of pours within limits and guard bands at that aim.
    pub aim_yield: Option<Probability>,
    /// The same at the mean so far.
    pub mean_yield: Option<Probability>,
}

/// The record of a series and what follows from it.
#[derive(Clone, Debug)]
pub struct SeriesPlan {
    /// The code of the series.
    pub code: String,
    /// The record of each shape.
    pub shapes: Vec<ShapeRecord>,
    /// The question that the record makes; none where there is no shape.
    pub question: Option<Plan>,
}

impl SeriesPlan {
    /// The plan: what the calculator says to the question.
    ///
    /// # Errors
    /// [`Impossible`], when the edition or what is asked is beyond what is planned.
    pub fn answer(&self) -> Result<Option<Answer>, Impossible> {
        self.question.as_ref().map(Plan::answer).transpose()
    }
}

impl Reckoning {
    /// How many of each shape of a series are still to be poured. `None` if there is no such series.
    #[must_use]
    pub fn plan(&self, series: SeriesId, asked: PlanAsked) -> Option<SeriesPlan> {
        let book = self.book();
        let row = book.series(series)?;
        let pieces: Vec<&Piece> = book
            .pieces()
            .filter(|piece| piece.poured_for.unwrap_or(piece.series) == series)
            .collect();
        let mut names: Vec<Shape> = row.shapes.iter().map(|size| size.shape.clone()).collect();
        let others: std::collections::BTreeSet<&Shape> = pieces.iter().map(|piece| &piece.shape).collect();
        names.extend(
            others
                .into_iter()
                .filter(|shape| row.shapes.iter().all(|size| size.shape != **shape))
                .cloned(),
        );
        let guard = guard(&pieces, series);
        let shapes: Vec<ShapeRecord> = names
            .into_iter()
            .map(|shape| record(row, shape, &pieces, guard))
            .collect();
        let question = question(book, row, &pieces, &shapes, asked);
        Some(SeriesPlan {
            code: row.code.to_string(),
            shapes,
            question,
        })
    }
}

/// What a piece says of the pour that made it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Outcome {
    /// It has a place in the edition, or had one.
    Placed,
    /// It is on its way to one.
    UnderWay,
    Bad,
    Undecided,
}

fn outcome(piece: &Piece) -> Outcome {
    if piece.poured_for.is_some() {
        return Outcome::Bad;
    }
    if piece.number.is_some() || piece.certificate.is_some() {
        return Outcome::Placed;
    }
    let accepted = piece.grading.as_ref().map(|grading| grading.grade);
    match (piece.state, accepted) {
        (S::Condemned | S::Remelted | S::Refined | S::MisStruck | S::Archived, _) => Outcome::Bad,
        (S::Unmarked | S::Kept | S::Missing | S::Stolen | S::Destroyed | S::Lost, _) => Outcome::Bad,
        // Sold without a number as the terms allow: good metal, and no place taken.
        (S::Sold | S::Dispatched | S::Delivered | S::Returned | S::BoughtBack, _) => Outcome::Placed,
        (_, Some(Grade::Accepted)) => Outcome::UnderWay,
        (_, Some(Grade::Under | Grade::Faulty)) => Outcome::Bad,
        (_, Some(Grade::Over | Grade::Borderline) | None) => Outcome::Undecided,
    }
}

fn count(pieces: &[&Piece], shape: &Shape, wanted: &[Outcome]) -> u32 {
    let of_shape = pieces.iter().filter(|piece| piece.shape == *shape);
    let counted = of_shape.filter(|piece| wanted.contains(&outcome(piece)));
    u32::try_from(counted.count()).unwrap_or(u32::MAX)
}

/// The guard band by which a piece of the series was last graded; none yet is none.
fn guard(pieces: &[&Piece], series: SeriesId) -> Mass {
    let gradings = pieces.iter().filter(|piece| piece.series == series);
    let gradings = gradings.filter_map(|piece| piece.grading.as_ref());
    let newest = gradings
        .filter(|grading| grading.guard.is_some())
        .max_by_key(|grading| grading.index);
    newest.and_then(|grading| grading.guard).unwrap_or_default()
}

fn record(row: &Series, shape: Shape, pieces: &[&Piece], guard: Mass) -> ShapeRecord {
    let place = row.shapes.iter().position(|size| size.shape == shape);
    let of = |counts: &[u32]| place.and_then(|place| counts.get(place)).copied().unwrap_or(0);
    let size = place
        .and_then(|place| row.shapes.get(place))
        .map(|size| size.size);
    let under_way = count(pieces, &shape, &[Outcome::UnderWay]);
    let numbered = of(&row.numbers);
    let wanted = match row.state {
        SeriesState::Open => size
            .unwrap_or(0)
            .saturating_sub(numbered)
            .saturating_sub(under_way),
        SeriesState::Closed => 0,
    };
    let (spread, moulds) = spreads(pieces, &shape);
    let window = row.limits.as_ref();
    let window = window.and_then(|limits| Window::of(limits.lower, limits.upper, guard));
    let deviation = spread.deviation();
    let yields = |mean: Option<Mass>| window.as_ref()?.yields(mean?, deviation?);
    let aim = window.as_ref().map(Window::best_aim);
    ShapeRecord {
        size,
        numbered,
        promised: of(&row.promised),
        under_way,
        poured: count(
            pieces,
            &shape,
            &[
                Outcome::Placed,
                Outcome::UnderWay,
                Outcome::Bad,
                Outcome::Undecided,
            ],
        ),
        good: count(pieces, &shape, &[Outcome::Placed, Outcome::UnderWay]),
        bad: count(pieces, &shape, &[Outcome::Bad]),
        undecided: count(pieces, &shape, &[Outcome::Undecided]),
        wanted,
        aim,
        aim_yield: yields(aim),
        mean_yield: yields(spread.mean()),
        spread: told(None, &spread),
        moulds,
        shape,
    }
}

/// The spread of a shape, all together and by mould, of readings as the pieces came from the mould.
fn spreads(pieces: &[&Piece], shape: &Shape) -> (Spread, Vec<MouldSpread>) {
    let (mut all, mut moulds) = (Spread::default(), BTreeMap::<Option<&Mould>, Spread>::new());
    for piece in pieces.iter().filter(|piece| piece.shape == *shape) {
        let first = piece
            .readings
            .first()
            .filter(|reading| reading.stage == Stage::FromMould);
        if let Some(reading) = first {
            all.take(reading.mass.mass());
            moulds
                .entry(piece.mould.as_ref())
                .or_default()
                .take(reading.mass.mass());
        }
    }
    let moulds = moulds.into_iter();
    (
        all,
        moulds
            .filter_map(|(mould, spread)| told(mould.cloned(), &spread))
            .collect(),
    )
}

fn told(mould: Option<Mould>, spread: &Spread) -> Option<MouldSpread> {
    Some(MouldSpread {
        mould,
        weighed: spread.count(),
        mean: spread.mean()?,
        deviation: spread.deviation().map(|deviation| fixed_up(deviation, 3)),
    })
}

/// The question that the record makes for the calculator.
fn question(
    book: &Book,
    row: &Series,
    pieces: &[&Piece],
    shapes: &[ShapeRecord],
    asked: PlanAsked,
) -> Option<Plan> {
    if shapes.is_empty() {
        return None;
    }
    let melts = melts(book, row, pieces);
    let wanted = shapes.iter().map(|record| Wanted {
        shape: record.shape.to_string(),
        wanted: record.wanted,
        r#yield: None,
        good: Some(record.good),
        poured: Some(record.good.saturating_add(record.bad)),
        mean: record.spread.as_ref().map(|spread| spread.mean),
    });
    let shapes: Vec<Wanted> = wanted.collect();
    // Without a mean for each shape the metal cannot be told, and heel and loss have nothing to stand beside.
    let known = shapes.iter().all(|shape| shape.mean.is_some());
    Some(Plan {
        shapes,
        confidence: asked.confidence,
        prior: asked.prior,
        cavities: asked.cavities.or(melts.cavities),
        melts: asked.melts,
        heel: melts.heel.filter(|_| known),
        loss_ppm: melts.loss_ppm.filter(|_| known),
        lower: None,
        upper: None,
        sd: None,
        guard: None,
        mean: None,
    })
}

/// What the closed melts of a series' metal say: the most that one gave the series, mean heel and mean loss.
struct Melts {
    cavities: Option<u32>,
    heel: Option<Mass>,
    loss_ppm: Option<u32>,
}

fn melts(book: &Book, row: &Series, pieces: &[&Piece]) -> Melts {
    let mut given: BTreeMap<uuid::Uuid, u32> = BTreeMap::new();
    for piece in pieces {
        let count = given.entry(piece.melt.0).or_default();
        *count = count.saturating_add(1);
    }
    let mut heels = Spread::default();
    let (mut charged, mut lost) = (0_i128, 0_i128);
    for melt in book
        .melts()
        .filter(|melt| melt.metal == row.metal && melt.state == MeltState::Closed)
    {
        heels.take(melt.heel.unwrap_or_default());
        charged = charged.saturating_add(i128::from(melt.charge.units()));
        lost = lost.saturating_add(i128::from(melt.loss.map_or(0, MassDifference::units)));
    }
    // Rounded up, and never below nothing: a scale can make a loss negative.
    let ppm = lost
        .max(0)
        .saturating_mul(1_000_000)
        .saturating_add(charged.max(1))
        .saturating_sub(1);
    Melts {
        cavities: given.values().copied().max(),
        heel: heels.mean(),
        loss_ppm: (charged > 0).then(|| u32::try_from(ppm / charged.max(1)).unwrap_or(u32::MAX)),
    }
}
