//! What the record says of a piece, for whoever reads a report.

use super::ancestry::certificates;
use super::claims::{Claims, is_suspect};
use super::report::{Facts, LotShare};
use crate::domain::Event;
use crate::record::Keys;

/// What the record says, for display.
pub(super) fn facts(claims: &Claims<'_>, keys: &Keys) -> Facts {
    let mut facts = Facts {
        serial: claims.file.serial.to_string(),
        ..Facts::default()
    };
    for (_, event) in claims.own() {
        event.kind().clone_into(&mut facts.last_event);
        match event {
            Event::PiecePoured(e) => facts.pour.clone_from(&e.pour),
            Event::PieceWeighed(e) => {
                facts.weight_grams = Some(e.mass.to_string());
                facts.weight_suspect = is_suspect(claims, e.session);
            }
            Event::PieceNumbered(e) => facts.number = Some(format!("{} of {}", e.number, e.of)),
            _ => {}
        }
    }
    if let Some(newest) = certificates(claims.evidence, &claims.lineage.own, claims.file.piece).last() {
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
