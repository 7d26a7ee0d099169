//! How the story begins: scales, metal, series and jars.

use super::crucible::{Delivery, fineness, mass};
use super::workshop::Workshop;
use crate::cli::Failure;
use crate::domain::{
    Event, ExemptGround, FinenessBasis, JarId, Limits, LotId, Marking, MeltId, OpenSeries, RegisterScale,
    Residue, ScaleId, SeriesCode, SeriesId, SeriesKind, Shape, ShapeSize, WeightUnit,
};
use crate::metal::{Metal, ScaleClass};

/// Size of the edition per shape.
pub(super) const SIZE: usize = 12;
/// Shapes of the edition.
pub(super) const SHAPES: [&str; 3] = ["oval", "hexagon", "slab"];

/// What the workshop works with.
pub(super) struct Bench {
    pub scale: ScaleId,
    pub coarse: ScaleId,
    pub lots: Vec<LotId>,
    pub gold: LotId,
    pub tidewheel: SeriesId,
    pub driftweight: SeriesId,
    pub prills: JarId,
    pub lemel: JarId,
    pub shapes: Vec<Shape>,
    pub heel: Option<MeltId>,
    pub first_lot_entry: u64,
}

/// Sets the workshop up.
pub(super) fn equip(shop: &mut Workshop) -> Result<Bench, Failure> {
    let coarse = register(shop, "0.1", "6000", "0.03", "counter scale")?;
    let scale = register(shop, "0.01", "500", "0.004", "bench balance")?;
    let session = shop.open(coarse, "1000", "1000.0")?;
    let mut lots = Vec::new();
    let mut first_lot_entry = 0;
    let silver = [
        ("1000.4", "999.9"),
        ("1000.2", "999.0"),
        ("750.1", "999.9"),
        ("500.3", "999.5"),
    ];
    for (place, (weighed, fine)) in silver.into_iter().enumerate() {
        let mut lot = bought(Metal::Silver, weighed, fine, "812.40");
        if place == 0 {
            lot.note = Some("collected by Marlo, who asked not to be named");
        }
        let (lot, index) = shop.receive(session, &lot)?;
        lots.push(lot);
        if place == 0 {
            first_lot_entry = index;
        }
    }
    let gold = bought(Metal::Gold, "100.1", "999.9", "8120.00");
    let (gold, _) = shop.receive(session, &gold)?;
    shop.close_session(session, "1000", "1000.0")?;
    let shapes: Vec<Shape> = SHAPES.into_iter().filter_map(Shape::parse).collect();
    let tidewheel = open_tidewheel(shop, &shapes)?;
    let driftweight = open_driftweight(shop)?;
    let prills = shop.jar(Metal::Silver, "999", Residue::Prills)?;
    let lemel = shop.jar(Metal::Silver, "999", Residue::Lemel)?;
    Ok(Bench {
        scale,
        coarse,
        lots,
        gold,
        tidewheel,
        driftweight,
        prills,
        lemel,
        shapes,
        heel: None,
        first_lot_entry,
    })
}

fn register(
    shop: &mut Workshop,
    step: &str,
    max: &str,
    spread: &str,
    label: &str,
) -> Result<ScaleId, Failure> {
    let command = RegisterScale {
        class: ScaleClass::II,
        e: mass(step)?,
        d: mass(step)?,
        max: mass(max)?,
        verified: true,
        repeatability: mass(spread)?,
        label: Some(label.to_owned()),
        note: None,
    };
    let recorded = shop.record(command)?;
    Workshop::event(&recorded, |event| match event {
        Event::ScaleRegistered(e) => Some(e.scale),
        _ => None,
    })
}

/// A lot of Pellworth Metals Counter.
pub(super) const fn bought(
    metal: Metal,
    weighed: &'static str,
    fineness: &'static str,
    price: &'static str,
) -> Delivery {
    Delivery {
        metal,
        weighed,
        fineness,
        basis: FinenessBasis::Declared,
        owner: None,
        price: Some(price),
        note: None,
    }
}

fn open_tidewheel(shop: &mut Workshop, shapes: &[Shape]) -> Result<SeriesId, Failure> {
    let size = u32::try_from(SIZE).unwrap_or(0);
    let command = OpenSeries {
        kind_of: SeriesKind::Edition,
        unit: WeightUnit::Gram,
        shapes: shapes
            .iter()
            .map(|shape| ShapeSize {
                shape: shape.clone(),
                size,
            })
            .collect(),
        limits: Some(Limits {
            nominal: mass("50.00")?,
            lower: mass("50.00")?,
            upper: mass("51.20")?,
        }),
        commissioner: Some("The Lantern & Loom Society".to_owned()),
        ..exempt("TW", "Tidewheel")?
    };
    series_of(shop, command)
}

fn open_driftweight(shop: &mut Workshop) -> Result<SeriesId, Failure> {
    series_of(shop, exempt("DW", "Driftweight")?)
}

/// An open series of silver in troy ounces that needs no hallmark, on the word of an assay office that was asked.
fn exempt(code: &str, title: &str) -> Result<OpenSeries, Failure> {
    Ok(OpenSeries {
        code: SeriesCode::parse(code).map_err(Failure::unusable)?,
        kind_of: SeriesKind::Open,
        metal: Metal::Silver,
        fineness: fineness("999")?,
        unit: WeightUnit::TroyOunce,
        shapes: Vec::new(),
        limits: None,
        digits: 4,
        marking: Marking::Exempt,
        ground: Some(ExemptGround::Bullion),
        exempt_below: None,
        exempt_from: None,
        unnumbered: false,
        number_on_metal: false,
        struck: false,
        spares_sold: false,
        title: Some(title.to_owned()),
        commissioner: None,
        decided: Some("the maker, after asking an assay office".to_owned()),
        note: None,
    })
}

/// Opens a series.
pub(super) fn series_of(shop: &mut Workshop, command: OpenSeries) -> Result<SeriesId, Failure> {
    let recorded = shop.record(command)?;
    Workshop::event(&recorded, |event| match event {
        Event::SeriesOpened(e) => Some(e.series),
        _ => None,
    })
}
