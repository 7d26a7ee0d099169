//! The melts behind the piece: each adds up, and what one gives the next takes.

use super::Claims;
use crate::domain::{Event, LotId, LotOutturned, MeltClosed, MeltId, MeltInput, Stage};
use crate::metal::{Fineness, Mass, blend_fineness};
use std::collections::BTreeMap;

/// Every melt adds up; what one gives, the next takes; the blend is as stated; what the refiner sent back adds up too.
pub(in crate::check) fn metal(claims: &Claims<'_>) -> Result<String, String> {
    let melts = claims.melts();
    for (id, closed) in &melts {
        balance(closed).map_err(|why| format!("melt {id}: {why}"))?;
        for input in &closed.inputs {
            handed_on(claims, input, &melts).map_err(|why| format!("melt {id}: {why}"))?;
        }
        blend_stated(claims, closed, &melts).map_err(|why| format!("melt {id}: {why}"))?;
    }
    for lot in claims.lineage.lots.keys() {
        outturn(claims, *lot).map_err(|why| format!("lot {lot}: {why}"))?;
    }
    let poured = claims.poured()?;
    if let Some(closed) = melts.get(&poured.melt) {
        let out = closed.pieces.iter().find(|out| out.piece == poured.piece);
        let from_mould = claims.own().filter_map(|(_, event)| match event {
            Event::PieceWeighed(e) if e.stage == Stage::FromMould => Some(e.mass.mass()),
            _ => None,
        });
        if out.map(|out| out.mass) != from_mould.last() {
            return Err(
                "the melt states another mass for the piece than its reading from the mould".to_owned(),
            );
        }
    }
    Ok(format!(
        "{} melts, {} lots",
        melts.len(),
        claims.lineage.lots.len()
    ))
}

fn balance(closed: &MeltClosed) -> Result<(), String> {
    let sum =
        |masses: &mut dyn Iterator<Item = Mass>| Mass::checked_sum(masses).ok_or("masses too great to add");
    let charge = sum(&mut closed.inputs.iter().map(MeltInput::mass))?;
    if charge != closed.charge {
        return Err(format!(
            "the inputs sum to {charge} g, the charge is stated as {} g",
            closed.charge
        ));
    }
    let prills = closed.prills.as_ref().map(|prills| prills.mass.mass());
    let out = closed
        .pieces
        .iter()
        .map(|out| out.mass)
        .chain([closed.heel.mass()])
        .chain(prills);
    let out = sum(&mut out.into_iter())?;
    if charge.minus(out) != closed.loss {
        return Err(format!(
            "{charge} g in, {out} g out, the loss is stated as {} g",
            closed.loss
        ));
    }
    Ok(())
}

fn handed_on(
    claims: &Claims<'_>,
    input: &MeltInput,
    melts: &BTreeMap<MeltId, MeltClosed>,
) -> Result<(), String> {
    match input {
        MeltInput::Heel { melt, mass } => match melts.get(melt) {
            Some(source) if source.heel.mass() != *mass => {
                let left = heel_left(claims, *melt, source.heel.mass())
                    .map_err(|why| format!("takes a heel: {why}"))?;
                if left == *mass {
                    return Ok(());
                }
                Err(format!("takes a heel of {mass} g, melt {melt} left {left} g"))
            }
            _ => Ok(()),
        },
        MeltInput::Piece { piece, melt, .. } => match melts.get(melt) {
            Some(source) if !source.pieces.iter().any(|out| out.piece == *piece) => {
                Err(format!("takes piece {piece}, which melt {melt} did not give"))
            }
            _ => Ok(()),
        },
        MeltInput::Lot { .. } | MeltInput::Jar { .. } => Ok(()),
    }
}

/// What a heel weighed when it went on: as it was weighed out, or as it was last counted; each count expects what the one
/// before it says.
fn heel_left(claims: &Claims<'_>, melt: MeltId, weighed_out: Mass) -> Result<Mass, String> {
    let counts = claims.evidence.events().filter_map(|(_, event)| match event {
        Event::MeltCounted(e) if e.melt == melt => Some(e),
        _ => None,
    });
    let mut left = weighed_out;
    for count in counts {
        let weighs = count.mass.mass();
        if count.expected != left || left.minus(weighs) != count.variance {
            return Err(format!(
                "a stock-take expects {} g, {left} g were left and {weighs} g there: not {} g less",
                count.expected, count.variance
            ));
        }
        left = weighs;
    }
    Ok(left)
}

fn blend_stated(
    claims: &Claims<'_>,
    closed: &MeltClosed,
    melts: &BTreeMap<MeltId, MeltClosed>,
) -> Result<(), String> {
    let mut parts = Vec::new();
    // Metal of an earlier melt is reckoned at what an assay office found in another piece of it, if that is lower; that
    // assay is not in the file, so the blend may then be stated lower than the declarations make it, and never higher.
    let mut at_most = false;
    for input in &closed.inputs {
        at_most |= matches!(input, MeltInput::Heel { .. } | MeltInput::Piece { .. });
        let fineness = match input {
            MeltInput::Lot { lot, .. } => {
                let lot = claims.lot(*lot).ok_or_else(|| format!("lot {lot} is missing"))?;
                if lot.metal == closed.metal {
                    lot.fineness
                } else {
                    Fineness::ZERO
                }
            }
            MeltInput::Heel { melt, .. } | MeltInput::Piece { melt, .. } => match melts.get(melt) {
                Some(source) => source.fineness,
                None => return Ok(()),
            },
            // A jar is reckoned by the fineness it is kept at, which its own entries state.
            MeltInput::Jar { .. } => return Ok(()),
        };
        parts.push((input.mass(), fineness));
    }
    match blend_fineness(&parts, 1) {
        Some(blend) if blend == closed.fineness || (at_most && closed.fineness < blend) => Ok(()),
        Some(blend) => Err(format!(
            "the inputs blend to {blend}, stated is {}",
            closed.fineness
        )),
        None => Err("the inputs have no blend".to_owned()),
    }
}

/// A lot that came back from the refiner stands in the entry that accounts for what was sent: sent = outturn + settled +
/// loss. What was sent is not followed further.
fn outturn(claims: &Claims<'_>, id: LotId) -> Result<(), String> {
    let found = claims.evidence.events().find_map(|(index, event)| match event {
        Event::LotOutturned(lot) if lot.lot == id => Some((index, lot)),
        _ => None,
    });
    let Some((index, lot)) = found else { return Ok(()) };
    let LotOutturned { refining, mass, .. } = lot;
    let returned = claims.beside(index).find_map(|event| match event {
        Event::RefiningReturned(e) if e.refining == *refining => Some(e),
        _ => None,
    });
    let returned = returned.ok_or("the refiner's account is not in its entry")?;
    if returned.outturn != Some(id) || returned.returned != mass.mass() {
        return Err("the refiner's account states another outturn".to_owned());
    }
    let settled = returned
        .settled
        .as_ref()
        .map_or(Mass::ZERO, |settled| settled.mass);
    let accounted = returned.returned.checked_add(settled);
    if accounted.map(|accounted| returned.sent.minus(accounted)) != Some(returned.loss) {
        return Err(format!(
            "{} g sent, {} g back and {settled} g settled, the loss is stated as {} g",
            returned.sent, returned.returned, returned.loss
        ));
    }
    Ok(())
}
