//! Prices, and the tax on them.
//!
//! The spot prices and premiums are invented. Values marked "computed" come from Python's `decimal`.

use pourbook::metal::bullion::WeightRule;
use pourbook::metal::price::{MoneyRounding, PriceError, PriceInputs, TO_THE_PENNY, vat_contained};
use pourbook::metal::vat::{self, Treatment, VAT_ROWS, VatError, VatRow, VatUsed};
use pourbook::metal::{Currency, Fineness, Metal, Money, Percent, Rounding, Unreadable};
use proptest::prelude::*;

fn pounds(amount: &str) -> Money {
    Money::parse(amount, "GBP").unwrap()
}

fn percent(text: &str) -> Percent {
    text.parse().unwrap()
}

fn standard(day: &str) -> VatUsed {
    vat::rate(&VAT_ROWS, Treatment::Standard, Metal::Silver, None, day).unwrap()
}

/// 102.53 g of silver at a spot of 24.51 and a premium of 28 %.
fn pour() -> PriceInputs {
    PriceInputs {
        metal: Metal::Silver,
        mass: "102.53".parse().unwrap(),
        fineness: None,
        by_fine_weight: false,
        spot: pounds("24.51"),
        premium_percent: percent("28"),
        fees: None,
        weight: WeightRule::Thousandths,
        vat: standard("2026-11-25"),
        rounding: TO_THE_PENNY,
    }
}

#[test]
fn the_price_of_a_pour_to_the_penny() {
    // Computed: floor(102.53 / 31.1034768 to 0.001) = 3.296; 3.296 x 24.51 x 1.28 = 103.40475...; 20 % of 103.40.
    let price = pour().price().unwrap();
    assert_eq!(price.ounces, "3.296");
    assert_eq!(price.unrounded, "103.40474880");
    assert_eq!(
        (price.net, price.vat, price.gross),
        (pounds("103.40"), pounds("20.68"), pounds("124.08"))
    );
    assert_eq!(
        price.formula,
        "102.53 g / 31.1034768 g, rule ozt-0.001 = 3.296 ozt; 3.296 x 24.51 GBP x 1.28 = 103.40474880, half up = 103.40 GBP; \
         103.40 GBP x 20 % = 20.68 GBP, half up"
    );
    let with_fees = PriceInputs {
        fees: Some(pounds("4.50")),
        ..pour()
    };
    assert_eq!(with_fees.price().unwrap().net, pounds("107.90"));
    assert!(
        with_fees
            .price()
            .unwrap()
            .formula
            .contains("x 1.28 + 4.50 = 107.90474880")
    );
}

/// A price whose net is the spot itself: an ounce, without premium.
fn an_ounce_at(spot: &str, rounding: MoneyRounding) -> PriceInputs {
    PriceInputs {
        mass: "31.10348".parse().unwrap(),
        spot: pounds(spot),
        premium_percent: Percent::ZERO,
        rounding,
        ..pour()
    }
}

#[test]
fn the_rule_by_which_tax_was_rounded_is_kept() {
    // 20 % of 103.19 is 20.638: half up 20.64, which is the revenue's plain rule (VAT record keeping manual); rounded down
    // 20.63, a concession to traders who issue invoices, not to retailers (VAT Notice 700, section 17.5).
    let down = MoneyRounding {
        rule: Rounding::Down,
        ..TO_THE_PENNY
    };
    let half_up = an_ounce_at("103.19", TO_THE_PENNY).price().unwrap();
    assert_eq!((half_up.net, half_up.vat), (pounds("103.19"), pounds("20.64")));
    let rounded_down = an_ounce_at("103.19", down).price().unwrap();
    assert_eq!(
        (rounded_down.net, rounded_down.vat),
        (pounds("103.19"), pounds("20.63"))
    );
}

#[test]
fn the_tax_in_a_gross_amount_is_a_sixth_at_20_per_cent() {
    // Computed: 141.60 / 6 = 23.60.
    let contained = |gross: &str, rate: &str| vat_contained(pounds(gross), percent(rate), TO_THE_PENNY);
    assert_eq!(contained("141.60", "20"), Ok(pounds("23.60")));
    // Computed: 100 x 17.5 / 117.5 = 14.8936...
    assert_eq!(contained("100", "17.5"), Ok(pounds("14.89")));
    assert_eq!(contained("141.60", "0"), Ok(pounds("0.00")));
    assert_eq!(contained("141.60", "-1"), Err(PriceError::RateNegative));
    assert_eq!(
        contained("-1", "20"),
        Err(PriceError::GrossNegative(pounds("-1")))
    );
}

