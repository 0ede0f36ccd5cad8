//! The hash of a long file without reading it back: BLAKE3 is a tree (J. O'Connor and others, "BLAKE3: one function, fast
//! everywhere", 2020, section 2.1), so that the hash of each part of a file stands for it while the rest is made.

use std::collections::{BTreeMap, HashMap};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use blake3::hazmat::{ChainingValue, HasherExt, Mode, merge_subtrees_non_root, merge_subtrees_root};
use blake3::{Hash, Hasher};

/// Bytes of a part; a power of two of the chunks of BLAKE3, so that each part is a branch of the tree.
pub const PART_BYTES: u64 = 1 << 20;

/// The hashes of those parts of a file that are known from when they were written.
#[derive(Debug, Default)]
pub struct KnownParts(BTreeMap<u64, ChainingValue>);

impl KnownParts {
    /// Forgets the parts that some bytes from `at` on are in, since these were written anew.
    pub fn forget(&mut self, at: u64, bytes: usize) {
        let end = at + bytes as u64;
        self.0.retain(|part, _| (part + 1) * PART_BYTES <= at || part * PART_BYTES >= end);
    }

    /// The hash of a file of which these parts are known; the others are read.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn hash(&self, file: &mut (impl Read + Seek)) -> io::Result<Hash> {
        let bytes = file.seek(SeekFrom::End(0))?;
        let parts = bytes.div_ceil(PART_BYTES);
        let mut read = Vec::new();
        let mut part = |part: u64| -> io::Result<ChainingValue> {
            if let (Some(known), true) = (self.0.get(&part), (part + 1) * PART_BYTES <= bytes) {
                return Ok(*known);
            }
            file.seek(SeekFrom::Start(part * PART_BYTES))?;
            read.clear();
            file.by_ref().take(PART_BYTES).read_to_end(&mut read)?;
            if read.is_empty() {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            Ok(Hasher::new().set_input_offset(part * PART_BYTES).update_rayon(&read).finalize_non_root())
        };
        if parts <= 1 {
            // A tree of one part has its root there.
            file.rewind()?;
            file.read_to_end(&mut read)?;
            return Ok(blake3::hash(&read));
        }
        let values = (0..parts).map(&mut part).collect::<io::Result<Vec<_>>>()?;
        let (left, right) = values.split_at(left_of(values.len()));
        Ok(merge_subtrees_root(&branch(left), &branch(right), Mode::Hash))
    }
}

/// Files that were hashed while they were written, by their paths.
#[derive(Default)]
pub struct HashedFiles(Mutex<HashMap<PathBuf, KnownParts>>);

impl HashedFiles {
    /// Adds a file.
    pub fn add(&self, path: PathBuf, parts: KnownParts) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(path, parts);
    }

    /// What is known of a file, if it is one of them; that is asked once.
    pub fn take(&self, path: &Path) -> Option<KnownParts> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(path)
    }
}

/// How many of some parts, two at least, are on the left of their tree: the largest power of two that leaves some.
fn left_of(parts: usize) -> usize {
    parts.div_ceil(2).next_power_of_two()
}

/// The value of the branch that some parts make.
fn branch(parts: &[ChainingValue]) -> ChainingValue {
    match parts {
        [] => ChainingValue::default(),
        [only] => *only,
        _ => {
            let (left, right) = parts.split_at(left_of(parts.len()));
            merge_subtrees_non_root(&branch(left), &branch(right), Mode::Hash)
        }
    }
}

/// Hashes the parts of a file while it is written.
pub struct PartHasher {
    /// Where the next bytes go.
    at: u64,
    /// The part on its way; none before the first that begins here.
    part: Option<Hasher>,
    known: KnownParts,
}

impl PartHasher {
    /// For a file that is appended to from `at` on.
    pub fn from(at: u64) -> PartHasher {
        PartHasher { at, part: None, known: KnownParts::default() }
    }

    /// Takes the bytes that are written next.
    pub fn take(&mut self, mut bytes: &[u8]) {
        while !bytes.is_empty() {
            let within = self.at % PART_BYTES;
            if within == 0 {
                let mut hasher = Hasher::new();
                hasher.set_input_offset(self.at);
                self.part = Some(hasher);
            }
            let (now, rest) = bytes.split_at(bytes.len().min((PART_BYTES - within) as usize));
            if let Some(part) = &mut self.part {
                part.update(now);
            }
            self.at += now.len() as u64;
            if self.at.is_multiple_of(PART_BYTES)
                && let Some(part) = self.part.take()
            {
                self.known.0.insert(self.at / PART_BYTES - 1, part.finalize_non_root());
            }
            bytes = rest;
        }
    }

    /// The parts that are whole.
    pub fn finish(self) -> KnownParts {
        self.known
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::io::Cursor;

    fn bytes(count: usize) -> Vec<u8> {
        (0..count).map(|i| (i % 251) as u8 ^ (i / 65_536) as u8).collect()
    }

    /// The hash of a file that is appended to from `start` on in pieces, and some bytes of it written anew behind that, against
    /// the hash of all its bytes at once.
    fn check(count: usize, start: usize, piece: usize, anew: &[(usize, usize)]) {
        let mut all = bytes(count);
        let mut hasher = PartHasher::from(start as u64);
        all[start..].chunks(piece).for_each(|bytes| hasher.take(bytes));
        let mut known = hasher.finish();
        for (at, length) in anew {
            all[*at..at + length].iter_mut().for_each(|byte| *byte ^= 0x55);
            known.forget(*at as u64, *length);
        }
        assert_eq!(known.hash(&mut Cursor::new(&all)).unwrap(), blake3::hash(&all), "{count} from {start} by {piece}");
    }

    const PART: usize = PART_BYTES as usize;

    #[test]
    fn the_hash_is_that_of_all_bytes() {
        for parts in 0..6 {
            for more in [0, 1, 1023, 1024, 1025, PART - 1] {
                check(parts * PART + more, 0, 262_144, &[]);
            }
        }
        check(5 * PART, 3 * PART, 4096, &[]);
        check(5 * PART, PART + 1, 5000, &[(0, 100), (2 * PART - 1, 2)]);
    }

    #[test]
    fn parts_that_are_known_are_not_read_and_those_written_anew_are() {
        let all = bytes(6 * PART);
        let mut hasher = PartHasher::from(0);
        hasher.take(&all);
        let mut known = hasher.finish();
        assert_eq!(known.0.len(), 6);
        known.forget(2 * PART_BYTES - 1, 1);
        known.forget(4 * PART_BYTES, 1);
        assert_eq!(known.0.keys().copied().collect::<Vec<_>>(), [0, 2, 3, 5]);
        // What is known is taken on trust: a file changed there has the hash from before.
        let mut changed = all.clone();
        changed[3 * PART] ^= 1;
        assert_eq!(known.hash(&mut Cursor::new(&changed)).unwrap(), blake3::hash(&all));
        changed[PART] ^= 1;
        assert_ne!(known.hash(&mut Cursor::new(&changed)).unwrap(), blake3::hash(&all));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]
        #[test]
        fn any_file_in_any_pieces(count in 1usize..9 * PART, start in 0.0f64..1.0, piece in 1usize..400_000, at in 0.0f64..1.0) {
            let place = |share: f64| ((count as f64 * share) as usize).min(count - 1);
            check(count, place(start), piece, &[(place(at), 1)]);
        }
    }
}
