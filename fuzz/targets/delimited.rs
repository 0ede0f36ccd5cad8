//! Any bytes as a delimited log of shots: decoding, header, the survey of its columns, rows.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use standoff::inside::intake::log::Log;
use standoff::inside::intake::shot_block::ShotBlock;
use standoff::inside::intake::shot_rules::ShotRules;
use standoff::inside::intake::text::Text;
use standoff::job::{Checks, Heights, LogFormat};

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes).into_owned();
    let size = bytes.len() as u64;
    let text = Text { path: Path::new("log.csv").into(), sheet: None, text, encoding: "UTF-8", bytes: size, sha256: String::new() };
    let Ok(log) = Log::read_shots(text, "log.csv", &LogFormat::default()) else { return };
    let rules = ShotRules::new(None, &Default::default(), &Heights::default(), &Checks::default());
    if let Ok(block) = ShotBlock::read(&log.whole(0), &log, &[], &rules) {
        assert!(block.rows_read().len() as u64 >= block.counts.read);
        (0..block.rows_read().len()).for_each(|row| drop(block.record(row)));
    }
});
