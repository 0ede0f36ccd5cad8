//! Which line of a log is its header: the first, or one below a title; over one line or over two.
//!
//! A line that has the headers which the job names, or canonical ones, is the header. Where none has, a title is told by
//! its few fields: the header is the first line of words that is about as wide as the rows below it. A header over two
//! lines is one whose names are only told apart, or only complete, with the line above or below: a group of columns over its
//! parts, a quantity over its unit.

use rustc_hash::FxHashSet;

use super::delimited::{Line, Lines, Rows, guess_separator};
use crate::units::{AngleUnit, LengthUnit};

/// Lines that are looked at.
const LINES: usize = 80;
/// Lines among which the header is sought.
const GREATEST_TITLE: usize = 40;

/// A header that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// Line of it, the last where there are two.
    pub line: u64,
    /// Whether it stands over two lines.
    pub is_double: bool,
    /// The separator.
    pub separator: u8,
    /// Its names.
    pub names: Vec<String>,
    /// The line as it stands.
    pub text: String,
    /// The lines of the title above it.
    pub title: Vec<String>,
    /// First and last line of what reads like a table of its own among them.
    pub table_above: Option<[u64; 2]>,
}

/// One line, cut.
struct Cut<'t> {
    line: Line<'t>,
    cells: Vec<String>,
}

impl Cut<'_> {
    fn filled(&self) -> usize {
        let mut different: Vec<&str> = self.cells.iter().map(String::as_str).filter(|cell| !cell.is_empty()).collect();
        different.sort_unstable();
        different.dedup();
        different.len()
    }

    /// Whether it says names, not values.
    fn is_wordy(&self) -> bool {
        let filled = self.cells.iter().filter(|cell| !cell.is_empty());
        let values = filled.clone().filter(|cell| is_value(cell)).count();
        values * 5 <= filled.count()
    }

    fn is_units(&self) -> bool {
        is_units_row(&self.cells)
    }
}

/// Whether a row below a header says the units of its columns.
pub fn is_units_row(cells: &[String]) -> bool {
    let mut filled = cells.iter().filter(|cell| !cell.is_empty()).peekable();
    filled.peek().is_some() && filled.all(|cell| is_unit(cell))
}

/// Whether a field is a number or begins like a date, a time or a number.
fn is_value(cell: &str) -> bool {
    let bare = cell.trim_start_matches(['-', '+', '.', ',']);
    bare.starts_with(|c: char| c.is_ascii_digit())
        && bare.chars().filter(char::is_ascii_digit).count() * 2 >= bare.chars().count()
}

fn is_unit(cell: &str) -> bool {
    let word = cell.trim_matches(['[', ']', '(', ')']);
    LengthUnit::from_word(word).is_some()
        || AngleUnit::from_word(word).is_some()
        || ["%", "pct", "°", "cm", "mm", "km", "s", "-", "–"].contains(&word.to_lowercase().as_str())
}

