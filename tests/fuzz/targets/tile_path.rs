//! Feeds the target `tile_path`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| pourbook_fuzz::feed("tile_path", bytes));
