//! Feeds the target `body`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed("body", bytes));
