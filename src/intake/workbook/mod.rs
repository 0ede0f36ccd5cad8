//! Workbooks (.xlsx, .xls, .ods): each sheet as tab-separated text, in which line n is row n of the sheet.
//!
//! Numbers are written with the fifteen digits that a spreadsheet shows; dates and times of real date and time cells as
//! `2026-10-14`, `08:20:00` and `2026-10-14T08:20:00`; formulas as the value that was stored with them. A cell that is merged down
//! over several rows stands in each of them. Line ends and tabs in a cell become spaces, so that lines stay rows.

mod caught;
mod chains;
mod outline;
mod reach;

pub(super) use outline::unpacked;

use std::collections::HashMap;
use std::io::Cursor;
use std::path::Path;

use super::inflated::{self, TooLarge};
use calamine::{Data, ExcelDateTime, Range, Reader, SheetType, SheetVisible, Sheets};

/// The most rows and columns that are taken from a sheet: those that the formats allow.
const GREATEST_ROWS: u32 = 1_048_576;
const GREATEST_COLUMNS: u32 = 16_384;
/// Cells of a sheet, used or not, that are taken: about a gigabyte of text.
const GREATEST_CELLS: u64 = 50_000_000;

/// Why a workbook is not read.
#[derive(Debug, thiserror::Error)]
pub enum WorkbookError {
    /// It unpacks to too much.
    #[error(transparent)]
    TooLarge(#[from] TooLarge),
    /// Its reader comes to what no sound file holds.
    #[error("the workbook is damaged; open it in a spreadsheet program and save it again")]
    Damaged,
    /// It is locked.
    #[error("the workbook is locked by a password; save it without one")]
    Locked,
    /// Its reader refuses it.
    #[error("the workbook cannot be read: {}; open it in a spreadsheet program and save it again", .0.gist())]
    Unreadable(#[source] ReaderError),
    /// Its sheets together want more places than are taken.
    #[error(
        "the cells of its sheets reach so far that {0} places would be held; delete what stands far from the log and save it again"
    )]
    TooManyPlaces(u64),
    /// A sheet of it cannot be taken.
    #[error("sheet {name}: {flaw}")]
    Sheet {
        /// Its name.
        name: String,
        /// What is wrong with it.
        flaw: SheetFlaw,
    },
}

