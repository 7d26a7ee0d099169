//! Fineness, fine mass, troy ounces and blends.
//!
//! Values marked "computed" come from Python's exact fractions, by the formula beside them, and not from this code.

use pourbook::metal::Rounding::{Down, HalfUp, Up};
use pourbook::metal::{
    FineMass, Fineness, Mass, Metal, Ratio, TROY_OUNCE_GRAMS, Unreadable, blend, blend_fineness, fine_mass,
    troy_ounces,
};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn fineness(text: &str) -> Fineness {
    Fineness::parse(text).unwrap()
}

#[test]
fn the_troy_ounce_is_480_grains_exactly() {
    // Weights and Measures Act 1985: the pound is 0.45359237 kg exactly; a grain is 1/7000 of it, the ounce troy 12/175.
    let pound = Decimal::from_str_exact("453.59237").unwrap();
    let ounce = Decimal::from_str_exact(TROY_OUNCE_GRAMS).unwrap();
    assert_eq!(ounce * Decimal::from(175), pound * Decimal::from(12));
    let grain = Decimal::from_str_exact("0.06479891").unwrap();
    assert_eq!(grain * Decimal::from(7000), pound);
    assert_eq!(grain * Decimal::from(480), ounce);
}

#[test]
fn grams_in_troy_ounces() {
    // Computed: grams / 31.1034768 to 28 digits. The last is floored for a sale by weight (common practice, no source).
    assert_eq!(troy_ounces(mass("100"), 9, HalfUp), "3.215074657");
    assert_eq!(troy_ounces(mass("1000"), 9, HalfUp), "32.150746569");
    assert_eq!(troy_ounces(mass("102.53"), 6, HalfUp), "3.296416");
    assert_eq!(troy_ounces(mass("102.53"), 3, Down), "3.296");
    assert_eq!(troy_ounces(mass("102.53"), 3, Up), "3.297");
    assert_eq!(troy_ounces(Mass::ZERO, 3, Up), "0.000");
    // One step of 10 micrograms below an ounce is not an ounce.
    assert_eq!(troy_ounces(mass("31.10347"), 3, Down), "0.999");
    assert_eq!(troy_ounces(mass("31.10348"), 3, Down), "1.000");
}

#[test]
fn troy_ounces_in_grams() {
    // Computed: ounces * 31.1034768, rounded half up to 10 micrograms.
    for (ounces, grams) in [
        ("0.1", "3.11035"),
        ("1", "31.10348"),
        ("5", "155.51738"),
        ("10", "311.03477"),
        ("100", "3110.34768"),
        ("401.125", "12476.38213"),
        ("1000", "31103.4768"),
    ] {
        assert_eq!(
            Mass::from_troy_ounces(ounces, HalfUp),
            Ok(mass(grams)),
            "{ounces}"
        );
    }
    assert_eq!(Mass::from_troy_ounces("1", Down), Ok(mass("31.10347")));
    assert_eq!(
        Mass::from_troy_ounces("5 oz", HalfUp),
        Err(Unreadable::Unit("oz".to_owned()))
    );
    assert_eq!(Mass::from_troy_ounces("-1", HalfUp), Err(Unreadable::Negative));
    assert_eq!(
        Mass::from_troy_ounces("9999999", HalfUp),
        Err(Unreadable::TooLarge("100000000 g"))
    );
}

#[test]
fn agreed_fine_weights_in_troy_ounces() {
    // The rounded fine weights agreed for bars in the London market, as reproduced in published gold conversion tables
    // (500 g and 250 g at 999.0; 1 kg and 100 g at three finenesses): gross grams, fineness, fine ounces.
    for (grams, parts, ounces) in [
        ("1000", "995.0", "31.990"),
        ("1000", "999.0", "32.119"),
        ("1000", "999.9", "32.148"),
        ("500", "999.0", "16.059"),
        ("250", "999.0", "8.030"),
        ("100", "995.0", "3.199"),
        ("100", "999.0", "3.212"),
        ("100", "999.9", "3.215"),
    ] {
        assert_eq!(
            fine_mass(mass(grams), fineness(parts)).troy_ounces(3, HalfUp),
            ounces,
            "{grams} g at {parts}"
        );
    }
}

