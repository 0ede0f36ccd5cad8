//! Any bytes as a workbook of each kind.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use standoff::inside::intake::workbook;

fuzz_target!(|bytes: &[u8]| {
    for name in ["log.xlsx", "log.xls", "log.ods"] {
        let _ = workbook::read(Path::new(name), bytes);
    }
});
