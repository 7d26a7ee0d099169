//! The story: metal comes in, an edition is poured until it is full, and what goes wrong in a workshop goes wrong.

use super::equipment::{Bench, SHAPES, SIZE, close, equip, open};
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    ChargeMelt, CloseMelt, CondemnPiece, CondemnReason, EraseField, EraseReason, Event, Fault, FaultPiece,
    FinishPieces, GiveSerials, Grade, IssueCertificates, JarDraw, LotDraw, MeltId, MovePiece, NumberPieces,
    PieceId, PieceState, Pour, PourPieces, SessionId, Stage, SupersedeCertificate, SupersedeReason,
    WeighPieces, Weighing,
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
    aftermath(shop, &bench)
}

/// How many numbers each shape still has to give.
fn short_of(shop: &Workshop, bench: &Bench) -> Vec<usize> {
    let numbers = shop
        .book()
        .series(bench.tidewheel)
        .map(|series| series.numbers.clone())
        .unwrap_or_default();
    let given = numbers
        .iter()
        .map(|given| usize::try_from(*given).unwrap_or(SIZE));
    let mut short: Vec<usize> = given.map(|given| SIZE.saturating_sub(given)).collect();
    short.resize(SHAPES.len(), SIZE);
    short
}

fn pour_day(shop: &mut Workshop, bench: &mut Bench, day: u32) -> Result<(), Failure> {
    let session = open(shop, bench.scale, "100", "100.00")?;
    let (melt, charge) = charge(shop, bench, session, day)?;
    let pieces = pour(shop, bench, melt)?;
    cast(shop, bench, session, melt, charge, &pieces)?;
    finish(shop, bench, session, &pieces, day)?;
    let kept = sort_out(shop, bench, &pieces)?;
    weigh_finally(shop, session, &kept)?;
    // On the third day the closing check fails: somebody leaned on the balance. All of it is weighed again.
    if day == 3 {
        close(shop, session, "100", "100.07")?;
        shop.ledger.failed_checks += 1;
        shop.wait(30);
        let again = open(shop, bench.scale, "100", "100.00")?;
        weigh_finally(shop, again, &kept)?;
        close(shop, again, "100", "100.00")?;
    } else {
        close(shop, session, "100", "100.01")?;
    }
    certify(shop, bench, &kept)
}

/// Draws from the lots, puts heel and condemned pieces in.
fn charge(
    shop: &mut Workshop,
    bench: &mut Bench,
    session: SessionId,
    day: u32,
) -> Result<(MeltId, i64), Failure> {
    let mut total = 0;
    let mut pieces = Vec::new();
    let book = shop.book();
    let condemned: Vec<PieceId> = book
        .pieces()
        .filter(|piece| piece.state == PieceState::Condemned)
        .map(|piece| piece.piece)
        .collect();
    for piece in condemned {
        total += shop.truth.remove(&piece).unwrap_or(0);
        shop.ledger.remelted += 1;
        pieces.push(piece);
    }
    pieces.sort();
    let heel = bench.heel.take();
    total += heel.map_or(0, |(_, left)| left);
    let mut jars = Vec::new();
    if day.is_multiple_of(4) {
        for (jar, held) in [
            (bench.prills, shop.ledger.prills),
            (bench.lemel, shop.ledger.lemel),
        ] {
            let mass = Workshop::reads(held, 10 * MILLIGRAM, 2)?;
            if !mass.mass().is_zero() {
                jars.push(JarDraw { jar, mass });
                total += held;
            }
        }
        shop.ledger.prills = 0;
        shop.ledger.lemel = 0;
    }
    let wanted = 500 * GRAM;
    let mut lots = Vec::new();
    for (lot, left) in &mut bench.lots {
        let draw = (wanted - total).min(*left).max(0) / (100 * MILLIGRAM) * (100 * MILLIGRAM);
        if draw > 0 {
            lots.push(LotDraw {
                lot: *lot,
                mass: Workshop::reads(draw, 10 * MILLIGRAM, 2)?,
            });
            *left -= draw;
            total += draw;
        }
    }
    let heels = heel.map(|(melt, _)| melt).into_iter().collect();
    let command = ChargeMelt {
        metal: Metal::Silver,
        session,
        lots,
        heels,
        jars,
        pieces,
        note: None,
    };
    let recorded = shop.record(command)?;
    let melt = Workshop::event(&recorded, |event| match event {
        Event::MeltCharged(e) => Some(e.melt),
        _ => None,
    })?;
    Ok((melt, total))
}

/// Fills the cavities of the shapes that are most behind.
fn pour(shop: &mut Workshop, bench: &Bench, melt: MeltId) -> Result<Vec<PieceId>, Failure> {
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
            });
            *behind = behind.saturating_sub(1);
        }
    }
    let recorded = shop.record(PourPieces { melt, pours })?;
    Ok(recorded.events.iter().filter_map(|event| event.piece()).collect())
}

