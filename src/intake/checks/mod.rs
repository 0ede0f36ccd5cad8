//! Tables of check points: points with better known coordinates, kept out of every computation, to test it by.
//!
//! Delimited text or a point layer. Headers are canonical names, quantity and unit: a name; `lat_deg` and `lon_deg`, or `east_m` and
//! `north_m`; `ellipsoid_height_m` and `orthometric_height_m`, either or both; `sigma_horizontal_m` (of each axis) and
//! `sigma_vertical_m`. Lengths may be in any unit of [`LengthUnit`]. Other columns are passed over. A row that cannot be used
//! is held with its sentence.

mod error;

use std::path::Path;

pub use error::{CheckRowFault, CheckTableError, TableFlaw};

use super::cell::{CellFormat, is_no_reading_number};
use super::delimited::{Lines, Row, Rows, guess_separator};
use super::log_layout::HeadersFound;
use super::numbers::{Keys, NumberEvidence};
use super::{text, vector};
use crate::geodesy::crs::Crs;
use crate::numeric::signs::Signs;
use crate::records::base_row::Coordinates;
use crate::units::{Hemispheres, LengthUnit, parse_angle_deg};

/// Headers of a check point's name, in the order in which they are looked for.
const NAMES: [&str; 3] = ["name", "feature", "shot"];

/// A check point as it was recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckRow {
    /// Line in the file, or the number of the feature.
    pub line: u64,
    /// Name, where the row has one.
    pub name: Option<String>,
    /// Position in the CRS of the table.
    pub coordinates: Coordinates,
    /// Height above the ellipsoid in metres.
    pub ellipsoid_height_m: Option<f64>,
    /// Height above the geoid or a vertical datum in metres.
    pub orthometric_height_m: Option<f64>,
    /// Standard error of each horizontal axis in metres.
    pub sigma_horizontal_m: Option<f64>,
    /// Standard error of the height in metres.
    pub sigma_vertical_m: Option<f64>,
}

/// A table of check points.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckTable {
    /// Rows that can be used.
    pub rows: Vec<CheckRow>,
    /// Rows that cannot: line and why.
    pub held: Vec<(u64, CheckRowFault)>,
    /// The header of the names, where there is one.
    pub name_header: Option<String>,
    /// Whether positions are latitudes and longitudes.
    pub is_geographic: bool,
    /// Whether there is a column of ellipsoidal heights.
    pub has_ellipsoid_heights: bool,
    /// The CRS that a vector file names.
    pub crs_wkt: Option<String>,
}

/// Which column holds what; lengths with their unit.
struct CheckColumns {
    name: Option<usize>,
    lat: Option<usize>,
    lon: Option<usize>,
    east: Option<(usize, LengthUnit)>,
    north: Option<(usize, LengthUnit)>,
    ellipsoid: Option<(usize, LengthUnit)>,
    orthometric: Option<(usize, LengthUnit)>,
    sigma_horizontal: Option<(usize, LengthUnit)>,
    sigma_vertical: Option<(usize, LengthUnit)>,
}

/// Reads a table. `name_header` is the header of the names, where it is not one of `name`, `feature`, `shot`; `crs` is the CRS of a vector
/// file that names none.
///
/// # Errors
/// When the file cannot be used as a whole.
pub fn read(path: &Path, name_header: Option<&str>, crs: Option<&Crs>) -> Result<CheckTable, CheckTableError> {
    let flawed = |line, flaw| CheckTableError::Table { path: path.to_owned(), line, flaw };
    if vector::is_vector(path) {
        return read_vector(path, name_header, crs).map_err(|flaw| flawed(None, flaw));
    }
    let text = text::read(path, None)?;
    read_text(&text.text, name_header).map_err(|(line, flaw)| flawed(Some(line), flaw))
}

fn read_vector(path: &Path, name_header: Option<&str>, crs: Option<&Crs>) -> Result<CheckTable, TableFlaw> {
    let mut layer = vector::read(path, None)?;
    if layer.kind.is_none() {
        let crs = crs.ok_or(TableFlaw::NoCrs)?;
        (layer.kind, layer.unit_factor) = (Some(crs.kind()), crs.unit_factor());
    }
    let (headers, rows) = layer.to_table();
    let claims = CheckColumns::find(&headers, name_header)?;
    let mut table = claims.start_table(&headers);
    table.crs_wkt = layer.crs_wkt.clone();
    table.held.extend(layer.skipped.iter().map(|(number, why)| (*number, why.clone().into())));
    let signs = vec![Signs::POINT; headers.len()];
    for (number, cells) in &rows {
        table.take(*number, claims.row(&signs, *number, |column| cells.get(column).map_or("", String::as_str)));
    }
    Ok(table)
}

