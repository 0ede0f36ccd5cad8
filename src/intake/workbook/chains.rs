//! Whether the chains of sectors of an old workbook come to an end (Microsoft, [MS-CFB], 2.2 to 2.5): its reader follows them without
//! counting, so that one that leads back into itself would fill the memory.

/// What a compound file begins with.
const SIGNATURE: [u8; 8] = [0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
/// Sectors of the allocation table that the header itself names.
const NAMED_IN_HEADER: usize = 109;

/// Whether a chain of a compound file leads back into itself. What is no compound file has none.
pub fn has_loop(bytes: &[u8]) -> bool {
    let shift = bytes.get(30).copied().unwrap_or(0);
    bytes.starts_with(&SIGNATURE) && (7..=16).contains(&shift) && Sectors { bytes, size: 1 << shift }.have_loop()
}

struct Sectors<'b> {
    bytes: &'b [u8],
    size: usize,
}

impl Sectors<'_> {
    fn word(&self, at: usize) -> Option<u32> {
        Some(u32::from_le_bytes(self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
    }

    /// The words of a sector that lies in the file; the first sector comes behind the header, which takes one.
    fn words(&self, sector: u32) -> Vec<u32> {
        let begin = (sector as usize).saturating_add(1).saturating_mul(self.size);
        (0..self.size / 4).map_while(|i| self.word(begin.checked_add(4 * i)?)).collect()
    }

    fn have_loop(&self) -> bool {
        let mut named: Vec<u32> = (0..NAMED_IN_HEADER).map_while(|i| self.word(76 + 4 * i)).collect();
        let (mut next, mut steps) = (self.word(68), 0);
        while let Some(sector) = next {
            let mut words = self.words(sector);
            next = words.pop();
            named.append(&mut words);
            steps += 1;
            if steps > self.bytes.len() / self.size {
                return true;
            }
        }
        let table: Vec<u32> = named.iter().take(self.bytes.len() / self.size).flat_map(|sector| self.words(*sector)).collect();
        if leads_back(&table) {
            return true;
        }
        // Without a loop in the table the chain of the small one ends.
        let first = self.word(60);
        let chain = std::iter::successors(first, |sector| table.get(*sector as usize).copied());
        let small: Vec<u32> = chain.take(table.len() + 1).flat_map(|sector| self.words(sector)).collect();
        leads_back(&small)
    }
}

/// Whether following a table from some entry comes back to one that was passed; an entry beyond the table is an end.
fn leads_back(table: &[u32]) -> bool {
    let mut passed_from = vec![usize::MAX; table.len()];
    (0..table.len()).any(|start| {
        let mut at = start;
        while at < table.len() && passed_from[at] == usize::MAX {
            passed_from[at] = start;
            at = table[at] as usize;
        }
        // An end, or a chain that was followed before, is no loop.
        at < table.len() && passed_from[at] == start
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Header, a table in sector 0 and one more sector.
    fn file(table: &[u32]) -> Vec<u8> {
        let mut bytes = vec![0; 512];
        bytes[..8].copy_from_slice(&SIGNATURE);
        bytes[30] = 9;
        (44..76).for_each(|at| bytes[at] = 0xff);
        (76..512).for_each(|at| bytes[at] = 0xff);
        bytes[76..80].copy_from_slice(&0u32.to_le_bytes());
        let words = table.iter().copied().chain(std::iter::repeat(u32::MAX)).take(128);
        words.for_each(|word| bytes.extend(word.to_le_bytes()));
        bytes.resize(1536, 0);
        bytes
    }

    #[test]
    fn chains_that_end_and_chains_that_do_not() {
        const END: u32 = 0xffff_fffe;
        for (table, wanted) in [
            (vec![0xffff_fffd, END], false),
            (vec![0xffff_fffd, 3, END, 2], false),
            (vec![0xffff_fffd, 1], true),
            (vec![0xffff_fffd, 3, 1, 2], true),
            (vec![0; 128], true),
        ] {
            assert_eq!(has_loop(&file(&table)), wanted, "{table:?}");
        }
        assert!(!has_loop(b"base,feature"));
        assert!(!has_loop(&SIGNATURE));
        assert!(!has_loop(&file(&[0xffff_fffd, END])[..700]));
    }

    #[test]
    fn a_small_table_and_one_that_names_tables() {
        let mut small = file(&[0xffff_fffd, 0xffff_fffe]);
        small[60..64].copy_from_slice(&1u32.to_le_bytes());
        assert!(has_loop(&small), "its first entry is 0, which is itself");
        let mut named = file(&[0xffff_fffd, 0xffff_fffe]);
        named[68..72].copy_from_slice(&1u32.to_le_bytes());
        assert!(!has_loop(&named), "its last word is 0, and the last of sector 0 is an end");
        named[1532..].copy_from_slice(&1u32.to_le_bytes());
        assert!(has_loop(&named), "its last word leads to itself");
    }
}
