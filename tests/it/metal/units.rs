//! Units of the trade, bars as the wholesale trade states them, and tables of standards.
//!
//! Values marked "computed" come from Python's exact fractions, by the formula beside them, and not from this code.

use pourbook::metal::Rounding::{Down, HalfUp};
use pourbook::metal::bullion::{BAR_RULES, BarError, WEIGHT_ROWS, WeightRule, bar};
use pourbook::metal::materials::LOOK_ALIKES;
use pourbook::metal::standards::{EXEMPT_WEIGHTS, METHODS, STANDARDS, STANDARDS_SOURCE, exempt_below};
use pourbook::metal::units::{Unit, UnitError, convert};
use pourbook::metal::vat::{THRESHOLDS, VAT_ROWS};
use pourbook::metal::{FineMass, Fineness, Mass, Metal, Ratio, Rounding, Unreadable, fine_mass};
use pourbook::metal::{GUARD_RULES, MPE_TABLE};
use proptest::prelude::*;

fn fineness(text: &str) -> Fineness {
    text.parse().unwrap()
}

fn converted(amount: &str, from: Unit, to: Unit, decimals: u32, rounding: Rounding) -> String {
    convert(amount, from, to)
        .unwrap()
        .to_decimal(decimals, rounding)
        .unwrap()
}

#[test]
fn units_of_the_trade_in_grams() {
    // Weights and Measures Act 1985, section 1 and schedule 1: the pound is 0.45359237 kg, the grain a 7000th of it, the
    // ounce troy 480 grains, the pennyweight 24.
    for (unit, grams) in [
        (Unit::Grain, "0.06479891"),
        (Unit::Pennyweight, "1.55517384"),
        (Unit::TroyOunce, "31.1034768"),
        (Unit::Kilogram, "1000"),
        (Unit::Milligram, "0.001"),
    ] {
        let exact = convert("1", unit, Unit::Gram).unwrap();
        let decimals = u32::try_from(grams.split_once('.').map_or(0, |(_, after)| after.len())).unwrap();
        assert_eq!(exact.to_decimal(decimals, Down).unwrap(), grams);
        // Exactly: rounding up changes nothing.
        assert_eq!(exact.to_decimal(decimals, Rounding::Up).unwrap(), grams);
    }
    // A grain is 64.79891 mg.
    assert_eq!(converted("1", Unit::Grain, Unit::Milligram, 5, Down), "64.79891");
    assert_eq!(
        convert("20", Unit::Pennyweight, Unit::TroyOunce).unwrap(),
        Ratio::ONE
    );
    // Computed: 100 / 31.1034768 and 1000 / 31.1034768, to twelve decimals.
    assert_eq!(
        converted("100", Unit::Gram, Unit::TroyOunce, 12, HalfUp),
        "3.215074656863"
    );
    assert_eq!(
        converted("1", Unit::Kilogram, Unit::TroyOunce, 12, HalfUp),
        "32.150746568628"
    );
}

#[test]
fn avoirdupois_units_are_refused_and_never_converted() {
    for word in ["oz", "OZ", "lb", "lbs", "ounce", "oz."] {
        let refused = word.parse::<Unit>().unwrap_err();
        assert_eq!(refused, UnitError::Avoirdupois(word.to_owned()));
        assert!(refused.to_string().contains("refused, never converted"));
    }
    assert_eq!("tael".parse::<Unit>(), Err(UnitError::Unknown("tael".to_owned())));
    // An avoirdupois ounce is 28.349523125 g (the same Act); nothing here turns 1 into it.
    for unit in Unit::ALL {
        assert_ne!(converted("1", unit, Unit::Gram, 9, HalfUp), "28.349523125");
    }
}

#[test]
fn amounts_that_are_none_are_refused_by_their_fact() {
    assert_eq!(convert("-1", Unit::Gram, Unit::Grain), Err(Unreadable::Negative));
    assert_eq!(convert("1e3", Unit::Gram, Unit::Grain), Err(Unreadable::Exponent));
    assert_eq!(convert("", Unit::Gram, Unit::Grain), Err(Unreadable::Empty));
    assert_eq!(
        convert("10000000000000", Unit::Kilogram, Unit::Milligram),
        Err(Unreadable::TooLarge("1000000000000"))
    );
    assert_eq!(
        convert("0.1234567890", Unit::Gram, Unit::Grain),
        Err(Unreadable::TooFine(9))
    );
}

#[test]
fn a_bar_of_gold_as_it_is_stated() {
    // The sample line of the published good-delivery rules for gold bars (annex C): 401.125 ozt gross at 995.8 is 399.440
    // fine. The product, 399.440275, is recomputed.
    let stated = bar(Metal::Gold, "401.127", fineness("995.8")).unwrap();
    assert_eq!(
        (stated.gross.as_str(), stated.fine.as_str()),
        ("401.125", "399.440")
    );
    assert_eq!(stated.exact.to_decimal(6, Down).unwrap(), "399.440275");
    // Gross weights are multiples of 0.025 ozt rounded down, and a bar is at least 0.002 ozt over to turn the scale (older
    // published editions of the same rules).
    for (weighed, gross) in [
        ("401.126", "401.100"),
        ("401.127", "401.125"),
        ("401.151", "401.125"),
        ("401.152", "401.150"),
        ("0.001", "0.000"),
    ] {
        assert_eq!(
            bar(Metal::Gold, weighed, fineness("995.8")).unwrap().gross,
            gross,
            "{weighed}"
        );
    }
    // Silver: multiples of 0.1 ozt rounded down.
    assert_eq!(
        bar(Metal::Silver, "986.399", fineness("999.0")).unwrap().gross,
        "986.300"
    );
    assert_eq!(
        bar(Metal::Silver, "986.4", fineness("999.0")).unwrap().gross,
        "986.400"
    );
    // Fineness has four figures.
    assert_eq!(
        bar(Metal::Gold, "400", fineness("995.85")),
        Err(BarError::TooManyFigures(fineness("995.85")))
    );
    assert_eq!(
        bar(Metal::Platinum, "400", fineness("999.5")),
        Err(BarError::NoRule(Metal::Platinum))
    );
}