/// Finds the header; none in a file without a line of text. `is_known` tells the headers that the job names and the
/// canonical ones; `fixed` is the line that the job names.
pub fn find(text: &str, comment: &str, given: Option<u8>, fixed: Option<u64>, is_known: &dyn Fn(&str) -> bool) -> Option<Header> {
    let declared = declared_separator(text);
    let given = given.or(declared);
    if let Some(found) = in_comment(text, comment, given, fixed, is_known) {
        return Some(found);
    }
    let is_text = |line: &Line| {
        let is_declaration = declared.is_some() && line.number == 1;
        !is_declaration && !line.text.trim().is_empty() && (comment.is_empty() || !line.text.starts_with(comment))
    };
    let first = Lines::from_top(text, given.unwrap_or(b'\0'), 1).find(is_text)?;
    let own = given.or_else(|| guess_separator(first.text)).unwrap_or(b',');
    let separator = given.unwrap_or_else(|| prevailing(text, comment).unwrap_or(own));
    let cut = |separator: u8| -> Vec<Cut> {
        let lines = Lines::from_top(text, separator, 1).filter(is_text).filter(|line| !is_blank(line, separator)).take(LINES);
        lines.map(|line| Cut { line, cells: cells(line, separator) }).collect()
    };
    let known = |names: &[String]| names.iter().filter(|name| is_known(name)).count();
    // The header decides the separator where it is the first line.
    let by_own = cut(own);
    let of_first = by_own.first().map_or(0, |first| known(&first.cells));
    let rows = if separator == own { by_own } else { cut(separator) };
    if let Some(fixed) = fixed {
        let at = rows.iter().position(|row| row.line.number == fixed)?;
        return Some(header_at(&rows, at, separator));
    }
    let sought = &rows[..rows.len().min(GREATEST_TITLE)];
    let doubled = |at: usize| double(&rows, at);
    let known_at = |at: usize| known(&rows[at].cells).max(doubled(at).map_or(0, |(names, _)| known(&names)));
    let best = (0..sought.len()).rev().max_by_key(|at| known_at(*at)).filter(|at| known_at(*at) >= 2 && known_at(*at) > of_first);
    let at = match best {
        Some(best) => best,
        None if of_first >= 2 => return plain(cut(own), own),
        None => below_title(&rows).unwrap_or(0),
    };
    if at == 0 && separator != own {
        return plain(cut(own), own);
    }
    Some(header_at(&rows, at, separator))
}

/// The separator that a first line `sep=;` names, as spreadsheets write and read it; the header is below it.
fn declared_separator(text: &str) -> Option<u8> {
    let line = text.lines().next()?;
    let head = line.get(..4).filter(|head| head.eq_ignore_ascii_case("sep="))?;
    match line[head.len()..].trim_end_matches('\r').as_bytes() {
        [sign @ (b',' | b';' | b'\t' | b'|')] => Some(*sign),
        _ => None,
    }
}

/// A header that begins with the sign of comments: `#,station,azimuth` or `# station,azimuth`. It stands right above the first row, which
/// has values, and has as many fields.
fn in_comment(
    text: &str,
    comment: &str,
    given: Option<u8>,
    fixed: Option<u64>,
    is_known: &dyn Fn(&str) -> bool,
) -> Option<Header> {
    const LEAST_FIELDS: usize = 3;
    if comment.is_empty() || !text.lines().take(GREATEST_TITLE).any(|line| line.starts_with(comment)) {
        return None;
    }
    let separator = given.or_else(|| prevailing(text, comment))?;
    let mut above: Option<Line> = None;
    for line in Lines::from_top(text, separator, 1).take(GREATEST_TITLE) {
        if line.text.starts_with(comment) {
            above = Some(line);
            continue;
        }
        let line_of_names = above.filter(|above| above.number + 1 == line.number && fixed.is_none_or(|at| at == above.number))?;
        let below = Cut { line, cells: cells(line, separator) };
        let mut names = cells(line_of_names, separator);
        // The sign itself is the name of a first column that has no other.
        let first = names[0].trim_start_matches(comment).trim();
        if !first.is_empty() {
            names[0] = first.to_owned();
        }
        let cut = Cut { line: line_of_names, cells: names };
        let fits = cut.cells.len() >= LEAST_FIELDS && below.cells.len() <= cut.cells.len();
        let is_header = fits && below.cells.len() * 2 > cut.cells.len() && cut.is_wordy() && !below.is_wordy();
        if !is_header || below.cells.iter().any(|cell| is_known(cell)) || faults(&cut.cells) > 0 {
            return None;
        }
        return Some(Header {
            line: line_of_names.number,
            is_double: false,
            separator,
            names: cut.cells,
            text: line_of_names.text.to_owned(),
            title: Vec::new(),
            table_above: None,
        });
    }
    None
}

