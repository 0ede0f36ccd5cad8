//! Any text as a job file.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Err(error) = standoff::job::parse(&String::from_utf8_lossy(bytes), "job.toml", Path::new(".")) {
        assert!(!error.to_string().is_empty());
    }
});
