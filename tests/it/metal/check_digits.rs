//! Check digits against published values, and the promise that a single slip is caught.

use pourbook::metal::check_digits::{holds_37_36, holds_97_10, mod_37_36, mod_97_10};
use proptest::prelude::*;

#[test]
fn mod_97_10_values() {
    // 794 and 99991234567890121414: the test values that public libraries for ISO/IEC 7064 share. The third is the body
    // of a legal entity identifier (ISO 17442). The rest computed with Python from the formula.
    for (payload, check) in [
        ("794", "44"),
        ("99991234567890121414", "90"),
        ("213800KUD8LAJWSQ9D", "15"),
        ("TW0007", "65"),
        ("DW0001", "21"),
        ("DW0123", "43"),
        // The two ends of the range, where a check by remainder alone would also pass 00 and 01.
        ("TW0061", "97"),
        ("TW0093", "98"),
        ("TW0028", "02"),
    ] {
        assert_eq!(mod_97_10(payload).as_deref(), Some(check), "{payload}");
        assert!(holds_97_10(payload, check));
    }
}

#[test]
fn a_remainder_of_one_is_not_enough() {
    // As numbers these are 1 modulo 97 as well; as text they are not the check.
    assert!(!holds_97_10("TW0061", "00"));
    assert!(!holds_97_10("TW0093", "01"));
    assert!(!holds_97_10("TW0028", "99"));
    assert!(!holds_97_10("TW0007", "065"));
    assert!(!holds_97_10("TW0007", ""));
}

#[test]
fn mod_37_36_values() {
    // The test values that public libraries for ISO/IEC 7064 share.
    for (payload, check) in [
        ("A12425GABC1234002", 'M'),
        ("123AB", 'X'),
        ("TBR", '1'),
        ("9", 'J'),
        ("EFWW032G2TI", 'U'),
    ] {
        assert_eq!(mod_37_36(payload), Some(check), "{payload}");
        assert!(holds_37_36(payload, check));
        assert!(!holds_37_36(payload, check.to_ascii_lowercase()) || check.is_ascii_digit());
    }
}

#[test]
fn nothing_but_capitals_and_digits_has_a_check() {
    for payload in ["", "tw0007", "TW-0007", "TW 0007", "ÄB", "٣"] {
        assert_eq!(mod_97_10(payload), None, "{payload:?}");
        assert_eq!(mod_37_36(payload), None, "{payload:?}");
        assert!(!holds_97_10(payload, "65"));
        assert!(!holds_37_36(payload, 'M'));
    }
}

/// The checked text with one symbol replaced by another of its kind (letter or digit), in every place and every way.
fn wrong_symbols(text: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    for (at, old) in text.char_indices() {
        let kind = if old.is_ascii_digit() {
            '0'..='9'
        } else {
            'A'..='Z'
        };
        for new in kind.filter(|new| *new != old) {
            let mut slip = text.to_owned();
            slip.replace_range(at..=at, &new.to_string());
            wrong.push(slip);
        }
    }
    wrong
}

/// The checked text with two unequal neighbours of one kind swapped, in every place.
fn swapped_neighbours(text: &str) -> Vec<String> {
    let symbols: Vec<char> = text.chars().collect();
    (1..symbols.len())
        .filter(|&at| symbols[at - 1] != symbols[at])
        .filter(|&at| symbols[at - 1].is_ascii_digit() == symbols[at].is_ascii_digit())
        .map(|at| {
            let mut slip = symbols.clone();
            slip.swap(at - 1, at);
            slip.into_iter().collect()
        })
        .collect()
}

fn passes(text: &str) -> bool {
    let (payload, check) = text.split_at(text.len() - 2);
    holds_97_10(payload, check)
}

#[test]
fn every_wrong_symbol_and_every_swap_in_a_serial_is_caught() {
    // Letters and digits stand in fixed places, so a letter is mistaken for a letter and a digit for a digit; the check
    // digits themselves and the place where they meet the number are included.
    let (mut slips, mut serials) = (0_u32, 0_u32);
    for (code, step) in [("TW", 7), ("DW", 11), ("ZZZZ", 101), ("ABC", 97)] {
        for number in (0..10_000).step_by(step) {
            let payload = format!("{code}{number:04}");
            let serial = format!("{payload}{}", mod_97_10(&payload).unwrap());
            assert!(passes(&serial));
            serials += 1;
            for slip in wrong_symbols(&serial)
                .into_iter()
                .chain(swapped_neighbours(&serial))
            {
                assert!(!passes(&slip), "{slip} passes for {serial}");
                slips += 1;
            }
        }
    }
    assert!(
        serials > 2_000 && slips > 200_000,
        "{serials} serials, {slips} slips"
    );
}

proptest! {
    #[test]
    fn a_wrong_symbol_of_any_kind_is_caught_by_mod_37_36(payload in "[0-9A-Z]{1,16}", at in any::<prop::sample::Index>(), by in 1_u32..36) {
        let check = mod_37_36(&payload).unwrap();
        let at = at.index(payload.len());
        let old = payload[at..=at].chars().next().unwrap().to_digit(36).unwrap();
        let new = char::from_digit((old + by) % 36, 36).unwrap().to_ascii_uppercase();
        let mut slip = payload.clone();
        slip.replace_range(at..=at, &new.to_string());
        prop_assert!(!holds_37_36(&slip, check));
    }

    #[test]
    fn the_whole_is_one_modulo_97(payload in "[0-9A-Z]{1,12}") {
        // The property that ISO/IEC 7064 demands of payload and check together, computed here as one big number.
        let whole = payload.clone() + &mod_97_10(&payload).unwrap();
        let digits: String = whole.chars().map(|symbol| symbol.to_digit(36).unwrap().to_string()).collect();
        prop_assert_eq!(digits.parse::<u128>().unwrap() % 97, 1);
    }

    #[test]
    fn no_text_makes_it_panic(payload in any::<String>(), check in any::<String>()) {
        let _ = holds_97_10(&payload, &check);
        let _ = mod_37_36(&payload);
    }
}
