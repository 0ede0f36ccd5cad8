//! Delimited text: separators, logical lines (a quoted field may hold line ends), blocks of lines
//! for parallel reading, and the cutting of lines into fields.
//!
//! A quote counts only at the start of a field, as the `csv-core` reader has it, so that inch and
//! second marks inside a value do no harm. A quote that does not end within [`LONGEST_QUOTED`]
//! lines is taken as a fault of its own line.

use std::ops::Range;

use memchr::{memchr, memchr_iter};

/// Lines that one quoted field may span.
pub const LONGEST_QUOTED: usize = 20;

/// A line of the file, or several where a quoted field spans them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line<'t> {
    /// Line number of its start, from 1.
    pub number: u64,
    /// The text without line end.
    pub text: &'t str,
    /// Whether a line end follows.
    pub ended: bool,
    /// Whether a quoted field was left open.
    pub unclosed: bool,
    /// Whether it may have quotes; else it has none.
    pub may_have_quotes: bool,
}

impl Line<'_> {
    /// Whether it has quotes.
    pub fn has_quotes(&self) -> bool {
        self.may_have_quotes && memchr(b'"', self.text.as_bytes()).is_some()
    }
}

/// Walks the lines of a text.
#[derive(Clone)]
pub struct Lines<'t> {
    text: &'t str,
    separator: u8,
    at: usize,
    number: u64,
    has_quotes: bool,
}

impl<'t> Lines<'t> {
    /// The lines of `text`, the first of which has the number `first`.
    pub fn new(text: &'t str, separator: u8, first: u64) -> Lines<'t> {
        let has_quotes = memchr(b'"', text.as_bytes()).is_some();
        Lines { text, separator, at: 0, number: first, has_quotes }
    }

    /// The same, for a text of which few lines are looked at: whether it has quotes farther down is not searched for.
    pub fn from_top(text: &'t str, separator: u8, first: u64) -> Lines<'t> {
        Lines { text, separator, at: 0, number: first, has_quotes: true }
    }

    /// Where the next line begins, in bytes.
    pub fn offset(&self) -> usize {
        self.at
    }

    /// Whether a quote before this byte can close a field that spans lines. Within one line anything
    /// may follow, as in `"5" pipe`; over several, a quote before a letter opens a field of its own, and
    /// the one before was never closed.
    fn may_close(&self, next: Option<&u8>) -> bool {
        next.is_none_or(|next| *next == self.separator || *next == b'\n' || *next == b'\r')
    }

    /// The end of the logical line that starts at `self.at`: offset of its line end or of the end
    /// of the text, line ends inside, and whether a quote was left open.
    fn end(&self) -> (usize, u64, bool) {
        let rest = &self.text.as_bytes()[self.at..];
        let plain = memchr(b'\n', rest).unwrap_or(rest.len());
        if !self.has_quotes || memchr(b'"', &rest[..plain]).is_none() {
            return (self.at + plain, 0, false);
        }
        let (mut i, mut inside, mut field_start, mut spanned) = (0, false, true, 0);
        while i < rest.len() {
            let byte = rest[i];
            if inside {
                match byte {
                    b'"' if rest.get(i + 1) == Some(&b'"') => i += 1,
                    b'"' if spanned > 0 && !self.may_close(rest.get(i + 1)) => break,
                    b'"' => inside = false,
                    b'\n' => {
                        spanned += 1;
                        if spanned > LONGEST_QUOTED {
                            break;
                        }
                    }
                    _ => {}
                }
            } else if byte == b'\n' {
                return (self.at + i, spanned as u64, false);
            } else if byte == b'"' && field_start {
                inside = true;
            }
            field_start = !inside && byte == self.separator;
            i += 1;
        }
        if inside { (self.at + plain, 0, true) } else { (self.at + rest.len(), spanned as u64, false) }
    }
}

impl<'t> Iterator for Lines<'t> {
    type Item = Line<'t>;

    fn next(&mut self) -> Option<Line<'t>> {
        if self.at >= self.text.len() {
            return None;
        }
        let (end, spanned, unclosed) = self.end();
        let text = &self.text[self.at..end];
        let line = Line {
            number: self.number,
            text: text.strip_suffix('\r').unwrap_or(text),
            ended: end < self.text.len(),
            unclosed,
            may_have_quotes: self.has_quotes,
        };
        self.at = (end + 1).min(self.text.len());
        self.number += 1 + spanned;
        Some(line)
    }
}

/// A run of whole lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Bytes of the text.
    pub range: Range<usize>,
    /// Number of its first line.
    pub first_line: u64,
}