/// The header that a line belongs to.
fn header_at(rows: &[Cut], at: usize, separator: u8) -> Header {
    let (names, last) = double(rows, at).unwrap_or_else(|| (rows[at].cells.clone(), at));
    let is_double = last != at || names != rows[at].cells;
    let first = if is_double { if last == at { at - 1 } else { at } } else { at };
    let title =
        rows[..first].iter().map(|row| row.cells.iter().filter(|cell| !cell.is_empty()).cloned().collect::<Vec<_>>().join(", "));
    let title = title.collect();
    let found = &rows[last];
    let table_above = table_among(&rows[..first]);
    Header { line: found.line.number, is_double, separator, names, text: found.line.text.to_owned(), title, table_above }
}

/// The lines, first and last, of a table above the header: a line of names, and rows of values under it that are about as wide.
fn table_among(rows: &[Cut]) -> Option<[u64; 2]> {
    const LEAST_FIELDS: usize = 3;
    let is_row_under = |names: &Cut, row: &Cut| {
        let values = row.cells.iter().filter(|cell| is_value(cell)).count();
        let is_as_wide = row.cells.len() <= names.cells.len() && row.filled() * 2 > names.cells.len();
        is_as_wide && !row.is_wordy() && values >= 2
    };
    let at = (0..rows.len()).find(|at| {
        let names = &rows[*at];
        names.filled() >= LEAST_FIELDS
            && names.is_wordy()
            && faults(&names.cells) == 0
            && rows.get(at + 1).is_some_and(|row| is_row_under(names, row))
    })?;
    let under = rows[at + 1..].iter().take_while(|row| is_row_under(&rows[at], row)).count();
    Some([rows[at].line.number, rows[at + under].line.number])
}

/// The first line as the header.
fn plain(rows: Vec<Cut>, separator: u8) -> Option<Header> {
    let (names, last) = double(&rows, 0).unwrap_or_else(|| (rows.first().map(|row| row.cells.clone()).unwrap_or_default(), 0));
    let row = rows.get(last)?;
    let (line, text) = (row.line.number, row.line.text.to_owned());
    Some(Header { line, is_double: last > 0, separator, names, text, title: Vec::new(), table_above: None })
}

/// The separator that most lines have most of.
fn prevailing(text: &str, comment: &str) -> Option<u8> {
    let lines = Lines::from_top(text, b'\0', 1).filter(|line| comment.is_empty() || !line.text.starts_with(comment));
    let guesses: Vec<u8> = lines.filter_map(|line| guess_separator(line.text)).take(LINES).collect();
    guesses.iter().copied().max_by_key(|sign| guesses.iter().filter(|other| *other == sign).count())
}

fn is_blank(line: &Line, separator: u8) -> bool {
    line.text.bytes().all(|byte| byte.is_ascii_whitespace() || byte == separator)
}

fn cells(line: Line, separator: u8) -> Vec<String> {
    let mut rows = Rows::default();
    rows.push(line, separator);
    let row = rows.rows()[0];
    let mut cells: Vec<String> = (0..row.fields()).map(|i| rows.cell(&row, i).to_owned()).collect();
    // A separator at the end of every line makes a last column without a name.
    while cells.len() > 1 && cells.last().is_some_and(String::is_empty) {
        cells.pop();
    }
    cells
}

/// The first line of words that is about as wide as the rows below, where the first line is a title.
fn below_title(rows: &[Cut]) -> Option<usize> {
    let mut widths: Vec<usize> = rows.iter().map(Cut::filled).collect();
    let first = *widths.first()?;
    widths.sort_unstable();
    let usual = widths[widths.len() / 2];
    if usual < 3 || first * 2 > usual && first > 2 || first == usual {
        return None;
    }
    let is_header = |at: &usize| rows[*at].filled() * 5 >= usual * 3 && rows[*at].is_wordy() && *at + 1 < rows.len();
    (1..rows.len().min(GREATEST_TITLE)).find(is_header)
}

