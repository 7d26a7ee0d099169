//! The story: metal comes in, an edition is poured until it is full, and what goes wrong in a workshop goes wrong.

use super::crucible::{Charge, Crucible};
use super::equipment::{Bench, SIZE, equip};
use super::half_a_year;
use super::pictures::Shown;
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    CondemnReason, Fault, FaultPiece, Grade, MeltId, PhotographSide, PhotographStage, PieceId, PieceState,
    Pour, SessionId, Stage, SupersedeReason,
};
use crate::metal::Metal;

/// Cavities filled from one charge.
const CAVITIES: usize = 9;

/// Tells the whole story.
///
/// # Errors
/// [`Failure`] if the book refuses a step: a bug of the story or of the book.
pub fn tell(shop: &mut Workshop) -> Result<(), Failure> {
    let mut bench = equip(shop)?;
    let mut day = 0;
    while short_of(shop, &bench).iter().any(|short| *short > 0) {
        day += 1;
        if day > 20 {
            return Err(Failure::unusable(
                "the edition does not fill: the story is broken",
            ));
        }
        shop.wait(24 * 60);
        pour_day(shop, &mut bench, day)?;
    }
    shop.wait(3 * 24 * 60);
    aftermath(shop, &bench)?;
    half_a_year::tell(shop, &mut bench)
}

/// How many numbers each shape still has to give.
fn short_of(shop: &Workshop, bench: &Bench) -> Vec<usize> {
    let given = bench.shapes.iter().map(|shape| {
        let given = shop.ledger.numbers.get(&(bench.tidewheel, shape.clone()));
        usize::try_from(given.copied().unwrap_or(0)).unwrap_or(SIZE)
    });
    given.map(|given| SIZE.saturating_sub(given)).collect()
}

fn pour_day(shop: &mut Workshop, bench: &mut Bench, day: u32) -> Result<(), Failure> {
    let session = shop.open(bench.scale, "100", "100.00")?;
    let mut crucible = charge(shop, bench, session, day)?;
    let hand = (50 * GRAM + 700 * MILLIGRAM, 450 * MILLIGRAM);
    let pours = pours(shop, bench);
    let pieces = shop.pour(session, &mut crucible, pours, hand)?;
    // On the fifth day what is left fills a small cavity, and its piece goes home in somebody's pocket.
    if day == 5 {
        shop.pour_untold(&mut crucible, 21 * GRAM + 380 * MILLIGRAM);
    }
    bench.heel = Some(shop.weigh_out(session, crucible, Some(bench.prills))?);
    if day == 3 {
        shop.help_oneself(bench.prills, 450 * MILLIGRAM);
    }
    finish(shop, bench, session, &pieces, day)?;
    let kept = sort_out(shop, bench, &pieces)?;
    shop.weigh(session, Stage::Final, &kept)?;
    // On the third day the closing check fails: somebody leaned on the balance. All of it is weighed again.
    if day == 3 {
        shop.close_session(session, "100", "100.07")?;
        shop.ledger.failed_checks += 1;
        shop.wait(30);
        let again = shop.open(bench.scale, "100", "100.00")?;
        shop.weigh(again, Stage::Final, &kept)?;
        shop.close_session(again, "100", "100.00")?;
    } else {
        shop.close_session(session, "100", "100.01")?;
    }
    certify(shop, bench, &kept)
}

/// Draws from the lots, puts heel and condemned pieces in; every fourth day the jars too.
fn charge(shop: &mut Workshop, bench: &mut Bench, session: SessionId, day: u32) -> Result<Crucible, Failure> {
    let mut pieces = shop.ledger.pieces_in(PieceState::Condemned);
    pieces.sort();
    let heels: Vec<MeltId> = bench.heel.take().into_iter().collect();
    let mut jars = Vec::new();
    if day.is_multiple_of(4) {
        jars.extend(
            [bench.prills, bench.lemel]
                .into_iter()
                .filter(|jar| shop.ledger.in_jar(*jar) > 0),
        );
    }
    let mut total: i64 = pieces.iter().map(|piece| shop.ledger.weighs(*piece)).sum();
    total += heels
        .iter()
        .filter_map(|heel| shop.ledger.heels.get(heel))
        .map(|held| held.mass)
        .sum::<i64>();
    total += jars.iter().map(|jar| shop.ledger.in_jar(*jar)).sum::<i64>();
    let wanted = 500 * GRAM;
    let mut lots = Vec::new();
    for lot in &bench.lots {
        let left = shop.ledger.left(*lot);
        let draw = (wanted - total).min(left).max(0) / (100 * MILLIGRAM) * (100 * MILLIGRAM);
        if draw > 0 {
            lots.push((*lot, draw));
            total += draw;
        }
    }
    let metal = Metal::Silver;
    shop.charge(
        session,
        Charge {
            metal,
            lots,
            heels,
            jars,
            pieces,
        },
    )
}