fn read_text(text: &str, name_header: Option<&str>) -> Result<CheckTable, (u64, TableFlaw)> {
    let is_comment = |text: &str| text.trim().is_empty() || text.starts_with('#');
    let header = Lines::from_top(text, b'\0', 1).find(|line| !is_comment(line.text));
    let header = header.ok_or((1, TableFlaw::Empty))?;
    let separator = guess_separator(header.text).unwrap_or(b',');
    let mut rows = Rows::default();
    let is_blank = |text: &str| text.bytes().all(|byte| byte.is_ascii_whitespace() || byte == separator);
    let lines = Lines::new(text, separator, 1).filter(|line| !is_comment(line.text) && !is_blank(line.text));
    lines.filter(|line| line.number == header.number || line.text != header.text).for_each(|line| rows.push(line, separator));
    let Some((first, data)) = rows.rows().split_first() else { return Err((1, TableFlaw::Empty)) };
    let headers: Vec<String> = (0..first.fields()).map(|column| rows.cell(first, column).to_owned()).collect();
    let claims = CheckColumns::find(&headers, name_header).map_err(|problem| (header.number, problem))?;
    let numeric = claims.numeric();
    let signs = signs(&rows, data, &numeric, claims.lat.into_iter().chain(claims.lon).collect(), &headers, separator)?;
    let mut table = claims.start_table(&headers);
    for row in data {
        let line = row.line.number;
        let filled = (0..row.fields()).rev().find(|column| !rows.cell(row, *column).is_empty()).map_or(0, |column| column + 1);
        let read = if row.line.unclosed {
            Err(CheckRowFault::OpenQuote)
        } else if filled > headers.len() || row.fields() < headers.len() {
            Err(CheckRowFault::FieldCount { fields: row.fields(), headers: headers.len() })
        } else if !row.line.ended && claims.all().contains(&(headers.len() - 1)) {
            Err(CheckRowFault::MaybeCut)
        } else {
            claims.row(&signs, line, |column| rows.cell(row, column))
        };
        table.take(line, read);
    }
    Ok(table)
}

/// How the numbers of each column are written.
fn signs(
    rows: &Rows,
    data: &[Row],
    numeric: &[usize],
    degrees: Vec<usize>,
    headers: &[String],
    separator: u8,
) -> Result<Vec<Signs>, (u64, TableFlaw)> {
    let seen: Vec<(usize, NumberEvidence)> = numeric
        .iter()
        .map(|column| {
            let mut seen = NumberEvidence::default();
            data.iter().for_each(|row| seen.take(rows.cell(row, *column), row.line.number));
            (*column, if degrees.contains(column) { seen.with_small_values() } else { seen })
        })
        .collect();
    let shown: Vec<bool> = seen.iter().filter_map(|(_, seen)| seen.decimal_comma()).collect();
    let of_file = shown.first().copied().filter(|first| shown.iter().all(|other| other == first));
    let mut signs = vec![Signs::POINT; headers.len()];
    for (column, seen) in seen {
        let is = seen.settle(&Keys::default(), of_file, separator);
        if let Some((line, value)) = is.open {
            return Err((line, TableFlaw::OpenSign { header: headers[column].clone(), value }));
        }
        signs[column] = is.signs;
    }
    Ok(signs)
}

impl CheckTable {
    fn take(&mut self, line: u64, read: Result<CheckRow, CheckRowFault>) {
        match read {
            Ok(row) => self.rows.push(row),
            Err(why) => self.held.push((line, why)),
        }
    }
}

