//! How the story begins: scales, metal, series and jars.

use super::workshop::Workshop;
use crate::cli::Failure;
use crate::domain::{
    CloseSession, Event, ExemptGround, FinenessBasis, JarId, Limits, LotId, Marking, MeltId, OpenJar,
    OpenSeries, OpenSession, ReceiveLot, RegisterScale, Residue, ScaleId, SeriesCode, SeriesId, SeriesKind,
    SessionId, Shape, ShapeSize, WeightUnit,
};
use crate::metal::{Fineness, Mass, Metal, Money, Reading, ScaleClass};

/// Size of the edition per shape.
pub(super) const SIZE: usize = 12;
/// Shapes of the edition.
pub(super) const SHAPES: [&str; 3] = ["oval", "hexagon", "slab"];

/// What the workshop works with.
pub(super) struct Bench {
    pub scale: ScaleId,
    pub lots: Vec<(LotId, i64)>,
    pub tidewheel: SeriesId,
    pub driftweight: SeriesId,
    pub prills: JarId,
    pub lemel: JarId,
    pub shapes: Vec<Shape>,
    pub heel: Option<(MeltId, i64)>,
    pub first_lot_entry: u64,
}

fn mass(text: &str) -> Result<Mass, Failure> {
    Mass::parse(text).map_err(Failure::unusable)
}

fn fineness(text: &str) -> Result<Fineness, Failure> {
    Fineness::parse(text).map_err(Failure::unusable)
}

/// Sets the workshop up.
pub(super) fn equip(shop: &mut Workshop) -> Result<Bench, Failure> {
    let coarse = register(shop, "0.1", "6000", "0.03", "counter scale")?;
    let scale = register(shop, "0.01", "500", "0.004", "bench balance")?;
    let session = open(shop, coarse, "1000", "1000.0")?;
    let mut lots = Vec::new();
    let mut first_lot_entry = 0;
    let silver = [
        ("1000.4", "999.9"),
        ("1000.2", "999.0"),
        ("750.1", "999.9"),
        ("500.3", "999.5"),
    ];
    for (place, (weighed, fine)) in silver.into_iter().enumerate() {
        let (lot, index) = receive(shop, session, Metal::Silver, weighed, fine, place == 0)?;
        let units = mass(weighed)?.units();
        shop.ledger.silver_received += units;
        lots.push((lot, units));
        if place == 0 {
            first_lot_entry = index;
        }
    }
    receive(shop, session, Metal::Gold, "100.1", "999.9", false)?;
    shop.ledger.gold_received += mass("100.1")?.units();
    close(shop, session, "1000", "1000.0")?;
    let shapes: Vec<Shape> = SHAPES.into_iter().filter_map(Shape::parse).collect();
    let tidewheel = open_tidewheel(shop, &shapes)?;
    let driftweight = open_driftweight(shop)?;
    let prills = open_jar(shop, Residue::Prills)?;
    let lemel = open_jar(shop, Residue::Lemel)?;
    Ok(Bench {
        scale,
        lots,
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

/// Opens a session.
pub(super) fn open(
    shop: &mut Workshop,
    scale: ScaleId,
    nominal: &str,
    shows: &str,
) -> Result<SessionId, Failure> {
    let reading = Reading::parse(shows).map_err(Failure::unusable)?;
    let recorded = shop.record(OpenSession {
        scale,
        nominal: mass(nominal)?,
        reading,
    })?;
    Workshop::event(&recorded, |event| match event {
        Event::SessionOpened(e) => Some(e.session),
        _ => None,
    })
}

/// Closes a session.
pub(super) fn close(
    shop: &mut Workshop,
    session: SessionId,
    nominal: &str,
    shows: &str,
) -> Result<(), Failure> {
    let reading = Reading::parse(shows).map_err(Failure::unusable)?;
    shop.record(CloseSession {
        session,
        nominal: mass(nominal)?,
        reading,
    })
    .map(|_| ())
}

fn receive(
    shop: &mut Workshop,
    session: SessionId,
    metal: Metal,
    weighed: &str,
    fine: &str,
    noted: bool,
) -> Result<(LotId, u64), Failure> {
    let price = if metal == Metal::Gold { "8120.00" } else { "812.40" };
    let command = ReceiveLot {
        metal,
        fineness: fineness(fine)?,
        basis: FinenessBasis::Declared,
        session,
        mass: Reading::parse(weighed).map_err(Failure::unusable)?,
        invoiced: Some(mass(weighed)?),
        owner: None,
        seller: Some("Pellworth Metals Counter".to_owned()),
        document: Some(format!("PMC-{weighed}")),
        price: Some(Money::parse(price, "GBP").map_err(Failure::unusable)?),
        note: noted.then(|| "collected by Marlo, who asked not to be named".to_owned()),
    };
    let recorded = shop.record(command)?;
    let lot = Workshop::event(&recorded, |event| match event {
        Event::LotReceived(e) => Some(e.lot),
        _ => None,
    })?;
    Ok((lot, recorded.index))
}

fn open_tidewheel(shop: &mut Workshop, shapes: &[Shape]) -> Result<SeriesId, Failure> {
    let size = u32::try_from(SIZE).unwrap_or(0);
    let command = OpenSeries {
        code: SeriesCode::parse("TW").map_err(Failure::unusable)?,
        kind_of: SeriesKind::Edition,
        metal: Metal::Silver,
        fineness: fineness("999")?,
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
        digits: 4,
        marking: Marking::Exempt,
        ground: Some(ExemptGround::Bullion),
        exempt_below: None,
        exempt_from: None,
        unnumbered: false,
        number_on_metal: false,
        struck: false,
        spares_sold: false,
        title: Some("Tidewheel".to_owned()),
        commissioner: Some("The Lantern & Loom Society".to_owned()),
        decided: Some("the maker, after asking an assay office".to_owned()),
        note: None,
    };
    series_of(shop, command)
}

fn open_driftweight(shop: &mut Workshop) -> Result<SeriesId, Failure> {
    let command = OpenSeries {
        code: SeriesCode::parse("DW").map_err(Failure::unusable)?,
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
        title: Some("Driftweight".to_owned()),
        commissioner: None,
        decided: Some("the maker, after asking an assay office".to_owned()),
        note: None,
    };
    series_of(shop, command)
}

fn series_of(shop: &mut Workshop, command: OpenSeries) -> Result<SeriesId, Failure> {
    let recorded = shop.record(command)?;
    Workshop::event(&recorded, |event| match event {
        Event::SeriesOpened(e) => Some(e.series),
        _ => None,
    })
}

fn open_jar(shop: &mut Workshop, residue: Residue) -> Result<JarId, Failure> {
    let command = OpenJar {
        metal: Metal::Silver,
        fineness: fineness("999")?,
        residue,
        label: None,
    };
    let recorded = shop.record(command)?;
    Workshop::event(&recorded, |event| match event {
        Event::JarOpened(e) => Some(e.jar),
        _ => None,
    })
}
