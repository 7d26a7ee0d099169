//! The gold edition *Emberleaf*: three leaves, hallmarked, without numbers. One is stolen, and comes back.

use super::crucible::{Charge, fineness, mass};
use super::eastmarch::{Consigned, Verdict};
use super::equipment::{Bench, series_of};
use super::pictures::Shown;
use super::promises::at_the_counter;
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    JarId, Limits, Marking, OpenSeries, PhotographSide, PhotographStage, PieceId, Pour, Residue, SeriesCode,
    SeriesId, SeriesKind, ShapeSize, Stage, WeightUnit,
};
use crate::metal::Metal;

/// The edition as far as it is.
pub(super) struct Emberleaf {
    pub series: SeriesId,
    pub prills: JarId,
    pub lemel: JarId,
    pieces: Vec<PieceId>,
}

/// Opened, poured, finished, and sent to the Hall.
pub(super) fn pour(shop: &mut Workshop, bench: &Bench) -> Result<(Emberleaf, Consigned), Failure> {
    let series = series_of(shop, series()?)?;
    let prills = shop.jar(Metal::Gold, "999", Residue::Prills)?;
    let lemel = shop.jar(Metal::Gold, "999", Residue::Lemel)?;
    let session = shop.open(bench.scale, "20", "20.00")?;
    let charge = Charge {
        metal: Metal::Gold,
        lots: vec![(bench.gold, 66 * GRAM)],
        heels: Vec::new(),
        jars: Vec::new(),
        pieces: Vec::new(),
    };
    let mut crucible = shop.charge(session, charge)?;
    let shape = Workshop::shape("leaf")?;
    let pours = (0..3).map(|_| Pour {
        series,
        shape: shape.clone(),
        mould: None,
    });
    let hand = (20 * GRAM + 350 * MILLIGRAM, 40 * MILLIGRAM);
    let pieces = shop.pour(session, &mut crucible, pours.collect(), hand)?;
    shop.weigh_out(session, crucible, Some(prills))?;
    shop.finish(session, lemel, &pieces)?;
    shop.serials(&pieces)?;
    shop.close_session(session, "20", "20.00")?;
    shop.days(1);
    let sent = shop.consign(&pieces, "999", "EAH-0511")?;
    let edition = Emberleaf {
        series,
        prills,
        lemel,
        pieces,
    };
    Ok((edition, sent))
}

fn series() -> Result<OpenSeries, Failure> {
    Ok(OpenSeries {
        code: SeriesCode::parse("EB").map_err(Failure::unusable)?,
        kind_of: SeriesKind::Edition,
        metal: Metal::Gold,
        fineness: fineness("999")?,
        unit: WeightUnit::Gram,
        shapes: vec![ShapeSize {
            shape: Workshop::shape("leaf")?,
            size: 3,
        }],
        limits: Some(Limits {
            nominal: mass("20.00")?,
            lower: mass("20.00")?,
            upper: mass("20.80")?,
        }),
        digits: 4,
        marking: Marking::Required,
        ground: None,
        exempt_below: None,
        exempt_from: None,
        unnumbered: true,
        number_on_metal: false,
        struck: false,
        spares_sold: false,
        title: Some("Emberleaf".to_owned()),
        commissioner: None,
        decided: Some("the maker, after asking the Eastmarch Assay Hall".to_owned()),
        note: None,
    })
}

/// Back from the Hall, certified; one was promised and is handed over, one is sold.
pub(super) fn sell(
    shop: &mut Workshop,
    bench: &Bench,
    edition: &Emberleaf,
    sent: Consigned,
) -> Result<(), Failure> {
    let mut promise = shop.promise(edition.series, "Isolde Marrick", &[("leaf", 1)])?;
    shop.fetch(sent, &[Verdict::Marked; 3])?;
    let session = shop.open(bench.scale, "20", "20.00")?;
    shop.weigh(session, Stage::Final, &edition.pieces)?;
    shop.close_session(session, "20", "20.00")?;
    shop.certify(&edition.pieces)?;
    // Without a number, the certificate takes the place in the edition.
    let places = u32::try_from(edition.pieces.len()).unwrap_or(0);
    let key = (edition.series, Workshop::shape("leaf")?);
    shop.ledger.numbers.insert(key, places);
    let [first, second, _] = edition.pieces.as_slice() else {
        return Err(Failure::unusable("three leaves are poured"));
    };
    shop.photograph(
        *first,
        (Shown::Leaf, 20),
        PhotographStage::AsSold,
        PhotographSide::Face,
    )?;
    shop.days(1);
    let deal = shop.supply(&mut promise, &[*first], "2180.00")?;
    shop.hand_over(&deal)?;
    shop.days(3);
    at_the_counter(shop, "Ivo Kestrel", *second, "2210.00")?;
    Ok(())
}

/// Taken from the window, and found in a hedge.
pub(super) fn theft(shop: &mut Workshop, edition: &Emberleaf) -> Result<(), Failure> {
    let piece = shop.ledger.in_stock(edition.series, None)?;
    shop.stolen(piece, "report 2244, taken from the window")?;
    shop.days(5);
    shop.recover(piece)
}
