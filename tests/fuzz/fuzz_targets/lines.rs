//! Searches for bytes that break `lines`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("lines").run)(bytes));
