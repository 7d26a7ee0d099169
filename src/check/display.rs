//! What the record says of a piece, for whoever reads a report.

use super::claims::{Claims, Told, close_of, place, say_hallmark};
use super::report::{Facts, LotShare};
use crate::domain::{Event, PieceState, SessionId};
use crate::metal::Reading;
use crate::record::Keys;

/// What the record says, for display.
pub(super) fn facts(claims: &Claims<'_>, keys: &Keys, told: &Told) -> Facts {
    let mut facts = Facts {
        serial: claims.file.serial.to_string(),
        ..Facts::default()
    };
    let weigh = |facts: &mut Facts, index: u64, session: SessionId, mass: &Reading| {
        facts.weight_grams = Some(mass.to_string());
        facts.weight_suspect = claims.is_suspect(session, index);
    };
    for (index, event) in claims.own() {
        event.kind().clone_into(&mut facts.last_event);
        match event {
            Event::PiecePoured(e) => facts.pour.clone_from(&e.pour),
            Event::PieceWeighed(e) => weigh(&mut facts, index, e.session, &e.mass),
            Event::PieceGravity(e) => {
                let measured = claims.measured(e);
                facts.density = measured.map(|measured| measured.density_text());
                facts.density_uncertainty = measured.map(|measured| measured.uncertainty_text());
            }
            Event::PieceBoughtBack(e) => weigh(&mut facts, index, e.session, &e.mass),
            _ => {}
        }
    }
    life(claims, told, &mut facts);
    if let Some((_, newest)) = claims.issued().last() {
        facts.metal = Some(newest.metal.word());
        facts.fineness = Some(newest.fineness.to_string());
        facts.uncertainty_grams = Some(newest.uncertainty.to_string());
        facts.at_least_grams = Some(newest.at_least.to_string());
        facts.certificate_issue = Some(newest.issue);
    }
    for (lot, share) in &claims.lineage.lots {
        if let Some(lot) = claims.lot(*lot) {
            let share_ppm = u64::try_from(share / 1_000_000).unwrap_or(0);
            facts.lots.push(LotShare {
                number: lot.number,
                metal: lot.metal.word(),
                share_ppm,
                outturn: lot.outturn,
            });
        }
    }
    facts.lots.sort_by_key(|share| share.number);
    for (index, held) in &claims.evidence.entries {
        if keys.is_suspect(&held.entry.kid, *index) && !facts.suspect_keys.contains(&held.entry.kid) {
            facts.suspect_keys.push(held.entry.kid.clone());
        }
    }
    facts
}

/// What it is now, where, and in which series.
fn life(claims: &Claims<'_>, told: &Told, facts: &mut Facts) {
    let life = &told.life;
    facts.state = Some(life.state.word());
    facts.place = Some(place(life.state));
    facts.before = life.before.map(PieceState::word);
    facts.series = claims.series_code(life.series);
    facts.number = life.number.map(|(number, of)| format!("{number} of {of}"));
    facts.hallmark = life.hallmark.as_ref().map(say_hallmark);
    if let Some((_, closed)) = close_of(claims, life.series) {
        facts.edition_closed = true;
        let mut tallies = closed.shapes.iter().filter(|tally| tally.shape == life.shape);
        let burned = |number: &u32| tallies.any(|tally| tally.burned.contains(number));
        facts.number_burned = life.number.map(|(number, _)| number).as_ref().is_some_and(burned);
    }
}
