//! Damaged jobs, whole: examples whose files were cut, doubled, overwritten and mixed at random, from a seed. Whatever comes in,
//! the program ends soon with a status that means something, says what is wrong without a panic, accounts for every row, and
//! leaves an output that is whole, or none.
//!
//! `STANDOFF_DAMAGED_JOBS` sets how many are tried, `STANDOFF_DAMAGED_SEED` where they begin; a failure names its seed.

use crate::support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use support::*;

/// Tried where nothing says otherwise.
const JOBS: u64 = 40;
/// A run that takes longer hangs.
const PATIENCE: Duration = Duration::from_secs(20);
/// Address space of a run, in KiB: it aborts, without a status, where it wants more.
const MEMORY_KIB: u32 = 3 << 20;

const FOLDERS: [&str; 7] =
    ["cliff-nests", "rural-line", "forest-plot", "heron-lagoon", "span-survey", "canopy-traverse", "headland-nests"];

/// Numbers from a seed (SplitMix64: Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014).
struct Dice(u64);

impl Dice {
    fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(0xd134_2543_de82_ef95))
    }

    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) % limit.max(1) as u64) as usize
    }
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        match path.is_dir() {
            true => files(&path, found),
            false => found.push(path),
        }
    }
}

/// Pieces that do harm: signs of the formats, numbers at the ends of what there is, letters of other worlds.
const PIECES: [&str; 24] = [
    "\"",
    "\n",
    ",",
    ";",
    "\t",
    "\0",
    "\u{feff}",
    "\r\n",
    "NaN",
    "1e309",
    "-0",
    "99999999999999999999",
    "<",
    "&",
    "]]>",
    "[[",
    "=",
    "''",
    "\u{202e}",
    "\u{1b}[2J",
    "…",
    "é",
    "*",
    "$GPGGA,",
];

fn damage(bytes: &mut Vec<u8>, dice: &mut Dice) {
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() + 1);
        match dice.below(9) {
            0 => bytes.truncate(at),
            1 => {
                let end = (at + dice.below(40)).min(bytes.len());
                bytes.drain(at..end);
            }
            2 => {
                let piece = PIECES[dice.below(PIECES.len())];
                bytes.splice(at..at, piece.bytes());
            }
            3 => {
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = dice.below(256) as u8;
                }
            }
            4 => {
                let end = (at + dice.below(300)).min(bytes.len());
                let copy = bytes[at..end].to_vec();
                bytes.splice(at..at, copy);
            }
            5 => {
                if let Some(byte) = bytes.get_mut(at) {
                    *byte ^= 1 << dice.below(8);
                }
            }
            6 => {
                // A digit becomes another: a value that is wrong and sound.
                let digits: Vec<usize> = (0..bytes.len()).filter(|i| bytes[*i].is_ascii_digit()).collect();
                if !digits.is_empty() {
                    let at = digits[dice.below(digits.len())];
                    bytes[at] = b'0' + dice.below(10) as u8;
                }
            }
            7 => {
                // Two lines change places.
                let mut lines: Vec<Vec<u8>> = bytes.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
                if lines.len() > 1 {
                    let (one, other) = (dice.below(lines.len()), dice.below(lines.len()));
                    lines.swap(one, other);
                    *bytes = lines.concat();
                }
            }
            _ => {
                let more = bytes[..at.min(200)].repeat(dice.below(20));
                bytes.extend(more);
            }
        }
    }
}

/// Damages one to three files of a copy of an example.
fn damaged(seed: u64) -> (tempfile::TempDir, Vec<String>) {
    let mut dice = Dice::new(seed);
    let folder = tempfile::tempdir().unwrap();
    let example = FOLDERS[dice.below(FOLDERS.len())];
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example), folder.path());
    let mut found = Vec::new();
    files(folder.path(), &mut found);
    found.retain(|path| path.extension().is_none_or(|ending| ending != "md"));
    let mut harmed = vec![example.to_owned()];
    for _ in 0..=dice.below(3) {
        let path = &found[dice.below(found.len())];
        let mut bytes = fs::read(path).unwrap();
        damage(&mut bytes, &mut dice);
        fs::write(path, bytes).unwrap();
        harmed.push(path.strip_prefix(folder.path()).unwrap().display().to_string());
    }
    (folder, harmed)
}

