//! Any bytes as KML, and as its archive.
#![no_main]

use libfuzzer_sys::fuzz_target;
use standoff::inside::intake::kml::{self, KmlHeights};

fuzz_target!(|bytes: &[u8]| {
    let _ = kml::unpack(bytes);
    if let Ok(read) = kml::read(&String::from_utf8_lossy(bytes), KmlHeights::default()) {
        drop(read.to_table());
    }
});
