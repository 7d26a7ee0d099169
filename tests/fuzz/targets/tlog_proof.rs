//! Feeds the target `tlog_proof`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed("tlog_proof", bytes));
