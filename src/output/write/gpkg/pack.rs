//! Tables of an SQLite file, packed page by page.
//!
//! SQLite makes the file and its tables; then the records of the large tables are appended here,
//! in the order of their row ids, as full leaf pages with the interior pages above them. That is
//! what an insertion in order comes to, without its search for the place of each record. The file
//! format is SQLite's published one (fileformat2.html): b-tree pages in section 1.6 (records in `record`), overflow pages in 1.7,
//! the database header in 1.3, the lock-byte page in 1.4.
//! `PRAGMA integrity_check` holds the outcome to SQLite's own rules in tests.

use std::fs::{File, OpenOptions};
use std::io::{Read, Result, Seek, SeekFrom, Write};
use std::path::Path;

use super::flusher::Flusher;
use super::record::{PackedRecord, integer_type, push_varint, varint_length};
use crate::output::write::parts::{KnownParts, PartHasher};

/// The byte that locks are taken on; its page is never used.
const LOCK_BYTE: u64 = 1 << 30;
const LEAF: u8 = 0x0D;
const INTERIOR: u8 = 0x05;
const LEAF_HEADER: usize = 8;
const INTERIOR_HEADER: usize = 12;
/// Bytes of pages that are written as one.
const WRITTEN_AT_ONCE: usize = 1 << 18;

/// Appends pages to an SQLite file that no connection has open.
pub struct Pager {
    file: File,
    flusher: Flusher,
    hasher: PartHasher,
    /// Pages that are not written yet.
    pages: Vec<u8>,
    page_size: usize,
    next: u32,
    change_counter: u32,
}

impl Pager {
    /// Opens a finished file for appending.
    ///
    /// # Errors
    /// When it cannot be read, or is not an SQLite file with whole pages.
    pub fn open(path: &Path) -> Result<Pager> {
        let mut file = OpenOptions::new().read(true).write(true).open(path)?;
        let mut header = [0; 100];
        file.read_exact(&mut header)?;
        let page_size = match u16::from_be_bytes([header[16], header[17]]) {
            1 => 65_536,
            size => usize::from(size),
        };
        let end = file.seek(SeekFrom::End(0))?;
        if page_size < 512 || end == 0 || !end.is_multiple_of(page_size as u64) {
            return Err(std::io::Error::other("not a whole SQLite file"));
        }
        let change_counter = u32::from_be_bytes([header[24], header[25], header[26], header[27]]);
        Ok(Pager {
            flusher: Flusher::of(&file)?,
            hasher: PartHasher::from(end),
            file,
            pages: Vec::with_capacity(WRITTEN_AT_ONCE + 2 * page_size),
            page_size,
            next: (end / page_size as u64) as u32 + 1,
            change_counter,
        })
    }

    /// Bytes of a page.
    pub fn page_size(&self) -> usize {
        self.page_size
    }

    fn is_lock_page(&self, number: u32) -> bool {
        u64::from(number) == LOCK_BYTE / self.page_size as u64 + 1
    }

    /// The number that the next page will have.
    fn next_number(&self) -> u32 {
        if self.is_lock_page(self.next) { self.next + 1 } else { self.next }
    }

    /// Appends a page, which `fill` begins; what it leaves is zeros.
    fn append(&mut self, fill: impl FnOnce(&mut Vec<u8>)) -> Result<u32> {
        let number = self.next_number();
        let start = self.pages.len() + (number - self.next) as usize * self.page_size;
        self.pages.resize(start, 0);
        fill(&mut self.pages);
        self.pages.resize(start + self.page_size, 0);
        self.next = number + 1;
        if self.pages.len() >= WRITTEN_AT_ONCE {
            self.write_pages()?;
        }
        Ok(number)
    }

    fn write_pages(&mut self) -> Result<()> {
        self.file.write_all(&self.pages)?;
        self.flusher.written(self.pages.len());
        self.hasher.take(&self.pages);
        self.pages.clear();
        Ok(())
    }

