//! What goes wrong after a sale, and what comes back: parcels, returns, a buy-back, thefts, a fire.

use super::counter::Deal;
use super::equipment::Bench;
use super::promises::{at_the_counter, by_parcel, next};
use super::workshop::{MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{CondemnReason, Fault, FaultPiece, PieceId, Stage, SupersedeReason};

/// One parcel is lost and its number burned; one is lost and found; one comes back; one sale is taken back.
pub(super) fn parcels(shop: &mut Workshop, bench: &Bench) -> Result<(), Failure> {
    let edition = bench.tidewheel;
    let oval = next(shop, edition, "oval")?;
    let mislaid = by_parcel(shop, "Perrin Ashdown", oval, "104.50")?;
    let hexagon = next(shop, edition, "hexagon")?;
    let gone = by_parcel(shop, "Bram Oakhurst", hexagon, "104.50")?;
    shop.days(1);
    let slab = next(shop, edition, "slab")?;
    let refused = by_parcel(shop, "Tilda Marsh", slab, "104.50")?;
    shop.days(5);
    shop.send_back(&refused)?;
    shop.days(1);
    shop.dispatch(&refused)?;
    shop.days(2);
    shop.deliver(&refused)?;
    let oval_again = next(shop, edition, "oval")?;
    let regretted = shop.sell("Jory Wick", &[oval_again], "99.00")?;
    shop.days(3);
    shop.cancel_sale(&regretted, false)?;
    shop.lose(&mislaid)?;
    shop.wait(10);
    shop.lose(&gone)?;
    shop.days(4);
    shop.find(oval)?;
    shop.days(1);
    shop.deliver(&mislaid)?;
    shop.days(2);
    shop.cancel_sale(&gone, true)
}

/// What comes back: one as good as new, one cracked, one a little lighter.
pub(super) fn returns(shop: &mut Workshop, bench: &Bench, worn: &Deal) -> Result<PieceId, Failure> {
    let odd = shop.ledger.in_stock(bench.driftweight, None)?;
    at_the_counter(shop, "Nell Fairweather", odd, "88.00")?;
    let slab = next(shop, bench.tidewheel, "slab")?;
    let dropped = by_parcel(shop, "Corin Vale", slab, "104.50")?;
    shop.days(2);
    shop.deliver(&dropped)?;
    shop.days(3);
    shop.take_back(odd)?;
    shop.wait(20);
    shop.restock(odd)?;
    shop.days(2);
    shop.take_back(slab)?;
    let note = Some("dropped on a stone floor".to_owned());
    shop.record(FaultPiece {
        piece: slab,
        fault: Fault::Crack,
        note,
    })?;
    shop.condemn(slab, CondemnReason::Damaged)?;
    shop.days(4);
    buy_back(shop, bench, worn)?;
    Ok(slab)
}

/// A piece that was polished too often comes back 0.02 g lighter; its certificate says so from then on.
fn buy_back(shop: &mut Workshop, bench: &Bench, worn: &Deal) -> Result<(), Failure> {
    for piece in worn.pieces.clone() {
        let session = shop.open(bench.scale, "50", "50.00")?;
        shop.buy_back(session, piece, 20 * MILLIGRAM, worn.buyer)?;
        shop.restock(piece)?;
        shop.weigh(session, Stage::Final, &[piece])?;
        shop.close_session(session, "50", "50.00")?;
        shop.supersede(
            piece,
            SupersedeReason::Reweighed,
            "0.02 g lighter than it was sold",
        )?;
    }
    Ok(())
}

/// A piece stolen from its buyer comes back; one is lost to a fire; one is stolen at a fair and is not back.
pub(super) fn mishaps(shop: &mut Workshop, bench: &Bench) -> Result<(), Failure> {
    let hexagon = next(shop, bench.tidewheel, "hexagon")?;
    at_the_counter(shop, "Maud Pettifer", hexagon, "99.00")?;
    let odd = shop.ledger.in_stock(bench.driftweight, None)?;
    let burnt = at_the_counter(shop, "Sefa Lindholm", odd, "91.00")?;
    shop.days(6);
    shop.stolen(hexagon, "report 2217 of the parish constable")?;
    shop.days(4);
    for piece in burnt.pieces {
        shop.destroy(piece, "Captain Rusk of the fire brigade, who saw it run")?;
    }
    shop.days(8);
    shop.recover(hexagon)?;
    shop.days(2);
    let oval = next(shop, bench.tidewheel, "oval")?;
    shop.stolen(oval, "report 2301, taken from the stall")
}
