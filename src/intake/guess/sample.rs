//! Logs as far as `init` looks at them: tables with their first rows, whatever file they come from.

use std::path::Path;

use super::told;
use super::words;
use crate::intake::cell::{CellFormat, is_no_reading_number};
use crate::intake::columns::{self, LogKind};
use crate::intake::delimited::{Lines, Rows};
use crate::intake::log_layout::LayoutError;
use crate::intake::numbers::NumberEvidence;
use crate::intake::text::{self, Text};
use crate::intake::{IntakeError, gpx, header, kml, nmea, sheets, vector, workbook};
use crate::job::LogFormat;
use crate::numeric::signs::Signs;
use crate::records::base_row::Coordinates;
use crate::records::fix::Fix;
use crate::units::{Hemispheres, parse_angle_deg, parse_direction_deg};

/// Rows that are looked at.
const ROWS: usize = 5000;

/// What a file is that has no headers to guess at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whole {
    /// A receiver's sentences.
    Receiver,
    /// GPX; whether it has waypoints.
    Gpx(bool),
    /// KML or KMZ.
    Kml,
    /// A layer of points.
    Layer,
}

impl Whole {
    /// What it is, for people.
    pub fn words(self) -> &'static str {
        match self {
            Whole::Receiver => "a receiver's NMEA sentences: the places where it stood become the bases",
            Whole::Gpx(_) => "GPX: waypoints are bases by their names; tracks are fixes of a receiver",
            Whole::Kml => "KML: placemarks of points are bases by their names",
            Whole::Layer => "a layer of points; its fields go by their names under [bases.columns]",
        }
    }

    /// Whether it holds fixes of a receiver's antenna.
    pub fn has_fixes(self) -> bool {
        matches!(self, Whole::Receiver | Whole::Gpx(false))
    }
}

/// A log as far as it was looked at.
#[derive(Clone)]
pub struct Sample {
    /// Name of the file.
    pub name: String,
    /// Its sheet, in a workbook, and whether it is the only one.
    pub sheet: Option<(String, bool)>,
    pub separator: u8,
    pub decimal_comma: bool,
    pub encoding: &'static str,
    pub headers: Vec<String>,
    pub rows: Vec<Vec<String>>,
    pub kind: LogKind,
    /// What a log that has no headers to guess at is.
    pub whole: Option<Whole>,
    /// The line of the header where it is not the first, and the title above.
    pub title: Option<(u64, String)>,
    /// First and last line of what reads like a table of its own above the header.
    pub table_above: Option<[u64; 2]>,
    /// Names of its points, where it has no headers.
    pub names: Vec<String>,
    /// Longitudes and latitudes of its points in degrees, where it has no headers.
    pub places: Vec<(f64, f64)>,
    /// The units of the columns in a row of their own below the header; blank where there is none.
    pub units: Vec<String>,
    /// Line of each row.
    pub lines: Vec<u64>,
    /// The columns that name the base, where each row has the position that it was shot from.
    pub base_columns: Vec<String>,
}

impl Sample {
    /// How people call it.
    pub fn label(&self) -> String {
        match &self.sheet {
            Some((sheet, _)) => format!("{} [{sheet}]", self.name),
            None => self.name.clone(),
        }
    }

    /// The words of a column's header, and of its unit below.
    pub fn words(&self, column: usize) -> Vec<String> {
        let mut words = words::split(&self.headers[column]);
        if let Some(unit) = self.units.get(column) {
            match unit.trim_matches(['[', ']', '(', ')', ' ']) {
                // The sign of a gon; alone in a header it may stand for much.
                "g" | "ᵍ" => words.push("gon".to_owned()),
                unit => words.extend(words::split(unit)),
            }
        }
        words
    }

    /// The first column whose header means a concept.
    pub fn named(&self, concept: &str) -> Option<usize> {
        (0..self.headers.len()).find(|column| words::means(&self.words(*column), concept))
    }

    /// Whether any of its columns has a position, a sight or a name that a log has: a page of words has none.
    fn says_anything(&self) -> bool {
        const CONCEPTS: [&str; 9] =
            ["azimuth", "inclination", "zenith", "distance", "height", "easting", "northing", "latitude", "longitude"];
        let is_measured = |column: usize| self.is_numeric(column) || self.is_in_parts(column);
        let means_any = |column: usize| {
            let words = self.words(column);
            CONCEPTS.iter().any(|concept| words::means(&words, concept))
                || told::is_azimuth(&words)
                || told::is_inclination(&words)
        };
        let is_canonical = |header: &String| {
            let header = header.to_lowercase();
            [LogKind::Bases, LogKind::Shots].into_iter().any(|kind| columns::parse(&header, kind).is_some())
        };
        angles_with_letters(self)
            || (0..self.headers.len()).any(|column| is_measured(column) && means_any(column))
            || self.headers.iter().filter(|header| is_canonical(header)).count() >= 2
    }