    /// Writes root pages in their places, and the new size into the header. What it gives tells in the end whether the disk took
    /// what was flushed on the way, and the hashes of the parts that are written for good.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn finish(mut self, roots: &[Root]) -> Result<(Flusher, KnownParts)> {
        self.write_pages()?;
        let mut known = self.hasher.finish();
        let changed = (self.change_counter + 1).to_be_bytes();
        let pages = (self.next - 1).to_be_bytes();
        let mut put = |at: u64, bytes: &[u8]| -> Result<()> {
            known.forget(at, bytes.len());
            self.file.seek(SeekFrom::Start(at))?;
            self.file.write_all(bytes)
        };
        for root in roots {
            put(u64::from(root.number - 1) * self.page_size as u64, &root.page)?;
        }
        put(24, &changed)?;
        put(28, &pages)?;
        put(92, &changed)?;
        self.flusher.close();
        Ok((self.flusher, known))
    }
}

/// The root page of a packed table.
pub struct Root {
    number: u32,
    page: Vec<u8>,
}

/// The leaf page on its way: its cells, and where each begins.
#[derive(Default)]
struct Leaf {
    cells: Vec<u8>,
    starts: Vec<u16>,
    last_row: i64,
}

impl Leaf {
    /// Whether a cell of a size would be too much for it.
    fn is_full_for(&self, size: usize, page_size: usize) -> bool {
        LEAF_HEADER + 2 * (self.starts.len() + 1) + self.cells.len() + size > page_size
    }

    /// Begins the cell of a record.
    fn begin(&mut self, row: i64, payload: usize) {
        self.starts.push(self.cells.len() as u16);
        push_varint(&mut self.cells, payload as u64);
        push_varint(&mut self.cells, row as u64);
        self.last_row = row;
    }

    /// Writes it behind other pages, and begins the next.
    fn end(&mut self, pages: &mut Vec<u8>, page_size: usize) {
        fill_page(pages, page_size, LEAF, &self.cells, &self.starts, None);
        self.cells.clear();
        self.starts.clear();
    }
}

/// Bytes of a cell of which so many bytes stand on the leaf.
fn cell_size(row: i64, payload: usize, on_leaf: usize) -> usize {
    varint_length(payload as u64) + varint_length(row as u64) + on_leaf
}

/// Leaf pages that are made apart from the file, since nothing in them tells where they stand: of records that fit on a page.
pub struct LeafPages {
    page_size: usize,
    leaf: Leaf,
    /// Full pages; what follows them is in `leaf`.
    pages: Vec<u8>,
    /// The greatest row id of each.
    last_rows: Vec<i64>,
}

impl LeafPages {
    /// None yet.
    pub fn new(page_size: usize) -> LeafPages {
        LeafPages { page_size, leaf: Leaf::default(), pages: Vec::new(), last_rows: Vec::new() }
    }

    fn begin(&mut self, row: i64, payload: usize) {
        if self.leaf.is_full_for(cell_size(row, payload, payload), self.page_size) {
            self.end_leaf();
        }
        self.leaf.begin(row, payload);
    }

    fn end_leaf(&mut self) {
        self.last_rows.push(self.leaf.last_row);
        self.leaf.end(&mut self.pages, self.page_size);
    }

    /// Adds a record of the row id, which stands for its column, and an integer. Row ids must grow.
    pub fn push_integer(&mut self, row: i64, value: i64) {
        /// Bytes of the header: its own size, a null, the type of the integer.
        const HEADER: u8 = 3;
        let (code, bytes) = integer_type(value);
        self.begin(row, usize::from(HEADER) + bytes);
        self.leaf.cells.extend_from_slice(&[HEADER, 0, code]);
        self.leaf.cells.extend_from_slice(&value.to_be_bytes()[8 - bytes..]);
    }

    /// Adds a record that is no longer than a page allows. Row ids must grow.
    pub fn push(&mut self, row: i64, record: &PackedRecord) {
        let payload = record.size();
        debug_assert_eq!(local_size(payload, self.page_size), payload, "a record that spills over");
        self.begin(row, payload);
        record.payload(&mut self.leaf.cells);
    }
}

/// A table that is being packed.
pub struct PackedTable {
    root: u32,
    leaf: Leaf,
    /// Finished leaves: greatest row id and page.
    leaves: Vec<(i64, u32)>,
}