/// Fills the cavities of the shapes that are most behind.
fn pours(shop: &Workshop, bench: &Bench) -> Vec<Pour> {
    let mut short = short_of(shop, bench);
    let mut pours = Vec::new();
    for _ in 0..CAVITIES {
        let most = short
            .iter()
            .enumerate()
            .max_by_key(|(place, short)| (**short, usize::MAX - place));
        let place = most.map_or(0, |(place, _)| place);
        if let (Some(shape), Some(behind)) = (bench.shapes.get(place), short.get_mut(place)) {
            pours.push(Pour {
                series: bench.tidewheel,
                shape: shape.clone(),
                mould: None,
            });
            *behind = behind.saturating_sub(1);
        }
    }
    pours
}

fn grade(shop: &Workshop, piece: PieceId) -> Option<Grade> {
    shop.book()
        .piece(piece)?
        .grading
        .as_ref()
        .map(|grading| grading.grade)
}

/// Files a little off what is worth it; one piece in the second melt shows a cold shut.
fn finish(
    shop: &mut Workshop,
    bench: &Bench,
    session: SessionId,
    pieces: &[PieceId],
    day: u32,
) -> Result<(), Failure> {
    if let (2, Some(piece)) = (day, pieces.first()) {
        let note = Some("seam across the face".to_owned());
        shop.record(FaultPiece {
            piece: *piece,
            fault: Fault::ColdShut,
            note,
        })?;
    }
    let worth = |piece: &&PieceId| matches!(grade(shop, **piece), Some(Grade::Accepted | Grade::Over));
    let filed: Vec<PieceId> = pieces.iter().filter(worth).copied().collect();
    shop.finish(session, bench.lemel, &filed)
}

/// Handsome overweights move to the odd-weight series, the rest that does not fit is given up; serials for what is kept.
fn sort_out(shop: &mut Workshop, bench: &Bench, pieces: &[PieceId]) -> Result<Vec<PieceId>, Failure> {
    let mut kept = Vec::new();
    let mut short = short_of(shop, bench);
    for piece in pieces {
        let reason = match grade(shop, *piece) {
            Some(Grade::Accepted) => {
                let shape = shop.book().piece(*piece).map(|piece| piece.shape.clone());
                let place = bench
                    .shapes
                    .iter()
                    .position(|known| Some(known) == shape.as_ref())
                    .unwrap_or(0);
                if let Some(left) = short.get_mut(place).filter(|left| **left > 0) {
                    *left -= 1;
                    kept.push(*piece);
                }
                continue;
            }
            Some(Grade::Over) => {
                shop.move_to(*piece, bench.driftweight, PieceState::Graded)?;
                kept.push(*piece);
                continue;
            }
            Some(Grade::Under) => CondemnReason::Under,
            Some(Grade::Borderline) => CondemnReason::Borderline,
            Some(Grade::Faulty) => CondemnReason::Faulty,
            None => CondemnReason::Unwanted,
        };
        shop.condemn(*piece, reason)?;
    }
    if !kept.is_empty() {
        shop.serials(&kept)?;
    }
    Ok(kept)
}

fn certify(shop: &mut Workshop, bench: &Bench, kept: &[PieceId]) -> Result<(), Failure> {
    let (edition, open): (Vec<PieceId>, Vec<PieceId>) = kept.iter().partition(|piece| {
        let fate = shop.ledger.pieces.get(piece);
        fate.is_some_and(|fate| fate.series == bench.tidewheel)
    });
    if !edition.is_empty() {
        shop.number(&edition)?;
    }
    for pieces in [edition, open] {
        if !pieces.is_empty() {
            shop.certify(&pieces)?;
        }
    }
    Ok(())
}

/// A certificate is spoilt and issued again; somebody asks to be forgotten.
fn aftermath(shop: &mut Workshop, bench: &Bench) -> Result<(), Failure> {
    let piece = shop.ledger.in_stock(bench.tidewheel, None)?;
    shop.supersede(piece, SupersedeReason::Damaged, "tea on the first print")?;
    let from_mould = PhotographStage::FromMould;
    shop.photograph(piece, (Shown::Oval, 12), from_mould, PhotographSide::Face)?;
    shop.photograph(piece, (Shown::Edge, 12), from_mould, PhotographSide::Edge)?;
    shop.erase(bench.first_lot_entry, 0, "note")
}