/// The names of a header over two lines, the given one and the one below or above it, and the index of the last.
fn double(rows: &[Cut], at: usize) -> Option<(Vec<String>, usize)> {
    let row = rows.get(at)?;
    let mine = faults(&row.cells);
    if mine == 0 || !row.is_wordy() {
        return None;
    }
    let next = rows.get(at + 1).filter(|next| next.line.number == row.line.number + 1);
    if let Some(next) = next.filter(|next| next.is_wordy() && !next.is_units() && next.filled() > 1) {
        let names = combined(&row.cells, &next.cells);
        // Values come behind it, or the line below would be one of the table's own.
        if faults(&names) == 0 && rows.get(at + 2).is_some_and(|below| !below.is_wordy()) {
            return Some((names, at + 1));
        }
    }
    let above = at.checked_sub(1).map(|above| &rows[above]).filter(|above| above.line.number + 1 == row.line.number)?;
    let names = combined(&above.cells, &row.cells);
    (above.is_wordy() && above.filled() > 1 && faults(&names) < mine).then_some((names, at))
}

/// Names that are missing before the last or stand twice.
fn faults(names: &[String]) -> usize {
    let mut seen = FxHashSet::default();
    names.iter().filter(|name| name.is_empty() || !seen.insert(name.as_str())).count()
}

/// Each name with the one of its group above it; a group goes on to the right until the next one begins.
fn combined(above: &[String], below: &[String]) -> Vec<String> {
    let mut group = "";
    let width = above.len().max(below.len());
    let none = String::new();
    (0..width)
        .map(|i| {
            let (upper, lower) = (above.get(i).unwrap_or(&none), below.get(i).unwrap_or(&none));
            if !upper.is_empty() {
                group = upper;
            }
            match (upper.is_empty(), lower.is_empty()) {
                (_, true) => upper.clone(),
                (false, false) if upper == lower => lower.clone(),
                (_, false) if group.is_empty() => lower.clone(),
                (_, false) => format!("{group} {lower}"),
            }
        })
        .collect()
}

/// Whether a text is a page of notes rather than a table: most of its lines have no separator in common.
pub fn is_prose(text: &str) -> bool {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).take(LINES).collect();
    let has_spaces = lines.iter().filter(|line| line.contains(' ')).count();
    let most = [',', ';', '\t', '|'].map(|sign| lines.iter().filter(|line| line.contains(sign)).count());
    lines.len() >= 3 && has_spaces * 2 > lines.len() && most.iter().all(|lines_with| lines_with * 2 < lines.len())
}

