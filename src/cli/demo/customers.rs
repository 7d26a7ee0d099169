//! Customers bring metal of their own: one's is kept apart, the other's is mixed with the workshop's, by agreement.

use super::crucible::{Charge, Delivery};
use super::eastmarch::{Consigned, Verdict};
use super::equipment::Bench;
use super::promises::at_the_counter;
use super::saltlantern::{Saltlantern, draws};
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    AgreeMixing, CondemnReason, Event, Fault, FaultPiece, FinenessBasis, MeltId, OwnerId, PieceId,
    PieceState, Pour, RegisterOwner, SeriesId, Stage,
};
use crate::metal::Metal;

/// Pours of one shape of an open series.
pub(super) fn pours(series: SeriesId, shape: &str, count: usize) -> Result<Vec<Pour>, Failure> {
    let shape = Workshop::shape(shape)?;
    let pours = (0..count).map(|_| Pour {
        series,
        shape: shape.clone(),
        mould: None,
    });
    Ok(pours.collect())
}

fn register(shop: &mut Workshop, name: &str) -> Result<OwnerId, Failure> {
    let recorded = shop.record(RegisterOwner {
        name: Some(name.to_owned()),
        note: None,
    })?;
    Workshop::event(&recorded, |event| match event {
        Event::OwnerRegistered(e) => Some(e.owner),
        _ => None,
    })
}

const fn brought(
    owner: OwnerId,
    weighed: &'static str,
    fineness: &'static str,
    basis: FinenessBasis,
) -> Delivery {
    Delivery {
        metal: Metal::Silver,
        weighed,
        fineness,
        basis,
        owner: Some(owner),
        price: None,
        note: None,
    }
}

/// Old spoons become two bars, with nothing else in the crucible; they go to the Hall with the piece that was refused.
pub(super) fn kept_apart(
    shop: &mut Workshop,
    bench: &Bench,
    edition: &Saltlantern,
    refused: PieceId,
) -> Result<(Vec<PieceId>, Consigned), Failure> {
    let owner = register(shop, "Ansel Quirke")?;
    let session = shop.open(bench.scale, "100", "100.00")?;
    let spoons = brought(owner, "180.40", "960.0", FinenessBasis::Hallmarked);
    let (lot, _) = shop.receive(session, &spoons)?;
    let mut crucible = shop.charge(session, Charge::silver(vec![(lot, shop.ledger.left(lot))]))?;
    let bars = pours(edition.greywater, "bar", 2)?;
    let pieces = shop.pour(session, &mut crucible, bars, (85 * GRAM, 300 * MILLIGRAM))?;
    shop.weigh_out(session, crucible, None)?;
    shop.serials(&pieces)?;
    shop.close_session(session, "100", "100.00")?;
    shop.move_to(refused, edition.greywater, PieceState::Struck)?;
    shop.days(1);
    let mut sent = vec![refused];
    sent.extend(&pieces);
    let sent = shop.consign(&sent, "958", "EAH-0533")?;
    Ok((pieces, sent))
}

/// All three are marked at the lower standard; the bars go home.
pub(super) fn home(
    shop: &mut Workshop,
    bench: &Bench,
    refused: PieceId,
    bars: &[PieceId],
    sent: Consigned,
) -> Result<(), Failure> {
    shop.fetch(sent, &[Verdict::Marked; 3])?;
    let mut all = vec![refused];
    all.extend(bars);
    let session = shop.open(bench.scale, "100", "100.00")?;
    shop.weigh(session, Stage::Final, &all)?;
    shop.close_session(session, "100", "100.00")?;
    shop.certify(&all)?;
    shop.days(1);
    let deal = shop.sell("Ansel Quirke", bars, "35.00")?;
    shop.hand_over(&deal)?;
    at_the_counter(shop, "Lark Brindle", refused, "262.00").map(|_| ())
}

/// Another customer agrees to mixing: four pebbles of everybody's silver, and one whose skin is dull, which is kept back.
pub(super) fn mixed(
    shop: &mut Workshop,
    bench: &mut Bench,
    edition: &Saltlantern,
) -> Result<PieceId, Failure> {
    let owner = register(shop, "Wren Castell")?;
    let session = shop.open(bench.scale, "100", "100.00")?;
    let grain = brought(owner, "120.00", "999.0", FinenessBasis::Declared);
    let (lot, _) = shop.receive(session, &grain)?;
    shop.record(AgreeMixing {
        owner,
        document: Some("letter of the same day".to_owned()),
        note: None,
    })?;
    let heels: Vec<MeltId> = bench.heel.take().into_iter().collect();
    let mut lots = vec![(lot, shop.ledger.left(lot))];
    lots.extend(draws(shop, &edition.good, 190 * GRAM));
    let charge = Charge {
        heels,
        ..Charge::silver(lots)
    };
    let mut crucible = shop.charge(session, charge)?;
    let pebbles = pours(bench.driftweight, "pebble", 5)?;
    let hand = (58 * GRAM, 2 * GRAM);
    let pieces = shop.pour(session, &mut crucible, pebbles, hand)?;
    bench.heel = Some(shop.weigh_out(session, crucible, Some(bench.prills))?);
    let [dull, pieces @ ..] = pieces.as_slice() else {
        return Err(Failure::unusable("five pebbles are poured"));
    };
    shop.finish(session, bench.lemel, pieces)?;
    shop.serials(pieces)?;
    shop.weigh(session, Stage::Final, pieces)?;
    shop.close_session(session, "100", "100.00")?;
    shop.certify(pieces)?;
    shop.days(1);
    if let Some(piece) = pieces.first() {
        at_the_counter(shop, "Wren Castell", *piece, "30.00")?;
    }
    Ok(*dull)
}

/// The refused melt's heel and the rest of its lot, let down with copper: three bars, and one that shows dirt.
pub(super) fn let_down(shop: &mut Workshop, bench: &Bench, edition: &Saltlantern) -> Result<(), Failure> {
    let session = shop.open(bench.scale, "200", "200.00")?;
    let copper = Delivery {
        metal: Metal::Copper,
        weighed: "50.00",
        fineness: "1000",
        basis: FinenessBasis::Declared,
        owner: None,
        price: Some("1.20"),
        note: None,
    };
    let (copper, _) = shop.receive(session, &copper)?;
    let mut lots = draws(shop, &[edition.poor], 330 * GRAM);
    lots.push((copper, 11 * GRAM));
    let charge = Charge {
        heels: edition.poor_heel.into_iter().collect(),
        ..Charge::silver(lots)
    };
    let mut crucible = shop.charge(session, charge)?;
    let bars = pours(edition.greywater, "bar", 4)?;
    let pieces = shop.pour(session, &mut crucible, bars, (86 * GRAM, 400 * MILLIGRAM))?;
    shop.weigh_out(session, crucible, None)?;
    shop.close_session(session, "200", "200.00")?;
    let [poor, rest @ ..] = pieces.as_slice() else {
        return Err(Failure::unusable("four bars are poured"));
    };
    shop.record(FaultPiece {
        piece: *poor,
        fault: Fault::Inclusion,
        note: None,
    })?;
    shop.condemn(*poor, CondemnReason::Faulty)?;
    shop.serials(rest)?;
    shop.days(2);
    // They are at the Hall when the story ends.
    shop.consign(rest, "958", "EAH-0560").map(|_| ())
}