#[test]
fn agreed_fine_weights_of_small_bars() {
    // Published gold conversion tables with the fine weights agreed for the London market: reproduced half up to 0.001 ozt.
    // (100 g: the tables' three figures stand for 995.0, 999.0 and 999.9 parts per thousand.)
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
        let fine: FineMass = fine_mass(grams.parse::<Mass>().unwrap(), fineness(parts));
        assert_eq!(fine.troy_ounces(3, HalfUp), ounces, "{grams} g of {parts}");
    }
}

#[test]
fn standards_and_exemption_weights_are_rows_of_dated_tables() {
    // United Kingdom profile of the hallmarking convention.
    let of = |metal: Metal| -> Vec<u16> {
        let rows = STANDARDS.iter().filter(|row| row.metal == metal);
        rows.map(|row| row.parts).collect()
    };
    assert_eq!(of(Metal::Silver), [800, 925, 958, 999]);
    assert_eq!(of(Metal::Gold), [375, 585, 750, 916, 990, 999]);
    let grams = |metal, day| exempt_below(metal, day).map(|mass| mass.to_string());
    assert_eq!(grams(Metal::Silver, "2026-11-25").as_deref(), Some("7.78"));
    assert_eq!(grams(Metal::Gold, "2026-11-25").as_deref(), Some("1.00"));
    assert_eq!(grams(Metal::Palladium, "2026-11-25").as_deref(), Some("1.00"));
    assert_eq!(grams(Metal::Platinum, "2026-11-25").as_deref(), Some("0.50"));
    assert_eq!(grams(Metal::Copper, "2026-11-25"), None);
    // Hallmarking Act 1973, schedule 1, as enacted: 5 g of silver.
    assert_eq!(grams(Metal::Silver, "1980-01-01").as_deref(), Some("5.00"));
    assert_eq!(grams(Metal::Silver, "1970-01-01"), None);
}

#[test]
fn neither_titration_nor_a_hand_held_instrument_supports_999() {
    // Typical expanded uncertainties, from memory: titration 0.5 to 1, cupellation 0.2 to 0.5, difference by ICP 0.05 to
    // 0.2, hand-held X-ray fluorescence 2 to 10 parts per thousand. Scopes: ISO 11427 from 100 to 999.0, ISO 15096 from 999,
    // ISO 11426 from 100 to 999.5, ISO 15093 from 999.
    let method = |part: &str| METHODS.iter().find(|row| row.name.contains(part)).unwrap();
    for (part, range, uncertainty) in [
        ("ISO 11427", (1_000, 9_990), (50, 100)),
        ("ISO 13756", (1_000, 9_990), (50, 100)),
        ("ISO 15096", (9_990, 10_000), (5, 20)),
        ("ISO 11426", (1_000, 9_995), (20, 50)),
        ("ISO 15093", (9_990, 10_000), (5, 20)),
        ("X-ray", (0, 10_000), (200, 1_000)),
    ] {
        assert_eq!(
            (method(part).range, method(part).uncertainty),
            (range, uncertainty)
        );
    }
    let claim = fineness("999");
    assert!(!method("ISO 11427").can_support(claim));
    assert!(!method("ISO 13756").can_support(claim));
    assert!(!method("X-ray").can_support(claim));
    assert!(method("ISO 15096").can_support(claim));
    assert!(method("ISO 11427").can_support(fineness("958")));
}

#[test]
fn every_row_of_a_table_says_where_it_comes_from() {
    let sources = BAR_RULES.iter().map(|row| row.source);
    let sources = sources.chain(WEIGHT_ROWS.iter().map(|row| row.source));
    let sources = sources.chain(VAT_ROWS.iter().map(|row| row.source));
    let sources = sources.chain(METHODS.iter().map(|row| row.source));
    let sources = sources.chain(EXEMPT_WEIGHTS.iter().map(|row| row.source));
    let sources = sources.chain(THRESHOLDS.iter().map(|row| row.source));
    let sources = sources.chain(GUARD_RULES.iter().map(|row| row.source));
    let sources = sources.chain(LOOK_ALIKES.iter().map(|row| row.source));
    for source in sources.chain([STANDARDS_SOURCE, MPE_TABLE.source]) {
        assert!(source.len() > 10, "{source:?}");
    }
    for row in WEIGHT_ROWS {
        assert_eq!(row.word.parse::<WeightRule>(), Ok(row.rule));
        assert_eq!(serde_json::to_value(row.rule).unwrap(), row.word);
    }
}

proptest! {
    /// There and back is the same amount, to the last digit, through any two units.
    #[test]
    fn there_and_back_is_the_same(count in 0_u64..1_000_000_000_000, from in 0_usize..6, to in 0_usize..6) {
        let (from, to) = (Unit::ALL[from], Unit::ALL[to]);
        let amount = format!("{}.{:05}", count / 100_000, count % 100_000);
        let there = convert(&amount, from, to).unwrap();
        let per_unit = convert("1", to, from).unwrap();
        let back = there.checked_mul(per_unit).unwrap();
        prop_assert_eq!(back, Ratio::new(u128::from(count), 100_000).unwrap());
    }
}
