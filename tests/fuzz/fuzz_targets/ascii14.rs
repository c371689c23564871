//! Searches for bytes that break `ascii14`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("ascii14").run)(bytes));