/// What must hold of a run, or what does not.
fn fault(folder: &Path, arguments: &[&str]) -> Option<String> {
    let mut command = Command::new("sh");
    let limited = format!("ulimit -v {MEMORY_KIB}; exec \"$0\" \"$@\"");
    let plain = program();
    command.args(["-c", &limited]).arg(plain.get_program()).current_dir(folder).args(arguments);
    for (name, _) in plain.get_envs().filter(|(_, value)| value.is_none()) {
        command.env_remove(name);
    }
    let began = Instant::now();
    let output = assert_cmd::Command::from_std(command).timeout(PATIENCE).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let Some(status) = output.status.code() else {
        return Some(format!("no status after {:?}: {said}", began.elapsed()));
    };
    if said.contains("panicked") || !matches!(status, 0 | 1 | 3) {
        return Some(format!("status {status}: {said}"));
    }
    if status == 1 && (!said.starts_with("error: ") || said.len() > 12_000) {
        return Some(format!("status 1 says: {said}"));
    }
    if arguments[0] != "map" {
        return None;
    }
    let out = folder.join("out");
    if status == 1 {
        return out.exists().then(|| "it failed and left an output".to_owned());
    }
    unaccounted(&out)
}

/// What of an output is not whole, or which rows are lost.
fn unaccounted(out: &Path) -> Option<String> {
    let summary = json(&out.join("summary.json"));
    for file in summary["files"].as_array().unwrap() {
        let length = fs::metadata(out.join(file["name"].as_str().unwrap())).map(|known| known.len()).ok();
        if length != file["bytes"].as_u64() {
            return Some(format!("{file} is {length:?} bytes long"));
        }
    }
    let mut held = 0;
    for input in summary["inputs"].as_array().unwrap() {
        let count = |key: &str| input["rows"][key].as_u64().unwrap();
        let sum: u64 = ["mapped", "repeats", "held", "composed", "outside_occupations"].into_iter().map(count).sum();
        if count("read") != sum {
            return Some(format!("{} rows are read and {sum} accounted for: {input}", count("read")));
        }
        held += count("held");
    }
    let rows = table(&out.join("held.csv")).len() as u64;
    (rows != held).then(|| format!("held.csv has {rows} rows of {held}"))
}

#[test]
fn damaged_jobs_end_soon_and_account_for_every_row() {
    let number = |name: &str, usual: u64| std::env::var(name).map_or(usual, |text| text.parse().unwrap());
    let (jobs, first) = (number("STANDOFF_DAMAGED_JOBS", JOBS), number("STANDOFF_DAMAGED_SEED", 1));
    let (mut faults, mut mapped) = (Vec::new(), 0);
    for seed in first..first + jobs {
        let (folder, harmed) = damaged(seed);
        // Every third run in all formats.
        let mut map = vec!["map", "job.toml", "--out", "out"];
        if seed % 3 == 0 {
            map.extend(FORMATS.iter().flat_map(|format| ["--format", format]));
        }
        let arguments: [&[&str]; 2] = [&map, &["check", "job.toml"]];
        for arguments in arguments {
            if let Some(fault) = fault(folder.path(), arguments) {
                faults.push(format!("seed {seed}, {}, {harmed:?}: {fault}", arguments[0]));
            }
        }
        mapped += u64::from(folder.path().join("out").exists());
    }
    assert!(faults.is_empty(), "{} of {jobs}:\n{}", faults.len(), faults.join("\n"));
    // Damage that is never read past proves little.
    assert!(mapped * 4 > jobs, "only {mapped} of {jobs} got as far as an output");
    eprintln!("{jobs} damaged jobs from seed {first}: {mapped} mapped, the others refused");
}