impl CheckColumns {
    fn find(headers: &[String], name_header: Option<&str>) -> Result<CheckColumns, TableFlaw> {
        let at = |wanted: &str| headers.iter().position(|header| header.trim().eq_ignore_ascii_case(wanted));
        let length = |quantity: &'static str| -> Result<Option<(usize, LengthUnit)>, TableFlaw> {
            let found: Vec<(usize, LengthUnit)> = LengthUnit::ALL
                .into_iter()
                .filter_map(|unit| at(&format!("{quantity}_{}", unit.suffix())).map(|column| (column, unit)))
                .collect();
            match found.as_slice() {
                [] => Ok(None),
                [one] => Ok(Some(*one)),
                _ => Err(TableFlaw::SeveralUnits(quantity)),
            }
        };
        let name = match name_header {
            None => NAMES.into_iter().find_map(at),
            Some(wanted) => Some(headers.iter().position(|header| header.trim() == wanted.trim()).ok_or_else(|| {
                let near = crate::numeric::words::nearest(wanted, headers.iter().map(String::as_str));
                let there = near.map_or_else(|| HeadersFound::All(headers.to_vec()), |near| HeadersFound::Near(near.to_owned()));
                TableFlaw::NoNames { wanted: wanted.to_owned(), there }
            })?),
        };
        let claims = CheckColumns {
            name,
            lat: at("lat_deg"),
            lon: at("lon_deg"),
            east: length("east")?,
            north: length("north")?,
            ellipsoid: length("ellipsoid_height")?,
            orthometric: length("orthometric_height")?,
            sigma_horizontal: length("sigma_horizontal")?,
            sigma_vertical: length("sigma_vertical")?,
        };
        let geographic = claims.lat.is_some() && claims.lon.is_some();
        let projected = claims.east.is_some() && claims.north.is_some();
        if geographic && projected {
            return Err(TableFlaw::TwoPositions);
        }
        if !geographic && !projected {
            return Err(TableFlaw::NoPosition(headers.to_vec()));
        }
        Ok(claims)
    }

    fn lengths(&self) -> impl Iterator<Item = usize> {
        let all = [self.east, self.north, self.ellipsoid, self.orthometric, self.sigma_horizontal, self.sigma_vertical];
        all.into_iter().flatten().map(|(column, _)| column)
    }

    fn numeric(&self) -> Vec<usize> {
        self.lengths().chain(self.lat).chain(self.lon).collect()
    }

    fn all(&self) -> Vec<usize> {
        self.lengths().chain([self.lat, self.lon, self.name].into_iter().flatten()).collect()
    }

    fn start_table(&self, headers: &[String]) -> CheckTable {
        CheckTable {
            rows: Vec::new(),
            held: Vec::new(),
            name_header: self.name.and_then(|column| headers.get(column).cloned()),
            is_geographic: self.lat.is_some() && self.lon.is_some(),
            has_ellipsoid_heights: self.ellipsoid.is_some(),
            crs_wkt: None,
        }
    }

    fn row<'c>(&self, signs: &[Signs], line: u64, cell: impl Fn(usize) -> &'c str) -> Result<CheckRow, CheckRowFault> {
        let format = CellFormat::default();
        let told = |column: usize| Some(cell(column)).filter(|text| !format.is_no_reading(text));
        let length = |claim: Option<(usize, LengthUnit)>, quantity, is_position: bool| -> Result<Option<f64>, CheckRowFault> {
            let Some((column, unit)) = claim else { return Ok(None) };
            let Some(text) = told(column) else { return Ok(None) };
            let not_a_number = || CheckRowFault::NotANumber { quantity, text: text.to_owned() };
            let number = signs[column].number(text).ok_or_else(not_a_number)?;
            Ok((is_position || !is_no_reading_number(number)).then(|| unit.to_metres(number)))
        };
        let sigma = |claim, quantity: &'static str| match length(claim, quantity, false)? {
            Some(metres) if metres < 0.0 => Err(CheckRowFault::BelowZero { quantity, metres }),
            sigma => Ok(sigma),
        };
        let angle = |column: usize, quantity: &'static str, letters, limit: f64| {
            let text = told(column).ok_or(CheckRowFault::NoPosition)?;
            let degrees = match signs[column].number(text) {
                Some(number) => number,
                None => {
                    let text = if signs[column].decimal_comma { text.replace(',', ".") } else { text.to_owned() };
                    parse_angle_deg(&text, letters).map_err(|problem| CheckRowFault::NotAnAngle {
                        quantity,
                        text: text.clone(),
                        problem,
                    })?
                }
            };
            if degrees.abs() <= limit {
                Ok(degrees)
            } else {
                Err(CheckRowFault::Outside { quantity, text: text.to_owned(), limit })
            }
        };
        let coordinates = match (self.lat, self.lon) {
            (Some(lat), Some(lon)) => Coordinates::Geographic {
                lat_deg: angle(lat, "lat_deg", Hemispheres::Latitude, 90.0)?,
                lon_deg: angle(lon, "lon_deg", Hemispheres::Longitude, 180.0)?,
            },
            _ => Coordinates::Projected {
                east_m: length(self.east, "the easting", true)?.ok_or(CheckRowFault::NoPosition)?,
                north_m: length(self.north, "the northing", true)?.ok_or(CheckRowFault::NoPosition)?,
            },
        };
        Ok(CheckRow {
            line,
            name: self.name.and_then(told).map(str::to_owned),
            coordinates,
            ellipsoid_height_m: length(self.ellipsoid, "the ellipsoidal height", false)?,
            orthometric_height_m: length(self.orthometric, "the orthometric height", false)?,
            sigma_horizontal_m: sigma(self.sigma_horizontal, "sigma_horizontal")?,
            sigma_vertical_m: sigma(self.sigma_vertical, "sigma_vertical")?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn projected(row: &CheckRow) -> (f64, f64) {
        match row.coordinates {
            Coordinates::Projected { east_m, north_m } => (east_m, north_m),
            Coordinates::Geographic { .. } => panic!("{row:?}"),
        }
    }

    #[test]
    fn canonical_headers_in_any_order_and_unit() {
        let text =
            "# invented\nremark,NORTH_M,east_ft,name,orthometric_height_m,sigma_vertical_m\nx,10,100,A,5,0.1\nx,11,1,B,-9999,\n";
        let table = read_text(text, None).unwrap();
        assert!(table.held.is_empty() && !table.is_geographic && table.name_header.as_deref() == Some("name"));
        // 100 international feet.
        assert!((projected(&table.rows[0]).0 - 30.48).abs() < 1e-9 && projected(&table.rows[0]).1 == 10.0);
        assert_eq!((table.rows[0].orthometric_height_m, table.rows[0].sigma_vertical_m), (Some(5.0), Some(0.1)));
        assert_eq!((table.rows[1].orthometric_height_m, table.rows[1].sigma_vertical_m), (None, None));
        assert_eq!((table.rows[1].line, table.rows[1].name.as_deref()), (4, Some("B")));
    }

    #[test]
    fn degrees_as_people_write_them_and_decimal_commas() {
        let text = "feature;lat_deg;lon_deg;ellipsoid_height_m\nA;58 36 00 N;2 54 00 W;1,5\nB;58,6;-2,9;2\n";
        let table = read_text(text, None).unwrap();
        for row in &table.rows {
            assert_eq!(row.coordinates, Coordinates::Geographic { lat_deg: 58.6, lon_deg: -2.9 });
        }
        assert_eq!(table.rows[0].ellipsoid_height_m, Some(1.5));
        assert!(table.has_ellipsoid_heights && table.is_geographic);
    }

    #[test]
    fn rows_that_cannot_be_used_are_held_with_their_line() {
        let text = "name,lat_deg,lon_deg,sigma_horizontal_m\nA,,3,\nB,91,3,\nC,1,2,-0.1\nD,x,2,\nE,1,2\nF,1,2,0.1\nname,lat_deg,lon_deg,sigma_horizontal_m\nG,1,2,0.1";
        let table = read_text(text, None).unwrap();
        assert_eq!(table.rows.len(), 1);
        let held: Vec<(u64, String)> = table.held.iter().map(|(line, why)| (*line, why.to_string())).collect();
        let held: Vec<(u64, &str)> = held.iter().map(|(line, why)| (*line, why.as_str())).collect();
        assert_eq!(held[0], (2, "the check point has no position"));
        assert_eq!(held[1], (3, "lat_deg 91 is outside -90 to 90 degrees; are latitude and longitude swapped?"));
        assert_eq!(held[2], (4, "sigma_horizontal -0.1 is below 0"));
        assert_eq!(held[3].0, 5);
        assert_eq!(held[4], (6, "the row has 3 fields, the header 4"));
        assert_eq!(held[5], (9, "the last line has no line end and may be cut short; if it is whole, add a line end"));
        assert_eq!(held.len(), 6);
    }

    #[test]
    fn tables_that_cannot_be_used_say_what_to_write() {
        let fails = |text: &str, name: Option<&str>| {
            let (line, flaw) = read_text(text, name).unwrap_err();
            (line, flaw.to_string())
        };
        assert_eq!(fails("\n", None).1, "the file is empty; a table of check points needs a header line and rows");
        assert_eq!(
            fails("name,x,y\nA,1,2\n", None),
            (1, "has no position; name the columns lat_deg and lon_deg, or east_m and north_m (or _ft, _usft); it has: name, x, y".into())
        );
        assert_eq!(fails("point,lat_deg,lon_deg\n", Some("points")).1, "no column is called \"points\"; did you mean \"point\"?");
        assert!(fails("east_m,east_ft,north_m\n", None).1.contains("several units"));
        assert!(fails("east_m,north_m,lat_deg,lon_deg\n", None).1.contains("leave one pair out"));
    }
}
