//! Searches for bytes that break `lcd14`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("lcd14").run)(bytes));
