//! Searches for bytes that break `guess`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("guess").run)(bytes));
