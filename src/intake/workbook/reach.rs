//! How far the cells of an old binary workbook (.xls) reach, before its reader makes a place for each cell up to the last one.
//!
//! Sources: [MS-CFB] 2.2 to 2.6 (the compound file: header, chains of sectors, directory, short streams) and [MS-XLS] 2.1.4, 2.4.28
//! (`BoundSheet8`), 2.4.20 and others (cell records begin with row and column, two bytes each). Damage ends a chain or a walk: what lies
//! behind it the reader does not find either.

use std::collections::HashMap;

/// Numbers of sectors above it are marks.
const GREATEST_SECTOR: u32 = 0xffff_fffa;
const HEADER: usize = 512;
/// Streams below this length lie in short sectors.
const SHORT: usize = 4096;
const SHORT_SECTOR: usize = 64;
const DIRECTORY_ENTRY: usize = 128;
/// The record of the rows and columns that a sheet states.
const DIMENSIONS: u16 = 0x0200;

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

/// The sectors of a chain, one after the other; a chain that runs in a ring ends where all sectors are used.
fn chained(next: &[u32], first: u32, sector: impl Fn(u32) -> Option<Vec<u8>>) -> Vec<u8> {
    let (mut at, mut bytes) = (first, Vec::new());
    for _ in 0..next.len() {
        let Some(found) = (at < GREATEST_SECTOR).then(|| sector(at)).flatten() else { break };
        bytes.extend(found);
        let Some(following) = next.get(at as usize) else { break };
        at = *following;
    }
    bytes
}

fn numbers(bytes: &[u8]) -> Vec<u32> {
    bytes.as_chunks::<4>().0.iter().map(|number| u32::from_le_bytes(*number)).collect()
}

/// The stream of a compound file that holds the workbook.
fn stream(file: &[u8]) -> Option<Vec<u8>> {
    let size = match u16_at(file, 30)? {
        9 => 512,
        12 => 4096,
        _ => return None,
    };
    // The header fills the first sector.
    let sector = |number: u32| {
        let from = (number as usize).checked_add(1)?.checked_mul(size)?;
        let whole = file.get(from..)?;
        Some(whole[..whole.len().min(size)].to_vec())
    };
    let most = file.len() / size;
    let mut tables = numbers(file.get(76..HEADER)?);
    let mut more = u32_at(file, 68)?;
    while more < GREATEST_SECTOR && tables.len() <= most + HEADER {
        let Some(found) = sector(more) else { break };
        let mut further = numbers(&found);
        more = further.pop().unwrap_or(GREATEST_SECTOR);
        tables.extend(further);
    }
    let used = tables.iter().filter(|number| **number < GREATEST_SECTOR).take(most);
    let next: Vec<u32> = used.filter_map(|number| sector(*number)).flat_map(|bytes| numbers(&bytes)).collect();
    let directory = chained(&next, u32_at(file, 48)?, sector);
    let entries = || directory.chunks_exact(DIRECTORY_ENTRY);
    let named = |entry: &[u8], name: &str| {
        let wanted: Vec<u8> = name.encode_utf16().chain([0]).flat_map(u16::to_le_bytes).collect();
        entry[..wanted.len()].eq_ignore_ascii_case(&wanted)
    };
    let entry = entries().find(|entry| named(entry, "Workbook")).or_else(|| entries().find(|entry| named(entry, "Book")))?;
    let (first, length) = (u32_at(entry, 116)?, u32_at(entry, 120)? as usize);
    if length >= SHORT {
        return Some(chained(&next, first, sector));
    }
    let short_next = numbers(&chained(&next, u32_at(file, 60)?, sector));
    let short = chained(&next, u32_at(entries().next()?, 116)?, sector);
    let short_sector = |number: u32| {
        let from = (number as usize).checked_mul(SHORT_SECTOR)?;
        short.get(from..(from + SHORT_SECTOR).min(short.len())).map(<[u8]>::to_vec)
    };
    Some(chained(&short_next, first, short_sector))
}

/// Type and content of the records from a place to the end of their part (`EOF`, 10).
fn records(stream: &[u8], from: usize) -> impl Iterator<Item = (u16, &[u8])> {
    let mut at = from;
    std::iter::from_fn(move || {
        let (kind, length) = (u16_at(stream, at)?, u16_at(stream, at + 2)?);
        let content = stream.get(at + 4..at + 4 + usize::from(length))?;
        at += 4 + usize::from(length);
        (kind != 0x000a).then_some((kind, content))
    })
}

/// The places that the cells of a sheet want: rows times columns from the first to the last.
fn places(stream: &[u8], from: usize) -> u64 {
    let (mut rows, mut columns) = ((u16::MAX, 0), (u16::MAX, 0));
    let mut stated = 0;
    for (kind, content) in records(stream, from) {
        let last = match kind {
            DIMENSIONS => {
                stated = stated.max(stated_places(content).unwrap_or(0));
                continue;
            }
            // A row of numbers or blanks ends with its last column.
            0x00bd | 0x00be => content.len().checked_sub(2).and_then(|at| u16_at(content, at)),
            0x0006 | 0x00d6 | 0x00fd | 0x0201..=0x0205 | 0x027e | 0x0001..=0x0005 => u16_at(content, 2),
            _ => continue,
        };
        let (Some(row), Some(first), Some(last)) = (u16_at(content, 0), u16_at(content, 2), last) else { continue };
        rows = (rows.0.min(row), rows.1.max(row));
        columns = (columns.0.min(first), columns.1.max(last));
    }
    let span = |(first, last): (u16, u16)| u64::from(last.saturating_sub(first)) + 1;
    let reached = if rows.0 > rows.1 { 0 } else { span(rows) * span(columns) };
    reached.max(stated)
}

