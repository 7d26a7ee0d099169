//! Money: digits kept, currencies apart, and a JSON number refused.

use pourbook::metal::{Currency, Money, Unreadable};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn money(amount: &str) -> Money {
    Money::parse(amount, "GBP").unwrap()
}

#[test]
fn an_amount_keeps_its_digits() {
    let json = r#"{"amount":"3.4200","currency":"GBP"}"#;
    let read: Money = serde_json::from_str(json).unwrap();
    assert_eq!(read.amount().to_string(), "3.4200");
    assert_eq!(serde_json::to_string(&read).unwrap(), json);
    assert_eq!(read.to_string(), "3.4200 GBP");
}

#[test]
fn only_a_json_string_is_an_amount() {
    for json in [
        r#"{"amount":3.4200,"currency":"GBP"}"#,
        r#"{"amount":3,"currency":"GBP"}"#,
        r#"{"amount":"3.42"}"#,
        r#"{"amount":"3.42","currency":"gbp"}"#,
        r#"{"amount":"3.42","currency":"GBP","rate":"1"}"#,
        r#"{"amount":"3.42","amount":"3.42","currency":"GBP"}"#,
        r#"{"amount":"1e3","currency":"GBP"}"#,
        r#"{"amount":"1_000","currency":"GBP"}"#,
        r#"{"amount":"+3","currency":"GBP"}"#,
        r#"{"amount":"-0.00","currency":"GBP"}"#,
    ] {
        assert!(serde_json::from_str::<Money>(json).is_err(), "{json}");
        // The same through a parsed value, which hands numbers over in another way.
        if let Ok(value) = serde_json::from_str::<serde_json::Value>(json)
            && !json.contains(r#""amount":"3.42","amount""#)
        {
            assert!(serde_json::from_value::<Money>(value).is_err(), "{json}");
        }
    }
}

#[test]
fn two_currencies_are_never_added() {
    let pounds = money("24.51");
    let euros = Money::parse("24.51", "EUR").unwrap();
    assert_eq!(pounds.checked_add(euros), None);
    assert_eq!(pounds.checked_sub(euros), None);
    assert_eq!(
        pounds.checked_add(money("0.4900")).unwrap().to_string(),
        "25.0000 GBP"
    );
    let even = pounds.checked_sub(pounds).unwrap();
    assert_eq!(even.to_string(), "0.00 GBP");
    assert_eq!(
        money("1").checked_sub(money("2.50")).unwrap().to_string(),
        "-1.50 GBP"
    );
}

#[test]
fn an_amount_has_limits() {
    let refused = |amount: &str| Money::parse(amount, "GBP").unwrap_err();
    assert_eq!(refused("0.000000001"), Unreadable::TooFine(8));
    assert_eq!(refused("1000000000000.01"), Unreadable::TooLarge("1000000000000"));
    assert_eq!(refused(&"9".repeat(60)), Unreadable::TooLarge("1000000000000"));
    assert_eq!(refused("1,50"), Unreadable::Comma);
    assert_eq!(refused("1e3"), Unreadable::Exponent);
    assert_eq!(refused(""), Unreadable::Empty);
    assert_eq!(money("1000000000000").checked_add(money("0.01")), None);
    for letters in ["", "GB", "GBPP", "gbp", "G1P", "£££", "GBÜ"] {
        assert!(Currency::parse(letters).is_err(), "{letters:?}");
    }
}

#[test]
fn an_amount_made_elsewhere_obeys_the_same_limits() {
    let gbp = Currency::parse("GBP").unwrap();
    assert!(Money::new(Decimal::new(1, 9), gbp).is_err());
    assert!(Money::new(Decimal::MAX, gbp).is_err());
    let mut nothing = Decimal::ZERO;
    nothing.set_sign_negative(true);
    assert!(Money::new(nothing, gbp).is_err());
}

proptest! {
    #[test]
    fn what_is_written_reads_back(text in "-?(0|[1-9][0-9]{0,11})(\\.[0-9]{1,8})?") {
        if let Ok(read) = Money::parse(&text, "GBP") {
            prop_assert_eq!(read.amount().to_string(), text.clone());
            let json = serde_json::to_string(&read).unwrap();
            prop_assert_eq!(serde_json::from_str::<Money>(&json).unwrap().amount().to_string(), text);
        } else {
            // Of these texts only a minus before zero is refused.
            prop_assert!(text.starts_with('-') && text.bytes().all(|byte| !(b'1'..=b'9').contains(&byte)));
        }
    }

    #[test]
    fn no_text_makes_it_panic(amount in any::<String>(), currency in any::<String>()) {
        let _ = Money::parse(&amount, "GBP");
        let _ = Money::parse("1", &currency);
    }
}
