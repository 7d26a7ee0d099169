//! Feeds the target `key_file`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed("key_file", bytes));
