//! Feeds the target `forwarded`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed("forwarded", bytes));
