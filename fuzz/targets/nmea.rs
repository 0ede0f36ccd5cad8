//! Any text as a log of a receiver.
#![no_main]

use libfuzzer_sys::fuzz_target;
use standoff::inside::intake::nmea::{self, Clues};

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let _ = nmea::looks_like(&text);
    drop(nmea::read(&text, 0, &Clues::default()));
});
