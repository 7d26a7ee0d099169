//! The edition *Saltlantern*: eight ingots of five troy ounces, struck with a commissioned die, hallmarked, numbered on the
//! metal. What the Hall will not mark goes on, if it goes on, as *Greywater*.

use super::crucible::{Charge, fineness, mass};
use super::eastmarch::{Consigned, Verdict};
use super::equipment::{Bench, bought, series_of};
use super::ledger::Holder;
use super::pictures::Shown;
use super::promises::SOCIETY;
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    ArchivePiece, CondemnReason, DieId, DieOwner, Event, Limits, LotId, Marking, MeltId, OpenSeries,
    PhotographSide, PhotographStage, PieceId, PieceState, Pour, RegisterDie, SeriesCode, SeriesId,
    SeriesKind, ShapeSize, Stage, StrikeOutcome, WeightUnit,
};
use crate::metal::Metal;

/// About what is poured for one ingot, and how steady the hand is.
const INGOT: (i64, i64) = (156 * GRAM + 350 * MILLIGRAM, 90 * MILLIGRAM);
/// The most that is drawn from a lot at once: the bench balance takes 500 g.
const DRAW_MOST: i64 = 450 * GRAM;

/// What the ingots really weigh for their size, in 0.00001 g/cm3: one of them has pores inside.
const DENSITIES: [i64; 7] = [
    1_048_600, 1_048_200, 1_048_900, 1_043_500, 1_048_400, 1_048_700, 1_048_000,
];

/// The edition as far as it is.
pub(super) struct Saltlantern {
    pub series: SeriesId,
    pub greywater: SeriesId,
    /// The commissioner's.
    pub face: DieId,
    /// Cut for the edition by the workshop.
    pub reverse: DieId,
    /// Silver as good as it was declared.
    pub good: Vec<LotId>,
    /// Silver that was declared finer than it is.
    pub poor: LotId,
    /// Its dearest piece of luck: the heel of the refused melt.
    pub poor_heel: Option<MeltId>,
}

/// The edition is announced, its dies and its silver come.
pub(super) fn announce(shop: &mut Workshop, bench: &Bench) -> Result<Saltlantern, Failure> {
    let series = series_of(shop, saltlantern()?)?;
    let greywater = series_of(shop, greywater()?)?;
    let face = die(shop, DieOwner::Commissioner, Some(series), "lantern and waves")?;
    let reverse = die(shop, DieOwner::Workshop, Some(series), "date and maker")?;
    shop.days(1);
    let session = shop.open(bench.coarse, "1000", "1000.0")?;
    let (first, _) = shop.receive(session, &bought(Metal::Silver, "1000.3", "999.9", "815.10"))?;
    let (poor, _) = shop.receive(session, &bought(Metal::Silver, "900.2", "999.0", "702.00"))?;
    let (second, _) = shop.receive(session, &bought(Metal::Silver, "800.4", "999.9", "655.30"))?;
    shop.check(session, "1000", "1000.1")?;
    shop.close_session(session, "1000", "1000.0")?;
    let mut good = vec![first, second];
    good.extend(bench.lots.iter().rev().copied());
    Ok(Saltlantern {
        series,
        greywater,
        face,
        reverse,
        good,
        poor,
        poor_heel: None,
    })
}

pub(super) fn die(
    shop: &mut Workshop,
    owner: DieOwner,
    series: Option<SeriesId>,
    label: &str,
) -> Result<DieId, Failure> {
    let recorded = shop.record(RegisterDie {
        owner,
        series,
        label: Some(label.to_owned()),
        note: None,
    })?;
    Workshop::event(&recorded, |event| match event {
        Event::DieRegistered(e) => Some(e.die),
        _ => None,
    })
}

fn saltlantern() -> Result<OpenSeries, Failure> {
    Ok(OpenSeries {
        code: SeriesCode::parse("ST").map_err(Failure::unusable)?,
        kind_of: SeriesKind::Edition,
        shapes: vec![ShapeSize {
            shape: Workshop::shape("ingot")?,
            size: 8,
        }],
        limits: Some(Limits {
            nominal: mass("155.52")?,
            lower: mass("155.52")?,
            upper: mass("157.00")?,
        }),
        number_on_metal: true,
        struck: true,
        title: Some("Saltlantern".to_owned()),
        commissioner: Some(SOCIETY.to_owned()),
        fineness: fineness("999")?,
        unit: WeightUnit::TroyOunce,
        ..greywater()?
    })
}