impl PackedTable {
    /// A table whose root page is `root` and which has no records that matter.
    pub fn new(root: u32) -> PackedTable {
        PackedTable { root, leaf: Leaf::default(), leaves: Vec::new() }
    }

    /// Adds a record. Row ids must grow.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn push(&mut self, pager: &mut Pager, row: i64, record: &PackedRecord) -> Result<()> {
        let payload = record.size();
        let local = local_size(payload, pager.page_size);
        let spills = local < payload;
        if self.leaf.is_full_for(cell_size(row, payload, local + if spills { 4 } else { 0 }), pager.page_size) {
            self.end_leaf(pager)?;
        }
        self.leaf.begin(row, payload);
        if spills {
            let mut whole = Vec::with_capacity(payload);
            record.payload(&mut whole);
            let overflow = append_overflow(pager, &whole[local..])?;
            self.leaf.cells.extend_from_slice(&whole[..local]);
            self.leaf.cells.extend_from_slice(&overflow.to_be_bytes());
        } else {
            record.payload(&mut self.leaf.cells);
        }
        Ok(())
    }

    /// Adds leaf pages, whose row ids are greater than those before; the last of them is filled further by what comes next.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn append(&mut self, pager: &mut Pager, leaves: LeafPages) -> Result<()> {
        if leaves.leaf.starts.is_empty() {
            return Ok(());
        }
        if !self.leaf.starts.is_empty() {
            self.end_leaf(pager)?;
        }
        for (page, last_row) in leaves.pages.chunks_exact(pager.page_size).zip(&leaves.last_rows) {
            self.leaves.push((*last_row, pager.append(|pages| pages.extend_from_slice(page))?));
        }
        self.leaf = leaves.leaf;
        Ok(())
    }

    fn end_leaf(&mut self, pager: &mut Pager) -> Result<()> {
        let size = pager.page_size;
        let page = pager.append(|pages| self.leaf.end(pages, size))?;
        self.leaves.push((self.leaf.last_row, page));
        Ok(())
    }

    /// Ends the table: its interior pages, and its root for [`Pager::finish`]. None where it has no records.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn finish(mut self, pager: &mut Pager) -> Result<Option<Root>> {
        let size = pager.page_size;
        if self.leaves.is_empty() {
            let mut page = Vec::with_capacity(size);
            let is_empty = self.leaf.starts.is_empty();
            self.leaf.end(&mut page, size);
            return Ok((!is_empty).then_some(Root { number: self.root, page }));
        }
        if !self.leaf.starts.is_empty() {
            self.end_leaf(pager)?;
        }
        let mut level = self.leaves;
        loop {
            let mut above = Vec::new();
            let mut rest = level.as_slice();
            while !rest.is_empty() {
                let (cells, starts, taken) = interior_cells(rest, size);
                let (last_row, rightmost) = rest[taken - 1];
                let fill = |pages: &mut Vec<u8>| fill_page(pages, size, INTERIOR, &cells, &starts, Some(rightmost));
                if taken == level.len() {
                    let mut page = Vec::with_capacity(size);
                    fill(&mut page);
                    return Ok(Some(Root { number: self.root, page }));
                }
                above.push((last_row, pager.append(fill)?));
                rest = &rest[taken..];
            }
            level = above;
        }
    }
}

/// Cells of an interior page for as many children as it holds; the last child is its right-most pointer.
fn interior_cells(children: &[(i64, u32)], size: usize) -> (Vec<u8>, Vec<u16>, usize) {
    let (mut cells, mut starts) = (Vec::new(), Vec::new());
    for (i, (row, page)) in children.iter().enumerate() {
        let cell = 4 + varint_length(*row as u64);
        // An interior page needs a cell at least; never leave a single child for the next page.
        let is_last = i + 1 == children.len();
        let is_full = INTERIOR_HEADER + 2 * (starts.len() + 2) + cells.len() + 2 * cell > size;
        let leaves_one = i + 2 == children.len() && INTERIOR_HEADER + 2 * (starts.len() + 3) + cells.len() + 3 * cell > size;
        if is_last || ((is_full || leaves_one) && i > 0) {
            return (cells, starts, i + 1);
        }
        starts.push(cells.len() as u16);
        cells.extend_from_slice(&page.to_be_bytes());
        push_varint(&mut cells, *row as u64);
    }
    (cells, starts, children.len())
}