    /// The column of a header.
    pub fn column_of(&self, header: &str) -> Option<usize> {
        self.headers.iter().position(|own| own == header)
    }

    /// The columns of latitude and longitude, or of easting and northing.
    pub fn position_columns(&self) -> Option<[usize; 2]> {
        let split: Vec<Vec<String>> = (0..self.headers.len()).map(|column| self.words(column)).collect();
        let is_angle = |column: usize| {
            self.is_numeric(column)
                || self
                    .filled(column)
                    .next()
                    .is_some_and(|cell| parse_angle_deg(&cell.replace(',', "."), Hemispheres::None).is_ok())
        };
        let degrees = |concept: &str| (0..split.len()).find(|column| words::means(&split[*column], concept) && is_angle(*column));
        if let (Some(lat), Some(lon)) = (degrees("latitude"), degrees("longitude")) {
            return Some([lat, lon]);
        }
        // One letter heads many columns: a grid's numbers are large.
        let far = |concept: &str| {
            (0..split.len())
                .find(|column| words::means(&split[*column], concept) && self.greatest(*column).is_some_and(|most| most > 1000.0))
        };
        Some([far("easting")?, far("northing")?])
    }

    /// The language that most of its headers are in, where that is not English; none where too few tell.
    pub fn language(&self) -> Option<&'static str> {
        let mut counts: std::collections::BTreeMap<&'static str, usize> = Default::default();
        for column in 0..self.headers.len() {
            let words = self.words(column);
            let mut of_header: Vec<&'static str> =
                words::CONCEPTS.iter().filter_map(|concept| words::language(&words, concept)).collect();
            of_header.sort_unstable();
            of_header.dedup();
            let language =
                of_header.iter().find(|language| **language == "en").or(of_header.iter().find(|language| **language != "any"));
            if let Some(language) = language {
                *counts.entry(language).or_default() += 1;
            }
        }
        let english = counts.remove("en").unwrap_or(0);
        let foreign: usize = counts.values().sum();
        let (most, _) = counts.into_iter().max_by_key(|(_, count)| *count)?;
        (foreign >= 3 && foreign > english).then_some(most)
    }

    /// How many different values a column has, and how many that are not blank.
    pub fn variety(&self, column: usize) -> (usize, usize) {
        let mut values: Vec<&str> = self.filled(column).collect();
        let count = values.len();
        values.sort_unstable();
        values.dedup();
        (values.len(), count)
    }

    /// The numbers of a column, without those that stand for "no reading".
    pub fn numbers(&self, column: usize) -> Vec<f64> {
        let (format, signs) = (CellFormat::default(), self.signs(column));
        let cells = self.rows.iter().map(|row| row[column].as_str()).filter(|cell| !format.is_no_reading(cell));
        cells.filter_map(|cell| signs.number(cell)).filter(|value| !is_no_reading_number(*value)).collect()
    }

    /// Whether a column's values show a decimal comma.
    pub fn has_decimal_comma(&self, column: usize) -> bool {
        let mut seen = NumberEvidence::default();
        self.rows.iter().for_each(|row| seen.take(&row[column], 0));
        seen.decimal_comma() == Some(true)
    }

    /// How the numbers of a column are written.
    pub fn signs(&self, column: usize) -> Signs {
        let mut seen = NumberEvidence::default();
        self.rows.iter().for_each(|row| seen.take(&row[column], 0));
        let decimal_comma = seen.decimal_comma().unwrap_or(self.decimal_comma);
        Signs { decimal_comma, ..seen.settle(&Default::default(), Some(decimal_comma), self.separator).signs }
    }

    /// The greatest amount in a column.
    pub fn greatest(&self, column: usize) -> Option<f64> {
        self.numbers(column).into_iter().map(f64::abs).reduce(f64::max)
    }

    /// The fields of a column that are not blank.
    pub fn filled(&self, column: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().map(move |row| row[column].as_str()).filter(|cell| !cell.is_empty())
    }

    /// Whether nearly all that stands in a column are angles in degrees that are no plain numbers: degrees and minutes, bearings in a
    /// quadrant.
    pub fn is_in_parts(&self, column: usize) -> bool {
        let filled = self.filled(column).count();
        filled > 0 && !self.is_numeric(column) && self.degrees_in_parts(column).len() * 10 >= filled * 8
    }

    /// Angles in parts, in degrees.
    pub fn degrees_in_parts(&self, column: usize) -> Vec<f64> {
        self.filled(column).filter_map(|cell| parse_direction_deg(&cell.replace(',', ".")).ok()).collect()
    }

    /// Whether nearly all that stands in a column are numbers.
    pub fn is_numeric(&self, column: usize) -> bool {
        let filled = self.filled(column).count();
        filled > 0 && self.numbers(column).len() * 10 >= filled * 8
    }
}

