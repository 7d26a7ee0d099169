//! The board of the series.

use super::super::offered::said;
use super::super::{App, Seen, Visit};
use super::open_to;
use crate::accounts::{AsOf, PlanAsked, Reckoning, SeriesPlan};
use crate::domain::{
    Book, Grade, OrderState, Piece, PieceState as S, Series, SeriesKind, SeriesState, Shape,
};
use crate::http::failed;
use crate::http::labels::is_labelled;
use crate::http::problem::Problem;
use crate::pages::workshop::office::{self, Board, SeriesSeen, ShapeSeen, Step, Way};
use std::collections::BTreeMap;

/// A point of a piece's way: its word, the states that stand there and, where that matters, the grades.
type Point = (&'static str, &'static [S], &'static [Grade]);

/// Every point; each piece is at one of them.
const POINTS: &[Point] = &[
    ("not weighed", &[S::Poured], &[]),
    ("outside limits", &[S::Graded, S::Serialled], OUTSIDE),
    ("accepted", &[S::Graded, S::Serialled], &[Grade::Accepted]),
    ("stamped", &[S::Struck], &[]),
    ("at assay", &[S::AtOffice], &[]),
    ("hallmarked", &[S::Hallmarked], &[]),
    ("spare", &[S::Spare], &[]),
    ("numbered", &[S::Numbered], &[]),
    ("in stock", &[S::Certified, S::Returned, S::BoughtBack], &[]),
    ("kept", &[S::Reserved], &[]),
    ("sold", &[S::Sold, S::Dispatched, S::Delivered], &[]),
    ("fallen away", AWAY, &[]),
];
const OUTSIDE: &[Grade] = &[Grade::Under, Grade::Over, Grade::Borderline, Grade::Faulty];
const AWAY: &[S] = &[
    S::Condemned,
    S::Remelted,
    S::Refined,
    S::MisStruck,
    S::Archived,
    S::Unmarked,
    S::Kept,
    S::Missing,
    S::Lost,
    S::Stolen,
    S::Destroyed,
];

fn stands_at(piece: &Piece, (_, states, grades): &Point) -> bool {
    states.contains(&piece.state) && (grades.is_empty() || is_graded(piece, grades))
}

/// `GET /office`.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn board(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let asked = app.accounts.ask(AsOf::Newest, all);
    let found: Vec<(Series, SeriesSeen)> = asked.map_err(failed)?;
    let mut board = Board {
        ways: vec![
            Way::new("Open a series", "/series/new"),
            Way::new("Record an order", "/orders/new"),
        ],
        ..Board::default()
    };
    open_to(visit, &mut board.ways);
    for (row, mut seen) in found {
        seen.title = said(app, visit, row.series.0, "title")?;
        open_to(visit, &mut seen.ways);
        match row.state {
            SeriesState::Open => board.running.push(seen),
            SeriesState::Closed => board.closed.push(seen),
        }
    }
    Ok(office::board(&board).into())
}

fn all(reckoning: &Reckoning) -> Vec<(Series, SeriesSeen)> {
    let book = reckoning.book();
    let mut rows: Vec<&Series> = book.all_series().collect();
    rows.sort_by_key(|row| row.since);
    let mut by_series: BTreeMap<_, Vec<&Piece>> = BTreeMap::new();
    for piece in book.pieces() {
        by_series.entry(piece.series).or_default().push(piece);
    }
    let seen = rows.into_iter().map(|row| {
        let pieces = by_series.remove(&row.series).unwrap_or_default();
        let plan = reckoning.plan(row.series, PlanAsked::default());
        (row.clone(), series(book, row, &pieces, plan.as_ref()))
    });
    seen.collect()
}

fn series(book: &Book, row: &Series, pieces: &[&Piece], plan: Option<&SeriesPlan>) -> SeriesSeen {
    let mut names: Vec<&Shape> = row.shapes.iter().map(|size| &size.shape).collect();
    let mut others: Vec<&Shape> = pieces.iter().map(|piece| &piece.shape).collect();
    others.sort();
    others.dedup();
    others.retain(|shape| !names.contains(shape));
    names.extend(others);
    let pours = pours(plan);
    let shape = |shape: &Shape| shape_seen(book, row, shape, pieces, pours.get(shape.as_str()));
    let id = row.series;
    let mut ways = Vec::new();
    if row.state == SeriesState::Open {
        if row.kind_of == SeriesKind::Edition {
            ways.push(Way::new("Record an order", format!("/orders/new?series={id}")));
        }
        if pieces.iter().any(|piece| is_labelled(piece)) {
            ways.push(Way::new("Labels", format!("/series/{id}/labels")));
        }
        if row.kind_of == SeriesKind::Edition {
            ways.push(Way::new("Close the edition", format!("/series/{id}/closing")));
        }
    }
    SeriesSeen {
        code: row.code.to_string(),
        title: None,
        says: says(row),
        shapes: names.into_iter().map(shape).collect(),
        ways,
    }
}