/// The open series for what is below the standard of an edition.
fn greywater() -> Result<OpenSeries, Failure> {
    Ok(OpenSeries {
        code: SeriesCode::parse("GW").map_err(Failure::unusable)?,
        kind_of: SeriesKind::Open,
        metal: Metal::Silver,
        fineness: fineness("958")?,
        unit: WeightUnit::Gram,
        shapes: Vec::new(),
        limits: None,
        digits: 4,
        marking: Marking::Required,
        ground: None,
        exempt_below: None,
        exempt_from: None,
        unnumbered: false,
        number_on_metal: false,
        struck: false,
        spares_sold: false,
        title: Some("Greywater".to_owned()),
        commissioner: None,
        decided: Some("the maker, after asking the Eastmarch Assay Hall".to_owned()),
        note: None,
    })
}

/// Draws from lots, in turn, until `wanted` is in the crucible.
pub(super) fn draws(shop: &Workshop, lots: &[LotId], wanted: i64) -> Vec<(LotId, i64)> {
    let mut missing = wanted;
    let mut draws = Vec::new();
    for lot in lots {
        let draw = missing.min(shop.ledger.left(*lot)).min(DRAW_MOST) / (100 * MILLIGRAM) * (100 * MILLIGRAM);
        if draw > 0 {
            draws.push((*lot, draw));
            missing -= draw;
        }
    }
    draws
}

/// One melt of ingots, finished and with serials.
fn cast(
    shop: &mut Workshop,
    bench: &mut Bench,
    edition: &Saltlantern,
    lots: &[LotId],
    remelt: &[PieceId],
    count: usize,
) -> Result<Vec<PieceId>, Failure> {
    let session = shop.open(bench.scale, "200", "200.00")?;
    let mut whole: i64 = remelt.iter().map(|piece| shop.ledger.weighs(*piece)).sum();
    let heels: Vec<MeltId> = bench.heel.take().into_iter().collect();
    let held = heels.iter().filter_map(|heel| shop.ledger.heels.get(heel));
    whole += held.map(|held| held.mass).sum::<i64>();
    let (each, _) = INGOT;
    let ingots = i64::try_from(count).unwrap_or(0) * each;
    let charge = Charge {
        metal: Metal::Silver,
        lots: draws(shop, lots, ingots + 18 * GRAM - whole),
        heels,
        jars: Vec::new(),
        pieces: remelt.to_vec(),
    };
    let mut crucible = shop.charge(session, charge)?;
    let shape = Workshop::shape("ingot")?;
    let series = edition.series;
    let pours = (0..count).map(|_| Pour {
        series,
        shape: shape.clone(),
        mould: None,
    });
    let pieces = shop.pour(session, &mut crucible, pours.collect(), INGOT)?;
    bench.heel = Some(shop.weigh_out(session, crucible, Some(bench.prills))?);
    shop.check(session, "200", "200.01")?;
    shop.finish(session, bench.lemel, &pieces)?;
    shop.serials(&pieces)?;
    shop.close_session(session, "200", "200.00")?;
    Ok(pieces)
}

/// Strikes both faces: the first piece comes out as `first` says, all others well.
fn strike(
    shop: &mut Workshop,
    edition: &Saltlantern,
    pieces: &[PieceId],
    first: StrikeOutcome,
) -> Result<Vec<PieceId>, Failure> {
    let mut strikes: Vec<(PieceId, StrikeOutcome)> =
        pieces.iter().map(|piece| (*piece, StrikeOutcome::Good)).collect();
    if let Some((_, outcome)) = strikes.first_mut() {
        *outcome = first;
    }
    shop.strike(edition.face, &strikes)?;
    strikes.retain(|(_, outcome)| *outcome == StrikeOutcome::Good);
    shop.strike(edition.reverse, &strikes)?;
    Ok(strikes.into_iter().map(|(piece, _)| piece).collect())
}

