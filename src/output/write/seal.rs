//! What an output is known by: the length and the BLAKE3 hash of each of its files, and the seal of its summary.

use std::io;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::parts::KnownParts;
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

/// Bytes of a file that are hashed while the next are read.
const HASHED_AT_ONCE: usize = 1 << 22;

/// The length and the hash of a file; of `parts` that are known of it nothing is read.
///
/// # Errors
/// When it cannot be read.
pub fn recorded(folder: &Path, name: &str, parts: Option<&KnownParts>) -> io::Result<OutputFile> {
    let mut file = disk::open(&folder.join(name))?;
    let known = |bytes: u64, hash: blake3::Hash| OutputFile { name: name.to_owned(), bytes, blake3: hash.to_hex().to_string() };
    if let Some(parts) = parts {
        return Ok(known(file.metadata()?.len(), parts.hash(&mut file)?));
    }
    let room = file.metadata()?.len().clamp(1, HASHED_AT_ONCE as u64) as usize;
    let (mut now, mut next) = (vec![0; room], vec![0; room]);
    let mut hasher = blake3::Hasher::new();
    let mut length = disk::fill(&mut file, &mut now)?;
    while length > 0 {
        let (after, _) = rayon::join(|| disk::fill(&mut file, &mut next), || hasher.update_rayon(&now[..length]));
        length = after?;
        std::mem::swap(&mut now, &mut next);
    }
    Ok(known(hasher.count(), hasher.finalize()))
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the hash of all bytes at once, about the lengths where a part ends.
    #[test]
    fn a_file_is_known_by_the_hash_of_all_its_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let all: Vec<u8> = (0..2 * HASHED_AT_ONCE + 2).map(|i| (i % 251) as u8).collect();
        for length in [0, 1, HASHED_AT_ONCE - 1, HASHED_AT_ONCE, HASHED_AT_ONCE + 1, 2 * HASHED_AT_ONCE, 2 * HASHED_AT_ONCE + 1] {
            std::fs::write(folder.path().join("f"), &all[..length]).unwrap();
            let wanted = blake3::hash(&all[..length]).to_hex().to_string();
            let known = recorded(folder.path(), "f", None).unwrap();
            assert_eq!((known.bytes, known.blake3), (length as u64, wanted));
        }
    }
}