/// All logs of a file: one, or the sheets of a workbook.
///
/// # Errors
/// When it cannot be read, is empty, or no log at all.
pub fn all(path: &Path) -> Result<Vec<Sample>, IntakeError> {
    let name = path.display().to_string();
    if workbook::is_workbook(path) {
        let tables: Vec<_> = sheets::all(path, &name, &LogFormat::default())?.into_iter().filter(|(_, hidden)| !hidden).collect();
        let only = tables.len() == 1;
        let tables = tables.into_iter().map(|(table, _)| {
            let sheet = table.text.sheet.clone().unwrap_or_default();
            let mut sample = read_table(&table.text, name.clone(), Some(b'\t'), "")?;
            sample.sheet = Some((sheet, only));
            Ok(sample)
        });
        // A sheet without a table, such as a cover page, is none of the logs.
        let read: Vec<Result<Sample, IntakeError>> = tables.collect();
        let is_log = |sample: &Result<Sample, IntakeError>| sample.as_ref().is_ok_and(Sample::says_anything);
        let is_kept: fn(&Result<Sample, IntakeError>) -> bool = match () {
            () if read.iter().any(is_log) => |sample| sample.as_ref().is_ok_and(Sample::says_anything),
            () if read.iter().any(Result::is_ok) => Result::is_ok,
            () => |_| true,
        };
        return read.into_iter().filter(is_kept).collect();
    }
    if vector::is_vector(path) {
        return Ok(vec![whole(name, "", Whole::Layer, Vec::new())]);
    }
    if path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("kmz")) {
        let bytes = std::fs::read(path).map_err(|source| IntakeError::Read { path: path.to_owned(), source })?;
        let document = kml::unpack(&bytes).map_err(|problem| IntakeError::file(path, problem))?;
        return read_kml(path, name, &document);
    }
    let text = text::read(path, None)?;
    if nmea::looks_like(&text.text) {
        let read = nmea::read(&text.text, 0, &nmea::Clues::default());
        let places = read.fixes.iter().filter_map(place_of).collect();
        return Ok(vec![Sample { places, ..whole(name, text.encoding, Whole::Receiver, Vec::new()) }]);
    }
    if kml::looks_like(&text.text) {
        return read_kml(path, name, &text.text);
    }
    if gpx::looks_like(&text.text) {
        let found = gpx::read(&text.text, 0, gpx::GpxHeights::default()).map_err(|problem| IntakeError::file(path, problem))?;
        let names: Vec<String> = found.waypoints.iter().map(|point| point.name.clone()).collect();
        let mut places: Vec<(f64, f64)> = found.waypoints.iter().map(|point| (point.lon_deg, point.lat_deg)).collect();
        if places.is_empty() {
            places = found.tracks.fixes.iter().filter_map(place_of).collect();
        }
        return Ok(vec![Sample { places, ..whole(name, text.encoding, Whole::Gpx(!names.is_empty()), names) }]);
    }
    Ok(vec![read_table(&text, name, None, "#")?])
}

/// Longitude and latitude of a fix in degrees.
fn place_of(fix: &Fix) -> Option<(f64, f64)> {
    match fix.coordinates {
        Coordinates::Geographic { lat_deg, lon_deg } => Some((lon_deg, lat_deg)),
        Coordinates::Projected { .. } => None,
    }
}

fn read_kml(path: &Path, name: String, document: &str) -> Result<Vec<Sample>, IntakeError> {
    let found = kml::read(document, kml::KmlHeights::Standard).map_err(|problem| IntakeError::file(path, problem))?;
    let places = found.placemarks.iter().map(|point| (point.lon_deg, point.lat_deg)).collect();
    let names = found.placemarks.into_iter().map(|point| point.name).collect();
    Ok(vec![Sample { places, ..whole(name, "UTF-8", Whole::Kml, names) }])
}

/// A log of bases that needs no column map.
fn whole(name: String, encoding: &'static str, whole: Whole, names: Vec<String>) -> Sample {
    Sample {
        name,
        sheet: None,
        separator: b',',
        decimal_comma: false,
        encoding,
        headers: Vec::new(),
        rows: Vec::new(),
        kind: LogKind::Bases,
        whole: Some(whole),
        title: None,
        table_above: None,
        names,
        places: Vec::new(),
        units: Vec::new(),
        lines: Vec::new(),
        base_columns: Vec::new(),
    }
}