/// Cuts the rest of a text into blocks of about `size` bytes, at ends of logical lines.
pub fn blocks(mut lines: Lines, size: usize) -> Vec<Block> {
    let mut found = Vec::new();
    let text = lines.text;
    while lines.at < text.len() {
        let (start, first_line) = (lines.at, lines.number);
        if lines.has_quotes {
            while lines.at < text.len() && lines.at - start < size {
                lines.next();
            }
        } else {
            let wanted = (start + size).min(text.len());
            let end = memchr(b'\n', &text.as_bytes()[wanted..]).map_or(text.len(), |i| wanted + i + 1);
            lines.number += memchr_iter(b'\n', &text.as_bytes()[start..end]).count() as u64;
            lines.at = end;
        }
        found.push(Block { range: start..lines.at, first_line });
    }
    found
}

/// Lines cut into fields. Quotes are taken off, white space around fields too.
#[derive(Default)]
pub struct Rows<'t> {
    cells: String,
    /// End of each field in `cells`.
    ends: Vec<u32>,
    rows: Vec<Row<'t>>,
    /// Fields that every row has behind its own, and how many it has of its own.
    tail: (Vec<String>, usize),
}

/// One row of [`Rows`].
#[derive(Debug, Clone, Copy)]
pub struct Row<'t> {
    /// The line it stands on.
    pub line: Line<'t>,
    first: u32,
    fields: u32,
    /// Fields on the line.
    own: u32,
    /// Which of the readings of its line it is.
    pub reading: u16,
    /// Whether the fields that every row has stand behind its own.
    pub has_tail: bool,
    /// Whether its last fields were taken as one: see [`Rows::join_surplus`].
    pub is_joined: bool,
}

impl Row<'_> {
    /// How many fields it has on its line.
    pub fn fields(&self) -> usize {
        self.own as usize
    }
}

