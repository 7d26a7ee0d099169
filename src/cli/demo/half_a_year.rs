//! The second half of the story, in the order in which it happened, from January to July.

use super::customers::{home, kept_apart, let_down, mixed};
use super::emberleaf::{self, Emberleaf};
use super::equipment::Bench;
use super::lanterns;
use super::parcels::{mishaps, parcels, returns};
use super::promises::{at_the_counter, serve_orders, trade};
use super::quotes::{charges, quotes};
use super::saltlantern::{self, Saltlantern};
use super::slips::{self, correct, swept_twice};
use super::workshop::{MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{DieOwner, JarId, PieceId, PieceState, Residue};
use crate::metal::Metal;

/// Tells it.
pub(super) fn tell(shop: &mut Workshop, bench: &mut Bench) -> Result<(), Failure> {
    let sweeps = shop.jar(Metal::Silver, "999", Residue::Sweeps)?;
    let old_die = saltlantern::die(shop, DieOwner::Workshop, None, "a hare, older than the workshop")?;
    serve_orders(shop, bench)?;
    let worn = {
        let odd = shop.ledger.in_stock(bench.driftweight, None)?;
        at_the_counter(shop, "Anselm Grey", odd, "89.00")?
    };
    shop.days(6);
    let mut edition = saltlantern::announce(shop, bench)?;
    let waiting = lanterns::promise(shop, &edition)?;
    let first = saltlantern::first_ingots(shop, bench, &mut edition)?;
    shop.sweep(bench.scale, sweeps, "41.20")?;
    shop.days(2);
    let february = [
        ("Perrin Ashdown", "hexagon"),
        ("Nell Fairweather", "slab"),
        ("Jory Wick", "oval"),
    ];
    trade(shop, bench, &february)?;
    parcels(shop, bench)?;
    let (second, refused) = saltlantern::second_ingots(shop, bench, &edition, first)?;
    let sent = spring_cleaning(shop, bench, sweeps)?;
    let (gold, leaves) = emberleaf::pour(shop, bench)?;
    let march = [("Maud Pettifer", "slab"), ("Hob Tarrant", "hexagon")];
    trade(shop, bench, &march)?;
    shop.days(9);
    let spares = saltlantern::number(shop, bench, &edition, second)?;
    shop.days(1);
    lanterns::supply(shop, &edition, waiting)?;
    let outturn = shop.outturn(bench.scale, &sent)?;
    emberleaf::sell(shop, bench, &gold, leaves)?;
    lanterns::spares(shop, bench, &edition, spares)?;
    let (bars, low) = kept_apart(shop, bench, &edition, refused)?;
    let cracked = returns(shop, bench, &worn)?;
    let dull = mixed(shop, bench, &edition)?;
    swept_twice(shop, bench, sweeps)?;
    let slip = slips::slip(shop, bench, outturn, dull)?;
    home(shop, bench, refused, &bars, low)?;
    correct(shop, bench, slip)?;
    emberleaf::theft(shop, &gold)?;
    mishaps(shop, bench)?;
    lanterns::theft(shop, &edition)?;
    shop.days(3);
    summer(shop, bench, &edition, &gold, (sweeps, cracked))?;
    lanterns::close(shop, &edition, old_die)?;
    quotes(shop, bench)?;
    charges(shop)?;
    shop.days(2);
    // The first who bought over the counter asks to be forgotten.
    shop.erase(worn.index, 0, "buyer")
}

/// Jars, dust and what the Hall and the maker gave up go to the refiner.
fn spring_cleaning(
    shop: &mut Workshop,
    bench: &Bench,
    sweeps: JarId,
) -> Result<super::refiner::Sent, Failure> {
    shop.help_oneself(bench.prills, 620 * MILLIGRAM);
    shop.take_stock(bench, 620 * MILLIGRAM)?;
    shop.sweep(bench.scale, sweeps, "28.40")?;
    shop.days(1);
    let condemned = shop.ledger.pieces_in(PieceState::Condemned);
    let jars = [bench.prills, bench.lemel];
    shop.send(
        bench.scale,
        Metal::Silver,
        &jars,
        Some((sweeps, "69.10")),
        &condemned,
    )
}

/// The last rest of the poor silver is let down; dust, spare and cracked piece are settled in money; gold is at the
/// refiner.
fn summer(
    shop: &mut Workshop,
    bench: &Bench,
    edition: &Saltlantern,
    gold: &Emberleaf,
    (sweeps, cracked): (JarId, PieceId),
) -> Result<(), Failure> {
    let june = [
        ("Corin Vale", "oval"),
        ("Lark Brindle", "hexagon"),
        ("Ivo Kestrel", "slab"),
    ];
    trade(shop, bench, &june)?;
    let condemned = shop.ledger.pieces_in(PieceState::Condemned);
    if !condemned.contains(&cracked) {
        return Err(Failure::unusable("the cracked piece is still here"));
    }
    let jars = [bench.prills, bench.lemel];
    let dust = Some((sweeps, "36.20"));
    let sent = shop.send(bench.scale, Metal::Silver, &jars, dust, &condemned)?;
    shop.days(1);
    let_down(shop, bench, edition)?;
    shop.days(10);
    shop.settle(&sent, "206.000", "171.40")?;
    let jars = [gold.prills, gold.lemel];
    shop.send(bench.scale, Metal::Gold, &jars, None, &[])?;
    Ok(())
}