fn says(row: &Series) -> String {
    let limits = row.limits.as_ref().map(|limits| {
        format!(
            ", {} g nominal, {} to {} g",
            limits.nominal, limits.lower, limits.upper
        )
    });
    let struck = if row.struck { ", struck" } else { "" };
    let kind = match row.kind_of {
        SeriesKind::Edition => "Edition",
        SeriesKind::Open => "Open series",
    };
    let limits = limits.unwrap_or_default();
    format!(
        "{kind} in {} {} ‰{limits}{struck}, marking {}.",
        row.metal, row.fineness, row.marking
    )
}

/// What the plan of a series says of a shape.
struct Pours {
    wanted: u32,
    pours: u64,
    /// Whether any pour of the shape came out good or bad yet: without one a plan says what nobody would believe.
    known: bool,
}

/// What the plan of a series says of each shape.
fn pours(plan: Option<&SeriesPlan>) -> BTreeMap<String, Pours> {
    let Some(plan) = plan else {
        return BTreeMap::new();
    };
    let answer = plan.answer().ok().flatten().map(|answer| answer.to_json());
    let items = answer
        .as_ref()
        .and_then(|answer| answer.get("shapes")?.as_array());
    let of = |shape: &str| {
        let mut items = items.into_iter().flatten();
        let item = items.find(|item| item.get("shape").and_then(|name| name.as_str()) == Some(shape));
        item.and_then(|item| item.get("pours")?.as_u64())
    };
    let told = plan.shapes.iter().map(|record| {
        let name = record.shape.to_string();
        let pours = of(&name).unwrap_or_else(|| u64::from(record.wanted));
        let told = Pours {
            wanted: record.wanted,
            pours,
            known: record.good > 0 || record.bad > 0,
        };
        (name, told)
    });
    told.collect()
}

fn shape_seen(
    book: &Book,
    row: &Series,
    shape: &Shape,
    pieces: &[&Piece],
    pours: Option<&Pours>,
) -> ShapeSeen {
    let of_shape: Vec<&&Piece> = pieces.iter().filter(|piece| piece.shape == *shape).collect();
    let list = |(_, states, grades): &Point| {
        let states: Vec<&str> = states.iter().map(|state| state.word()).collect();
        let grades: Vec<&str> = grades.iter().map(|grade| grade.word()).collect();
        let graded = if grades.is_empty() {
            String::new()
        } else {
            format!("&grade={}", grades.join(","))
        };
        format!(
            "/pieces?series={}&shape={shape}&state={}{graded}",
            row.code,
            states.join(",")
        )
    };
    let place = row.shapes.iter().position(|size| size.shape == *shape);
    let promised = place
        .and_then(|place| row.promised.get(place))
        .copied()
        .unwrap_or(0);
    let mut steps = Vec::new();
    if row.kind_of == SeriesKind::Edition {
        steps.push(Step {
            word: "promised",
            count: usize::try_from(promised).unwrap_or(usize::MAX),
            path: format!("/orders?series={}&state={}", row.code, OrderState::Open.word()),
        });
    }
    steps.push(Step {
        word: "poured",
        count: of_shape.len(),
        path: format!("/pieces?series={}&shape={shape}", row.code),
    });
    for point in POINTS {
        let count = of_shape.iter().filter(|piece| stands_at(piece, point)).count();
        steps.push(Step {
            word: point.0,
            count,
            path: list(point),
        });
    }
    let over_promised = book
        .availability(row.series, shape)
        .is_some_and(|availability| availability.promised > availability.available);
    ShapeSeen {
        shape: shape.as_str().replace('_', " "),
        size: row
            .shapes
            .iter()
            .find(|size| size.shape == *shape)
            .map(|size| size.size),
        steps,
        to_pour: (row.state == SeriesState::Open && row.kind_of == SeriesKind::Edition)
            .then(|| to_pour(pours))
            .flatten(),
        over_promised,
    }
}

/// How many to pour, where the record says anything of the yield.
fn to_pour(told: Option<&Pours>) -> Option<String> {
    let told = told?;
    let wanted = told.wanted;
    Some(match told.known {
        _ if wanted == 0 => "No more wanted.".to_owned(),
        true => format!(
            "{wanted} more wanted: pour {} to be 95 % sure of {}.",
            told.pours,
            if wanted == 1 { "it" } else { "them" }
        ),
        false => format!("{wanted} more wanted. How many to pour is told once some of them are weighed."),
    })
}

/// Whether a grading says so.
pub(super) fn is_graded(piece: &Piece, grades: &[Grade]) -> bool {
    piece
        .grading
        .as_ref()
        .is_some_and(|grading| grades.contains(&grading.grade))
}