impl<'t> Rows<'t> {
    /// No rows yet; each will have the fields of `tail` behind its first `width`, as far as it has so many.
    pub fn with_tail(tail: &[String], width: usize) -> Rows<'t> {
        Rows { tail: (tail.to_vec(), width), ..Rows::default() }
    }

    /// Makes the last row stand once for each of some readings of its line; the last row itself stays as it is where there is none.
    pub fn spread(&mut self, readings: impl IntoIterator<Item = u16>) {
        let Some(last) = self.rows.pop() else { return };
        let before = self.rows.len();
        self.rows.extend(readings.into_iter().map(|reading| Row { reading, ..last }));
        if self.rows.len() == before {
            self.rows.push(last);
        }
    }

    /// Adds a line.
    pub fn push(&mut self, line: Line<'t>, separator: u8) {
        let first = self.ends.len() as u32;
        if !line.has_quotes() {
            self.cells.push_str(line.text);
            let start = self.cells.len() - line.text.len();
            for i in memchr_iter(separator, line.text.as_bytes()) {
                self.ends.push((start + i) as u32);
            }
            self.ends.push(self.cells.len() as u32);
            // The separators stay in `cells`; `cell` steps over them.
            self.cells.push('\n');
        } else {
            self.push_quoted(line.text, separator);
        }
        let own = self.ends.len() as u32 - first;
        let has_tail = !self.tail.0.is_empty() && self.push_tail(first);
        let fields = self.ends.len() as u32 - first;
        self.rows.push(Row { line, first, fields, own, reading: 0, has_tail, is_joined: false });
    }

    /// Takes the fields of the last row from number `width` on as one: a remark with separators of its own.
    pub fn join_surplus(&mut self, width: usize, separator: u8) {
        let Some(row) = self.rows.last().copied() else { return };
        let (first, own) = (row.first as usize, row.own as usize);
        if width < 2 || own <= width {
            return;
        }
        let start = self.ends[first + width - 2] as usize + 1;
        let joined =
            self.cells[start..self.ends[first + own - 1] as usize].replace('\n', char::from(separator).encode_utf8(&mut [0; 4]));
        self.cells.truncate(start);
        self.cells.push_str(&joined);
        self.ends.truncate(first + width - 1);
        self.ends.push(self.cells.len() as u32);
        self.cells.push('\n');
        let has_tail = !self.tail.0.is_empty() && self.push_tail(row.first);
        let fields = self.ends.len() as u32 - row.first;
        if let Some(row) = self.rows.last_mut() {
            *row = Row { fields, own: width as u32, has_tail, is_joined: true, ..*row };
        }
    }

    /// Adds the fields that every row has; false for a row of another width, which stays as it is.
    fn push_tail(&mut self, first: u32) -> bool {
        let (first, width) = (first as usize, self.tail.1);
        let is_blank =
            |range: std::ops::Range<usize>| self.cells[range].chars().all(|c| c.is_whitespace() || !c.is_alphanumeric());
        if self.ends.len() < first + width || width == 0 {
            return false;
        }
        let end = self.ends[first + width - 1] as usize;
        if self.ends.len() > first + width && !is_blank(end..self.cells.len()) {
            return false;
        }
        self.ends.truncate(first + width);
        self.cells.truncate(end);
        self.cells.push('\n');
        for value in &self.tail.0 {
            self.cells.push_str(value);
            self.ends.push(self.cells.len() as u32);
            self.cells.push('\n');
        }
        true
    }

    fn push_quoted(&mut self, text: &str, separator: u8) {
        let mut reader = csv_core::ReaderBuilder::new().delimiter(separator).build();
        let mut output = vec![0; text.len() + 1];
        let mut ends = vec![0; text.len() + 2];
        let (_, _, written, count) = reader.read_record(text.as_bytes(), &mut output, &mut ends);
        // Flushes the last field where the line has no line end.
        let (_, _, more, last) = reader.read_record(&[], &mut output[written..], &mut ends[count..]);
        let mut from = 0;
        for end in &ends[..count + last] {
            // csv-core cuts at ASCII bytes alone, so that each field stays valid UTF-8.
            self.cells.push_str(&String::from_utf8_lossy(&output[from..(*end).min(written + more)]));
            self.ends.push(self.cells.len() as u32);
            self.cells.push('\n');
            from = *end;
        }
    }

    /// The rows.
    pub fn rows(&self) -> &[Row<'t>] {
        &self.rows
    }

    /// A field of a row; empty where the row has none such.
    pub fn cell(&self, row: &Row, column: usize) -> &str {
        if column >= row.fields as usize {
            return "";
        }
        let index = row.first as usize + column;
        let start = match index {
            0 => 0,
            _ => self.ends[index - 1] as usize + 1,
        };
        trim(&self.cells[start..self.ends[index] as usize])
    }

    /// Takes the rows out, keeping the storage.
    pub fn clear(&mut self) {
        self.cells.clear();
        self.ends.clear();
        self.rows.clear();
    }
}

/// White space off both ends; quick where there is none.
fn trim(cell: &str) -> &str {
    match cell.as_bytes() {
        [] => cell,
        [first, .., last] if first.is_ascii_graphic() && last.is_ascii_graphic() => cell,
        [only] if only.is_ascii_graphic() => cell,
        _ => cell.trim(),
    }
}

