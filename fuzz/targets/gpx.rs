//! Any text as GPX.
#![no_main]

use libfuzzer_sys::fuzz_target;
use standoff::inside::intake::gpx::{self, GpxHeights};

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(read) = gpx::read(&text, 0, GpxHeights::default()) {
        drop(read.to_table());
    }
});
