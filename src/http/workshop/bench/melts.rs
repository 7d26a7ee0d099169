//! Charging and pouring.

use super::{App, Seen, Visit, label, of_now, offered, seat};
use crate::domain::{
    Book, Jar, JarId, Lot, Melt, MeltId, MeltState, OwnerId, Piece, PieceState as S, Residue, Series,
    SeriesKind, SeriesState,
};
use crate::http::failed;
use crate::http::problem::Problem;
use crate::metal::{Fineness, Mass};
use crate::pages::workshop::Row;
use crate::pages::workshop::bench::{self, Cavity, Pours, Source};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many lots and heels a form offers, the newest.
pub const SHOWN_MOST: usize = 300;

/// `GET /bench/melts/{melt}/pours`.
///
/// # Errors
/// 404 for a melt that is not there, or is weighed out.
pub fn pours(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = MeltId(visit.asked.id("melt")?);
    let version = app.views.version(id.0).map_err(failed)?;
    let seat = seat(visit);
    let page = of_now(app, |reckoning| {
        let book = reckoning.book();
        let melt = book.melt(id).filter(|melt| melt.state == MeltState::Open)?;
        let last = melt.pieces.last().and_then(|piece| book.piece(*piece));
        let next = last.and_then(|piece| piece.pour.rsplit_once('-')?.1.parse::<usize>().ok());
        let poured = match melt.pieces.len() {
            0 => "Nothing is poured yet.".to_owned(),
            count => format!("{count} poured so far."),
        };
        Some(Pours {
            seat,
            melt: id,
            number: melt.number,
            version,
            next: next.unwrap_or(0).saturating_add(1),
            poured,
            cavities: cavities(book, id),
        })
    })?;
    let page = page.ok_or_else(|| Problem::not_found("there is no open melt with that id"))?;
    Ok(bench::pours(&page).into())
}

/// The cavities that a melt may fill: shapes of the open series of its metal, and what their pieces were cast as before. The
/// book says what else it wants of them.
pub fn cavities(book: &Book, melt: MeltId) -> Vec<Cavity> {
    let Some(melt) = book.melt(melt) else {
        return Vec::new();
    };
    let fits = |series: &&Series| {
        let fine = series.fineness <= melt.reckoned_fineness();
        series.state == SeriesState::Open && series.metal == melt.metal && fine
    };
    let mut all: Vec<_> = book.all_series().filter(fits).collect();
    all.sort_by_key(|series| series.since);
    let mut cavities = Vec::new();
    for series in all {
        let mut shapes: Vec<(String, Option<u32>)> = series
            .shapes
            .iter()
            .zip(&series.numbers)
            .map(|(size, given)| {
                let under_way = under_way(book, series.series.0, size.shape.as_str());
                let wanted = size.size.saturating_sub(*given).saturating_sub(under_way);
                (size.shape.as_str().to_owned(), Some(wanted))
            })
            .collect();
        if series.kind_of == SeriesKind::Open {
            let cast = book.pieces().filter(|piece| piece.series == series.series);
            let cast: BTreeSet<&str> = cast.map(|piece| piece.shape.as_str()).collect();
            shapes.extend(cast.into_iter().map(|shape| (shape.to_owned(), None)));
            shapes.dedup();
        }
        cavities.extend(shapes.into_iter().map(|(shape, wanted)| Cavity {
            series: series.series.to_string(),
            code: series.code.to_string(),
            words: shape.replace('_', " "),
            shape,
            wanted,
        }));
    }
    cavities
}