/// The first ingots: two melts, two mis-strikes, and seven pieces sent to the Hall.
pub(super) fn first_ingots(
    shop: &mut Workshop,
    bench: &mut Bench,
    edition: &mut Saltlantern,
) -> Result<Consigned, Failure> {
    let good = edition.good.clone();
    let ours = cast(shop, bench, edition, &good, &[], 5)?;
    shop.days(2);
    let lots: Vec<LotId> = [edition.poor].into_iter().chain(good).collect();
    let theirs = cast(shop, bench, edition, &lots, &[], 5)?;
    edition.poor_heel = bench.heel.take();
    shop.days(3);
    let mut struck = strike(shop, edition, &ours, StrikeOutcome::Double)?;
    let struck_too = strike(shop, edition, &theirs, StrikeOutcome::OffCentre)?;
    if let Some(piece) = ours.first() {
        shop.condemn(*piece, CondemnReason::MisStruck)?;
    }
    if let Some(piece) = theirs.first() {
        let note = Some("for the shelf above the bench".to_owned());
        shop.record(ArchivePiece { piece: *piece, note })?;
        shop.ledger.go(*piece, PieceState::Archived, Holder::Workshop);
    }
    // One of the second melt stays behind: its edge wants another look.
    struck.extend(struck_too.into_iter().take(3));
    shop.days(2);
    shop.consign(&struck, "999", "EAH-0417")
}

/// What came back the first time, and six more ingots. Gives what is sent, and the piece that was refused.
pub(super) fn second_ingots(
    shop: &mut Workshop,
    bench: &mut Bench,
    edition: &Saltlantern,
    first: Consigned,
) -> Result<(Consigned, PieceId), Failure> {
    let verdicts = [
        Verdict::Marked,
        Verdict::Marked,
        Verdict::Faint,
        Verdict::Missing,
        Verdict::Marked,
        Verdict::Refused("996.2"),
        Verdict::Damaged,
    ];
    shop.fetch(first, &verdicts)?;
    let unmarked = shop.ledger.pieces_in(PieceState::Unmarked);
    let [refused, damaged] = unmarked.as_slice() else {
        return Err(Failure::unusable("two pieces come back unmarked"));
    };
    shop.condemn(*damaged, CondemnReason::Damaged)?;
    for mate in shop.ledger.pieces_in(PieceState::Struck) {
        shop.condemn(mate, CondemnReason::Unwanted)?;
    }
    shop.days(3);
    let mis_struck = shop.ledger.pieces.iter().filter(|(_, fate)| {
        fate.condemned == Some(CondemnReason::MisStruck) && fate.state == PieceState::Condemned
    });
    let remelt: Vec<PieceId> = mis_struck.map(|(piece, _)| *piece).collect();
    let lots = edition.good.clone();
    let pieces = cast(shop, bench, edition, &lots, &remelt, 6)?;
    shop.days(1);
    let struck = strike(shop, edition, &pieces, StrikeOutcome::Good)?;
    shop.days(1);
    Ok((shop.consign(&struck, "999", "EAH-0502")?, *refused))
}

/// Seven get their numbers, stamped on the edge and weighed after that; two are spares.
pub(super) fn number(
    shop: &mut Workshop,
    bench: &Bench,
    edition: &Saltlantern,
    second: Consigned,
) -> Result<[PieceId; 2], Failure> {
    let mut verdicts = vec![Verdict::Marked; 5];
    verdicts.push(Verdict::Cut("999.2"));
    shop.fetch(second, &verdicts)?;
    shop.days(1);
    let marked = shop.ledger.pieces_in(PieceState::Hallmarked);
    let marked: Vec<PieceId> = marked
        .into_iter()
        .filter(|piece| {
            shop.ledger
                .pieces
                .get(piece)
                .is_some_and(|fate| fate.series == edition.series)
        })
        .collect();
    let session = shop.open(bench.scale, "200", "200.00")?;
    shop.weigh(session, Stage::Final, &marked)?;
    let (numbered, spares) = marked.split_at(marked.len().min(7));
    shop.number(numbered)?;
    shop.spare(spares)?;
    shop.wait(60);
    shop.weigh(session, Stage::Final, numbered)?;
    for (piece, density) in numbered.iter().zip(DENSITIES) {
        shop.immerse(session, *piece, density)?;
    }
    shop.close_session(session, "200", "199.99")?;
    shop.certify(numbered)?;
    if let [first, .., sixth, _] = numbered {
        let (hallmarked, face) = (PhotographStage::Hallmarked, PhotographSide::Face);
        shop.photograph(*first, (Shown::Ingot, 3), hallmarked, face)?;
        shop.photograph(*sixth, (Shown::Ingot, 8), hallmarked, face)?;
        shop.photograph(*sixth, (Shown::Marks, 8), hallmarked, PhotographSide::Marks)?;
    }
    let [one, other] = spares else {
        return Err(Failure::unusable("two spares are left"));
    };
    Ok([*one, *other])
}
