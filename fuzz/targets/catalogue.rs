//! Any text as a catalogue of codes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use standoff::job::catalogue;

fuzz_target!(|bytes: &[u8]| {
    if let Err(error) = catalogue::parse(&String::from_utf8_lossy(bytes), "catalogue.toml") {
        assert!(!error.to_string().is_empty());
    }
});