/// Writes a page of a size behind others: header, pointers, and the cells at its end.
fn fill_page(pages: &mut Vec<u8>, size: usize, kind: u8, cells: &[u8], starts: &[u16], rightmost: Option<u32>) {
    let (page, content) = (pages.len(), size - cells.len());
    let count = (starts.len() as u16).to_be_bytes();
    // 65536 is written as 0.
    let from = (content as u16).to_be_bytes();
    pages.extend_from_slice(&[kind, 0, 0, count[0], count[1], from[0], from[1], 0]);
    if let Some(rightmost) = rightmost {
        pages.extend_from_slice(&rightmost.to_be_bytes());
    }
    pages.extend(starts.iter().flat_map(|start| ((content + usize::from(*start)) as u16).to_be_bytes()));
    pages.resize(page + content, 0);
    pages.extend_from_slice(cells);
}

/// How much of a payload stays on its leaf page.
fn local_size(payload: usize, usable: usize) -> usize {
    let most = usable - 35;
    if payload <= most {
        return payload;
    }
    let least = (usable - 12) * 32 / 255 - 23;
    let even = least + (payload - least) % (usable - 4);
    if even <= most { even } else { least }
}

/// Writes the rest of a payload as a chain of overflow pages; returns the first.
fn append_overflow(pager: &mut Pager, rest: &[u8]) -> Result<u32> {
    let first = pager.next_number();
    let mut parts = rest.chunks(pager.page_size - 4).peekable();
    while let Some(part) = parts.next() {
        let own = pager.next_number();
        let next = match parts.peek() {
            Some(_) if pager.is_lock_page(own + 1) => own + 2,
            Some(_) => own + 1,
            None => 0,
        };
        pager.append(|pages| {
            pages.extend_from_slice(&next.to_be_bytes());
            pages.extend_from_slice(part);
        })?;
    }
    Ok(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rusqlite::Connection;

    const COLUMNS: &str = "(id INTEGER PRIMARY KEY, n INTEGER, r REAL, s TEXT, b BLOB)";

    /// All rows as SQLite writes and types them.
    fn quoted(connection: &Connection) -> Vec<String> {
        let columns = ["id", "n", "r", "s", "b"].map(|c| format!("quote({c}) || typeof({c})")).join(" || ',' || ");
        let mut statement = connection.prepare(&format!("SELECT {columns} FROM t ORDER BY id")).unwrap();
        statement.query_map([], |row| row.get(0)).unwrap().map(|row| row.unwrap()).collect()
    }

    /// Packs records of a number and a text, and has SQLite read and check them; plain inserts must give the same rows.
    fn check(page_size: u32, rows: &[(i64, f64, String)]) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.sqlite");
        let connection = Connection::open(&path).unwrap();
        connection.execute_batch(&format!("PRAGMA page_size = {page_size}; CREATE TABLE t {COLUMNS}")).unwrap();
        let root: u32 =
            connection.query_row("SELECT rootpage FROM sqlite_master WHERE name = 't'", [], |row| row.get(0)).unwrap();
        connection.close().unwrap();
        let mut pager = Pager::open(&path).unwrap();
        let mut table = PackedTable::new(root);
        let mut record = PackedRecord::default();
        for (i, (n, r, s)) in rows.iter().enumerate() {
            record.clear();
            record.push_null();
            record.push_integer(*n);
            record.push_real(*r);
            record.push_text(s);
            record.push_blob(s.as_bytes());
            table.push(&mut pager, i as i64 + 1, &record).unwrap();
        }
        let root = table.finish(&mut pager).unwrap();
        pager.finish(root.as_slice()).unwrap();
        let connection = Connection::open(&path).unwrap();
        let verdict: String = connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok", "{} rows", rows.len());
        let mut statement = connection.prepare("SELECT n, r, s, b FROM t ORDER BY id").unwrap();
        let read: Vec<(i64, f64, String, Vec<u8>)> = statement
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))
            .unwrap()
            .map(|row| row.unwrap())
            .collect();
        assert_eq!(read.len(), rows.len());
        for ((n, r, s), read) in rows.iter().zip(&read) {
            assert_eq!((n, r, s, s.as_bytes()), (&read.0, &read.1, &read.2, read.3.as_slice()));
        }
        let mut plain = Connection::open_in_memory().unwrap();
        plain.execute_batch(&format!("CREATE TABLE t {COLUMNS}")).unwrap();
        let inserts = plain.transaction().unwrap();
        for (n, r, s) in rows {
            let row = rusqlite::params![n, r, s, s.as_bytes()];
            inserts.prepare_cached("INSERT INTO t (n, r, s, b) VALUES (?1, ?2, ?3, ?4)").unwrap().execute(row).unwrap();
        }
        inserts.commit().unwrap();
        assert_eq!(quoted(&connection), quoted(&plain));
        // A later insertion and deletion find the tree in order.
        connection.execute_batch("INSERT INTO t (n) VALUES (7); DELETE FROM t WHERE id % 2 = 0").unwrap();
        let verdict: String = connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok");
    }

    #[test]
    fn trees_of_every_depth() {
        for count in [0, 1, 2, 3, 10, 12, 100, 3000, 60_000] {
            let rows: Vec<_> = (0..count).map(|i| (i * 7919 - 500, i as f64 / 3.0, format!("row {i}"))).collect();
            check(512, &rows);
        }
        check(65_536, &(0..9000).map(|i| (i, 0.5, "x".repeat((i % 700) as usize))).collect::<Vec<_>>());
    }

    #[test]
    fn pages_made_apart_stand_among_those_made_here() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.sqlite");
        let connection = Connection::open(&path).unwrap();
        connection.execute_batch("PRAGMA page_size = 512; CREATE TABLE t (id INTEGER PRIMARY KEY, n INTEGER)").unwrap();
        let root: u32 =
            connection.query_row("SELECT rootpage FROM sqlite_master WHERE name = 't'", [], |row| row.get(0)).unwrap();
        connection.close().unwrap();
        let mut pager = Pager::open(&path).unwrap();
        let (mut table, mut record) = (PackedTable::new(root), PackedRecord::default());
        let value = |row: i64| row * row * 7919 - 300;
        let mut put = |row: i64| {
            record.clear();
            record.push_null();
            record.push_integer(value(row));
            record.clone()
        };
        // Few and many of each kind, in turn; one lot is empty.
        let mut row = 0;
        for (lot, count) in [3, 500, 1, 0, 2000, 40, 700].into_iter().enumerate() {
            let mut pages = LeafPages::new(pager.page_size());
            for _ in 0..count {
                row += 1;
                match lot % 3 {
                    0 => table.push(&mut pager, row, &put(row)).unwrap(),
                    1 => pages.push_integer(row, value(row)),
                    _ => pages.push(row, &put(row)),
                }
            }
            table.append(&mut pager, pages).unwrap();
        }
        let root = table.finish(&mut pager).unwrap();
        pager.finish(root.as_slice()).unwrap();
        let connection = Connection::open(&path).unwrap();
        let verdict: String = connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
        assert_eq!(verdict, "ok");
        let mut statement = connection.prepare("SELECT id, n FROM t ORDER BY id").unwrap();
        let read = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap().map(|row| row.unwrap());
        assert!(read.eq((1..=row).map(|row| (row, value(row)))));
    }

    #[test]
    fn long_records_spill_over() {
        for length in [400, 460, 477, 478, 900, 5000, 70_000] {
            check(
                512,
                &[(1, 1.0, "a".repeat(length)), (i64::MAX, -0.0, "b".repeat(length + 1)), (i64::MIN, 1e300, String::new())],
            );
        }
        check(4096, &(0..40).map(|i| (i, 1.5, "é".repeat(i as usize * 211))).collect::<Vec<_>>());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn any_records(rows in prop::collection::vec((any::<i64>(), -1e300f64..1e300, "\\PC{0,300}"), 0..80), small in any::<bool>()) {
            check(if small { 512 } else { 4096 }, &rows);
        }
    }
}
