//! A piece weighed in water, as its proof file tells it: true readings hold and are said, readings that cannot be do not.

use super::lives::{Tale, tale};
use pourbook::domain::*;
use pourbook::metal::Reading;

/// An accepted piece that is weighed in water in a session of its own, certified, sold and handed over.
const IMMERSED: &[&str] = &[
    "melt M in D silver lot A 120.00",
    "pour M DW bar P1",
    "weigh from_mould in D P1 50.42",
    "balance M in D heel 69.30",
    "serials P1",
    "scale F class I e 0.001 d 0.001 max 200 s 0.0005",
    "session E on F 50.000 shows 50.000",
    "immerse P1 in E 50.423 hung 45.610 at 21",
    "weigh final in D P1 50.42",
    "close D 100.00 shows 100.00",
    "certify P1",
    "sell V P1",
    "hand_over V P1",
];

pub fn immersed() -> Tale {
    tale(&[IMMERSED], "P1")
}

fn gravities(event: &mut Event) -> Option<&mut PieceGravity> {
    match event {
        Event::PieceGravity(e) => Some(e),
        _ => None,
    }
}

fn reading(text: &str) -> Reading {
    Reading::parse(text).unwrap()
}

#[test]
fn readings_in_water_hold_with_the_scale_that_took_them() {
    let told = immersed();
    let report = told.report();
    assert!(report.holds(), "{report}");
    // 50.423 (0.997993 - 0.0012) / 4.813 + 0.0012 by hand, of which 0.997993 g/cm3 is water of 21 degrees (Tanaka et al.).
    assert_eq!(report.facts.density.as_deref(), Some("10.444"));
    let uncertainty: f64 = report.facts.density_uncertainty.unwrap().parse().unwrap();
    assert!(uncertainty > 0.0 && uncertainty < 0.06, "{uncertainty}");
    let weight = report.steps.iter().find(|step| step.name == "weight").unwrap();
    assert!(
        weight.found.contains("in water 10.444 g/cm3, +-0.0"),
        "{}",
        weight.found
    );
}

#[test]
fn readings_that_no_piece_or_scale_can_have_do_not_hold() {
    let told = immersed();
    for (in_water, says) in [
        (
            "50.423",
            "50.423 g in air and 50.423 g in water: water carried nothing of the piece",
        ),
        (
            "60.000",
            "50.423 g in air and 60.000 g in water: water carried nothing of the piece",
        ),
        (
            "0.000",
            "50.423 g in air and 0.000 g in water: the displacement is not below the weight in air",
        ),
        ("45.6105", "45.6105 g is finer than the scale shows"),
        ("50.300", "the scale cannot tell 0.123 g of water well enough"),
    ] {
        told.changed(gravities, |e| e.in_water = reading(in_water), "weight", says);
    }
    told.changed(
        gravities,
        |e| e.in_air = reading("51.423"),
        "weight",
        "in air it weighed 51.423 g, its last reading is 50.42 g",
    );
}

#[test]
fn a_piece_that_is_with_its_buyer_was_not_weighed_in_water() {
    let told = immersed();
    let (gravity, handed) = (told.at("piece.gravity"), told.at("piece.handed_over"));
    told.falsified(
        |entries| {
            let moved = entries.remove(gravity);
            entries.insert(handed, moved);
        },
        "life",
        "piece.gravity: the piece was delivered",
    );
}
