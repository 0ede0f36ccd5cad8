//! Archives that unpack to more than is taken: workbooks and KMZ are ZIP, in which a megabyte may stand for a gigabyte.

use std::io::{self, Cursor, Read};

use zip::ZipArchive;

/// The most that the documents of an archive may come to, in bytes; a sheet of a million rows has some 300 MB.
const GREATEST_UNPACKED: u64 = 1 << 30;
/// What a byte of Deflate stands for at most ("zlib Technical Details", maximum compression factor, zlib.net).
const GREATEST_FACTOR: u64 = 1032;

/// An archive that unpacks to more than a log has any use for: 1 GiB.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{what} unpacks to more than 1 GiB, too much to be a log; save what belongs to the job alone")]
pub struct TooLarge {
    /// What it is, such as `the workbook`.
    pub what: &'static str,
}

/// Refuses an archive that unpacks to more than [`GREATEST_UNPACKED`]: where the packed lengths allow it, it is unpacked and counted. A document
/// longer than its directory says is cut off there by who unpacks it. What is no archive is for its reader to refuse.
///
/// # Errors
/// See above; `what` is such as `the workbook`.
pub(super) fn check(what: &'static str, bytes: &[u8]) -> Result<(), TooLarge> {
    match is_within(bytes, GREATEST_UNPACKED) {
        true => Ok(()),
        false => Err(TooLarge { what }),
    }
}

fn is_within(bytes: &[u8], limit: u64) -> bool {
    let Ok(mut archive) = ZipArchive::new(Cursor::new(bytes)) else { return true };
    let mut packed = 0u64;
    for index in 0..archive.len() {
        packed = packed.saturating_add(archive.by_index_raw(index).map_or(0, |file| file.compressed_size()));
    }
    if packed.saturating_mul(GREATEST_FACTOR) <= limit {
        return true;
    }
    let mut counted = 0;
    for index in 0..archive.len() {
        let Ok(file) = archive.by_index(index) else { continue };
        // Damage further on is found by who reads it.
        counted += count(file, limit + 1 - counted);
        if counted > limit {
            return false;
        }
    }
    true
}

/// How many bytes there are, up to a number.
fn count(from: impl Read, most: u64) -> u64 {
    let mut from = from.take(most);
    let (mut block, mut counted) = (vec![0; 1 << 16], 0);
    loop {
        match from.read(&mut block) {
            Ok(0) => return counted,
            Ok(read) => counted += read as u64,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(_) => return counted,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    use super::*;

    /// An archive of documents with so many zeros each; the first is packed, the others are copies of it.
    fn zeros(length: usize, copies: usize) -> Vec<u8> {
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        archive.start_file("0.kml", SimpleFileOptions::default()).unwrap();
        archive.write_all(&vec![0; length]).unwrap();
        let one = archive.finish().unwrap().into_inner();
        let mut from = ZipArchive::new(Cursor::new(one.as_slice())).unwrap();
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        for copy in 0..copies {
            archive.raw_copy_file_rename(from.by_index_raw(0).unwrap(), format!("{copy}.kml")).unwrap();
        }
        archive.finish().unwrap().into_inner()
    }

    #[test]
    fn the_limit_is_what_all_documents_come_to() {
        let bytes = zeros(50_000, 3);
        assert!(bytes.len() < 2_000, "{}", bytes.len());
        assert!(is_within(&bytes, 150_000) && !is_within(&bytes, 149_999));
        assert!(is_within(&zeros(50_000, 1), 50_000) && !is_within(&zeros(50_000, 1), 49_999));
    }

    #[test]
    fn a_document_longer_than_its_directory_says_is_not_unpacked() {
        let mut bytes = zeros(50_000, 1);
        // The length unpacked, in the header of the file and in the directory (APPNOTE.TXT 4.3.7 and 4.3.12).
        let length = 50_000u32.to_le_bytes();
        let places: Vec<usize> = (0..bytes.len() - 4).filter(|at| bytes[*at..at + 4] == length).collect();
        assert!(!places.is_empty());
        places.iter().for_each(|at| bytes[*at..at + 4].copy_from_slice(&10u32.to_le_bytes()));
        let (mut archive, mut unpacked) = (ZipArchive::new(Cursor::new(bytes.as_slice())).unwrap(), Vec::new());
        assert!(archive.by_index(0).unwrap().read_to_end(&mut unpacked).is_err() && unpacked.len() <= 11, "{}", unpacked.len());
        assert!(is_within(&bytes, 10));
    }

    #[test]
    fn what_is_no_archive_is_left_to_its_reader() {
        assert!(is_within(b"PK and nothing", 1) && is_within(b"", 1));
    }

    /// The limit itself, at both doors: 17 times 64 MiB in some 70 KB a piece.
    #[test]
    fn a_gigabyte_in_a_megabyte_is_refused_with_a_sentence() {
        let bytes = zeros(64 << 20, 17);
        assert!(bytes.len() < 2 << 20, "{}", bytes.len());
        let book = crate::intake::workbook::read("log.xlsx".as_ref(), &bytes).unwrap_err().to_string();
        assert!(book.starts_with("the workbook unpacks to more than 1 GiB"), "{book}");
        let archive = crate::intake::kml::unpack(&bytes).unwrap_err().to_string();
        assert!(archive.starts_with("the KMZ archive unpacks to more than 1 GiB"), "{archive}");
    }
}
