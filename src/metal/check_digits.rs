//! Check digits of ISO/IEC 7064: MOD 97-10 (two digits) and MOD 37,36 (one letter or digit).
//!
//! A check is computed and compared as text. Testing that the whole is 1 modulo 97 would also pass 00, 01 and 99 where
//! 97, 98 and 02 are meant. Deliberately absent: the form of a serial or of a code, and any tidying of what was typed.

/// The value of a character: digits as they are, A = 10 to Z = 35.
fn value(symbol: u8) -> Option<u32> {
    match symbol {
        b'0'..=b'9' => Some(u32::from(symbol - b'0')),
        b'A'..=b'Z' => Some(u32::from(symbol - b'A') + 10),
        _ => None,
    }
}

/// The two check digits of MOD 97-10 over capital letters and digits: 98 less the number, with 00 behind it, modulo 97.
///
/// `None` for an empty payload or any other character.
#[must_use]
pub fn mod_97_10(payload: &str) -> Option<String> {
    if payload.is_empty() {
        return None;
    }
    let rest = payload.bytes().try_fold(0_u32, |rest, symbol| {
        let value = value(symbol)?;
        // A letter stands for two digits, so it moves what came before by two places.
        let places = if value > 9 { 100 } else { 10 };
        Some((rest * places + value) % 97)
    })?;
    Some(format!("{:02}", 98 - rest * 100 % 97))
}

/// The check character of MOD 37,36 over capital letters and digits.
///
/// `None` for an empty payload or any other character.
#[must_use]
pub fn mod_37_36(payload: &str) -> Option<char> {
    if payload.is_empty() {
        return None;
    }
    let product = payload.bytes().try_fold(36_u32, |product, symbol| {
        let sum = (product + value(symbol)?) % 36;
        Some((if sum == 0 { 36 } else { sum }) * 2 % 37)
    })?;
    char::from_digit((37 - product) % 36, 36).map(|symbol| symbol.to_ascii_uppercase())
}

/// Whether `check` is the MOD 97-10 check of `payload`, compared as text.
#[must_use]
pub fn holds_97_10(payload: &str, check: &str) -> bool {
    mod_97_10(payload).is_some_and(|computed| computed == check)
}

/// Whether `check` is the MOD 37,36 check of `payload`.
#[must_use]
pub fn holds_37_36(payload: &str, check: char) -> bool {
    mod_37_36(payload).is_some_and(|computed| computed == check)
}
