//! The page `NAME.report.html`: what is in it, that it asks for nothing, that hostile names are text, that nothing is told that the
//! layers withhold; and in a real browser that it works, with scripts and without.

mod background;
mod browser;
mod contents;
mod drawings;
mod privacy;
mod seen;
mod sheets;

use std::path::Path;
use std::process::Command;

use crate::common::{Field, HEAD};

/// Maps a job of the examples and gives its page.
pub fn example(name: &str, out: &Path) -> String {
    let job = format!("examples/{name}/job.toml");
    let out = out.join(name);
    let ran = Command::new(env!("CARGO_BIN_EXE_standoff"))
        .args(["map", &job, "--out", out.to_str().unwrap(), "--quiet", "--format", "csv"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let pages: Vec<_> = std::fs::read_dir(&out)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.to_string_lossy().ends_with(".report.html"))
        .collect();
    assert_eq!(pages.len(), 1);
    std::fs::read_to_string(&pages[0]).unwrap()
}

/// The bytes that base 64 stands for (RFC 4648, section 4).
pub fn from_base64(text: &str) -> Vec<u8> {
    let digit = |sign: u8| match sign {
        b'A'..=b'Z' => sign - b'A',
        b'a'..=b'z' => sign - b'a' + 26,
        b'0'..=b'9' => sign - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let signs: Vec<u8> = text.bytes().filter(|sign| !sign.is_ascii_whitespace() && *sign != b'=').collect();
    let mut bytes = Vec::with_capacity(signs.len() * 3 / 4);
    for four in signs.chunks(4) {
        let bits = four.iter().enumerate().fold(0u32, |bits, (i, sign)| bits | u32::from(digit(*sign)) << (18 - 6 * i));
        bytes.extend((1..four.len()).map(|i| (bits >> (24 - 8 * i) & 0xff) as u8));
    }
    bytes
}

/// The page of a field's job.
pub fn page_of(field: &Field) -> String {
    let ran = field.command(&["map", "job.toml"]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    std::fs::read_to_string(field.path("t-layers/t.report.html")).unwrap()
}

/// A shot log of so many shots around base A, names by number.
pub fn many_shots(count: usize) -> String {
    let mut log = String::from(HEAD);
    for i in 0..count {
        let (azimuth, distance) = ((i * 137) % 360, 20 + (i * 7919) % 180);
        log.push_str(&format!(
            "A,{i},2026-06-15T{:02}:{:02}:{:02}Z,{azimuth}.{:03},-3.5,{distance}.{:03},\n",
            i / 3600,
            i / 60 % 60,
            i % 60,
            i % 1000,
            i % 997
        ));
    }
    log
}