/// The places between the first and the last row and column that a sheet states ([MS-XLS] 2.4.90, `Dimensions`): its reader asks for room for
/// all of them at once, and takes an end before its start for some thousand millions.
fn stated_places(content: &[u8]) -> Option<u64> {
    let short = |at| u16_at(content, at).map(u32::from);
    let [first_row, last_row, first_column, last_column] = match content.len() {
        10 => [short(0)?, short(2)?, short(4)?, short(6)?],
        14 | 16 => [u32_at(content, 0)?, u32_at(content, 4)?, short(8)?, short(10)?],
        _ => return None,
    };
    if last_row == 0 || last_column == 0 {
        return Some(1);
    }
    let first_column = if first_column > 0xff || last_column < first_column { 0 } else { first_column };
    Some(u64::from(last_row.wrapping_sub(first_row)) * u64::from(last_column - first_column))
}

/// The places that the cells of all sheets want; none where the file is no compound file with a workbook.
pub(super) fn places_of_all(file: &[u8]) -> Option<u64> {
    let stream = stream(file)?;
    let mut known = HashMap::new();
    let sheets = records(&stream, 0).filter(|(kind, _)| *kind == 0x0085).filter_map(|(_, content)| u32_at(content, 0));
    Some(sheets.fold(0u64, |sum, from| sum + *known.entry(from).or_insert_with(|| places(&stream, from as usize))))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    /// A workbook of a spreadsheet program.
    fn survey() -> Vec<u8> {
        let path = "tests/first_evening/workbooks/calc/survey.xls";
        std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).unwrap()
    }

    #[test]
    fn the_places_are_those_of_the_sheets() {
        use calamine::{Reader, Xls, open_workbook_from_rs};
        let bytes = survey();
        let mut book: Xls<_> = open_workbook_from_rs(std::io::Cursor::new(bytes.as_slice())).unwrap();
        let sheets = book.worksheets();
        let want: u64 = sheets.iter().map(|(_, cells)| (cells.height() * cells.width()) as u64).sum();
        assert!(want > 50, "{want}");
        // Formats of empty cells count for the places, not for the reader.
        let found = places_of_all(&bytes).unwrap();
        assert!(found >= want && found < 4 * want, "{found} {want}");
    }

    #[test]
    fn what_a_sheet_states_is_counted() {
        let stated = |rows: [u32; 2], columns: [u16; 2]| {
            let mut bytes = survey();
            let at = bytes.windows(4).position(|record| record == [0x00, 0x02, 0x0e, 0x00]).unwrap() + 4;
            let record =
                rows.iter().flat_map(|row| row.to_le_bytes()).chain(columns.iter().flat_map(|column| column.to_le_bytes()));
            bytes.splice(at..at + 12, record);
            places_of_all(&bytes).unwrap()
        };
        let usual = places_of_all(&survey()).unwrap();
        // The whole of a sheet, and the other sheets.
        let whole = stated([0, 65_536], [0, 256]);
        assert!((65_536 * 256..65_536 * 256 + usual).contains(&whole), "{whole}");
        assert!(stated([3, 2], [0, 1]) > u64::from(u32::MAX) - 1);
        assert!(stated([0, u32::MAX], [0, 256]) > 1 << 39);
        assert!(stated([0, 0], [0, 0]) <= usual);
        // The reader takes columns whose first is none from 0.
        assert!(stated([0, 1_000_000], [300, 400]) >= 400_000_000);
    }

    #[test]
    fn a_cell_in_the_last_corner_is_counted() {
        let mut bytes = survey();
        // A number (0x0203, 14 bytes): its row and column.
        let at = bytes.windows(4).position(|record| record == [0x03, 0x02, 0x0e, 0x00]).unwrap();
        bytes[at + 4..at + 8].copy_from_slice(&[0xff, 0xff, 0xff, 0x00]);
        let found = places_of_all(&bytes).unwrap();
        assert!((16_000_000..=17_000_000).contains(&found), "{found}");
        assert!(crate::intake::workbook::within(found, found).is_ok());
        let said = crate::intake::workbook::within(found, found - 1).unwrap_err().to_string();
        assert!(said.contains("cells of its sheets reach so far"), "{said}");
    }

    #[test]
    fn damage_ends_the_walk() {
        let whole = survey();
        for end in (0..whole.len()).step_by(97) {
            let _ = places_of_all(&whole[..end]);
        }
        for at in (0..whole.len()).step_by(13) {
            let mut bytes = whole.clone();
            bytes[at] = bytes[at].wrapping_add(101);
            let _ = places_of_all(&bytes);
        }
        assert_eq!(places_of_all(b"no workbook"), None);
    }
}
