//! Saltlantern is sold and closed: its promises kept, its spares and dies disposed of, two of its numbers burned.

use super::counter::Promise;
use super::equipment::Bench;
use super::promises::{SOCIETY, at_the_counter, by_parcel, next};
use super::saltlantern::Saltlantern;
use super::workshop::Workshop;
use crate::cli::Failure;
use crate::domain::{CloseSeries, CondemnReason, DieDisposal, DieId, DisposeDie, PieceId, Stage};

/// Who is waiting for one.
pub(super) struct Promises {
    society: Promise,
    corwen: Promise,
    isolde: Promise,
}

/// Seven of the eight are promised before the first is poured.
pub(super) fn promise(shop: &mut Workshop, edition: &Saltlantern) -> Result<Promises, Failure> {
    let series = edition.series;
    let society = shop.promise(series, SOCIETY, &[("ingot", 4)])?;
    let corwen = shop.promise(series, "Corwen Hale", &[("ingot", 2)])?;
    shop.days(1);
    let isolde = shop.promise(series, "Isolde Marrick", &[("ingot", 1)])?;
    Ok(Promises {
        society,
        corwen,
        isolde,
    })
}

/// First come, first served; one of them does not want it any more.
pub(super) fn supply(shop: &mut Workshop, edition: &Saltlantern, promises: Promises) -> Result<(), Failure> {
    let Promises {
        mut society,
        corwen,
        mut isolde,
    } = promises;
    let mut kept = Vec::new();
    for _ in 0..4 {
        let piece = next(shop, edition.series, "ingot")?;
        shop.reserve(piece, Some(&society), None)?;
        kept.push(piece);
    }
    for _ in 0..2 {
        let piece = next(shop, edition.series, "ingot")?;
        shop.reserve(piece, Some(&corwen), None)?;
        kept.push(piece);
    }
    shop.days(1);
    let (theirs, his) = kept.split_at(4);
    let deal = shop.supply(&mut society, theirs, "310.00")?;
    shop.hand_over(&deal)?;
    shop.days(4);
    shop.cancel_promise(corwen, his)?;
    let piece = next(shop, edition.series, "ingot")?;
    let deal = shop.supply(&mut isolde, &[piece], "318.00")?;
    shop.dispatch(&deal)?;
    shop.days(2);
    shop.deliver(&deal)
}

/// A spare takes the number that was never given; the other one is given up. One ingot is lost on its way.
pub(super) fn spares(
    shop: &mut Workshop,
    bench: &Bench,
    edition: &Saltlantern,
    spares: [PieceId; 2],
) -> Result<(), Failure> {
    let [one, other] = spares;
    let piece = next(shop, edition.series, "ingot")?;
    let parcel = by_parcel(shop, "Tilda Marsh", piece, "318.00")?;
    shop.days(2);
    let session = shop.open(bench.scale, "200", "200.00")?;
    shop.number(&[one])?;
    shop.weigh(session, Stage::Final, &[one])?;
    shop.close_session(session, "200", "200.00")?;
    shop.certify(&[one])?;
    shop.condemn(other, CondemnReason::Unwanted)?;
    shop.days(13);
    shop.lose(&parcel)?;
    shop.days(7);
    shop.cancel_sale(&parcel, true)
}

/// Stolen from the stall at a fair, and not back.
pub(super) fn theft(shop: &mut Workshop, edition: &Saltlantern) -> Result<PieceId, Failure> {
    let piece = next(shop, edition.series, "ingot")?;
    shop.stolen(piece, "report 2302, taken from the stall")?;
    Ok(piece)
}

/// The last one is sold, the dies go, and the edition is closed.
pub(super) fn close(shop: &mut Workshop, edition: &Saltlantern, old_die: DieId) -> Result<(), Failure> {
    let last = next(shop, edition.series, "ingot")?;
    at_the_counter(shop, "Dorrie Pike", last, "315.00")?;
    shop.days(1);
    dispose(
        shop,
        edition.face,
        DieDisposal::Returned,
        "collected by the Society's clerk",
    )?;
    dispose(shop, edition.reverse, DieDisposal::Destroyed, "filed flat")?;
    dispose(shop, old_die, DieDisposal::Retired, "worn; kept for the drawer")?;
    shop.record(CloseSeries {
        series: edition.series,
        note: None,
    })?;
    shop.ledger.closed.push(edition.series);
    Ok(())
}

fn dispose(shop: &mut Workshop, die: DieId, how: DieDisposal, note: &str) -> Result<(), Failure> {
    let note = Some(note.to_owned());
    shop.record(DisposeDie { die, how, note }).map(|_| ())
}
