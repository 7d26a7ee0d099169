//! The only place that draws chance from the operating system.

/// 32 random bytes.
///
/// # Panics
/// When the operating system gives none: ids and salts drawn from anything less would be guessable.
#[must_use]
#[expect(clippy::disallowed_methods, reason = "this is the one place")]
pub fn bytes() -> [u8; 32] {
    let mut bytes = [0; 32];
    let drawn = getrandom::fill(&mut bytes);
    assert!(drawn.is_ok(), "the operating system gives no randomness");
    bytes
}