/// What is wrong with a sheet.
#[derive(Debug, thiserror::Error)]
pub enum SheetFlaw {
    /// Its last cell lies too far away; row and column from 1.
    #[error("its cells reach to row {row} and column {column}, too far to be a log")]
    TooFar {
        /// The last row.
        row: u32,
        /// The last column.
        column: u32,
    },
    /// Its cells cannot be written as text.
    #[error(transparent)]
    Cells(#[from] csv::Error),
    /// Their text is none.
    #[error(transparent)]
    Text(#[from] std::string::FromUtf8Error),
}

/// What the reader of a format says.
#[derive(Debug, thiserror::Error)]
pub enum ReaderError {
    /// Of an older workbook.
    #[error(transparent)]
    Xls(#[from] calamine::XlsError),
    /// Of one in Office Open XML.
    #[error(transparent)]
    Xlsx(#[from] calamine::XlsxError),
    /// Of one in OpenDocument.
    #[error(transparent)]
    Ods(#[from] calamine::OdsError),
    /// Of a sheet.
    #[error(transparent)]
    Sheet(#[from] calamine::Error),
}

impl ReaderError {
    /// Its sentence without a full stop.
    fn gist(&self) -> String {
        self.to_string().trim_end_matches('.').to_owned()
    }
}

impl WorkbookError {
    /// What the reader of a format refuses.
    fn refused(error: impl Into<ReaderError>) -> WorkbookError {
        let error = error.into();
        let gist = error.gist().to_lowercase();
        match gist.contains("password") || gist.contains("encrypt") {
            true => WorkbookError::Locked,
            false => WorkbookError::Unreadable(error),
        }
    }
}

/// A sheet of a workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkbookSheet {
    /// Its name.
    pub name: String,
    /// Whether the sheet itself is hidden.
    pub is_hidden: bool,
    /// Its rows as tab-separated text.
    pub text: String,
    /// Rows that are hidden, counted from 1; they are in the text like all others.
    pub hidden_rows: Vec<u64>,
}

/// Whether a file's name is that of a workbook.
pub fn is_workbook(path: &Path) -> bool {
    let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase());
    matches!(extension.as_deref(), Some("xlsx" | "xlsm" | "xls" | "ods"))
}

/// The sheets of a workbook, those without any cell left out.
///
/// # Errors
/// When it is no workbook, is locked by a password, or damaged.
pub fn read(path: &Path, bytes: &[u8]) -> Result<Vec<WorkbookSheet>, WorkbookError> {
    caught::caught(|| read_sound(path, bytes)).unwrap_or(Err(WorkbookError::Damaged))
}

/// The same of a file that is not damaged.
fn read_sound(path: &Path, bytes: &[u8]) -> Result<Vec<WorkbookSheet>, WorkbookError> {
    inflated::check("the workbook", bytes)?;
    if chains::has_loop(bytes) {
        return Err(WorkbookError::Damaged);
    }
    within(reach::places_of_all(bytes).unwrap_or(0), GREATEST_CELLS)?;
    let mut book = open(path, bytes).map_err(WorkbookError::refused)?;
    let outlines = outline::read(bytes);
    let described = book.sheets_metadata().to_vec();
    let mut sheets = Vec::new();
    for sheet in described.iter().filter(|sheet| sheet.typ == SheetType::WorkSheet) {
        let flawed = |flaw| WorkbookError::Sheet { name: sheet.name.clone(), flaw };
        within_reach(reach_of(&mut book, &sheet.name).map_err(WorkbookError::refused)?).map_err(flawed)?;
        let cells = book.worksheet_range(&sheet.name).map_err(WorkbookError::refused)?;
        let mut outline = outlines.get(&sheet.name).cloned().unwrap_or_default();
        outline.merged_down.extend(merged(&mut book, &sheet.name));
        if cells.is_empty() {
            continue;
        }
        sheets.push(WorkbookSheet {
            name: sheet.name.clone(),
            is_hidden: sheet.visible != SheetVisible::Visible,
            text: text_of(&cells, &outline).map_err(flawed)?,
            hidden_rows: outline.hidden_rows,
        });
    }
    Ok(sheets)
}

type Book<'b> = Sheets<Cursor<&'b [u8]>>;

fn open<'b>(path: &Path, bytes: &'b [u8]) -> Result<Book<'b>, ReaderError> {
    use calamine::{Ods, Xls, Xlsx, open_workbook_from_rs};
    let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase()).unwrap_or_default();
    let all = || Cursor::new(bytes);
    // What it is, not what it is called: sheets are renamed.
    let is_packed = bytes.starts_with(b"PK");
    if !is_packed {
        return Ok(Sheets::Xls(open_workbook_from_rs::<Xls<_>, _>(all())?));
    }
    let is_ods =
        extension == "ods" || bytes.windows(46).take(200).any(|name| name == b"application/vnd.oasis.opendocument.spreadsheet");
    if is_ods {
        return Ok(Sheets::Ods(open_workbook_from_rs::<Ods<_>, _>(all())?));
    }
    Ok(Sheets::Xlsx(open_workbook_from_rs::<Xlsx<_>, _>(all())?))
}

/// The last row and column of a sheet, from 0, found before the whole of it is held: one cell in the last corner makes billions. For formats
/// that tell it otherwise the first.
fn reach_of(book: &mut Book, name: &str) -> Result<(u32, u32), ReaderError> {
    let Sheets::Xlsx(book) = book else { return Ok((0, 0)) };
    let mut cells = book.worksheet_cells_reader(name)?;
    let mut end = (0, 0);
    while let Some(cell) = cells.next_cell()? {
        let (row, column) = cell.get_position();
        end = (end.0.max(row), end.1.max(column));
    }
    Ok(end)
}

/// Refuses a workbook whose sheets want more places than are taken.
fn within(places: u64, most: u64) -> Result<(), WorkbookError> {
    match places > most {
        true => Err(WorkbookError::TooManyPlaces(places)),
        false => Ok(()),
    }
}

/// Refuses a sheet whose last cell lies too far away.
fn within_reach((row, column): (u32, u32)) -> Result<(), SheetFlaw> {
    match row >= GREATEST_ROWS || column >= GREATEST_COLUMNS || u64::from(row + 1) * u64::from(column + 1) > GREATEST_CELLS {
        true => Err(SheetFlaw::TooFar { row: row + 1, column: column + 1 }),
        false => Ok(()),
    }
}

/// Cells merged over several rows, as the reader of the format knows them: first row, last row, first column, from 0.
fn merged(book: &mut Book, name: &str) -> Vec<outline::Down> {
    let found = match book {
        Sheets::Xlsx(book) => book.merge_cells_by_sheet_name(name).unwrap_or_default(),
        Sheets::Xls(book) => book.merge_cells_by_sheet_name(name).unwrap_or_default(),
        Sheets::Xlsb(_) | Sheets::Ods(_) => Vec::new(),
    };
    let down =
        found.into_iter().map(|region| outline::Down { first: region.start.0, last: region.end.0, column: region.start.1 });
    down.filter(|down| down.last > down.first).collect()
}

fn text_of(cells: &Range<Data>, outline: &outline::Outline) -> Result<String, SheetFlaw> {
    let (Some(start), Some(end)) = (cells.start(), cells.end()) else { return Ok(String::new()) };
    within_reach(end)?;
    let last_row = outline.merged_down.iter().map(|down| down.last).fold(end.0, u32::max).min(end.0 + 1000);
    let mut writer = csv::WriterBuilder::new().delimiter(b'\t').flexible(true).from_writer(Vec::new());
    let mut text = Vec::new();
    let spanned = outline.merged_down.iter().flat_map(|down| {
        let last = down.last.min(last_row);
        (down.first + 1..=last).map(|row| ((row, down.column), down.first))
    });
    let merged: HashMap<(u32, u32), u32> = spanned.collect();
    for row in 0..=last_row {
        text.clear();
        for column in 0..=end.1 {
            let at = merged.get(&(row, column)).copied().unwrap_or(row);
            let known = at >= start.0 && column >= start.1;
            text.push(known.then(|| cells.get_value((at, column))).flatten().map(written).unwrap_or_default());
        }
        writer.write_record(&text)?;
    }
    let bytes = writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8(bytes)?)
}