/// What a table needs, for a text that is none.
pub const WHAT_A_TABLE_NEEDS: &str = "this reads like a page of notes, not a table: its lines have no separator in common. A table has \
     one line of headers that names each column, and below it one line for each shot, its values between commas, semicolons or tabs; \
     type it into a spreadsheet and save it as a workbook or as delimited text";

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str, known: &[&str]) -> Header {
        find(text, "#", None, None, &|name: &str| known.contains(&name)).unwrap()
    }

    #[test]
    fn the_first_line_is_the_header_of_a_plain_log() {
        let header = found("# crew\na;b;c\n1;2;3\n", &[]);
        assert_eq!(
            (header.line, header.separator, header.names.as_slice()),
            (2, b';', ["a", "b", "c"].map(String::from).as_slice())
        );
        assert!(header.title.is_empty() && !header.is_double);
    }

    /// The sign of comments heads a column of numbers too; a remark above the header is none.
    #[test]
    fn a_header_that_begins_like_a_comment() {
        let header = found("#,Station,Bearing,Distance\n1,TP 1,12.5,20\n2,TP 1,13.5,21\n", &[]);
        assert_eq!((header.line, header.names.join("|")), (1, "#|Station|Bearing|Distance".to_owned()));
        let header = found("# made by two of us, on foot, in rain\n# Sta;X;Y\nA;1;2\nB;3;4\n", &[]);
        assert_eq!((header.line, header.names.join("|")), (2, "Sta|X|Y".to_owned()));
        let header = found("# by A, B, and C\nsta,x,y\nA,1,2\n", &[]);
        assert_eq!((header.line, header.names.join("|")), (2, "sta|x|y".to_owned()));
    }

    /// The first line that a spreadsheet writes to say how its values are separated is neither a header nor a title.
    #[test]
    fn a_first_line_that_names_the_separator() {
        for (sign, first) in [(b';', "sep=;"), (b'\t', "SEP=\t"), (b'|', "sep=|\r")] {
            let mark = sign as char;
            let header = found(&format!("{first}\nMark{mark}X (L93){mark}Y (L93)\n007{mark}912427,322{mark}6448281,273\n"), &[]);
            assert_eq!((header.line, header.separator, header.names.join(" ")), (2, sign, "Mark X (L93) Y (L93)".to_owned()));
            assert!(header.title.is_empty(), "{:?}", header.title);
        }
        assert_eq!(found("sep=x;b;c\n1;2;3\n", &[]).names, ["sep=x", "b", "c"]);
    }

    /// A table of bases above the shots is no title: its lines are told, so that nobody misses them. Settings above a table, and a title
    /// with a date, are none.
    #[test]
    fn a_table_above_is_told() {
        let known = ["shot", "azimuth_deg"];
        let bases = "Peg,Lat,Lon\nB1,61.2,9.1\nB2,61.3,9.2\n\nbase,shot,azimuth_deg\nB1,1,12.5\nB2,2,13.5\n";
        let header = found(bases, &known);
        assert_eq!((header.line, header.table_above), (5, Some([1, 3])));
        // Below a title, with one row alone.
        let header = found(&format!("Ridge\n{}", bases.replace("B2,61.3,9.2\n", "")), &known);
        assert_eq!((header.line, header.table_above), (5, Some([2, 3])));
        for above in [
            "Ridge walk,2026-05-04\n",
            "Crew,Day,Instrument\nnorth,2026-05-04,hand\n",
            "Instrument height,1.50,m\nTarget height,0.20,m\n",
        ] {
            let header = found(&format!("{above}base,shot,azimuth_deg\nB1,1,12.5\n"), &known);
            assert_eq!(header.table_above, None, "{above}");
            assert!(!header.title.is_empty());
        }
    }

    #[test]
    fn a_title_stands_above() {
        let text =
            "Feeder 12, pole shots\ncrew,two\n\nNo,Tag,Dist (ft),Bearing,Tilt\n1,a,100.2,12,1\n2,b,110.2,15,2\n3,c,99.1,20,1\n";
        for known in [&[][..], &["Dist (ft)", "Bearing"][..]] {
            let header = found(text, known);
            assert_eq!((header.line, header.names[2].as_str()), (4, "Dist (ft)"), "{known:?}");
            assert_eq!(header.title, ["Feeder 12, pole shots", "crew, two"]);
        }
    }

    #[test]
    fn a_group_over_its_parts() {
        let above = "No\tTree\tLeft\t\tRight\t\n\t\tDist\tAng\tDist\tAng\n1\t7\t12.1\t3\t12.4\t4\n2\t8\t13.1\t3\t12.9\t4\n";
        let header = found(above, &[]);
        assert!(header.is_double);
        assert_eq!((header.line, header.names.join("|")), (2, "No|Tree|Left Dist|Left Ang|Right Dist|Right Ang".to_owned()));
        let parts = "\t\tLeft\t\tRight\t\nNo\tTree\tDist\tAng\tDist\tAng\n1\t7\t12.1\t3\t12.4\t4\n2\t8\t13.1\t3\t12.9\t4\n";
        let header = found(parts, &[]);
        assert_eq!((header.line, header.names.join("|")), (2, "No|Tree|Left Dist|Left Ang|Right Dist|Right Ang".to_owned()));
        assert!(header.title.is_empty(), "{:?}", header.title);
    }

    #[test]
    fn a_line_of_units_is_no_header() {
        let header = found("base\tdist\taz\n\t[m]\t[deg]\nA\t1.5\t20\nB\t2.5\t30\n", &[]);
        assert_eq!((header.line, header.is_double), (1, false));
    }

    #[test]
    fn notes_and_tables() {
        assert!(is_prose("cove nests\nmon 23 june, fog, wind SW 3\n1004 N01 200.9m 146 -3.7\n1006 N02 206.7m 147 -8.0\n"));
        assert!(!is_prose("a,b\n1,2 x\n3,4 y\n"));
    }
}