#[test]
fn what_a_hundredth_of_a_gram_is_worth() {
    // Computed: 0.01 / 31.1034768 x 24.51 = 0.0078801...: 0.79 p of silver. At 2600 for gold 0.8359...: 84 p.
    let hundredth = |metal, spot: &str| PriceInputs {
        metal,
        mass: "0.01".parse().unwrap(),
        weight: WeightRule::Gram,
        rounding: MoneyRounding {
            rule: Rounding::HalfUp,
            decimals: 4,
        },
        ..PriceInputs {
            spot: pounds(spot),
            premium_percent: Percent::ZERO,
            ..pour()
        }
    };
    assert_eq!(
        hundredth(Metal::Silver, "24.51").price().unwrap().net,
        pounds("0.0079")
    );
    assert_eq!(
        hundredth(Metal::Gold, "2600").price().unwrap().net,
        pounds("0.8359")
    );
    // Rounding gold down to 0.001 ozt costs the seller up to 2.60: the least mass below the next thousandth is priced a
    // whole thousandth less.
    let gold = |weight| PriceInputs {
        metal: Metal::Gold,
        mass: "31.13457".parse().unwrap(),
        spot: pounds("2600"),
        premium_percent: Percent::ZERO,
        weight,
        ..pour()
    };
    let by = |weight| gold(weight).price().unwrap();
    // Computed: 31.13457 / 31.1034768 = 1.00099966...: 1.000 ozt, 1.0009 ozt, or 2602.60 by the gram.
    assert_eq!(
        (
            by(WeightRule::Thousandths).ounces.as_str(),
            by(WeightRule::Thousandths).net
        ),
        ("1.000", pounds("2600.00"))
    );
    assert_eq!(by(WeightRule::TenThousandths).net, pounds("2602.34"));
    assert_eq!(by(WeightRule::Gram).net, pounds("2602.60"));
}

#[test]
fn the_fine_metal_alone_can_be_priced() {
    let sterling = PriceInputs {
        fineness: Some("925".parse().unwrap()),
        by_fine_weight: true,
        ..pour()
    };
    let unsaid = PriceInputs {
        fineness: None,
        ..sterling.clone()
    };
    assert_eq!(unsaid.price(), Err(PriceError::FinenessNotSaid));
    // Computed: floor(102.53 x 0.925 / 31.1034768 to 0.001) = 3.049; x 24.51 x 1.28 = 95.655...
    let price = sterling.price().unwrap();
    assert_eq!((price.ounces.as_str(), price.net), ("3.049", pounds("95.66")));
    assert!(
        price
            .formula
            .starts_with("102.53 g x 925.0 / 1000 / 31.1034768 g")
    );
}

#[test]
fn a_rate_is_a_row_of_a_dated_table() {
    // United Kingdom: 17.5 % before 4 January 2011, 20 % since (from memory).
    let percent_on = |day: &str| standard(day).percent.to_string();
    assert_eq!(percent_on("2011-01-03"), "17.5");
    assert_eq!(percent_on("2011-01-04"), "20");
    assert_eq!(percent_on("2026-11-25"), "20");
    let before = vat::rate(&VAT_ROWS, Treatment::Standard, Metal::Silver, None, "1999-01-01");
    assert_eq!(before, Err(VatError::NoRow));
    // Registration from 90,000 since 1 April 2024; investment gold notified above 5,000, or 10,000 to one customer
    // (published by the revenue, VAT Notice 701/21).
    let pounds_of = |what: &str| {
        let row = vat::THRESHOLDS
            .iter()
            .find(|row| row.what.contains(what))
            .unwrap();
        (row.pounds, row.from)
    };
    assert_eq!(pounds_of("registration"), (90_000, "2024-04-01"));
    assert_eq!(pounds_of("first exempt supply").0, 5_000);
    assert_eq!(pounds_of("one customer").0, 10_000);
}

#[test]
fn an_old_price_recomputes_when_the_table_has_changed() {
    let kept = serde_json::to_string(&pour()).unwrap();
    let price = pour().price().unwrap();
    let changed = [VatRow {
        units: 250_000,
        from: "2027-01-01",
        ..VAT_ROWS[1]
    }];
    let new = vat::rate(&changed, Treatment::Standard, Metal::Silver, None, "2027-02-01").unwrap();
    let today = PriceInputs { vat: new, ..pour() };
    assert_eq!(today.price().unwrap().vat, pounds("25.85"));
    let again: PriceInputs = serde_json::from_str(&kept).unwrap();
    assert_eq!((again.price().unwrap(), again), (price, pour()));
}

