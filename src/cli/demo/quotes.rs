//! Spot prices noted and prices quoted, towards the end of the half year.

use super::equipment::Bench;
use super::workshop::Workshop;
use crate::cli::Failure;
use crate::domain::{Event, MakeQuote, Quoted, RecordCharge, RecordSpot, SpotId};
use crate::metal::bullion::WeightRule;
use crate::metal::price::TO_THE_PENNY;
use crate::metal::vat::Treatment;
use crate::metal::{Metal, Money, Percent};

/// Notes silver twice and gold once; quotes an odd-weight piece, and a bar of gold that somebody asks about.
pub(super) fn quotes(shop: &mut Workshop, bench: &Bench) -> Result<(), Failure> {
    spot(shop, Metal::Silver, "24.51")?;
    let gold = spot(shop, Metal::Gold, "2600.00")?;
    shop.days(1);
    let silver = spot(shop, Metal::Silver, "24.87")?;
    let piece = shop.ledger.in_stock(bench.driftweight, None)?;
    shop.record(MakeQuote {
        spot: silver,
        of: Quoted {
            piece: Some(piece),
            mass: None,
            fineness: None,
        },
        by_fine_weight: false,
        premium_percent: percent("28")?,
        fees: Some(pounds("4.50")?),
        weight: WeightRule::Thousandths,
        vat: Treatment::Standard,
        rounding: Some(TO_THE_PENNY),
        buyer: Some("Wren Hollis".to_owned()),
        note: None,
    })?;
    shop.record(MakeQuote {
        spot: gold,
        of: Quoted {
            piece: None,
            mass: Some("20.00".parse().map_err(Failure::unusable)?),
            fineness: Some("999.9".parse().map_err(Failure::unusable)?),
        },
        by_fine_weight: false,
        premium_percent: percent("6.5")?,
        fees: None,
        weight: WeightRule::Gram,
        vat: Treatment::Standard,
        rounding: None,
        buyer: None,
        note: Some("asked at the counter; whether it is investment gold is not ours to say".to_owned()),
    })
    .map(|_| ())
}

/// What was charged: by the Hall for the consignment that came back first, by the carrier for the last parcel, by the cutter.
pub(super) fn charges(shop: &mut Workshop) -> Result<(), Failure> {
    let book = shop.book();
    let first = book
        .consignments()
        .min_by_key(|sent| sent.since)
        .map(|sent| sent.consignment);
    let die = book.dies().min_by_key(|die| die.since).map(|die| die.die);
    let sale = book.sales().max_by_key(|sale| sale.number).map(|sale| sale.sale);
    let bills = [
        (first, None, None, "38.40", "bill of the Hall"),
        (
            None,
            die,
            None,
            "120.00",
            "cut years ago, by the workshop's own book of tools",
        ),
        (None, None, sale, "8.40", "postage"),
    ];
    for (consignment, die, sale, amount, note) in bills {
        shop.record(RecordCharge {
            consignment,
            die,
            sale,
            amount: pounds(amount)?,
            document: None,
            note: Some(note.to_owned()),
        })?;
    }
    Ok(())
}

fn spot(shop: &mut Workshop, metal: Metal, amount: &str) -> Result<SpotId, Failure> {
    let recorded = shop.record(RecordSpot {
        metal,
        price: pounds(amount)?,
        priced_at: shop.now,
        source: Some("the noon line of the Eastmarch Courier".to_owned()),
        note: None,
    })?;
    Workshop::event(&recorded, |event| match event {
        Event::SpotRecorded(e) => Some(e.spot),
        _ => None,
    })
}

fn pounds(amount: &str) -> Result<Money, Failure> {
    Money::parse(amount, "GBP").map_err(Failure::unusable)
}

fn percent(text: &str) -> Result<Percent, Failure> {
    text.parse().map_err(Failure::unusable)
}
