//! Tidewheel and Driftweight are sold: what was ordered first goes first, the rest over the counter and by parcel.

use super::counter::Deal;
use super::equipment::Bench;
use super::workshop::Workshop;
use crate::cli::Failure;
use crate::domain::{PieceId, SeriesId};

/// For whom the edition was made.
pub(super) const SOCIETY: &str = "The Lantern & Loom Society";

/// Orders first; one of them is given up.
pub(super) fn serve_orders(shop: &mut Workshop, bench: &Bench) -> Result<(), Failure> {
    let edition = bench.tidewheel;
    let mut society = shop.promise(edition, SOCIETY, &[("oval", 3), ("hexagon", 2)])?;
    shop.wait(90);
    let mut odile = shop.promise(edition, "Odile Fenwick", &[("oval", 1), ("slab", 1)])?;
    shop.days(1);
    let hob = shop.promise(edition, "Hob Tarrant", &[("slab", 2)])?;
    shop.days(2);
    let mut kept = Vec::new();
    for shape in ["oval", "oval", "oval", "hexagon", "hexagon"] {
        let piece = next(shop, edition, shape)?;
        shop.reserve(piece, Some(&society), None)?;
        kept.push(piece);
    }
    shop.days(1);
    let deal = shop.supply(&mut society, &kept, "96.00")?;
    shop.hand_over(&deal)?;
    shop.days(1);
    let pair = [next(shop, edition, "oval")?, next(shop, edition, "slab")?];
    let deal = shop.supply(&mut odile, &pair, "98.00")?;
    shop.wait(120);
    shop.dispatch(&deal)?;
    let slab = next(shop, edition, "slab")?;
    shop.reserve(slab, Some(&hob), None)?;
    shop.days(3);
    shop.deliver(&deal)?;
    shop.days(3);
    shop.cancel_promise(hob, &[slab])?;
    let odd = shop.ledger.in_stock(bench.driftweight, None)?;
    shop.reserve(odd, None, Some("Marlo Vane"))?;
    shop.days(5);
    shop.release(odd)
}

/// The next piece of a shape in stock.
pub(super) fn next(shop: &Workshop, series: SeriesId, shape: &str) -> Result<PieceId, Failure> {
    let shape = Workshop::shape(shape)?;
    shop.ledger.in_stock(series, Some(&shape))
}

/// Sells one piece over the counter.
pub(super) fn at_the_counter(
    shop: &mut Workshop,
    buyer: &'static str,
    piece: PieceId,
    price: &str,
) -> Result<Deal, Failure> {
    let deal = shop.sell(buyer, &[piece], price)?;
    shop.hand_over(&deal)?;
    Ok(deal)
}

/// Sells one piece and sends it; it is on its way.
pub(super) fn by_parcel(
    shop: &mut Workshop,
    buyer: &'static str,
    piece: PieceId,
    price: &str,
) -> Result<Deal, Failure> {
    let deal = shop.sell(buyer, &[piece], price)?;
    shop.wait(180);
    shop.dispatch(&deal)?;
    Ok(deal)
}

/// A few weeks of ordinary trade: every other piece goes by parcel and arrives.
pub(super) fn trade(
    shop: &mut Workshop,
    bench: &Bench,
    buyers: &[(&'static str, &str)],
) -> Result<(), Failure> {
    for (place, (buyer, shape)) in buyers.iter().enumerate() {
        let piece = next(shop, bench.tidewheel, shape)?;
        if place.is_multiple_of(2) {
            at_the_counter(shop, buyer, piece, "99.00")?;
        } else {
            let deal = by_parcel(shop, buyer, piece, "104.50")?;
            shop.days(2);
            shop.deliver(&deal)?;
        }
        shop.days(2);
    }
    Ok(())
}