#[test]
fn silver_is_never_investment_gold_and_gold_only_when_it_is_fine_enough() {
    // VAT Notice 701/21: a bar or wafer of at least 995 parts per thousand.
    let decide = |metal, parts: Option<&str>| {
        let fineness = parts.map(|parts| parts.parse::<Fineness>().unwrap());
        vat::rate(
            &VAT_ROWS,
            Treatment::InvestmentGold,
            metal,
            fineness,
            "2026-11-25",
        )
        .map(|used| used.percent)
    };
    assert_eq!(
        decide(Metal::Silver, Some("999")),
        Err(VatError::NotGold(Metal::Silver))
    );
    assert_eq!(
        decide(Metal::Gold, Some("994.9")),
        Err(VatError::NotFine {
            least: 995,
            fineness: "994.9".parse().unwrap()
        })
    );
    assert_eq!(decide(Metal::Gold, None), Err(VatError::FinenessNotSaid));
    assert_eq!(decide(Metal::Gold, Some("995")), Ok(Percent::ZERO));
    // What it depends on is asked, and the answer is not ours.
    for (treatment, metal) in [
        (Treatment::InvestmentGold, Metal::Gold),
        (Treatment::Standard, Metal::Gold),
    ] {
        let asked = vat::questions(treatment, metal, Some("999".parse().unwrap()));
        assert!(asked[0].contains("licensed adviser"), "{asked:?}");
    }
    assert!(vat::questions(Treatment::Standard, Metal::Silver, None).is_empty());
}

#[test]
fn what_cannot_be_a_price_is_refused_by_name() {
    let refused = |inputs: PriceInputs| inputs.price().unwrap_err();
    let euros = Money::parse("4", "EUR").unwrap();
    assert_eq!(
        refused(PriceInputs {
            fees: Some(euros),
            ..pour()
        }),
        PriceError::CurrenciesMixed {
            spot: Currency::parse("GBP").unwrap(),
            fees: Currency::parse("EUR").unwrap()
        }
    );
    assert_eq!(
        refused(PriceInputs {
            fees: Some(pounds("-1")),
            ..pour()
        }),
        PriceError::FeesNegative(pounds("-1"))
    );
    assert_eq!(
        refused(PriceInputs {
            spot: pounds("0"),
            ..pour()
        }),
        PriceError::SpotNotPositive(pounds("0"))
    );
    assert_eq!(
        refused(PriceInputs {
            mass: "0".parse().unwrap(),
            ..pour()
        }),
        PriceError::ZeroMass
    );
    assert_eq!(
        refused(PriceInputs {
            metal: Metal::Copper,
            ..pour()
        }),
        PriceError::NotPrecious(Metal::Copper)
    );
    assert_eq!(
        refused(PriceInputs {
            rounding: MoneyRounding {
                decimals: 9,
                ..TO_THE_PENNY
            },
            ..pour()
        }),
        PriceError::TooManyDecimals(9)
    );
    assert_eq!(
        refused(PriceInputs {
            mass: "100000000".parse().unwrap(),
            spot: pounds("1000000000000"),
            premium_percent: percent("100000"),
            ..pour()
        }),
        PriceError::TooLarge
    );
    // A premium below -100 % would be paid for taking the metal.
    assert_eq!(
        "-100.0001".parse::<Percent>(),
        Err(Unreadable::TooSmall("-100 (per cent)"))
    );
    let given_away = PriceInputs {
        premium_percent: percent("-100"),
        ..pour()
    };
    assert_eq!(given_away.price().unwrap().gross, pounds("0.00"));
    assert_eq!("28%".parse::<Percent>(), Err(Unreadable::Unit("%".to_owned())));
}

proptest! {
    /// What is stored reads back as it was and gives the same price; gross is net and tax; wild amounts never panic.
    #[test]
    fn whatever_is_stored_recomputes(
        units in 0_i64..10_000_000_000_000, spot in 0_u64..100_000_000_000_000, premium in -1_000_000_i32..1_000_000_000,
        fees in proptest::option::of(0_u32..1_000_000), rule in 0_usize..3, decimals in 0_u8..10, place in 0_usize..3,
    ) {
        let inputs = PriceInputs {
            metal: Metal::Gold,
            mass: pourbook::metal::Mass::from_units(units).unwrap(),
            spot: pounds(&format!("{}.{:04}", spot / 10_000, spot % 10_000)),
            premium_percent: Percent::from_units(premium).unwrap(),
            fees: fees.map(|fees| pounds(&format!("{}.{:02}", fees / 100, fees % 100))),
            weight: [WeightRule::Thousandths, WeightRule::TenThousandths, WeightRule::Gram][place],
            rounding: MoneyRounding { rule: [Rounding::Down, Rounding::HalfUp, Rounding::Up][rule], decimals },
            ..pour()
        };
        let kept = serde_json::to_string(&inputs).unwrap();
        let again: PriceInputs = serde_json::from_str(&kept).unwrap();
        prop_assert_eq!(&again, &inputs);
        let price = inputs.price();
        prop_assert_eq!(&again.price(), &price);
        if let Ok(price) = price {
            prop_assert_eq!(price.gross.amount(), price.net.amount() + price.vat.amount());
        }
    }
}