#[test]
fn the_sample_bar_of_the_good_delivery_rules() {
    // LBMA Good Delivery Rules, Annex C, sample line: 401.125 oz gross at 995.8 is 399.440 oz fine. The gross is no whole
    // number of 10 micrograms, so the sixth decimal differs from the 399.440275 of ounces times fineness.
    let gross = Mass::from_troy_ounces("401.125", HalfUp).unwrap();
    assert_eq!(
        fine_mass(gross, fineness("995.8")).troy_ounces(3, HalfUp),
        "399.440"
    );
    assert_eq!(
        fine_mass(gross, fineness("995.8")).troy_ounces(9, HalfUp),
        "399.440274955"
    );
}

#[test]
fn a_fineness_is_read_and_written() {
    for (text, units, printed) in [
        ("999", 9_990_000, "999.0"),
        ("925.0", 9_250_000, "925.0"),
        ("958.4", 9_584_000, "958.4"),
        ("916.6667", 9_166_667, "916.6667"),
        ("1000", 10_000_000, "1000.0"),
        ("0.0001", 1, "0.0001"),
    ] {
        assert_eq!(
            (fineness(text).units(), fineness(text).to_string().as_str()),
            (units, printed)
        );
    }
    assert_eq!(Fineness::parse("0"), Err(Unreadable::Zero));
    assert_eq!(Fineness::parse("0.0000"), Err(Unreadable::Zero));
    assert_eq!(
        Fineness::parse("1000.0001"),
        Err(Unreadable::TooLarge("1000 parts per thousand"))
    );
    assert_eq!(Fineness::parse("999.00001"), Err(Unreadable::TooFine(4)));
    assert_eq!(Fineness::parse("999‰"), Err(Unreadable::Unit("‰".to_owned())));
    assert_eq!(Fineness::parse("-1"), Err(Unreadable::Negative));
    assert!(serde_json::from_str::<Fineness>("999").is_err());
    assert_eq!(
        serde_json::from_str::<Fineness>("\"999\"").unwrap(),
        fineness("999.0")
    );
}

#[test]
fn a_blend_is_exact_and_its_claim_is_floored() {
    // Computed: (600 g at 916 + 200 g at 999) / 800 g = 936.75, and the top-ups that reach a standard by
    // m2 = m1 (f - f1) / (f2 - f): 97.2973 g lifts 800 g of 916 to 925, 133.3333 g of 999.9 lifts 300 g of 998.6 to 999.
    assert_eq!(
        blend(&[(mass("600"), fineness("916")), (mass("200"), fineness("999"))]),
        Ratio::new(93_675, 100_000)
    );
    let lift = |by: &str| blend_fineness(&[(mass("800"), fineness("916")), (mass(by), fineness("999"))], 1);
    assert_eq!(lift("97.29"), Some(fineness("924.9")));
    assert_eq!(lift("97.30"), Some(fineness("925.0")));
    let near = |by: &str| {
        blend_fineness(
            &[(mass("300"), fineness("998.6")), (mass(by), fineness("999.9"))],
            4,
        )
    };
    assert_eq!(near("133.33"), Some(fineness("998.9999")));
    assert_eq!(near("133.34"), Some(fineness("999.0")));
    // 500 g of 999 with 40 g of copper is 925 exactly.
    assert_eq!(
        blend_fineness(&[(mass("500"), fineness("999")), (mass("40"), Fineness::ZERO)], 4),
        Some(fineness("925"))
    );
    assert_eq!(blend(&[]), None);
    assert_eq!(blend(&[(Mass::ZERO, fineness("999"))]), None);
    assert_eq!(blend_fineness(&[(mass("1"), fineness("999"))], 5), None);
    assert_eq!(Fineness::floor_from(Ratio::new(3, 2).unwrap(), 1), None);
}

#[test]
fn fine_mass_is_exact_to_the_picogram() {
    let fine = fine_mass(mass("100.42"), fineness("999.9"));
    assert_eq!(fine.to_string(), "100.409958");
    assert_eq!(fine.to_text(2), "100.41");
    assert_eq!(fine.grams(2, Down), "100.40");
    let tiny = fine_mass(mass("0.00001"), fineness("0.0001"));
    assert_eq!(tiny.to_string(), "0.000000000001");
    let below = FineMass::ZERO.checked_sub(tiny).unwrap();
    assert_eq!(below.to_string(), "-0.000000000001");
    assert_eq!(below.to_text(2), "0.00");
    assert_eq!("-0.000000000001".parse::<FineMass>(), Ok(below));
    assert!("-0.00".parse::<FineMass>().is_err());
    let most = FineMass::from_picograms(100_000_000_000_000_000_000_000_000).unwrap();
    assert_eq!(most.checked_add(tiny), None);
    // The longest figure that can be asked for still fits: 10^14 g / 31.1034768 (computed, all digits).
    assert_eq!(most.troy_ounces(9, HalfUp), "3215074656862.798052210");
}