/// A cell as text.
fn written(cell: &Data) -> String {
    match cell {
        Data::Empty => String::new(),
        Data::String(text) => one_line(text),
        Data::Int(number) => number.to_string(),
        Data::Float(number) => number_text(*number),
        Data::Bool(is) => is.to_string(),
        Data::DateTime(when) => date_text(when),
        Data::DateTimeIso(text) => text.trim().trim_end_matches("T00:00:00").to_owned(),
        Data::DurationIso(text) => duration_text(text).unwrap_or_else(|| text.clone()),
        Data::Error(error) => error.to_string(),
    }
}

fn one_line(text: &str) -> String {
    let clean = text.replace("_x000D_", " ");
    match clean.contains(['\n', '\r', '\t']) {
        true => clean.split(['\n', '\r', '\t']).map(str::trim).filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" "),
        false => clean,
    }
}

/// A number with the fifteen digits of a spreadsheet: its sums carry binary rounding behind them.
fn number_text(number: f64) -> String {
    format!("{number:.14e}").parse::<f64>().unwrap_or(number).to_string()
}

/// A date, a time of day, or both, of the serial number of days that a date cell holds. The parts are rounded to
/// milliseconds, since thirds of a day have no end.
fn date_text(when: &ExcelDateTime) -> String {
    let serial = when.as_f64();
    if !serial.is_finite() || serial < 0.0 {
        return number_text(serial);
    }
    const DAY_MS: f64 = 86_400_000.0;
    let ms = (serial * DAY_MS).round();
    let of_day = (ms % DAY_MS) as u64;
    let time = time_text(of_day);
    if ms < DAY_MS {
        return time;
    }
    if when.is_duration() {
        return number_text(serial * 24.0);
    }
    let whole = ExcelDateTime::new((ms / DAY_MS).floor(), calamine::ExcelDateTimeType::DateTime, is_1904(when));
    let (year, month, day, ..) = whole.to_ymd_hms_milli();
    let date = format!("{year:04}-{month:02}-{day:02}");
    if of_day == 0 { date } else { format!("{date}T{time}") }
}

/// Whether a serial number counts from 1904, which only its parts tell.
fn is_1904(when: &ExcelDateTime) -> bool {
    let as_1900 = ExcelDateTime::new(when.as_f64(), calamine::ExcelDateTimeType::DateTime, false);
    as_1900.to_ymd_hms_milli().0 != when.to_ymd_hms_milli().0
}