/// What comes out of the moulds, and what is left.
fn cast(
    shop: &mut Workshop,
    bench: &mut Bench,
    session: SessionId,
    melt: MeltId,
    charge: i64,
    pieces: &[PieceId],
) -> Result<(), Failure> {
    let mut left = charge;
    for piece in pieces {
        let poured = shop.around(50 * GRAM + 700 * MILLIGRAM, 450 * MILLIGRAM);
        shop.truth.insert(*piece, poured);
        left -= poured;
    }
    weigh(shop, session, Stage::FromMould, pieces)?;
    let prills = shop.around(600 * MILLIGRAM, 100 * MILLIGRAM).max(0);
    let lost = shop.around(250 * MILLIGRAM, 60 * MILLIGRAM).max(0);
    let heel = left - prills - lost;
    let gathered = JarDraw {
        jar: bench.prills,
        mass: Workshop::reads(prills, 10 * MILLIGRAM, 2)?,
    };
    let command = CloseMelt {
        melt,
        session,
        heel: Workshop::reads(heel, 10 * MILLIGRAM, 2)?,
        prills: Some(gathered),
        note: None,
    };
    shop.record(command)?;
    shop.ledger.melt_losses.push(lost);
    shop.ledger.prills += prills;
    shop.ledger.heel = heel;
    shop.ledger.silver_in_lots = bench.lots.iter().map(|(_, left)| left).sum();
    bench.heel = Some((melt, heel));
    Ok(())
}

fn weigh(shop: &mut Workshop, session: SessionId, stage: Stage, pieces: &[PieceId]) -> Result<(), Failure> {
    if pieces.is_empty() {
        return Ok(());
    }
    let items = tray(shop, pieces)?;
    shop.record(WeighPieces {
        session,
        stage,
        items,
    })
    .map(|_| ())
}

fn tray(shop: &Workshop, pieces: &[PieceId]) -> Result<Vec<Weighing>, Failure> {
    let items = pieces.iter().map(|piece| {
        let truth = shop.truth.get(piece).copied().unwrap_or(0);
        Ok(Weighing {
            piece: *piece,
            mass: Workshop::reads(truth, 10 * MILLIGRAM, 2)?,
        })
    });
    items.collect()
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
    for piece in &filed {
        let off = shop.around(40 * MILLIGRAM, 12 * MILLIGRAM).max(0);
        if let Some(truth) = shop.truth.get_mut(piece) {
            *truth -= off;
            shop.ledger.lemel += off;
        }
    }
    if filed.is_empty() {
        return Ok(());
    }
    let items = tray(shop, &filed)?;
    shop.record(FinishPieces {
        session,
        jar: bench.lemel,
        items,
    })
    .map(|_| ())
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
                shop.record(MovePiece {
                    piece: *piece,
                    to: bench.driftweight,
                    note: None,
                })?;
                kept.push(*piece);
                continue;
            }
            Some(Grade::Under) => CondemnReason::Under,
            Some(Grade::Borderline) => CondemnReason::Borderline,
            Some(Grade::Faulty) => CondemnReason::Faulty,
            None => CondemnReason::Unwanted,
        };
        shop.record(CondemnPiece {
            piece: *piece,
            reason,
            note: None,
        })?;
    }
    if !kept.is_empty() {
        shop.record(GiveSerials { pieces: kept.clone() })?;
    }
    Ok(kept)
}

fn weigh_finally(shop: &mut Workshop, session: SessionId, kept: &[PieceId]) -> Result<(), Failure> {
    weigh(shop, session, Stage::Final, kept)
}

fn certify(shop: &mut Workshop, bench: &Bench, kept: &[PieceId]) -> Result<(), Failure> {
    let (edition, open): (Vec<PieceId>, Vec<PieceId>) = kept.iter().partition(|piece| {
        shop.book()
            .piece(**piece)
            .is_some_and(|piece| piece.series == bench.tidewheel)
    });
    if !edition.is_empty() {
        shop.record(NumberPieces {
            pieces: edition.clone(),
        })?;
    }
    for (series, pieces) in [(bench.tidewheel, edition), (bench.driftweight, open)] {
        if !pieces.is_empty() {
            let count = u32::try_from(pieces.len()).unwrap_or(0);
            shop.record(IssueCertificates { pieces })?;
            *shop.ledger.certified.entry(series).or_default() += count;
        }
    }
    Ok(())
}

/// A certificate is spoilt and issued again; somebody asks to be forgotten.
fn aftermath(shop: &mut Workshop, bench: &Bench) -> Result<(), Failure> {
    let mut certified: Vec<_> = shop
        .book()
        .pieces()
        .filter(|piece| piece.number == Some(1))
        .collect();
    certified.sort_by(|a, b| (a.since, &a.pour).cmp(&(b.since, &b.pour)));
    if let Some(piece) = certified.first().map(|piece| piece.piece) {
        let note = Some("tea on the first print".to_owned());
        shop.record(SupersedeCertificate {
            piece,
            reason: SupersedeReason::Damaged,
            note,
        })?;
    }
    shop.record(EraseField {
        index: bench.first_lot_entry,
        event: 0,
        member: "note".to_owned(),
        reason: EraseReason::Request,
        entry: String::new(),
    })?;
    Ok(())
}