/// The separator of a header line: the one of comma, semicolon, tab and pipe that stands there most
/// often outside quotes. None where there is none at all.
pub fn guess_separator(header: &str) -> Option<u8> {
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0), (b'|', 0)];
    let mut quoted = false;
    for byte in header.bytes() {
        match byte {
            b'"' => quoted = !quoted,
            _ if quoted => {}
            _ => counts.iter_mut().filter(|(sign, _)| *sign == byte).for_each(|(_, count)| *count += 1),
        }
    }
    // The first of equals wins: max_by_key takes the last, so the order is turned.
    counts.into_iter().rev().max_by_key(|(_, count)| *count).filter(|(_, count)| *count > 0).map(|(sign, _)| sign)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cut(text: &str, separator: u8) -> Vec<(u64, Vec<String>)> {
        let mut rows = Rows::default();
        Lines::new(text, separator, 1).for_each(|line| rows.push(line, separator));
        rows.rows()
            .iter()
            .map(|row| (row.line.number, (0..row.fields()).map(|i| rows.cell(row, i).to_owned()).collect()))
            .collect()
    }

    #[test]
    fn quotes_and_line_numbers() {
        let rows = cut("a,b\r\n\"x, y\",\"two\nlines\"\n 1 ,5' 10\"\nlast,\"q\"\"q\"", b',');
        let want: Vec<(u64, Vec<&str>)> =
            vec![(1, vec!["a", "b"]), (2, vec!["x, y", "two\nlines"]), (4, vec!["1", "5' 10\""]), (5, vec!["last", "q\"q"])];
        assert_eq!(rows.len(), want.len());
        for (got, want) in rows.iter().zip(want) {
            assert_eq!((got.0, got.1.iter().map(String::as_str).collect::<Vec<_>>()), want);
        }
    }

    #[test]
    fn an_open_quote_costs_one_line() {
        let text = format!("a,\"open\n{}", "1,2\n".repeat(40));
        let lines: Vec<Line> = Lines::new(&text, b',', 1).collect();
        assert_eq!(lines.len(), 41);
        assert!(lines[0].unclosed && lines[0].text == "a,\"open");
        assert!(lines[1..].iter().all(|line| !line.unclosed && line.text == "1,2"));
    }

    #[test]
    fn separators_are_counted_outside_quotes() {
        assert_eq!(guess_separator("a;b;c,d"), Some(b';'));
        assert_eq!(guess_separator("\"a;b;c\",d"), Some(b','));
        assert_eq!(guess_separator("a\tb"), Some(b'\t'));
        assert_eq!(guess_separator("alone"), None);
    }

    proptest! {
        /// Blocks hold every line once, with its number, whatever their size.
        #[test]
        fn blocks_lose_nothing(text in "([a\",;\n\r]{0,12}\n){0,30}[a\"]{0,3}", size in 1usize..64) {
            let whole: Vec<_> = Lines::new(&text, b',', 1).map(|l| (l.number, l.text.to_owned())).collect();
            let mut parts = Vec::new();
            for block in blocks(Lines::new(&text, b',', 1), size) {
                parts.extend(Lines::new(&text[block.range.clone()], b',', block.first_line).map(|l| (l.number, l.text.to_owned())));
            }
            // An open quote may look beyond its block; only then may the cutting differ.
            let open = Lines::new(&text, b',', 1).any(|l| l.unclosed);
            if !open {
                prop_assert_eq!(whole, parts);
            }
        }

        /// Lines without quotes are cut as the csv crate cuts them.
        #[test]
        fn fields_agree_with_the_csv_crate(fields in prop::collection::vec("[a-z\" ]{0,6}", 2..6)) {
            let mut writer = csv::Writer::from_writer(Vec::new());
            writer.write_record(&fields).unwrap();
            let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
            let rows = cut(&text, b',');
            prop_assert_eq!(rows.len(), 1);
            let want: Vec<String> = fields.iter().map(|f| f.trim().to_owned()).collect();
            prop_assert_eq!(&rows[0].1, &want);
        }
    }
}