fn time_text(ms: u64) -> String {
    let (s, ms) = (ms / 1000, ms % 1000);
    let whole = format!("{:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
    if ms == 0 { whole } else { format!("{whole}.{ms:03}") }
}

/// A time of day out of a duration such as `PT08H20M00S`.
fn duration_text(text: &str) -> Option<String> {
    let rest = text.strip_prefix("PT")?;
    let (mut number, mut seconds) = (String::new(), 0.0);
    for letter in rest.chars() {
        let scale = match letter {
            'H' => 3600.0,
            'M' => 60.0,
            'S' => 1.0,
            _ => {
                number.push(if letter == ',' { '.' } else { letter });
                continue;
            }
        };
        seconds += number.parse::<f64>().ok()? * scale;
        number.clear();
    }
    let ms = (seconds * 1000.0).round();
    (0.0..86_400_000.0).contains(&ms).then(|| time_text(ms as u64))
}

#[cfg(test)]
mod tests {
    use super::*;
    use calamine::ExcelDateTimeType;

    /// A workbook of a spreadsheet program with one cell more in its first sheet.
    fn with_a_cell(cell: &str) -> Vec<u8> {
        use std::io::{Read, Write};
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/first_evening/workbooks/calc/survey.xlsx");
        let mut from = zip::ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
        let mut to = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for index in 0..from.len() {
            let mut part = from.by_index(index).unwrap();
            let (name, mut bytes) = (part.name().unwrap().to_string(), Vec::new());
            part.read_to_end(&mut bytes).unwrap();
            if name == "xl/worksheets/sheet1.xml" {
                let text = String::from_utf8(bytes).unwrap();
                bytes = text.replace("</sheetData>", &format!("{cell}</sheetData>")).into_bytes();
            }
            to.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
            to.write_all(&bytes).unwrap();
        }
        to.finish().unwrap().into_inner()
    }

    #[test]
    fn a_cell_in_the_last_corner_is_refused_and_not_held() {
        let far = with_a_cell("<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>");
        let said = read(Path::new("far.xlsx"), &far).unwrap_err().to_string();
        assert!(said.contains("reach to row 1048576 and column 16384, too far to be a log"), "{said}");
        let near = with_a_cell("<row r=\"200\"><c r=\"Z200\"><v>1</v></c></row>");
        assert_eq!(read(Path::new("near.xlsx"), &near).unwrap()[0].text.lines().count(), 200);
        // The limit itself: 50 million cells.
        assert!(within_reach((49_999, 999)).is_ok() && within_reach((50_000, 999)).is_err());
    }

    /// Workbooks of a spreadsheet program cut off anywhere, and with bytes changed, are read or refused with a sentence.
    #[test]
    fn damaged_workbooks_are_refused() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/first_evening/workbooks/calc");
        let mut refused = 0;
        for name in ["survey.xls", "survey.xlsx", "survey.ods"] {
            let whole = std::fs::read(folder.join(name)).unwrap();
            assert!(read(Path::new(name), &whole).is_ok(), "{name}");
            let cut = (0..whole.len()).step_by(whole.len() / 150 + 1).map(|end| whole[..end].to_vec());
            let changed = (0..300usize).map(|k| {
                let mut bytes = whole.clone();
                let at = k * 7919 % bytes.len();
                bytes[at] = bytes[at].wrapping_add(1 + (k % 255) as u8);
                bytes
            });
            for bytes in cut.chain(changed) {
                match read(Path::new(name), &bytes) {
                    Ok(_) => {}
                    Err(said) => {
                        refused += 1;
                        assert!(said.to_string().contains("save it"), "{said}");
                    }
                }
            }
        }
        assert!(refused > 300, "{refused}");
    }

    #[test]
    fn numbers_have_the_digits_that_a_spreadsheet_shows() {
        assert_eq!(number_text(0.1 + 0.2), "0.3");
        assert_eq!(number_text(34.271093), "34.271093");
        assert_eq!((number_text(3.0), number_text(-1.3e-7)), ("3".into(), "-0.00000013".into()));
    }

    /// Serials from ECMA-376 part 1, 18.17.4.1: 1 is 1 January 1900 in the 1900 base, 0 is 1 January 1904 in the other;
    /// 44197 is 1 January 2021.
    #[test]
    fn dates_and_times_of_serials() {
        let of = |serial: f64, is_1904: bool| date_text(&ExcelDateTime::new(serial, ExcelDateTimeType::DateTime, is_1904));
        assert_eq!(of(44197.0, false), "2021-01-01");
        assert_eq!(of(44197.0 - 1462.0, true), "2021-01-01");
        assert_eq!(of(44197.0 + 1.0 / 3.0, false), "2021-01-01T08:00:00");
        assert_eq!(of(8.0 / 24.0 + 20.0 / 1440.0, false), "08:20:00");
        assert_eq!(of(0.5 + 0.25 / 86400.0, false), "12:00:00.250");
    }

    #[test]
    fn durations_of_the_day() {
        assert_eq!(duration_text("PT08H20M00S").as_deref(), Some("08:20:00"));
        assert_eq!(duration_text("PT08H20M00.5S").as_deref(), Some("08:20:00.500"));
        assert_eq!(duration_text("PT30H00M00S"), None);
    }
}
