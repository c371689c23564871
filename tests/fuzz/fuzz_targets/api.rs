//! Searches for bytes that break `api`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("api").run)(bytes));