/// How many of a shape are on their way to a number: poured, and not given up.
fn under_way(book: &Book, series: Uuid, shape: &str) -> u32 {
    let counts = |state: S| {
        matches!(
            state,
            S::Poured | S::Graded | S::Serialled | S::Struck | S::AtOffice | S::Hallmarked | S::Spare
        )
    };
    let of_shape = book
        .pieces()
        .filter(|piece| piece.series.0 == series && piece.shape.as_str() == shape);
    let count = of_shape
        .filter(|piece| counts(piece.state) && piece.number.is_none())
        .count();
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// What a form of a charge offers: the lines of each table, and what stands behind them.
pub type Offered = (BTreeMap<&'static str, Vec<Row>>, Vec<Source>);

/// What a charge may be made of: lines of the form by table, and what each is, for the prediction.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn charge_sources(app: &App, visit: &Visit) -> Result<Offered, Problem> {
    let found = of_now(app, |reckoning| sources(reckoning.book()))?;
    let mut rows: BTreeMap<&'static str, Vec<Row>> = BTreeMap::new();
    let mut told = Vec::new();
    for named in found {
        let mut more = named.more;
        if let Some(jar) = named.jar
            && let Some(name) = label(app, visit, jar.0)?
        {
            more = format!("{name}, {more}");
        }
        for owner in named.owners {
            more = format!("{more}, metal of {}", offered::customer(app, visit, owner)?);
        }
        let row = Row {
            id: named.source.id.clone(),
            words: named.words,
            more,
            version: 0,
        };
        rows.entry(named.source.table).or_default().push(row);
        told.push(named.source);
    }
    Ok((rows, told))
}

/// A source with what people call it.
struct Named {
    source: Source,
    words: String,
    more: String,
    /// The jar, whose name is private.
    jar: Option<JarId>,
    /// The customers whose metal is in it.
    owners: BTreeSet<OwnerId>,
}

fn sources(book: &Book) -> Vec<Named> {
    let mut found = lots(book);
    found.extend(heels(book));
    found.extend(jars(book));
    found.extend(condemned(book));
    found
}

fn lots(book: &Book) -> Vec<Named> {
    let lots = book.lots().filter(|lot| !lot.left.is_zero());
    let lots = newest(lots.map(|lot| (lot.number, lot)).collect());
    let named = |lot: &Lot| {
        let fine = lot.metal.is_precious().then(|| lot.fineness.to_string());
        Named {
            source: of_table("lots", lot.lot.0, lot.metal.to_string(), fine, None),
            words: format!("Lot {}, {} {}", lot.number, lot.metal, lot.fineness),
            more: format!("{} g left", lot.left),
            jar: None,
            owners: lot.owner.into_iter().collect(),
        }
    };
    lots.into_iter().map(named).collect()
}

/// The newest of what is numbered, oldest first: as many as a form offers.
pub fn newest<T>(mut rows: Vec<(u32, T)>) -> Vec<T> {
    rows.sort_by_key(|(number, _)| *number);
    let older = rows.len().saturating_sub(SHOWN_MOST);
    rows.into_iter().skip(older).map(|(_, row)| row).collect()
}

fn heels(book: &Book) -> Vec<Named> {
    let left = |melt: &&Melt| melt.heel_taken.is_none() && melt.heel.is_some_and(|heel| !heel.is_zero());
    let melts = newest(
        book.melts()
            .filter(left)
            .map(|melt| (melt.number, melt))
            .collect(),
    );
    let named = |melt: &Melt| {
        let heel = melt.heel.filter(|heel| !heel.is_zero())?;
        let fine = Some(melt.reckoned_fineness().to_string());
        Some(Named {
            source: of_table("heels", melt.melt.0, melt.metal.to_string(), fine, Some(heel)),
            words: format!(
                "Heel of melt {}, {} {}",
                melt.number,
                melt.metal,
                melt.reckoned_fineness()
            ),
            more: format!("{heel} g"),
            jar: None,
            owners: melt.owners.iter().copied().flatten().collect(),
        })
    };
    melts.into_iter().filter_map(named).collect()
}

fn jars(book: &Book) -> Vec<Named> {
    let mut jars: Vec<_> = book
        .jars()
        .filter(|jar| jar.residue != Residue::Sweeps && !jar.mass.is_zero())
        .collect();
    jars.sort_by_key(|jar| jar.since);
    let named = |jar: &Jar| {
        let melts = || jar.holds.iter().filter_map(|share| book.melt(share.melt));
        let lowest: Option<Fineness> = melts().map(Melt::reckoned_fineness).min();
        let fine = lowest.map_or(jar.fineness, |lowest| lowest.min(jar.fineness));
        let told = Some(fine.to_string());
        Named {
            source: of_table("jars", jar.jar.0, jar.metal.to_string(), told, None),
            words: format!("Jar of {}, {} {fine}", jar.residue, jar.metal),
            more: format!("{} g by the book: weigh it empty", jar.mass),
            jar: Some(jar.jar),
            owners: melts()
                .flat_map(|melt| melt.owners.iter().copied())
                .flatten()
                .collect(),
        }
    };
    jars.into_iter().map(named).collect()
}

fn condemned(book: &Book) -> Vec<Named> {
    let mut pieces: Vec<_> = book
        .pieces()
        .filter(|piece| piece.state == S::Condemned)
        .collect();
    pieces.sort_by_key(|piece| piece.since);
    let named = |piece: &Piece| {
        let melt = book.melt(piece.melt)?;
        let mass = piece.mass()?;
        let fine = Some(melt.reckoned_fineness().to_string());
        Some(Named {
            source: of_table("pieces", piece.piece.0, melt.metal.to_string(), fine, Some(mass)),
            words: format!(
                "Condemned {}, {} {}",
                piece.pour,
                melt.metal,
                melt.reckoned_fineness()
            ),
            more: format!("{mass} g"),
            jar: None,
            owners: melt.owners.iter().copied().flatten().collect(),
        })
    };
    pieces.into_iter().filter_map(named).collect()
}

fn of_table(
    table: &'static str,
    id: Uuid,
    metal: String,
    fineness: Option<String>,
    whole: Option<Mass>,
) -> Source {
    Source {
        table,
        id: id.to_string(),
        metal,
        fineness,
        whole: whole.map(|mass| mass.to_string()),
    }
}
