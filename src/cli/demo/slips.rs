//! Slips of the pen, and their corrections.
//!
//! Two pebbles lie on the shelf, one of them dull. The dull one goes into the crucible; the other one's number is typed.
//! The melt then seems to have lost some eight grams, which no fume explains: so it is found out, and corrected before
//! the pebble that is still there is sold. The melt rests on a declared fineness and not on an assay, as its
//! certificates said; they are superseded.

use super::crucible::Charge;
use super::customers::pours;
use super::equipment::Bench;
use super::promises::by_parcel;
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{
    ChargeMelt, Command, CondemnPiece, CondemnReason, CorrectEntries, Correction, CorrectionReason,
    GatherSweeps, JarId, LotId, PieceId, PieceState, Stage,
};
use crate::metal::Reading;

/// The pebble that was typed, the one that was meant, and what was told wrong.
pub(super) struct Slip {
    typed: PieceId,
    meant: PieceId,
    condemned: u64,
    /// The charge as it was told, and the index of its entry.
    charge: (u64, ChargeMelt),
    poured: Vec<PieceId>,
}

/// Two pebbles of silver that the refiner assayed; one of them is sold, the other lies beside the dull one.
fn assayed_pebbles(shop: &mut Workshop, bench: &Bench, outturn: LotId) -> Result<PieceId, Failure> {
    let session = shop.open(bench.scale, "100", "100.00")?;
    let mut crucible = shop.charge(session, Charge::silver(vec![(outturn, 145 * GRAM)]))?;
    let two = pours(bench.driftweight, "pebble", 2)?;
    let pieces = shop.pour(session, &mut crucible, two, (66 * GRAM, 200 * MILLIGRAM))?;
    shop.weigh_out(session, crucible, Some(bench.prills))?;
    shop.finish(session, bench.lemel, &pieces)?;
    let [sold, kept] = pieces.as_slice() else {
        return Err(Failure::unusable("two pebbles are poured"));
    };
    shop.serials(&[*sold])?;
    shop.weigh(session, Stage::Final, &[*sold])?;
    shop.close_session(session, "100", "100.00")?;
    shop.certify(&[*sold])?;
    Ok(*kept)
}

/// The dull pebble is melted, and the other one's number typed.
pub(super) fn slip(
    shop: &mut Workshop,
    bench: &Bench,
    outturn: LotId,
    dull: PieceId,
) -> Result<Slip, Failure> {
    let typed = assayed_pebbles(shop, bench, outturn)?;
    shop.days(1);
    let session = shop.open(bench.scale, "100", "100.00")?;
    let condemned = shop.record(condemning(typed))?.index;
    shop.ledger.change(dull, |fate| {
        fate.state = PieceState::Condemned;
        fate.condemned = Some(CondemnReason::Unwanted);
    });
    let charge = Charge {
        pieces: vec![dull],
        ..Charge::silver(vec![(outturn, 125 * GRAM)])
    };
    let mut crucible = shop.charge_as(session, charge, vec![typed])?;
    let two = pours(bench.driftweight, "pebble", 2)?;
    let poured = shop.pour(session, &mut crucible, two, (84 * GRAM, 200 * MILLIGRAM))?;
    let charge = (crucible.index, crucible.said.clone());
    shop.weigh_out(session, crucible, Some(bench.prills))?;
    shop.finish(session, bench.lemel, &poured)?;
    shop.serials(&poured)?;
    shop.weigh(session, Stage::Final, &poured)?;
    shop.close_session(session, "100", "100.00")?;
    shop.certify(&poured)?;
    Ok(Slip {
        typed,
        meant: dull,
        condemned,
        charge,
        poured,
    })
}

fn condemning(piece: PieceId) -> CondemnPiece {
    CondemnPiece {
        piece,
        reason: CondemnReason::Unwanted,
        note: None,
    }
}

/// It is found out: both entries are decided anew, and the pebble that is still there goes on and is sold.
pub(super) fn correct(shop: &mut Workshop, bench: &Bench, slip: Slip) -> Result<(), Failure> {
    let (charged, mut charge) = slip.charge;
    charge.pieces = vec![slip.meant];
    let corrections = vec![
        instead(slip.condemned, condemning(slip.meant)),
        instead(charged, charge),
    ];
    shop.record(CorrectEntries {
        corrections,
        reason: CorrectionReason::WrongThing,
        note: Some("the dull one went in; its neighbour was typed".to_owned()),
    })?;
    shop.ledger.corrected += 2;
    for piece in &slip.poured {
        shop.ledger.change(*piece, |fate| fate.certificates += 1);
    }
    shop.days(1);
    let session = shop.open(bench.scale, "100", "100.00")?;
    shop.serials(&[slip.typed])?;
    shop.weigh(session, Stage::Final, &[slip.typed])?;
    shop.close_session(session, "100", "100.00")?;
    shop.certify(&[slip.typed])?;
    let parcel = by_parcel(shop, "Dorrie Pike", slip.typed, "92.00")?;
    shop.days(2);
    shop.deliver(&parcel)
}

fn instead(index: u64, command: impl Into<Command>) -> Correction {
    Correction {
        index,
        instead: Some(Box::new(command.into())),
    }
}

/// The same sweepings are weighed in twice; the second entry is withdrawn.
pub(super) fn swept_twice(shop: &mut Workshop, bench: &Bench, jar: JarId) -> Result<(), Failure> {
    shop.sweep(bench.scale, jar, "36.90")?;
    shop.wait(40);
    let session = shop.open(bench.scale, "50", "50.00")?;
    let mass = Reading::parse("36.90").map_err(Failure::unusable)?;
    let again = shop.record(GatherSweeps { jar, session, mass })?;
    shop.close_session(session, "50", "50.00")?;
    shop.record(CorrectEntries {
        corrections: vec![Correction {
            index: again.index,
            instead: None,
        }],
        reason: CorrectionReason::RecordedTwice,
        note: None,
    })?;
    shop.ledger.corrected += 1;
    Ok(())
}
