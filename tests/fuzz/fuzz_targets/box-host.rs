//! Searches for bytes that break `box-host`: docs/fuzzing.md.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| (ohmtrail_fuzz::target("box-host").run)(bytes));
