//! What people type and what scales type, before it is a reading: a comma for a point, a unit, a mark before the number.
//!
//! A scale that writes like a keyboard sends more than digits (`N  +  50,42 g`), and a person writes a decimal comma. Both
//! are understood here and nowhere else; a [`super::Reading`] itself stays strict. Nothing is guessed: two separators, another
//! unit or a sign below zero are named. Deliberately absent: whether the mass is a likely one (see `likely`).
//!
//! `src/pages/workshop/grams.mjs` tells the same a second time for the browser; `tests/vectors/typed.json` holds both.

/// Why what was typed is no reading in grams.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Untaken {
    /// Nothing was typed.
    #[error("nothing was typed: give the figure that the scale shows")]
    Empty,
    /// Below zero.
    #[error(
        "the scale shows less than nothing: it was tared with something on the pan. Clear the pan, tare it empty, weigh again"
    )]
    Negative,
    /// A point and a comma, or two of one.
    #[error("there are two separators in it: write one point or comma, and nothing between thousands")]
    Separators,
    /// Another unit.
    #[error("the scale is not set to grams: set it to g, then weigh again")]
    Unit,
    /// No number at all.
    #[error("this is no figure like 50.42")]
    NoNumber,
}

/// How many characters are looked at; a longer text is no figure.
const TYPED_MAX: usize = 40;

/// The digits of a reading in grams: without mark, sign, leading zeros, blanks and unit, a point for a comma. Trailing zeros
/// stay, since they say how finely the scale reads.
///
/// # Errors
/// [`Untaken`].
pub fn digits(text: &str) -> Result<String, Untaken> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Untaken::Empty);
    }
    if text.chars().count() > TYPED_MAX {
        return Err(Untaken::NoNumber);
    }
    let number = after_mark(text).ok_or(Untaken::NoNumber)?;
    let (negative, rest) = match number.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest.trim_start()),
        None => (false, number.strip_prefix('+').unwrap_or(number).trim_start()),
    };
    let end = rest
        .find(|c: char| !c.is_ascii_digit() && c != '.' && c != ',')
        .unwrap_or(rest.len());
    let (figure, unit) = rest.split_at(end);
    let separators = figure.matches(['.', ',']).count();
    if separators > 1 {
        return Err(Untaken::Separators);
    }
    let pointed = figure.replace(',', ".");
    let (whole, fraction) = pointed.split_once('.').unwrap_or((&pointed, "0"));
    if whole.is_empty() || fraction.is_empty() {
        return Err(Untaken::NoNumber);
    }
    match unit.trim() {
        "" | "g" | "G" | "gr" => {}
        unit if unit.chars().all(char::is_alphabetic) => return Err(Untaken::Unit),
        _ => return Err(Untaken::NoNumber),
    }
    let bare = whole.trim_start_matches('0');
    let whole = if bare.is_empty() { "0" } else { bare };
    let text = match separators {
        0 => whole.to_owned(),
        _ => format!("{whole}.{fraction}"),
    };
    let nothing = text.chars().all(|c| c == '0' || c == '.');
    match negative && !nothing {
        true => Err(Untaken::Negative),
        false => Ok(text),
    }
}

/// What stands behind the letters that some scales put first (stable, net); they end with a blank or a sign.
fn after_mark(text: &str) -> Option<&str> {
    if !text.starts_with(|c: char| c.is_ascii_alphabetic()) {
        return Some(text);
    }
    let end = text.find(|c: char| !c.is_ascii_alphabetic() && !matches!(c, ' ' | ',' | ':' | ';'))?;
    let (mark, number) = text.split_at(end);
    let apart = mark.ends_with(' ') || number.starts_with(['+', '-', '\u{2212}']);
    apart.then_some(number)
}