fn read_table(text: &Text, name: String, separator: Option<u8>, comment: &str) -> Result<Sample, IntakeError> {
    let wrong = |problem: LayoutError| IntakeError::columns(&text.path, 1, problem);
    let canonical: Vec<String> =
        [LogKind::Bases, LogKind::Shots].into_iter().flat_map(columns::names).map(|(name, _, _)| name).collect();
    let is_known = |name: &str| canonical.iter().any(|known| known.eq_ignore_ascii_case(name));
    let found = header::find(&text.text, comment, separator, None, &is_known).ok_or_else(|| wrong(LayoutError::Empty))?;
    if found.names.len() == 1 && header::is_prose(&text.text) {
        return Err(wrong(LayoutError::Prose));
    }
    let separator = found.separator;
    let is_text = |line: &str| !line.trim().is_empty() && (comment.is_empty() || !line.starts_with(comment));
    let mut rows = Rows::default();
    let lines = Lines::from_top(&text.text, separator, 1).filter(|line| is_text(line.text) && line.number > found.line);
    lines.take(ROWS).for_each(|line| rows.push(line, separator));
    let mut headers = found.names;
    let width = headers.len();
    for (index, header) in headers.iter_mut().enumerate() {
        if header.is_empty() {
            *header = format!("column {}", index + 1);
        }
    }
    // A comma in a remark makes a field too many, blank cells at the end of a row some too few: neither hides what columns mean.
    let cut = rows.rows().iter().filter(|row| row.fields() * 2 >= width).map(|row| {
        let cells: Vec<String> = (0..width).map(|i| rows.cell(row, i).to_owned()).collect();
        (row.line.number, cells)
    });
    let (mut lines, mut rows): (Vec<u64>, Vec<Vec<String>>) =
        cut.filter(|(_, row)| *row != headers && row.iter().any(|cell| !cell.is_empty())).unzip();
    let mut units = Vec::new();
    if rows.first().is_some_and(|row| header::is_units_row(row)) {
        units = rows.remove(0);
        lines.remove(0);
    }
    let mut seen = NumberEvidence::default();
    rows.iter().flatten().for_each(|cell| seen.take(cell, 0));
    let decimal_comma = seen.decimal_comma().unwrap_or(false);
    let mut sample = Sample {
        name,
        sheet: None,
        separator,
        decimal_comma,
        encoding: text.encoding,
        headers,
        rows,
        kind: LogKind::Shots,
        whole: None,
        title: found.title.first().map(|title| (found.line, title.clone())),
        table_above: found.table_above,
        names: Vec::new(),
        places: Vec::new(),
        units,
        lines,
        base_columns: Vec::new(),
    };
    sample.kind = kind_of(&sample);
    Ok(sample)
}

/// Whether a table is of bases or of shots: what has positions and no sights is of bases.
fn kind_of(sample: &Sample) -> LogKind {
    let split: Vec<Vec<String>> = (0..sample.headers.len()).map(|column| sample.words(column)).collect();
    let is_measured = |column: usize| sample.is_numeric(column) || sample.is_in_parts(column);
    let has_azimuth = split.iter().enumerate().any(|(column, words)| is_measured(column) && told::is_azimuth(words));
    // The precision of a position ("Précision horizontale") is no distance.
    let is_sight = |words: &[String]| {
        !words::means(words, "accuracy")
            && (told::is_azimuth(words)
                || told::is_inclination(words)
                || told::is_distance(words)
                || words::means(words, "zenith"))
    };
    let canonical = |kind| sample.headers.iter().filter(|header| columns::parse(&header.to_lowercase(), kind).is_some()).count();
    let (bases, shots) = (canonical(LogKind::Bases), canonical(LogKind::Shots));
    let sights = split.iter().enumerate().any(|(column, words)| is_measured(column) && is_sight(words));
    let placed = sample.position_columns().is_some() || angles_with_letters(sample);
    match (placed, sights) {
        // Canonical headers say it themselves.
        _ if shots > bases && shots >= 3 => LogKind::Shots,
        (true, false) => LogKind::Bases,
        (true, true) if has_azimuth || shots > bases => LogKind::Shots,
        (true, true) => LogKind::Bases,
        (false, _) if bases > shots => LogKind::Bases,
        (false, _) => LogKind::Shots,
    }
}

/// Whether a column holds latitudes in degrees with letters.
fn angles_with_letters(sample: &Sample) -> bool {
    let is_angle = |cell: &str| {
        cell.len() > 5 && cell.contains(['N', 'S']) && parse_angle_deg(&cell.replace(',', "."), Hemispheres::Latitude).is_ok()
    };
    (0..sample.headers.len()).any(|column| sample.filled(column).any(is_angle))
}
