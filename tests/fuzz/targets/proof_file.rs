//! Feeds the target `proof_file`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed("proof_file", bytes));
