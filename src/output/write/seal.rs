//! What an output is known by: the length and the BLAKE3 hash of each of its files, and the seal of its summary.

use std::io;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::disk;

/// A file of the output.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutputFile {
    /// Name from this folder, with `/` behind the folder of a format.
    pub name: String,
    /// Size in bytes.
    pub bytes: u64,
    /// BLAKE3 of its bytes, in hexadecimal, as `b3sum` prints it: by it the next run knows whether somebody changed the file.
    pub blake3: String,
}

/// Digits of a seal.
pub const SEAL_DIGITS: usize = 64;

/// A summary's text with its seal in place of `zeros`, which stand in it once.
pub fn sealed(text: &str) -> String {
    text.replacen(&zeros(), &hex(&Sha256::digest(text.as_bytes())), 1)
}

/// What stands in for a seal until it is known.
pub fn zeros() -> String {
    "0".repeat(SEAL_DIGITS)
}

/// The length and the hash of a file.
///
/// # Errors
/// When it cannot be read.
pub fn recorded(folder: &Path, name: &str) -> io::Result<OutputFile> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(disk::open(&folder.join(name))?)?;
    Ok(OutputFile { name: name.to_owned(), bytes: hasher.count(), blake3: hasher.finalize().to_hex().to_string() })
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
