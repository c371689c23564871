//! Searches for bytes that break `count14`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("count14").run)(bytes));