#[test]
fn copper_is_no_precious_metal() {
    let precious: Vec<_> = Metal::ALL
        .into_iter()
        .filter(|metal| metal.is_precious())
        .collect();
    assert_eq!(
        precious,
        [Metal::Silver, Metal::Gold, Metal::Platinum, Metal::Palladium]
    );
    for metal in Metal::ALL {
        assert_eq!(serde_json::to_string(&metal).unwrap(), format!("\"{metal}\""));
    }
    assert!(serde_json::from_str::<Metal>("\"Silver\"").is_err());
}

fn any_mass() -> impl Strategy<Value = Mass> {
    (0_i64..=10_000_000_000).prop_map(|units| Mass::from_units(units).unwrap())
}

fn any_fineness() -> impl Strategy<Value = Fineness> {
    (0_u32..=10_000_000).prop_map(|units| Fineness::from_units(units).unwrap())
}

proptest! {
    #[test]
    fn sums_of_fine_mass_are_exact(parts in prop::collection::vec((any_mass(), any_fineness()), 0..40)) {
        let ours = FineMass::checked_sum(parts.iter().map(|(mass, fineness)| fine_mass(*mass, *fineness))).unwrap();
        // The same sum in decimals of a library: grams times parts per thousand, which 28 digits hold exactly here.
        let theirs: Decimal = parts
            .iter()
            .map(|(mass, fineness)| {
                let grams = Decimal::from_str_exact(&mass.to_string()).unwrap();
                grams * Decimal::from_str_exact(&fineness.to_string()).unwrap()
            })
            .sum();
        let printed = Decimal::from_str_exact(&ours.to_string()).unwrap();
        prop_assert_eq!(printed * Decimal::from(1000), theirs);
        prop_assert_eq!(ours.to_string().parse::<FineMass>().unwrap(), ours);
    }

    #[test]
    fn a_blend_lies_between_its_parts_and_its_claim_never_exceeds_it(
        parts in prop::collection::vec((any_mass(), any_fineness()), 1..20),
        decimals in 0_u32..=4,
    ) {
        prop_assume!(parts.iter().any(|(mass, _)| !mass.is_zero()));
        let mixed = blend(&parts).unwrap();
        let weighed = || parts.iter().filter(|(mass, _)| !mass.is_zero()).map(|(_, fineness)| fineness.to_ratio());
        prop_assert!(weighed().min().unwrap() <= mixed && mixed <= weighed().max().unwrap());
        let claim = blend_fineness(&parts, decimals).unwrap();
        prop_assert!(claim.to_ratio() <= mixed);
        let step = 10_u32.pow(4 - decimals);
        prop_assert_eq!(claim.units() % step, 0);
        if let Some(next) = Fineness::from_units(claim.units() + step) {
            prop_assert!(next.to_ratio() > mixed, "the claim is lower than it needs to be");
        }
    }

    #[test]
    fn a_fineness_reads_back(units in 1_u32..=10_000_000) {
        let fineness = Fineness::from_units(units).unwrap();
        prop_assert_eq!(Fineness::parse(&fineness.to_string()).unwrap(), fineness);
    }

    #[test]
    fn a_mass_survives_troy_ounces_and_back(mass in any_mass()) {
        // Nine decimals of an ounce are finer than 10 micrograms, so nothing may be lost on the way.
        let ounces = troy_ounces(mass, 9, HalfUp);
        prop_assert_eq!(Mass::from_troy_ounces(&ounces, HalfUp).unwrap(), mass);
    }

    #[test]
    fn no_text_is_too_odd(text in any::<String>()) {
        let _ = Fineness::parse(&text);
        let _ = text.parse::<FineMass>();
        let _ = Mass::from_troy_ounces(&text, HalfUp);
    }
}
